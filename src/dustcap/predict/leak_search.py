"""Looking for the weakest leak that breaks a limit: brackets, summits between leaks, and where to start solving from.

==================  ============  ====================================================================
symbol              name here     meaning
==================  ============  ====================================================================
G                   ``siemens``   conductance of the leak
v_d, v_ab           `driver_v`    volts across the driver and between the two nets, without the leak
z_t, z_ab           `own`         response at the driver, and between the nets, to a current through them
==================  ============  ====================================================================
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dustcap.circuit.point import OperatingPoint
from dustcap.predict.leak_limits import FAR

Floats = NDArray[np.float64]

LEAST_OHM, MOST_OHM, NO_LEAK_OHM = 100.0, 1e10, 1e13
WIDTH = 1.01
CLOSED_FORM_SHARE = 1.004
"""The full solution has to change sides within this factor of the closed form, both ways."""
NEAREST = 0.02
"""In the logarithm of the ohms: nearer than this to a leak that was solved nothing new is to be seen."""
CLOSED_FORM, BRACKETED = "closed form", "bracketed root"


def critical_window(driver_v: complex, slope: complex, own: complex, limit: float) -> tuple[float, float] | None:
    """Ohms from the strongest to the weakest leak at which the limit is broken; None: never. 0: down to a short."""
    siemens = critical_siemens(driver_v, slope, own, limit)
    if not siemens:
        return None
    return (1.0 / siemens[1] if len(siemens) > 1 else 0.0), 1.0 / siemens[0]


def critical_siemens(driver_v: complex, slope: complex, own: complex, limit: float) -> list[float]:
    r"""Conductances at which :math:`|v_d + G P| = L |1 + G z_{ab}|`, with P = v_d z_ab - z_t v_ab, least first.

    Parameters
    ----------
    driver_v : volts at the driver without the leak
    slope : P, volt ohm
    own : z_ab, ohm
    limit : L, volts

    Examples
    --------
    >>> critical_siemens(0.0, -1.0, 0.0, 0.05)
    [0.05]
    """
    a = abs(slope) ** 2 - limit**2 * abs(own) ** 2
    b = 2 * ((driver_v.conjugate() * slope).real - limit**2 * own.real)
    c = abs(driver_v) ** 2 - limit**2
    scale = max(abs(slope), limit * abs(own)) or 1.0
    unit = limit / scale  # conductance in this unit keeps the coefficients near one
    roots = np.roots([a * unit**2, b * unit, c]) * unit
    return sorted(float(root.real) for root in roots if abs(root.imag) <= 1e-9 * abs(root) and root.real > 0)


def summit(x: Floats, y: Floats, near: float) -> float | None:
    """Where a curve that is below 0 at every point given may come above it in between; None: nowhere.

    The best of its inner points that are no lower than their neighbours and within `near` of 0, and there the summit of
    the parabola through the three.
    """
    inner = [k for k in range(1, len(x) - 1) if y[k] >= max(y[k - 1], y[k + 1]) and -near < y[k] <= 0]
    if not inner:
        return None
    k = max(inner, key=lambda k: y[k])
    before, after = x[k - 1] - x[k], x[k + 1] - x[k]
    low, high = (y[k - 1] - y[k]) / before, (y[k + 1] - y[k]) / after
    bend = (high - low) / (after - before)
    slope = low - bend * before
    at = -slope / (2 * bend) if bend < 0 else 0.0
    if abs(at) < NEAREST:  # the parabola is spent: halve the longer side
        at = (before if abs(before) > abs(after) else after) / 2
    return float(np.exp(x[k] + at))


def bracket_of(pair: int, limit: int, excesses: Mapping[float, Floats]) -> Bracket | None:
    """About the weakest leak that is known to break a limit; None when no leak is."""
    ohms = sorted(excesses, reverse=True)
    step = next((place for place, ohm in enumerate(ohms) if excesses[ohm][limit] > 0), None)
    if step is None:
        return None
    found = Bracket(pair, limit, ohms[step], ohms[step - 1] if step else NO_LEAK_OHM)
    for ohm in ohms:
        found.learn(ohm, float(excesses[ohm][limit]))
    return found


def put(point: OperatingPoint, rows: NDArray[np.intp], other: OperatingPoint) -> OperatingPoint:
    """The point with some of its cases replaced; its table stays."""
    unknowns, converged = point.unknowns.copy(), point.converged.copy()
    unknowns[rows], converged[rows] = other.unknowns, other.converged
    point.state.put(rows, other.state)
    for mine, theirs in zip(point.waves, other.waves, strict=True):
        mine.put(rows, theirs)
    return replace(point, unknowns=unknowns, converged=converged)


class Met:
    """Where the board came to rest with each leak that was solved, to start others from."""

    def __init__(self, healthy: OperatingPoint) -> None:
        self._healthy = healthy
        self._points: list[OperatingPoint] = []
        self._solved: dict[int, dict[float, tuple[int, int]]] = {}  # pair, ohms: which point, which of its rows

    def keep(self, which: NDArray[np.intp], ohms: Floats, point: OperatingPoint) -> None:
        """Remember what was solved."""
        self._points.append(point)
        for row in np.flatnonzero(point.converged).tolist():
            self._solved.setdefault(int(which[row]), {})[float(ohms[row])] = len(self._points) - 1, row

    def start(self, which: NDArray[np.intp], ohms: Floats, *, weaker: bool) -> OperatingPoint:
        """A point to start each case from: of the next weaker (or stronger) leak between the same nets, or none."""
        begin = self._healthy.take(np.zeros(len(which), dtype=np.intp))
        found: dict[int, list[tuple[int, int]]] = {}
        for case, (pair, ohm) in enumerate(zip(which.tolist(), ohms.tolist(), strict=True)):
            known = self._solved.get(pair, {})
            near = [o for o in known if (o > ohm if weaker else o < ohm)]
            if near:
                place, row = known[min(near) if weaker else max(near)]
                found.setdefault(place, []).append((case, row))
        for place, rows in found.items():
            cases, picked = (np.array(each, dtype=np.intp) for each in zip(*rows, strict=True))
            begin = put(begin, cases, self._points[place].take(picked))
        return begin


@dataclass(slots=True)
class Bracket:
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
