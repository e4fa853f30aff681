r"""The leak map: below which leakage resistance between two nets a limit of the board is broken, nominal parts.

A grid of leaks, a decade apart, is solved for all pairs at once; going down from no leak at all, the first step at
which a limit is broken brackets the critical value. D.c. and hum are bilinear in the leak's conductance as long as the
circuit stays linear, so their critical value is known in closed form; it is accepted when the full solution agrees on
both sides of it. All else is halved in the logarithm, in batches, until the bracket is 1 % wide.

==================  ============  ====================================================================
symbol              name here     meaning
==================  ============  ====================================================================
G                   ``ohms``      conductance of the leak, its inverse
v_d, v_ab           `driver_v`    volts across the driver and between the two nets, without the leak
z_t, z_ab           `transfer`    response at the driver, and between the nets, to a current through them
==================  ============  ====================================================================

.. math:: v_d(G) = v_d - G z_t v_{ab} / (1 + G z_{ab})

References
----------
The inverse of a matrix changed by a term of rank one: `Householder`, J. SIAM 5 (1957) 155.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from dustcap.board.circuit import leak_name, to_circuit
from dustcap.board.model import Board
from dustcap.board.places import neighbours, nets_in_area
from dustcap.circuit.elements import Circuit
from dustcap.circuit.families import family_points
from dustcap.circuit.linearised import ac_matrix, dc_matrix
from dustcap.circuit.operating import operating_point
from dustcap.circuit.point import OperatingPoint
from dustcap.errors import InputError, SolveError
from dustcap.predict.complaints import HUM_V
from dustcap.predict.leak_limits import DC, DC_AT_DRIVER_V, FAR, HUM, NOISE_V, SLOW, Judge, Limit, limits_of, with_part

Floats = NDArray[np.float64]
Pair = tuple[str, str]

LEAST_OHM, MOST_OHM, NO_LEAK_OHM = 100.0, 1e10, 1e13
GRID = 10.0 ** np.arange(10, 1, -1)
"""Ohms of the grid, from the weakest leak to the strongest."""
WIDTH = 1.01
CLOSED_FORM_SHARE = 1.004
"""The full solution has to change sides within this factor of the closed form, both ways."""
ROUNDS = 24
AT_ONCE = 400
CLOSED_FORM, BRACKETED = "closed form", "bracketed root"


@dataclass(frozen=True, slots=True)
class Critical:
    """A limit and the leakage resistance below which it is broken; None: never down to 100 ohm.

    `already`: the board breaks it without any leak. `method`: how the value was found.
    """

    limit: Limit
    ohms: float | None
    method: str = ""
    already: bool = False


@dataclass(frozen=True, slots=True)
class PairMap:
    """One pair of nets: whether they are neighbours, the areas that both run through, and every limit."""

    nets: Pair
    neighbours: bool
    areas: tuple[str, ...]
    limits: tuple[Critical, ...]

    @property
    def worst(self) -> Critical | None:
        """The limit that the weakest leak breaks; None when no leak breaks any."""
        return next(iter(self.broken), None)

    @property
    def broken(self) -> tuple[Critical, ...]:
        """The limits that some leak breaks, those first that the weakest leak does."""
        return tuple(sorted((each for each in self.limits if each.ohms), key=lambda each: -(each.ohms or 0.0)))

    @property
    def worst_ohms(self) -> float:
        """Critical leakage of the worst limit; 0 when no leak breaks any."""
        return (self.worst.ohms or 0.0) if self.worst else 0.0


def leak_pairs(board: Board) -> tuple[Pair, ...]:
    """Neighbouring pairs, and all pairs of nets that run through one area, by name."""
    found = set(neighbours(board))
    for area in board.areas.values():
        found |= {_sorted(pair) for pair in combinations(nets_in_area(board, area), 2)}
    return tuple(sorted(found))


def leak_map(
    board: Board,
    pairs: Sequence[Pair] | None = None,
    *,
    dc_v: float = DC_AT_DRIVER_V,
    hum_v: float = HUM_V,
    noise_v: float = NOISE_V,
    progress: Callable[[float], None] = lambda share: None,
) -> tuple[PairMap, ...]:
    """Critical leakage of every pair against every limit.

    Parameters
    ----------
    board : Board
    pairs : net pairs; left out: `leak_pairs`
    dc_v, hum_v, noise_v : d.c., hum, and noise from 20 Hz to 20 kHz that are too much at a driver, V and V r.m.s.

    Raises
    ------
    InputError
        If a pair names a net that the board does not have or one net twice, or a limit is not positive.
    SolveError
        If the board without any leak has no operating point.
    """
    if not all(0 < volts < np.inf for volts in (dc_v, hum_v, noise_v)):
        raise InputError("a limit is not above 0 V.", where="leak map", mend="Give one such as 50 mV.")
    wanted = leak_pairs(board) if pairs is None else tuple(_known(board, pair) for pair in pairs)
    bench = _Bench(board, wanted, limits_of(board, dc_v, hum_v, noise_v), progress)
    near, areas = set(neighbours(board)), _areas_of(board)
    found = bench.critical()
    return tuple(
        PairMap(pair, _sorted(pair) in near, areas.get(_sorted(pair), ()), tuple(limits))
        for pair, limits in zip(wanted, found, strict=True)
    )


def _sorted(pair: Iterable[str]) -> Pair:
    a, b = sorted(pair)
    return a, b


def _known(board: Board, pair: Pair) -> Pair:
    for net in pair:
        if net not in board.nets:
            raise InputError(f"the board has no net {net!r}.", where="--pair", mend=f"Nets: {_some(board.nets)}.")
    if pair[0] == pair[1]:
        raise InputError(f"{pair[0]!r} cannot leak into itself.", where="--pair", mend="Name two nets.")
    return pair


def _some(nets: Sequence[str], most: int = 20) -> str:
    return ", ".join(nets[:most]) + (", ..." if len(nets) > most else "")


def _areas_of(board: Board) -> dict[Pair, tuple[str, ...]]:
    found: dict[Pair, tuple[str, ...]] = {}
    for name, area in board.areas.items():
        for pair in combinations(nets_in_area(board, area), 2):
            found[_sorted(pair)] = (*found.get(_sorted(pair), ()), name)
    return found


class _Bench:
    """The board with every leak in place, none of them there until its ohms are given."""

    def __init__(
        self, board: Board, pairs: tuple[Pair, ...], limits: tuple[Limit, ...], progress: Callable[[float], None]
    ) -> None:
        self.pairs, self.limits, self._progress = pairs, limits, progress
        self.circuit: Circuit = to_circuit(board, pairs)
        self.healthy = operating_point(self.circuit)
        if not self.healthy.converged.all():
            raise SolveError("the board has no operating point, even without a leak.", where="leak map")
        self.judge = Judge(board, self.circuit, limits, self.healthy)
        self._part: dict[tuple[int, float], str] = {}

    def critical(self) -> list[list[Critical]]:
        """Every limit of every pair."""
        already = self.judge.excess(self.healthy)[0] > 0
        which, ohms = np.repeat(np.arange(len(self.pairs)), len(GRID)), np.tile(GRID, len(self.pairs))
        excess = self._excess(which, ohms, 0.0, 0.6).reshape(len(self.pairs), len(GRID), len(self.limits))
        broken = excess > 0
        brackets = [
            _Bracket(pair, limit, *_around(int(np.argmax(broken[pair, :, limit]))))
            for pair, limit in np.argwhere(broken.any(axis=1) & ~already)
        ]
        for each in brackets:
            for ohm, known in zip(GRID, excess[each.pair, :, each.limit], strict=True):
                each.learn(float(ohm), float(known))
        self._guess(brackets)
        self._narrow(brackets)
        found = {(each.pair, each.limit): each for each in brackets}
        return [
            [
                self._said(found.get((pair, limit)), pair, limit, bool(already[limit]))
                for limit in range(len(self.limits))
            ]
            for pair in range(len(self.pairs))
        ]

    def _said(self, bracket: _Bracket | None, pair: int, limit: int, already: bool) -> Critical:
        if bracket is None:
            return Critical(self.limits[limit], None, already=already)
        part = self._part.get((pair, bracket.low), "")
        return Critical(with_part(self.limits[limit], part), bracket.ohms, bracket.method)

    def _narrow(self, brackets: list[_Bracket]) -> None:
        for turn in range(ROUNDS):
            left = [each for each in brackets if each.high > WIDTH * each.low]
            if not left:
                return
            trials = sorted({(each.pair, each.trial(turn)) for each in left})
            which, ohms = np.array([t[0] for t in trials]), np.array([t[1] for t in trials])
            slow = any(self.limits[each.limit].what in SLOW for each in left)
            share = 0.6 + 0.4 * turn / ROUNDS
            excess = self._excess(which, ohms, share, share + 0.4 / ROUNDS, slow=slow)
            for each in left:
                for row in np.flatnonzero(which == each.pair):
                    each.learn(float(ohms[row]), float(excess[row, each.limit]))

    def _excess(self, which: NDArray[np.intp], ohms: Floats, begin: float, end: float, *, slow: bool = True) -> Floats:
        """Shape (cases, limits): each case has one leak."""
        found = np.empty((len(which), len(self.limits)))
        for first in range(0, len(which), AT_ONCE):
            rows = slice(first, first + AT_ONCE)
            point = self._solved(which[rows], ohms[rows])
            found[rows] = self.judge.excess(point, slow=slow)
            parts = self.judge.worst_part(point)
            self._part |= {
                (int(pair), float(ohm)): part for pair, ohm, part in zip(which[rows], ohms[rows], parts, strict=True)
            }
            self._progress(begin + (end - begin) * min(1.0, (first + AT_ONCE) / len(which)))
        return found

    def _solved(self, which: NDArray[np.intp], ohms: Floats) -> OperatingPoint:
        values = {
            (leak_name(*self.pairs[pair]), "ohm"): np.where(which == pair, ohms, np.inf) for pair in np.unique(which)
        }
        start = self.healthy.take(np.zeros(len(which), dtype=np.intp))
        return family_points(self.circuit, values, start, which)

    # closed form -----------------------------------------------------------------------------------------------------

    def _guess(self, brackets: list[_Bracket]) -> None:
        """Give each bracket of d.c. and hum the value of the closed form, where it lies inside."""
        linear = {what: self._inverse(what) for what in (DC, HUM)}
        for each in brackets:
            limit = self.limits[each.limit]
            if limit.what in linear:
                inverse, volts = linear[limit.what]
                ohms = self._closed_form(self.pairs[each.pair], limit, inverse, volts)
                if ohms is not None and each.low < ohms < each.high:
                    each.guess = ohms

    def _inverse(self, what: str) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
        """Inverse of the linearised nodal matrix and the volts of every net, at d.c. or at twice the mains."""
        solved = self.healthy.solved
        still = dc_matrix(solved)
        if what == DC:
            return np.linalg.inv(still[0]).astype(complex), self.healthy.volts[0].astype(complex)
        moving = ac_matrix(solved, still, 2 * self.circuit.mains_hz)
        return np.linalg.inv(moving[0]), self.healthy.ripple[0].astype(complex)

    def _closed_form(
        self, pair: Pair, limit: Limit, inverse: NDArray[np.complex128], volts: NDArray[np.complex128]
    ) -> float | None:
        ends, seen = (self._ends(nets, len(inverse)) for nets in (pair, self.judge.driver_nets(limit)))
        response = inverse @ ends
        between = complex(volts @ ends[: len(volts)])
        own, transfer = complex(ends @ response), complex(seen @ response)
        driver_v = complex(volts @ seen[: len(volts)])
        siemens = critical_siemens(driver_v, driver_v * own - transfer * between, own, float(limit.limit or 0.0))
        return None if siemens is None else 1.0 / siemens

    def _ends(self, pair: Sequence[str], size: int) -> Floats:
        ends, position = np.zeros(size), self.healthy.layout.position
        for net, way in zip(pair, (1.0, -1.0), strict=True):
            if net in position:
                ends[position[net]] += way
        return ends


def critical_siemens(driver_v: complex, slope: complex, own: complex, limit: float) -> float | None:
    r"""Least conductance at which :math:`|v_d + G P| = L |1 + G z_{ab}|`, with P = v_d z_ab - z_t v_ab; None: never.

    Parameters
    ----------
    driver_v : volts at the driver without the leak
    slope : P, volt ohm
    own : z_ab, ohm
    limit : L, volts

    Examples
    --------
    >>> critical_siemens(0.0, -1.0, 0.0, 0.05)
    0.05
    """
    a = abs(slope) ** 2 - limit**2 * abs(own) ** 2
    b = 2 * ((driver_v.conjugate() * slope).real - limit**2 * own.real)
    c = abs(driver_v) ** 2 - limit**2
    scale = max(abs(slope), limit * abs(own)) or 1.0
    unit = limit / scale  # conductance in this unit keeps the coefficients near one
    roots = np.roots([a * unit**2, b * unit, c]) * unit
    real = [float(root.real) for root in roots if abs(root.imag) <= 1e-9 * abs(root) and root.real > 0]
    return min(real, default=None)


def _around(step: int) -> tuple[float, float]:
    """Broken and unbroken ohms about the first broken step of the grid."""
    return float(GRID[step]), float(GRID[step - 1]) if step else NO_LEAK_OHM


@dataclass(slots=True)
class _Bracket:
    """A critical value between `low` (broken) and `high` (not)."""

    pair: int
    limit: int
    low: float
    high: float
    low_excess: float = np.nan
    high_excess: float = np.nan
    guess: float | None = None  # the closed form
    about: float = np.nan  # what the last trial of an even turn was about

    def trial(self, turn: int) -> float:
        """Ohms to try next: both sides of the closed form, then of the interpolated value, now and then the middle."""
        middle = float(np.sqrt(self.low * self.high))
        if turn % 2 == 0:
            self.about = self.guess if self.guess is not None and turn == 0 else self._interpolated(middle)
        if turn % 6 >= 4:
            return middle
        near = self.about * CLOSED_FORM_SHARE ** (1 - 2 * (turn % 2))
        return near if self.low < near < self.high else middle

    def _interpolated(self, middle: float) -> float:
        """Where the excess would be nothing, were it straight in the logarithm of the ohms."""
        if not (self.low_excess > 0 > self.high_excess) or max(self.low_excess, -self.high_excess) >= FAR:
            return middle
        share = self.low_excess / (self.low_excess - self.high_excess)
        return float(self.low * (self.high / self.low) ** share)

    def learn(self, ohms: float, excess: float) -> None:
        """Take in what one leak does; no answer there counts as unbroken."""
        if excess > 0 and self.low <= ohms < self.high:
            self.low, self.low_excess = ohms, excess
        elif not excess > 0 and self.low < ohms <= self.high:
            self.high, self.high_excess = ohms, excess

    @property
    def method(self) -> str:
        """How the value was found."""
        return CLOSED_FORM if self.guess is not None and self.low < self.guess < self.high else BRACKETED

    @property
    def ohms(self) -> float:
        """The critical value."""
        return self.guess if self.method == CLOSED_FORM and self.guess else float(np.sqrt(self.low * self.high))
