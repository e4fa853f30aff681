"""A meter's source on an unpowered circuit whose junctions may conduct."""

from __future__ import annotations

import numpy as np

from dustcap.circuit.assembly import Condensed, Problem
from dustcap.circuit.branches import unpowered_admittances, unpowered_branches
from dustcap.circuit.devices import Group
from dustcap.circuit.junctions import Bipolars, Diodes, FieldEffects, Zeners, softplus
from dustcap.circuit.layout import Flags, Index, Layout, Real
from dustcap.circuit.newton import Damping, solve
from dustcap.circuit.scatter import Scatter
from dustcap.circuit.switching import rest
from dustcap.circuit.values import Table

QUIET_S = 1e-9
"""From every net to common: nothing beside the test current, enough to hold nets that hang on junctions."""
SOURCE_S = 1e3
COMPLIANCE_V = 0.5
"""The source gives way this far above the voltage that counts as open."""
COMPLIANCE_KNEE_V = 0.02
CHUNK_NUMBERS = 2_000_000
ROUNDS = 200
HELD = np.arange(-1.0, -9.5, -0.5)
"""Decades of the conductance that holds a net to its last voltage, siemens; choices of ours."""


class Probe:
    """The unpowered circuit with its junctions, ready for a source between any two nets.

    Parameters
    ----------
    diodes : numbers of the diodes that conduct
    only_diodes : leave every other junction open
    """

    def __init__(self, layout: Layout, diodes: list[int], *, only_diodes: bool = False) -> None:
        self.layout = layout
        self.groups: list[Group] = [Diodes(layout, diodes)] if diodes else []
        if not only_diodes:
            self.groups += [Zeners(layout)] if layout.count("zener") else []
            self.groups += [Bipolars(layout)] if layout.count("bipolar") else []
            self.groups += [FieldEffects(layout, law) for law in ("mosfet", "jfet") if layout.count(law)]
        a, b = unpowered_branches(layout)
        self._stamp = Scatter(np.concatenate([a, b, a, b]), np.concatenate([a, b, b, a]), layout.size)

    def volts(self, table: Table, pair: tuple[int, int], amps: float, open_v: float) -> Real:
        """Volts between the pair of unknowns while the source gives `amps`, (cases,)."""
        clamp = Compliance(pair, open_v + COMPLIANCE_V)
        return self._drop(table, pair, [*self.groups, clamp], amps, 0.0)

    def current(self, table: Table, pair: tuple[int, int], volts: float) -> Real:
        """Amperes that a stiff source of `volts` drives between the pair, (cases,)."""
        drop = self._drop(table, pair, self.groups, volts * SOURCE_S, SOURCE_S)
        return (volts - drop) * SOURCE_S

    def _drop(self, table: Table, pair: tuple[int, int], groups: list[Group], amps: float, siemens: float) -> Real:
        ends = np.array(pair, dtype=np.intp)
        problem = Problem(self.layout, groups, also_kept=ends[ends >= 0])
        size = max(1, CHUNK_NUMBERS // max(1, self.layout.size**2))
        parts = []
        for first in range(0, table.cases, size):
            some = table.take(np.arange(first, min(first + size, table.cases)))
            parts.append(self._solve(problem, some, ends, amps, siemens))
        return np.concatenate(parts)

    def _solve(self, problem: Problem, table: Table, ends: Index, amps: float, siemens: float) -> Real:
        layout, cases = self.layout, table.cases
        y = unpowered_admittances(layout, table, rest(layout, table).closed)
        a, b = np.zeros((cases, layout.size, layout.size)), np.zeros((cases, layout.size))
        self._stamp.add(a, np.concatenate([y, y, -y, -y], axis=1))
        every = np.arange(layout.size)
        a[:, every, every] += QUIET_S
        for end, way in zip(ends, (1.0, -1.0), strict=True):
            if end >= 0:
                b[:, end] += way * amps
                a[:, end, end] += siemens
                if ends.min() >= 0:
                    a[:, end, ends.sum() - end] -= siemens
        linear = Condensed.of(problem, a, b)
        start = np.zeros((cases, len(problem.kept)))
        kept, ok, _ = solve(problem, table, linear, start, [], rounds=ROUNDS)
        left = np.flatnonzero(~ok)
        if len(left):
            kept[left], ok[left] = _steadied(problem, table.take(left), linear.take(left))
        x = linear.expand(problem, kept)
        volts = [x[:, end] if end >= 0 else np.zeros(cases) for end in ends]
        return np.where(ok, volts[0] - volts[1], np.nan)


def _steadied(problem: Problem, table: Table, linear: Condensed) -> tuple[Real, Flags]:
    """Cases in which Newton's method goes in a circle: each net is held to its last voltage, ever less."""
    kept = np.zeros((table.cases, len(problem.kept)))
    for exponent in HELD:
        kept = solve(problem, table, linear, kept, [], damping=Damping(10.0**exponent, kept)).kept
    kept, ok, _ = solve(problem, table, linear, kept, [], rounds=ROUNDS)
    return kept, ok


class Compliance(Group):
    """The limit of the source's voltage, as a steep load from red to black."""

    law = "compliance"

    def __init__(self, pair: tuple[int, int], limit_v: float) -> None:
        self.columns = np.array([pair], dtype=np.intp)
        self.rows = self.columns
        self._limit_v = limit_v

    def evaluate(self, u: Real, table: Table) -> tuple[Real, Real]:
        """Currents leaving red and black."""
        i, g = softplus(u[..., 0] - u[..., 1] - self._limit_v, COMPLIANCE_KNEE_V)
        row = np.stack([g, -g], axis=-1)
        return np.stack([i, -i], axis=-1), np.stack([row, -row], axis=-2)

    def limit(self, new: Real, old: Real, table: Table) -> Real:
        """Enter at its corner."""
        drop, last = new[..., 0] - new[..., 1], old[..., 0] - old[..., 1]
        corner = self._limit_v + 4.0 * COMPLIANCE_KNEE_V
        drop = np.where((drop > corner) & (last < self._limit_v), corner, drop)
        return np.stack([new[..., 0], new[..., 0] - drop], axis=-1)
