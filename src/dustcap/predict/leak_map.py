r"""The leak map: below which leakage resistance between two nets a limit of the board is broken, nominal parts.

A grid of leaks, a decade apart, is solved for all pairs at once, from the weakest on, each from where the one before
came to rest. Between its steps summits are looked for, so that trouble in a window narrower than a decade is found;
the weakest leak that breaks a limit brackets the critical value. D.c. and hum are bilinear in the leak's conductance
as long as the circuit stays linear, so their window is known in closed form; it is accepted when the full solution
agrees on both sides of its edge. All else is narrowed, in batches, until the bracket is 1 % wide.

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
from dustcap.errors import InputError, SolveError, nearest
from dustcap.predict.complaints import HUM_V
from dustcap.predict.leak_limits import (
    DC,
    DC_AT_DRIVER_V,
    HUM,
    NOISE_V,
    OSCILLATION,
    SLOW,
    Judge,
    Limit,
    limits_of,
    with_part,
)
from dustcap.predict.leak_search import (
    LEAST_OHM,
    MOST_OHM,
    NEAREST,
    WIDTH,
    Bracket,
    Met,
    bracket_of,
    critical_window,
    put,
    summit,
)

Floats = NDArray[np.float64]
Pair = tuple[str, str]

GRID = 10.0 ** np.arange(10, 1, -1)
"""Ohms of the grid, from the weakest leak to the strongest."""
ROUNDS = 24
PEAKS = 4
"""Rounds of looking between the leaks of the grid for a limit that is broken only there."""
NEAR, NEAR_GROWTH = 2.5, 0.3
"""How far below a limit, in the logarithm (of growth: as it is), a summit is still looked at: choices of ours."""
AT_ONCE = 400


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
            raise InputError(f"the board has no net {net!r}.", where="--pair", mend=nearest(net, board.nets, "Nets"))
    if pair[0] == pair[1]:
        raise InputError(f"{pair[0]!r} cannot leak into itself.", where="--pair", mend="Name two nets.")
    return pair


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
        self._met = Met(self.healthy)

    def critical(self) -> list[list[Critical]]:
        """Every limit of every pair."""
        already = self.judge.excess(self.healthy)[0] > 0
        seen: list[dict[float, Floats]] = [{} for _ in self.pairs]  # excess over every limit by ohms
        for place, ohms in enumerate(GRID):
            # from the weakest leak to the strongest, each from where the last one came to rest
            self._look([(pair, float(ohms)) for pair in range(len(self.pairs))], seen, 0.5 * place / len(GRID))
        for turn in range(PEAKS):
            self._look(sorted(self._peaks(seen, already)), seen, 0.5 + 0.1 * turn / PEAKS)
        brackets = [
            bracket
            for pair in range(len(self.pairs))
            for limit in np.flatnonzero(~already)
            if (bracket := bracket_of(pair, int(limit), seen[pair])) is not None
        ]
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

    def _said(self, bracket: Bracket | None, pair: int, limit: int, already: bool) -> Critical:
        if bracket is None:
            return Critical(self.limits[limit], None, already=already)
        part = self._part.get((pair, bracket.low), "")
        return Critical(with_part(self.limits[limit], part), bracket.ohms, bracket.method)

    def _look(self, trials: list[tuple[int, float]], seen: list[dict[float, Floats]], share: float) -> None:
        if trials:
            which, ohms = np.array([t[0] for t in trials]), np.array([t[1] for t in trials])
            for (pair, ohm), excess in zip(trials, self._excess(which, ohms), strict=True):
                seen[pair][ohm] = excess
        self._progress(share)

    def _peaks(self, seen: list[dict[float, Floats]], already: NDArray[np.bool_]) -> set[tuple[int, float]]:
        """Leaks between those that were solved, at which a limit may be broken though it is not on either side.

        For d.c. and hum the linear circuit says where; elsewhere a parabola through three leaks, the middle one the
        worst. Looked at above the strongest leak that is known to break the limit: what is weaker counts more.
        """
        found: set[tuple[int, float]] = set()
        linear = {what: self._inverse(what) for what in (DC, HUM)}
        for pair, excesses in enumerate(seen):
            ohms = np.array(sorted(excesses, reverse=True))
            table = np.array([excesses[ohm] for ohm in ohms.tolist()])
            for limit in np.flatnonzero(~already):
                known = table[:, limit]
                broken = np.flatnonzero(known > 0)
                last = int(broken[0]) if len(broken) else len(ohms)
                what = self.limits[limit].what
                peak = None
                if what in linear:
                    window = self._window(self.pairs[pair], self.limits[limit], *linear[what])
                    peak = None if window is None else float(np.sqrt(max(window[0], LEAST_OHM) * window[1]))
                elif last > 1 and np.isfinite(known[:last]).all():
                    near = NEAR_GROWTH if what == OSCILLATION else NEAR
                    peak = summit(np.log(ohms[: last + 1]), known[: last + 1], near)
                lowest = ohms[last] if last < len(ohms) else LEAST_OHM
                if peak is not None and lowest < peak < MOST_OHM and np.abs(np.log(ohms / peak)).min() > NEAREST:
                    found.add((pair, float(peak)))
        return found

    def _narrow(self, brackets: list[Bracket]) -> None:
        for turn in range(ROUNDS):
            left = [each for each in brackets if each.high > WIDTH * each.low]
            if not left:
                return
            trials = sorted({(each.pair, each.trial(turn)) for each in left})
            which, ohms = np.array([t[0] for t in trials]), np.array([t[1] for t in trials])
            asked = {each.pair for each in left if self.limits[each.limit].what in SLOW}
            excess = self._excess(which, ohms, slow=np.isin(which, list(asked)))
            self._progress(0.6 + 0.4 * (turn + 1) / ROUNDS)
            for each in left:
                for row in np.flatnonzero(which == each.pair):
                    each.learn(float(ohms[row]), float(excess[row, each.limit]))

    def _excess(self, which: NDArray[np.intp], ohms: Floats, *, slow: NDArray[np.bool_] | None = None) -> Floats:
        """Shape (cases, limits): each case has one leak; what is `SLOW` is computed for some of them, or for all."""
        found = np.empty((len(which), len(self.limits)))
        for first in range(0, len(which), AT_ONCE):
            rows = slice(first, first + AT_ONCE)
            point = self._solved(which[rows], ohms[rows])
            found[rows] = self.judge.excess(point, slow=slow is None)
            some = np.flatnonzero(slow[rows]) if slow is not None else np.zeros(0, dtype=np.intp)
            if len(some):
                found[first + some] = self.judge.excess(point.take(some))
            parts = self.judge.worst_part(point)
            self._part |= {
                (int(pair), float(ohm)): part for pair, ohm, part in zip(which[rows], ohms[rows], parts, strict=True)
            }
        return found

    def _solved(self, which: NDArray[np.intp], ohms: Floats) -> OperatingPoint:
        """Operating points: from the next weaker leak that is solved, as a leak grows; else from the next stronger."""
        values = {
            (leak_name(*self.pairs[pair]), "ohm"): np.where(which == pair, ohms, np.inf) for pair in np.unique(which)
        }
        point = operating_point(self.circuit, values, start=self._met.start(which, ohms, weaker=True), thorough=False)
        left = np.flatnonzero(~point.converged)
        if len(left):
            point = put(
                point,
                left,
                family_points(
                    self.circuit,
                    {key: value[left] for key, value in values.items()},
                    self._met.start(which[left], ohms[left], weaker=False),
                    which[left],
                ),
            )
        self._met.keep(which, ohms, point)
        return point

    # closed form -----------------------------------------------------------------------------------------------------

    def _guess(self, brackets: list[Bracket]) -> None:
        """Give each bracket of d.c. and hum the value of the closed form, where it lies inside."""
        linear = {what: self._inverse(what) for what in (DC, HUM)}
        for each in brackets:
            limit = self.limits[each.limit]
            if limit.what in linear:
                inverse, volts = linear[limit.what]
                window = self._window(self.pairs[each.pair], limit, inverse, volts)
                if window is not None and each.low < window[1] < each.high:
                    each.guess = window[1]

    def _inverse(self, what: str) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
        """Inverse of the linearised nodal matrix and the volts of every net, at d.c. or at twice the mains."""
        solved = self.healthy.solved
        still = dc_matrix(solved)
        if what == DC:
            return np.linalg.inv(still[0]).astype(complex), self.healthy.volts[0].astype(complex)
        moving = ac_matrix(solved, still, 2 * self.circuit.mains_hz)
        return np.linalg.inv(moving[0]), self.healthy.ripple[0].astype(complex)

    def _window(
        self, pair: Pair, limit: Limit, inverse: NDArray[np.complex128], volts: NDArray[np.complex128]
    ) -> tuple[float, float] | None:
        """Ohms from the strongest to the weakest leak that breaks the limit while the circuit stays linear."""
        ends, seen = (self._ends(nets, len(inverse)) for nets in (pair, self.judge.driver_nets(limit)))
        response = inverse @ ends
        between = complex(volts @ ends[: len(volts)])
        own, transfer = complex(ends @ response), complex(seen @ response)
        driver_v = complex(volts @ seen[: len(volts)])
        return critical_window(driver_v, driver_v * own - transfer * between, own, float(limit.limit or 0.0))

    def _ends(self, pair: Sequence[str], size: int) -> Floats:
        ends, position = np.zeros(size), self.healthy.layout.position
        for net, way in zip(pair, (1.0, -1.0), strict=True):
            if net in position:
                ends[position[net]] += way
        return ends
