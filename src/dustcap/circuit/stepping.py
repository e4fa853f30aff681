"""Steps through time with their length chosen by the error: backward Euler, then backward differentiation of order two.

The error of a step comes from what the last steps foretold (Brayton, Gustavson & Hachtel 1972, from memory; the
factors for unequal steps are derived from the error of the interpolating polynomial). All cases of a batch take the
same steps.

| symbol | unit | meaning |
| --- | --- | --- |
| h, h1, h2 | s | this step, the last one, the one before |
| w | V, A | levels of the energy stores, on which the error is measured |
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from dustcap.circuit.assembly import Discrete
from dustcap.circuit.layout import Flags, Real
from dustcap.circuit.motion import Motion
from dustcap.circuit.switching import switched

GROWTH = 2.0
"""Most by which a step grows: the method of order two is stable up to 2.41."""
SAFETY = 0.85
LEAST_SHARE = 1e-4
"""Shortest step to which a case that Newton's method does not solve is cut, as a share of `finest_s`."""
TIP_S = 1e-10
"""A balance that still stands in so short a step is none of amplifiers, and stays."""
HELD = 3
"""A look at the relays that knows what held them before (`switching.switched`)."""


@dataclass(frozen=True, slots=True)
class Pace:
    """How finely time is cut.

    Attributes
    ----------
    seconds : end of time
    finest_s : steps are not cut below this for the sake of the error: what swings faster is damped, not followed
    longest_s : longest step
    relative : error of one step against the largest level so far, and against 1 V or 1 A
    breaks : times at which something in the supply changes its course
    """

    seconds: float
    finest_s: float
    longest_s: float
    relative: float
    breaks: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class _Past:
    t: float
    x: Real
    q: Real
    w: Real


class Walk:
    """A batch of cases on its way through time."""

    def __init__(self, motion: Motion, state: Discrete, pace: Pace) -> None:
        self.motion, self.state, self.pace = motion, state, pace
        cases = motion.table.cases
        self.solved: Flags = np.ones(cases, dtype=bool)
        motion.connect(state)
        self._path = [self._place(0.0, np.zeros((cases, motion.size)))]
        self._largest = np.abs(self._path[0].w)
        self._heeds = True

    def steps(self) -> Iterator[tuple[float, Real, Real]]:
        """Time, unknowns (cases, size) and closed contacts (cases, contacts) after each step."""
        h = self.pace.finest_s
        while (now := self._path[-1].t) < self.pace.seconds:
            stop = min(t for t in (*self.pace.breaks, self.pace.seconds) if t > now)
            broken = now + 1.01 * h >= stop
            length = stop - now if broken else h
            place, share = self._step(stop if broken else now + h)
            if place is None:
                h = 0.25 * length
                if h < LEAST_SHARE * self.pace.finest_s and not self._ok[self.solved].all():
                    self.solved &= self._ok
            elif length > self.pace.finest_s and (share > 1.0 or self._turns(place.x)):
                h = max(self.pace.finest_s, length * min(self._factor(share), 0.5))
            else:
                h = self._next(length, share)
                self._accept(place)
                yield place.t, place.x, self.state.closed
                if self._switch(place.x) or (broken and stop < self.pace.seconds):
                    self._path, h = self._path[-1:], self.pace.finest_s

    def _factor(self, share: float) -> float:
        """What the step is multiplied with for the error to become what is allowed."""
        power = 2 if len(self._path) < 3 else 3
        return float(np.clip(SAFETY * max(share, 1e-12) ** (-1 / power), 0.25, GROWTH))

    def _next(self, length: float, share: float) -> float:
        least = min(self.pace.finest_s, GROWTH * length)
        return min(max(length * self._factor(share), least), self.pace.longest_s)

    def _step(self, t: float) -> tuple[_Past | None, float]:
        """The place at t and its error as a share of what is allowed; no place where a case stays unsolved."""
        last = self._path[-1]
        h = t - last.t
        if len(self._path) < 3:
            rate, past, start = 1.0 / h, -last.q / h, last.x
        else:
            before = self._path[-2]
            r = h / (last.t - before.t)
            rate = (1 + 2 * r) / (1 + r) / h
            past = (r * r / (1 + r) * before.q - (1 + r) * last.q) / h
            start = last.x + r * (last.x - before.x)
        x, self._ok, turned = self.motion.step(t, rate, past, start)
        if not self._ok[self.solved].all() and len(self._path) >= 3:
            x, self._ok, turned = self.motion.step(t, rate, past, last.x)
        if not self._ok[self.solved].all():
            return None, 0.0
        if turned[self.solved].any() and self._heeds:
            # what grows faster than the step is long would be held on its tip
            self._heeds = h > TIP_S
            return None, 0.0
        place = self._place(t, np.where(self.solved[:, None], x, last.x))
        return place, self._error(place)

    def _error(self, place: _Past) -> float:
        """Error of the step as a share of the allowed one, the worst of all cases; 0 where nothing foretells it."""
        if len(self._path) < 2 or not self.solved.any() or not place.w.shape[1]:
            return 0.0
        last, before = self._path[-1], self._path[-2]
        h, h1 = place.t - last.t, last.t - before.t
        slope = (last.w - before.w) / h1
        foretold = last.w + h * slope
        share = h / (2 * h + h1)
        if len(self._path) >= 3:
            first = self._path[-3]
            h2 = before.t - first.t
            bend = (slope - (before.w - first.w) / h2) / (h1 + h2)
            foretold = foretold + h * (h + h1) * bend
            ours, theirs = h * (h + h1) / (2 * h + h1), h + h1 + h2
            share = ours / (ours + theirs)
        allowed = self.pace.relative * (1.0 + np.maximum(self._largest, np.abs(place.w)))
        off = share * np.abs(place.w - foretold) / allowed
        return float(off[self.solved].max())

    def _place(self, t: float, x: Real) -> _Past:
        w = self.motion.levels(x)
        return _Past(t, x, w * self.motion.weights, w)

    def _accept(self, place: _Past) -> None:
        self._path = [*self._path[-2:], place]
        self._largest = np.maximum(self._largest, np.abs(place.w))

    def _switched(self, x: Real) -> Discrete:
        return switched(self.motion.layout, self.motion.table, x[:, : self.motion.layout.size], self.state, HELD)

    def _turns(self, x: Real) -> bool:
        """Whether a relay turns over."""
        return bool((self._switched(x).closed != self.state.closed)[self.solved].any())

    def _switch(self, x: Real) -> bool:
        """Let the relays turn over; whether any has."""
        if not self._turns(x):
            return False
        self.state = self._switched(x)
        self.motion.connect(self.state)
        return True
