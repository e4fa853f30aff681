"""Newton's method on the kept unknowns of a batch of cases.

A case is solved when the currents of all its devices agree with what the last linearisation foretold; the linear part
is then exact. Solved cases leave the batch.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from dustcap.circuit.assembly import Condensed, Problem
from dustcap.circuit.layout import Flags, Index, Real
from dustcap.circuit.mains import Cycle
from dustcap.circuit.values import Table

RELATIVE = 1e-8
ABSOLUTE = 1e-12
LEAST = 1e-16
"""What a current may be off beside `RELATIVE` at last: on a net that only 1 Tohm holds, a tenth of a millivolt."""
SPOILT = 1e-14
"""Rounding of a device's voltages, as a share of them."""
POLISHED = 12
"""Steps in which a case that agrees but for such small currents may still improve."""
LEAVING = 0.1
"""Share of solved cases from which it pays to go on without them."""
PATIENCE = 12
"""Steps of one case in which only what is overdriven may move."""
Linearised = tuple[Real, Real]


@dataclass(frozen=True, slots=True)
class Damping:
    """A conductance from every kept net to `anchor` volts (0 when None): steadies hard cases, then fades."""

    conductance: float | Real = 0.0  # siemens, one number or (cases,)
    anchor: Real | None = None  # (cases, kept)


NONE = Damping()


class Answer(NamedTuple):
    """Kept unknowns (cases, kept), which cases are solved (cases,), and which turned.

    Turned (cases,): the determinant of the equations has the other sign than that of a circuit whose amplifiers are
    too slow to feed back. An odd number of natural frequencies is then real and positive: the solution is the point on
    which a latching circuit balances like a pencil on its tip, and no real one stays there.
    """

    kept: Real
    solved: Flags
    turned: Flags


def solve(
    problem: Problem,
    table: Table,
    linear: Condensed,
    start: Real,
    cycles: list[Cycle],
    *,
    rounds: int = 40,
    damping: Damping = NONE,
    bound: Real | None = None,
    relative: float = RELATIVE,
    turned: bool = False,
) -> Answer:
    """Solve the kept unknowns of every case.

    Parameters
    ----------
    start : kept unknowns to begin from, (cases, kept)
    cycles : the mains cycle of each region, one row a case; moved along in place
    bound : most that a net can reach, (cases,), V
    relative : how far a device's current may be off what was foretold, as a share of it
    turned : look whether the solution turns the way that a stable one does
    """
    batch = _Batch(problem, table, linear, start, cycles, damping, bound)
    batch.relative, batch.look = relative, turned
    for _ in range(rounds):
        if batch.step():
            break
    return Answer(batch.answer, batch.solved, batch.turned)


class _Batch:
    """The cases that are still being solved; `rows` says which of the given ones they are."""

    def __init__(
        self,
        problem: Problem,
        table: Table,
        linear: Condensed,
        start: Real,
        cycles: list[Cycle],
        damping: Damping,
        bound: Real | None,
    ) -> None:
        self.problem, self.table, self.cycles = problem, table, cycles
        self.matrix, self.right, self.local = _damped(problem, linear, damping), linear.right, linear.local
        if np.any(damping.conductance) and damping.anchor is not None:
            nets = _nets(problem)
            self.right = self.right.copy()
            self.right[:, nets] += np.reshape(damping.conductance, (-1, 1)) * damping.anchor[:, nets]
        self.answer = start.copy()
        self.solved = np.zeros(len(start), dtype=bool)
        self.rows: Index = np.arange(len(start))
        self.points = [
            group.begin(gathered(start, columns), table)
            for group, columns in zip(problem.groups, problem.columns, strict=True)
        ]
        self.foretold: Real | None = None
        self.limited = np.ones(len(start), dtype=bool)
        self.bound = np.full(len(start), np.inf) if bound is None else bound
        self.patience = np.full(len(start), PATIENCE)
        self.polish = np.full(len(start), POLISHED)
        self.relative, self.look = RELATIVE, False
        self.turned = np.zeros(len(start), dtype=bool)
        self.slow_sign = (-1.0) ** problem.layout.count("amplifier")

    def step(self) -> bool:
        """One Newton step for every case that is left; true when none is left."""
        values = [group.evaluate(u, self.table) for group, u in zip(self.problem.groups, self.points, strict=True)]
        for cycle, local in zip(self.cycles, self.local, strict=True):
            cycle.refine(self.rows, local)
        currents = _side_by_side([f.reshape(len(f), -1) for f, _ in values], len(self.rows))
        if self.foretold is not None:
            agree = self._agree(currents, values)
            self._look(np.flatnonzero(agree & ~self.solved[self.rows]), values)
            self.solved[self.rows] |= agree
            if self.solved[self.rows].all():
                return True
            if agree.mean() > LEAVING:
                values, currents = self._leave(~self.solved[self.rows], values, currents)
        x = self._solution(values, currents)
        self.answer[self.rows] = x
        self._move(x, values)
        return False

    def _agree(self, currents: Real, values: list[Linearised]) -> Flags:
        assert self.foretold is not None
        off = np.abs(currents - self.foretold) - self.relative * np.abs(currents)
        agree = (off <= ABSOLUTE).all(axis=1) & ~self.limited
        for cycle in self.cycles:
            agree &= cycle.settled(self.rows)
        near = np.flatnonzero(agree & (off > LEAST).any(axis=1))
        if len(near):
            spoilt: list[Real] = [
                np.einsum("cmqp,cmp->cmq", np.abs(j[near]), np.abs(u[near]))
                for (_, j), u in zip(values, self.points, strict=True)
            ]
            rounding = _side_by_side([part.reshape(len(near), -1) for part in spoilt], len(near))
            rough = near[(off[near] > LEAST + SPOILT * rounding).any(axis=1)]
            agree[rough] = self.polish[self.rows[rough]] <= 0
            self.polish[self.rows[rough]] -= 1
        return agree

    def _leave(self, stay: Flags, values: list[Linearised], currents: Real) -> tuple[list[Linearised], Real]:
        kept = np.flatnonzero(stay)
        self.rows, self.table = self.rows[kept], self.table.take(kept)
        self.matrix, self.right = self.matrix[kept], self.right[kept]
        self.local = tuple(local[kept] for local in self.local)
        self.points = [u[kept] for u in self.points]
        return [(f[kept], jacobian[kept]) for f, jacobian in values], currents[kept]

    def _look(self, found: Index, values: list[Linearised]) -> None:
        """Note which of the cases that are just found are turned."""
        if self.look and len(found):
            matrix = self._matrix(found, [(f[found], jacobian[found]) for f, jacobian in values])
            self.turned[self.rows[found]] = np.linalg.slogdet(matrix)[0] != self.slow_sign

    def _matrix(self, places: Index, values: list[Linearised]) -> Real:
        """Derivatives of the kept equations at some places of the batch, with the values there."""
        matrix = self.matrix[places]
        for cycle, nets, local in zip(self.cycles, self.problem.region_nets, self.local, strict=True):
            matrix[:, nets[:, None], nets] += cycle.stamps(self.rows[places])[0] - local[places]
        flat = [jacobian.reshape(len(jacobian), -1) for _, jacobian in values]
        self.problem.matrices.add(matrix, _side_by_side(flat, len(places)))
        return matrix

    def _solution(self, values: list[Linearised], currents: Real) -> Real:
        matrix, right = self.matrix.copy(), self.right.copy()
        for cycle, nets, local in zip(self.cycles, self.problem.region_nets, self.local, strict=True):
            block, current = cycle.stamps(self.rows)
            matrix[:, nets[:, None], nets] += block - local
            right[:, nets] += current
        if values:
            bends: list[Real] = [
                np.einsum("cmqp,cmp->cmq", j, u) for (_, j), u in zip(values, self.points, strict=True)
            ]
            pulls = _side_by_side([bend.reshape(len(bend), -1) for bend in bends], len(self.rows))
            self.problem.vectors.add(right, pulls - currents)
            flat = [jacobian.reshape(len(jacobian), -1) for _, jacobian in values]
            self.problem.matrices.add(matrix, _side_by_side(flat, len(self.rows)))
        try:
            x = np.linalg.solve(matrix, right[..., None])
        except np.linalg.LinAlgError:  # from a start far off; such a case goes on from rest
            singular = np.linalg.slogdet(matrix)[0] == 0
            matrix[singular], right[singular] = np.eye(matrix.shape[1]), 0.0
            x = np.linalg.solve(matrix, right[..., None])
        return np.asarray(x[..., 0], dtype=np.float64)

    def _move(self, x: Real, values: list[Linearised]) -> None:
        """The next points, what the devices should carry there, and whether any was limited."""
        wild, bounded = self._wild(x), self._bounded(x)
        self.limited = wild.copy()
        for nets in self.problem.region_nets:
            self.limited |= (bounded[:, nets] != x[:, nets]).any(axis=1)
        foretold: list[Real] = []
        for number, (group, columns) in enumerate(zip(self.problem.groups, self.problem.columns, strict=True)):
            proposed, old = gathered(bounded, columns), self.points[number]
            f, jacobian = values[number]
            step = gathered(x, columns) - old
            foretold.append((f + np.einsum("cmqp,cmp->cmq", jacobian, step)).reshape(len(x), -1))
            new = group.limit(proposed, old, self.table)
            if wild.any():
                new = np.where(wild[:, None, None], group.saturated(proposed, old, self.table), new)
            if new is not proposed:
                self.limited |= (np.abs(new - proposed) > 1e-9 * (1.0 + np.abs(proposed))).any(axis=(1, 2))
            self.points[number] = new
        self.foretold = _side_by_side(foretold, len(x))
        tame = np.flatnonzero(~wild)
        if self.cycles and len(tame):
            drawn = np.zeros_like(x)
            self.problem.vectors.add(drawn, self.foretold)
            for cycle, nets in zip(self.cycles, self.problem.region_nets, strict=True):
                cycle.accept(self.rows[tame], bounded[tame[:, None], nets], drawn[tame[:, None], nets])

    def _bounded(self, x: Real) -> Real:
        """Net voltages kept to what the supplies can make at all; a linearisation beyond means nothing.

        A net that really stands beyond, held by nothing but a bias current, still agrees: devices are flat there.
        """
        nets = _nets(self.problem)
        limit = self.bound[self.rows, None]
        if (np.abs(x[:, nets]) <= limit).all():
            return x
        bounded = x.copy()
        bounded[:, nets] = np.clip(x[:, nets], -limit, limit)
        return bounded

    def _wild(self, x: Real) -> Flags:
        """Cases in which a device is sent far beyond its linear range, as often as there is patience for it."""
        wild = np.zeros(len(x), dtype=bool)
        for group, columns, old in zip(self.problem.groups, self.problem.columns, self.points, strict=True):
            wild |= group.overdriven(gathered(x, columns), old, self.table)
        wild &= self.patience[self.rows] > 0
        self.patience[self.rows] -= wild
        return wild


def gathered(x: Real, columns: Index) -> Real:
    """Unknowns at the columns (m, p) of a group, shape (cases, m, p); zero at common."""
    picked: Real = x[:, columns]
    return np.where(columns >= 0, picked, 0.0)


def _side_by_side(parts: list[Real], cases: int) -> Real:
    return np.concatenate([np.zeros((cases, 0)), *parts], axis=1)


def _nets(problem: Problem) -> Index:
    return np.flatnonzero(problem.kept < len(problem.layout.nets))


def _damped(problem: Problem, linear: Condensed, damping: Damping) -> Real:
    if not np.any(damping.conductance):
        return linear.matrix
    matrix, nets = linear.matrix.copy(), _nets(problem)
    matrix[:, nets, nets] += np.reshape(damping.conductance, (-1, 1))
    return matrix
