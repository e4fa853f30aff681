"""Operating point: every net of a powered circuit, for a batch of cases at once.

Strategy: from a similar solved case straight by Newton's method; otherwise, and for cases that this does not solve, the
supplies are raised from zero in steps, so that a latching circuit ends where the real one ends at switch-on; what is
left is tried with a fading conductance and at last by pseudo-transient steps. A solution on which an amplifier with
positive feedback only balances is left for the state that it falls to. `converged` says honestly what happened.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dustcap.circuit.amplifiers import LAG, LAGGED, Amplifiers
from dustcap.circuit.assembly import Condensed, Discrete, Powered, powered
from dustcap.circuit.elements import Circuit, Values
from dustcap.circuit.layout import Flags, Index, Layout, Real, layout_of
from dustcap.circuit.mains import Cycle, Waves
from dustcap.circuit.newton import Damping, gathered, solve
from dustcap.circuit.point import OperatingPoint
from dustcap.circuit.switching import rest, switched
from dustcap.circuit.values import Table, table_of
from dustcap.errors import SolveError

SMALLEST = 0.02
FOLLOWED = 60
SWITCHINGS = 8
CHUNK_BYTES = 24e6
FIRST_STEP, LAST_STEP = 0.05, 1e8
"""Steps in which a balancing amplifier falls, in time constants of its gain-bandwidth product."""
TIPPED = 150


def operating_point(
    circuit: Circuit,
    values: Values | None = None,
    *,
    start: OperatingPoint | Real | None = None,
    batch: int | None = None,
    thorough: bool = True,
) -> OperatingPoint:
    """Operating point of every case.

    Parameters
    ----------
    values : overrides of element values, one number or shape (cases,) each
    start : a point of the same circuit with one case or as many as this one, or its net volts (nets,) or (cases, nets)
    batch : number of cases when no override says it
    thorough : false: leave a case that Newton's method does not solve from `start` unsolved; a balance still falls

    Returns
    -------
    OperatingPoint
        Volts (cases, nets); `converged` (cases,) is false where no method found an answer.

    Raises
    ------
    SolveError
        An override names nothing, or `start` does not fit.
    """
    layout = layout_of(circuit)
    table = table_of(layout, values or {}, batch)
    work = powered(layout)
    seed = _seed(layout, table.cases, start)
    size = max(1, int(CHUNK_BYTES / (8 * max(layout.size, 1) ** 2)))
    parts = []
    for first in range(0, table.cases, size):
        rows = np.arange(first, min(first + size, table.cases))
        begin = None if seed is None else seed.take(rows)
        parts.append(_solve_chunk(work, table.take(rows), begin, thorough or begin is None))
    x, ok, states, waves = zip(*parts, strict=True)
    return OperatingPoint(
        circuit=circuit,
        table=table,
        unknowns=np.concatenate(x),
        converged=np.concatenate(ok),
        state=Discrete.joined(list(states)),
        waves=[Waves.joined(list(of_region)) for of_region in zip(*waves, strict=True)],
    )


@dataclass(frozen=True, eq=False)
class _Start:
    """Where to begin: one row for all cases or one for each."""

    x: Real
    state: Discrete | None
    waves: list[Waves] | None

    def take(self, rows: Index) -> _Start:
        if len(self.x) == 1:
            return self
        waves = None if self.waves is None else [wave.pick(rows) for wave in self.waves]
        return _Start(self.x[rows], None if self.state is None else self.state.take(rows), waves)


def _seed(layout: Layout, cases: int, start: OperatingPoint | Real | None) -> _Start | None:
    if start is None:
        return None
    if isinstance(start, OperatingPoint):
        if start.unknowns.shape[1] != layout.size or len(start.unknowns) not in (1, cases):
            raise SolveError("the point to start from is of another circuit or number of cases.", where="circuit")
        return _Start(start.unknowns, start.state, start.waves)
    volts = np.atleast_2d(np.asarray(start, dtype=float))
    if volts.shape[1] != len(layout.nets) or len(volts) not in (1, cases):
        raise SolveError(f"volts to start from have the shape {volts.shape}.", where="circuit")
    x = np.zeros((len(volts), layout.size))
    x[:, : len(layout.nets)] = volts
    if layout.count("amplifier"):
        out = layout.at("amplifier", "out")
        x[:, layout.targets] = np.where(out >= 0, volts[:, out], 0.0)
    return _Start(x, None, None)


def _solve_chunk(
    work: Powered, table: Table, start: _Start | None, thorough: bool
) -> tuple[Real, Flags, Discrete, list[Waves]]:
    chunk = _Chunk(work, table, start, thorough)
    chunk.run()
    return chunk.x, chunk.ok, chunk.state, chunk.waves


class _Chunk:
    """Some cases of a batch with their present unknowns, switches and mains cycles."""

    def __init__(self, work: Powered, table: Table, start: _Start | None, thorough: bool) -> None:
        self.problem, self.stamps, self.table = work.problem, work.linear, table
        cases, layout = table.cases, work.problem.layout
        self.state = rest(layout, table)
        self.ok, self.turned = np.zeros(cases, dtype=bool), np.zeros(cases, dtype=bool)
        self.x = np.zeros((cases, layout.size))
        self.waves = [Waves.at_rest(region, cases) for region in work.problem.regions]
        self.warm, self.thorough = start is not None, thorough
        if start is not None:
            self.x[:] = start.x
            if start.waves is not None:
                self.waves = [spread(waves, cases) for waves in start.waves]
            if start.state is not None:
                self.state = switched(layout, table, self.x, start.state.spread(cases), 0)

    def run(self) -> None:
        """Solve, then look what has switched, until nothing switches any more."""
        todo = np.arange(self.table.cases)
        for rounds in range(SWITCHINGS):
            self._solve(todo, cold=rounds == 0 and not self.warm)
            table = self.table.take(todo)
            old = self.state.take(todo)
            new = switched(self.problem.layout, table, self.x[todo], old, rounds)
            changed = (new.closed != old.closed).any(axis=1)
            changed &= self.ok[todo] | self.thorough
            if not changed.any():
                return
            todo = todo[changed]
            self.state.put(todo, new.take(np.flatnonzero(changed)))
        self.ok[todo] = False

    def _solve(self, rows: Index, *, cold: bool) -> None:
        left = rows
        if not cold:
            self._attempt(left, 1.0)
            if not self.thorough:
                self._tip(left[self.ok[left] & self.turned[left]])
            self.ok[left] &= ~self.turned[left]
            if not self.thorough:
                return
            left = left[~self.ok[left]]
        for way in (self._ramp, self._fade, self._transient):
            if len(left):
                self._reset(left)
                left = way(left)
        self._tip(rows[self.ok[rows] & self.turned[rows]])

    def _fade(self, rows: Index) -> Index:
        """A conductance from every net to common that fades away, a decade at a time; the rows it leaves unsolved.

        It comes after the ramp, because a net that is held down can fire a latching circuit.
        """
        return self._follow(rows, lambda some, along: self._attempt(some, 1.0, _fading(along)), 1.0 / 13.0)

    def _ramp(self, rows: Index) -> Index:
        """The supplies raised from zero; the rows that it leaves unsolved."""
        return self._follow(rows, lambda some, along: self._attempt(some, along), 0.1)

    def _follow(self, rows: Index, attempt: Callable[[Index, Real], Index], first: float) -> Index:
        """Go from an easy problem (0) to the real one (1), each case in steps of its own."""
        reached, step = np.zeros(len(rows)), np.full(len(rows), first)
        for _ in range(FOLLOWED):
            going = np.flatnonzero((reached < 1.0) & (step > first * SMALLEST))
            if not len(going):
                break
            some, target = rows[going], np.minimum(1.0, reached[going] + step[going])
            x, waves = self.x[some], [wave.pick(some) for wave in self.waves]
            attempt(some, target)
            ok = self.ok[some]
            reached[going[ok]] = target[ok]
            step[going] *= np.where(ok, 1.6, 0.3)
            self._restore(some[~ok], x[~ok], [wave.pick(np.flatnonzero(~ok)) for wave in waves])
        self.ok[rows] = reached >= 1.0
        return rows[reached < 1.0]

    def _tip(self, rows: Index) -> None:
        """Let amplifiers that balance between two states fall to the side that they fall to at switch-on.

        Their outputs begin at 0 V and follow their dominant pole; a step in which the solution is turned was too long.
        A balance that this does not end, as of two transistors, is left as it is.
        """
        group = next((group for group in self.problem.groups if isinstance(group, Amplifiers)), None)
        if group is None or not len(rows):
            return
        old, waves = self.x[rows], [wave.pick(rows) for wave in self.waves]
        table = self.table.take(rows)
        output = np.clip(0.0, *_limits(group, old, table))
        span = np.full(len(rows), FIRST_STEP)  # steps in the time of the fastest amplifier
        pace = table.get("amplifier", "bandwidth_hz").max(axis=1, keepdims=True) / table.get(
            "amplifier", "bandwidth_hz"
        )
        for _ in range(TIPPED):
            going = np.flatnonzero(span < LAST_STEP)
            if not len(going):
                break
            some, lag = rows[going], np.broadcast_to(pace, output.shape)[going] / span[going, None]
            before, cycles = self.x[some], [wave.pick(some) for wave in self.waves]
            self._attempt(some, 1.0, lag=(lag, -lag * output[going]))
            fine = self.ok[some] & ~self.turned[some]
            here = group.target(gathered(self.x[some], group.columns), table.take(going)).y
            output[going[fine]] = here[fine]
            span[going] *= np.where(fine, 2.0, 0.25)
            self._restore(some[~fine], before[~fine], [wave.pick(np.flatnonzero(~fine)) for wave in cycles])
        self._attempt(rows, 1.0)
        still = np.flatnonzero(~self.ok[rows] | self.turned[rows])
        self._restore(rows[still], old[still], [wave.pick(still) for wave in waves])
        self.ok[rows] = True

    def _restore(self, rows: Index, x: Real, waves: list[Waves]) -> None:
        self.x[rows] = x
        for mine, saved in zip(self.waves, waves, strict=True):
            mine.put(rows, saved)

    def _reset(self, rows: Index) -> None:
        self.x[rows] = 0.0
        for region, waves in zip(self.problem.regions, self.waves, strict=True):
            waves.put(rows, Waves.at_rest(region, len(rows)))

    def _attempt(
        self,
        rows: Index,
        scale: float | Real,
        damping: float | Real = 0.0,
        *,
        anchored: bool = False,
        lag: tuple[Real, Real] | None = None,
    ) -> Index:
        """Newton's method for some rows at a share of the supplies; the rows that it leaves unsolved."""
        table, problem = self.table.take(rows), self.problem
        if lag is not None:
            table = Table(table.cases, {**table.columns, LAG: lag[0], LAGGED: lag[1]})
        share = np.broadcast_to(np.asarray(scale, dtype=float), (len(rows),))
        linear = Condensed.of(problem, *self.stamps.assemble(table, self.state.take(rows), share))
        cycles = [
            Cycle(region, table, problem.layout.mains_hz, share, waves.pick(rows))
            for region, waves in zip(problem.regions, self.waves, strict=True)
        ]
        begin = self.x[rows][:, problem.kept]
        steady = Damping(damping, begin if anchored else None)
        found = solve(problem, table, linear, begin, cycles, damping=steady, bound=_bound(table), turned=True)
        self.x[rows] = linear.expand(problem, found.kept)
        for waves, cycle in zip(self.waves, cycles, strict=True):
            waves.put(rows, cycle.waves)
        self.ok[rows], self.turned[rows] = found.solved, found.turned
        return rows[~found.solved]

    def _transient(self, rows: Index) -> Index:
        """Pseudo-transient: each net held to its last voltage by a conductance that shrinks."""
        for exponent in np.arange(1.0, -9.5, -0.25):
            self._attempt(rows, 1.0, 10.0**exponent, anchored=True)
        return self._attempt(rows, 1.0)


def _limits(group: Amplifiers, x: Real, table: Table) -> tuple[Real, Real]:
    """Lowest and highest output of every amplifier, (cases, amplifiers) each."""
    target = group.target(gathered(x, group.columns), table)
    return np.minimum(target.bottom, target.top), np.maximum(target.bottom, target.top)


def _bound(table: Table) -> Real:
    """More than any net can reach: twice all supplies in series, (cases,), V."""
    total = np.full(table.cases, 20.0)
    for law, name, factor in (("source", "volts", 2.0), ("transformer", "volts_rms", 4.0 * np.sqrt(2.0))):
        if (law, name) in table.columns:
            total = total + factor * np.abs(table.get(law, name)).sum(axis=1)
    return total


def _fading(along: Real) -> Real:
    """Siemens from every net to common on the way from 1 (at 0) to none (at 1), thirteen decades."""
    return np.where(along < 1.0, 10.0 ** (-13.0 * along), 0.0)


def spread(waves: Waves, cases: int) -> Waves:
    """One case's state for every case of a batch."""
    rows = np.zeros(cases, dtype=np.intp) if len(waves.v) == 1 else np.arange(cases)
    return waves.pick(rows)
