"""Many linear systems of one sparse pattern at once: the order of elimination is found once, then frozen.

A nodal matrix of 80 unknowns has about five numbers in a row, and every case of a batch has them at the same places.
The pivots are chosen on one representative matrix (Markowitz 1957 with a threshold, from memory); then each step of the
elimination is done for all cases together. A case for which the frozen pivots are poor shows it in its residual and is
solved by the dense way.

| symbol | meaning |
| --- | --- |
| A = L U | in the order of the pivots, L with ones on its diagonal |
| d | pivots, the diagonal of U |
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dustcap.circuit.layout import Flags, Index, Layout, Real

Numbers = NDArray[Any]

FEWEST = 48
"""Cases from which it pays."""
AT_ONCE = 512
THRESHOLD = 0.5
"""Least share of the largest number in its column that a pivot has on the representative matrix."""
BACKWARD = 1e-11
"""Largest relative change of any entry of the equations that the answer may amount to."""
ROUNDING = 1e-14
MODELS = 33
PLANS = 64


@dataclass(frozen=True, eq=False)
class Step:
    """One pivot: its row and column, and the slots of what it meets."""

    row: int
    column: int
    pivot: int
    rows: Index  # rows below with a number in the pivot's column
    columns: Index  # columns to the right with a number in the pivot's row
    below: Index  # slots (rows,)
    right: Index  # slots (columns,)
    inner: Index  # slots (rows, columns)


class Frozen:
    """The plan of elimination for one pattern.

    Parameters
    ----------
    pattern : where a case may have a number, (n, n)
    model : a representative matrix, (n, n), not negative
    """

    def __init__(self, pattern: Flags, model: Real) -> None:
        self.size = len(pattern)
        order = _pivots(pattern, model)
        filled = _filled(pattern, order)
        slot = np.full(pattern.shape, -1, dtype=np.intp)
        self._flat = np.flatnonzero(pattern)
        slot.ravel()[self._flat] = np.arange(len(self._flat))
        new = np.flatnonzero(filled & ~pattern)
        slot.ravel()[new] = len(self._flat) + np.arange(len(new))
        self._slots = len(self._flat) + len(new)
        self._entry_rows, self._entry_columns = np.divmod(self._flat, self.size)
        self._row_starts = np.searchsorted(self._entry_rows, np.arange(self.size))
        self._steps = _steps(order, filled, slot)

    def factor(self, matrix: Numbers) -> Numbers:
        """L below, d on and U above the diagonal, by slot, (slots, cases)."""
        cases = len(matrix)
        w = np.zeros((self._slots, cases), dtype=matrix.dtype)
        w[: len(self._flat)] = matrix.reshape(cases, -1)[:, self._flat].T
        for step in self._steps:
            if len(step.below):
                lower = w[step.below] / w[step.pivot]
                w[step.below] = lower
                if len(step.right):
                    w[step.inner] -= lower[:, None] * w[step.right]
        return w

    def substitute(self, w: Numbers, right: Numbers) -> Numbers:
        """Solution (n, cases, m) from the factors and the right side (n, cases, m)."""
        y = right.astype(np.result_type(w, right))
        for step in self._steps:
            if len(step.below):
                y[step.rows] -= w[step.below][..., None] * y[step.row]
        x = np.empty_like(y)
        for step in reversed(self._steps):
            known = y[step.row]
            if len(step.right):
                known = known - (w[step.right][..., None] * x[step.columns]).sum(axis=0)
            x[step.column] = known / w[step.pivot][:, None]
        return x

    def off(self, matrix: Numbers, x: Numbers, right: Numbers) -> tuple[Numbers, Flags]:
        """Residual (n, cases, m) and which cases (cases,) answer to nearly their own equations.

        The backward error, entry by entry, is the residual over |A||x| + |b| (Oettli & Prager 1964, from memory); where
        all of a row is next to nothing it counts against the row's largest entry and the largest x, as it does for a
        dense solution.
        """
        entries = matrix.reshape(len(matrix), -1)[:, self._flat].T[..., None]
        terms = entries * x[self._entry_columns]
        residual = right - np.add.reduceat(terms, self._row_starts, axis=0)
        size = np.add.reduceat(np.abs(terms), self._row_starts, axis=0) + np.abs(right)
        most = np.maximum.reduceat(np.abs(entries), self._row_starts, axis=0) * np.abs(x).max(axis=0)
        return residual, np.asarray((np.abs(residual) <= BACKWARD * size + ROUNDING * most).all(axis=(0, 2)))

    def solve(self, matrix: Numbers, right: Numbers) -> tuple[Numbers, Flags]:
        """Solution (cases, n, m) and where it can be relied on, with one step of refinement."""
        w, b = self.factor(matrix), np.ascontiguousarray(right.transpose(1, 0, 2))
        x = self.substitute(w, b)
        residual, good = self.off(matrix, x, b)
        poor = np.flatnonzero(~good)
        if len(poor):
            x[:, poor] += self.substitute(w[:, poor], residual[:, poor])
            good[poor] = self.off(matrix[poor], x[:, poor], b[:, poor])[1]
        return x.transpose(1, 0, 2), good


def solutions(layout: Layout, matrix: Numbers, right: Numbers) -> Numbers:
    """Solutions (cases, n, m) of a batch of equations of one circuit: matrix (cases, n, n), right (cases, n, m)."""
    plan = _plan(layout, matrix)
    if plan is None:
        return np.asarray(np.linalg.solve(matrix, right))
    found = np.empty(right.shape, dtype=np.result_type(matrix, right))
    with np.errstate(all="ignore"):
        for first in range(0, len(matrix), AT_ONCE):
            rows = slice(first, first + AT_ONCE)
            found[rows], good = plan.solve(matrix[rows], right[rows])
            poor = first + np.flatnonzero(~good)
            if len(poor):
                found[poor] = np.linalg.solve(matrix[poor], right[poor])
    return found


def _plan(layout: Layout, matrix: Numbers) -> Frozen | None:
    """The plan for these matrices, made once a pattern; None where the dense way is as good."""
    if len(matrix) < FEWEST:
        return None
    pattern = (matrix != 0).any(axis=0)
    plans = layout.kept.setdefault("frozen", {})
    assert isinstance(plans, dict)
    key = (pattern.tobytes(), matrix.dtype.kind)
    if key not in plans:
        if len(plans) >= PLANS:
            plans.clear()
        some = matrix[np.linspace(0, len(matrix) - 1, MODELS).astype(np.intp)]
        plans[key] = Frozen(pattern, np.median(np.abs(some), axis=0))
    found: Frozen = plans[key]
    return found


def _pivots(pattern: Flags, model: Real) -> list[tuple[int, int]]:
    """Row and column of each pivot: few numbers beside it, and none much larger in its column."""
    n = len(pattern)
    a, there = np.where(pattern, model, 0.0), pattern.copy()
    rows, columns = np.ones(n, dtype=bool), np.ones(n, dtype=bool)
    order = []
    for _ in range(n):
        live = there & rows[:, None] & columns
        size = np.where(live, a, 0.0)
        fit = live & (size >= THRESHOLD * np.maximum(size.max(axis=0), 1e-300))
        cost = (live.sum(axis=1)[:, None] - 1) * (live.sum(axis=0) - 1) + 1e-3 * (size < size.max(axis=0))
        row, column = divmod(int(np.argmin(np.where(fit, cost, np.inf))), n)
        if not fit[row, column]:
            row, column = int(np.argmax(rows)), int(np.argmax(columns))
        order.append((row, column))
        rows[row] = columns[column] = False
        i, j = np.flatnonzero(there[:, column] & rows), np.flatnonzero(there[row] & columns)
        there[i[:, None], j] = True
        if a[row, column] > 0:
            a[i[:, None], j] = np.maximum(a[i[:, None], j], a[i, column][:, None] * a[row, j] / a[row, column])
    return order


def _filled(pattern: Flags, order: list[tuple[int, int]]) -> Flags:
    """The pattern with what the elimination adds to it, and every pivot."""
    filled = pattern.copy()
    rows, columns = np.ones(len(pattern), dtype=bool), np.ones(len(pattern), dtype=bool)
    for row, column in order:
        filled[row, column] = True
        rows[row] = columns[column] = False
        filled[np.ix_(filled[:, column] & rows, filled[row] & columns)] = True
    return filled


def _steps(order: list[tuple[int, int]], filled: Flags, slot: Index) -> list[Step]:
    steps = []
    rows, columns = np.ones(len(filled), dtype=bool), np.ones(len(filled), dtype=bool)
    for row, column in order:
        rows[row] = columns[column] = False
        i, j = np.flatnonzero(filled[:, column] & rows), np.flatnonzero(filled[row] & columns)
        inner = slot[i[:, None], j]
        steps.append(Step(row, column, int(slot[row, column]), i, j, slot[i, column], slot[row, j], inner))
    return steps
