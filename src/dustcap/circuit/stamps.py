"""Linear networks as sums of stamps, what faults change of them, and the plain solution of a changed one."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[Any]
Index = NDArray[np.intp]

SHORT_OHM = 1e-12
"""What an exact short counts with in the plain solution, so that two of them may lie in parallel."""


@dataclass(frozen=True, eq=False)
class Stamps:
    """Where each admittance stands: y (volts of `plus` - `minus` - emf) leaves `to` and enters `back`, (k,) each.

    `size` is the number of nets and stands for the common net.
    """

    size: int
    to: Index
    back: Index
    plus: Index
    minus: Index

    @staticmethod
    def branches(ends: Index, size: int) -> Stamps:
        """Two-terminal branches between the nets of `ends` (k, 2)."""
        return Stamps(size, ends[:, 0], ends[:, 1], ends[:, 0], ends[:, 1])

    @cached_property
    def turned(self) -> Stamps:
        """The stamps of the transposed equations."""
        return Stamps(self.size, self.plus, self.minus, self.to, self.back)

    @cached_property
    def _ends(self) -> tuple[Any, Any]:
        number = np.arange(len(self.to))
        rows, columns = np.concatenate([self.to, self.back]), np.concatenate([number, number])
        signs = np.repeat((1.0, -1.0), len(number))
        return tuple(_sparse(rows, columns, one, self.size, len(number)) for one in (signs, np.abs(signs)))

    def gathered(self, flows: Numbers, *, signed: bool = True) -> Numbers:
        """What leaves each net (nets, cases) of what flows in the stamps (k, cases), or the sum of what passes it."""
        return _product(self._ends[0 if signed else 1], flows)


@dataclass(frozen=True, eq=False)
class Changes:
    """What each fault changes.

    Attributes
    ----------
    stamps : (faults, r), numbers of the changed stamps, -1 where a fault changes fewer
    rows : (faults, r), where the admittance of each with the fault stands among the values
    values : (n, samples or 1), admittances; inf is an exact short
    """

    stamps: Index
    rows: Index
    values: Numbers

    @staticmethod
    def of(stamps: Index, values: Numbers) -> Changes:
        """From stamps (faults, r) and their values (faults, r, samples or 1)."""
        rows = np.arange(stamps.size).reshape(stamps.shape)
        return Changes(stamps, rows, values.reshape(stamps.size, values.shape[2]))

    def picked(self, rows: Index, samples: slice) -> Numbers:
        """The values in some rows (...) for some samples, (..., samples or 1); a view where they follow each other."""
        flat = rows.ravel()
        follow = len(flat) > 0 and flat[-1] - flat[0] + 1 == len(flat) and bool((np.diff(flat) == 1).all())
        values = self.values[flat[0] : flat[-1] + 1] if follow else self.values[flat]
        values = values[:, samples] if values.shape[1] > 1 else values
        return values.reshape(*rows.shape, values.shape[1])


def matrix_entries(stamps: Stamps, slot: Index, slots: int, y: Numbers) -> Numbers:
    """Entries (slots, cases) of the nodal matrices from admittances (k, cases); slots out of range are left out."""
    to, back, plus, minus = stamps.to, stamps.back, stamps.plus, stamps.minus
    rows = np.concatenate([slot[to, plus], slot[back, minus], slot[to, minus], slot[back, plus]])
    signs = np.repeat((1.0, 1.0, -1.0, -1.0), len(to))
    return _product(_sparse(rows, np.tile(np.arange(len(to)), 4), signs, slots, len(to)), y)


def _sparse(rows: Index, columns: Index, numbers: Numbers, height: int, width: int) -> Any:
    """A sparse matrix without what lies in rows that it has not."""
    from scipy.sparse import csr_array

    inside = np.flatnonzero((rows >= 0) & (rows < height))
    order = inside[np.argsort(rows[inside], kind="stable")]
    starts = np.zeros(height + 1, dtype=np.int32)
    np.cumsum(np.bincount(rows[inside], minlength=height), out=starts[1:])
    return csr_array((numbers[order], columns[order].astype(np.int32), starts), shape=(height, width))


def _product(matrix: Any, numbers: Numbers) -> Numbers:
    """A real sparse matrix times (k, cases), by real numbers alone."""
    numbers = np.ascontiguousarray(numbers)
    if not np.iscomplexobj(numbers):
        return np.asarray(matrix @ numbers)
    return np.asarray(matrix @ numbers.view(np.float64)).view(np.complex128)


def solved_anew(
    stamps: Stamps, y: Numbers, chosen: Index, values: Numbers, emf: Numbers, current: Numbers, floor: float
) -> Numbers:
    """Volts (cases, nets + 1), each case by itself, with its stamps `chosen` (cases, r) at `values` (cases, r).

    An exact short gets its current as an unknown. `y` and `emf` (k, cases or 1), `current` (nets, cases or 1).
    """
    size, (cases, rank) = stamps.size, chosen.shape
    y, short = y.astype(np.result_type(y, values)), np.isinf(values) & (chosen >= 0)
    row, column = np.nonzero(chosen >= 0)
    y[chosen[row, column], row] = np.where(short, 0.0, values)[row, column]
    matrix = np.zeros((cases, size + 1 + rank, size + 1 + rank), dtype=y.dtype)
    matrix[:, : size + 1, : size + 1] = dense(stamps, y, floor)
    extra = size + 1 + np.arange(rank)
    matrix[:, extra, extra] = np.where(short, -SHORT_OHM, 1.0)
    row, column = np.nonzero(short)
    stamp = chosen[row, column]
    for nets, sign in ((stamps.to, 1.0), (stamps.back, -1.0)):
        matrix[row, nets[stamp], size + 1 + column] += sign
    for nets, sign in ((stamps.plus, 1.0), (stamps.minus, -1.0)):
        matrix[row, size + 1 + column, nets[stamp]] += sign
    keep = np.delete(np.arange(size + 1 + rank), size)
    right = np.zeros((cases, len(keep), 1), dtype=np.result_type(y, current, emf))
    right[:, :size, 0] = (current + driven(stamps, y, emf)).T
    right[row, size + column, 0] = np.broadcast_to(emf, y.shape)[stamp, row]
    x = np.zeros((cases, size + 1), dtype=right.dtype)
    x[:, :size] = np.linalg.solve(matrix[:, keep[:, None], keep], right)[:, :size, 0]
    return x


def driven(stamps: Stamps, y: Numbers, emf: Numbers) -> Numbers:
    """Currents into the nets (nets, cases) that the electromotive forces in the stamps make."""
    live = np.flatnonzero(emf.any(axis=1))
    flows = y[live] * emf[live]
    found = np.zeros((stamps.size + 1, flows.shape[1]), dtype=flows.dtype)
    np.add.at(found, stamps.to[live], flows)
    np.subtract.at(found, stamps.back[live], flows)
    return found[:-1]


def dense(stamps: Stamps, y: Numbers, floor: float) -> Numbers:
    """Nodal matrices (cases, nets + 1, nets + 1) from admittances (k, cases); the last row and column are common."""
    width = stamps.size + 1
    flat = matrix_entries(stamps, np.arange(width * width).reshape(width, width), width * width, y)
    flat[np.arange(stamps.size) * (width + 1)] += floor
    return np.ascontiguousarray(flat.T).reshape(-1, width, width)
