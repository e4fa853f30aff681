"""Linear networks as sums of stamps, what faults change of them, and the plain solution of a changed one."""

from __future__ import annotations

from dataclasses import dataclass
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


@dataclass(frozen=True, eq=False)
class Changes:
    """What each fault changes.

    Attributes
    ----------
    stamps : (faults, r), numbers of the changed stamps, -1 where a fault changes fewer
    values : (faults, r, samples or 1), their admittances with the fault; inf is an exact short
    """

    stamps: Index
    values: Numbers


def entries(stamps: Stamps, slot: Index) -> tuple[Index, NDArray[np.float64]]:
    """Slots of the matrix entries of every stamp with their signs, (4 k,)."""
    to, back, plus, minus = stamps.to, stamps.back, stamps.plus, stamps.minus
    places = np.concatenate([slot[to, plus], slot[back, minus], slot[to, minus], slot[back, plus]])
    return places, np.repeat((1.0, 1.0, -1.0, -1.0), len(to))


def add_at(rows: Numbers, places: Index, signs: NDArray[np.float64], values: Numbers) -> None:
    """Add signs x values (values repeat as often as needed) to the rows at the places; none at places out of it."""
    inside = np.flatnonzero((places >= 0) & (places < len(rows)))
    order = inside[np.argsort(places[inside], kind="stable")]
    if len(order):
        found, starts = np.unique(places[order], return_index=True)
        signed = values[order % len(values)] * signs[order, None]
        rows[found] += np.add.reduceat(signed, starts, axis=0)


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
    found = np.zeros((stamps.size, y.shape[1]), dtype=np.result_type(y, emf))
    if emf.any():
        live = np.flatnonzero(emf.any(axis=1))
        ends = np.concatenate([stamps.to[live], stamps.back[live]])
        add_at(found, ends, np.repeat((1.0, -1.0), len(live)), y[live] * emf[live])
    return found


def dense(stamps: Stamps, y: Numbers, floor: float) -> Numbers:
    """Nodal matrices (cases, nets + 1, nets + 1) from admittances (k, cases); the last row and column are common."""
    width = stamps.size + 1
    places, signs = entries(stamps, np.arange(width * width).reshape(width, width))
    flat = np.zeros((width * width, y.shape[1]), dtype=y.dtype)
    add_at(flat, places, signs, y)
    flat[np.arange(stamps.size) * (width + 1)] += floor
    return np.ascontiguousarray(flat.T).reshape(-1, width, width)
