"""Adding many small stamps into a batch of matrices or vectors at fixed places."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from dustcap.circuit.layout import Index, Real


class Scatter:
    """Adds values (cases, k) at k places of a batch; places at the common net (-1) are left out.

    Parameters
    ----------
    rows : shape (k,)
    columns : shape (k,), or None for vectors
    size : number of rows (and of columns)
    """

    def __init__(self, rows: Index, columns: Index | None, size: int) -> None:
        valid = rows >= 0 if columns is None else (rows >= 0) & (columns >= 0)
        kept = np.flatnonzero(valid)
        flat = rows[kept] if columns is None else rows[kept] * size + columns[kept]
        order = np.argsort(flat, kind="stable")
        self._pick = kept[order]
        self._places, self._starts = np.unique(flat[order], return_index=True)
        self._single = len(self._places) == len(flat)

    def add(self, batch: NDArray[Any], values: NDArray[Any]) -> None:
        """Add values of shape (cases, k) to `batch` (cases, ...) in place."""
        if not len(self._places):
            return
        picked = values[:, self._pick]
        total = picked if self._single else np.add.reduceat(picked, self._starts, axis=1)
        flat = batch.reshape(len(batch), -1)
        flat[:, self._places] += total


def joined(parts: list[Real], cases: int) -> Real:
    """Parts of shape (1 or cases, k) side by side, shape (cases, sum of k)."""
    if not parts:
        return np.zeros((cases, 0))
    return np.concatenate([np.broadcast_to(part, (cases, part.shape[1])) for part in parts], axis=1)
