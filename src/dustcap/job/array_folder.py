"""Arrays kept in a folder, so that a board's predictions are computed once.

Every array is one file, written to a temporary name and moved into place, so that two programs may use one folder; a
file that does not read is computed anew. The folder may be deleted at any time. Numbers are kept in single precision:
a meter shows four digits.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import tempfile
from collections.abc import Iterator, MutableMapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

SINGLE = {np.dtype(np.float64): np.float32, np.dtype(np.complex128): np.complex64}


def single(array: NDArray[Any]) -> NDArray[Any]:
    """The array in single precision."""
    return array.astype(SINGLE.get(array.dtype, array.dtype), copy=False)


class ArrayMemory(dict[str, NDArray[Any]]):
    """The same without a folder: what is kept nowhere gives the same answers."""

    def __setitem__(self, label: str, array: NDArray[Any]) -> None:
        super().__setitem__(label, single(array))


class ArrayFolder(MutableMapping[str, NDArray[Any]]):
    """A mapping of labels to arrays in one folder; arrays come back read-only, as they lie on disk."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._open: dict[str, NDArray[Any]] = {}

    def _path(self, label: str) -> Path:
        return self.folder / f"{hashlib.sha256(label.encode()).hexdigest()[:32]}.npy"

    def __getitem__(self, label: str) -> NDArray[Any]:
        if label not in self._open:
            try:
                self._open[label] = np.load(self._path(label), mmap_mode="r", allow_pickle=False)
            except (OSError, ValueError, EOFError):
                raise KeyError(label) from None
        return self._open[label]

    def __setitem__(self, label: str, array: NDArray[Any]) -> None:
        array = self._open[label] = single(array)
        with contextlib.suppress(OSError):  # a full or read-only disk costs time, never an answer
            self.folder.mkdir(parents=True, exist_ok=True)
            handle, name = tempfile.mkstemp(dir=self.folder, suffix=".part")
            try:
                with os.fdopen(handle, "wb") as file:
                    np.save(file, array, allow_pickle=False)
                os.replace(name, self._path(label))
            except OSError:
                Path(name).unlink(missing_ok=True)

    def __delitem__(self, label: str) -> None:
        self._open.pop(label, None)
        self._path(label).unlink(missing_ok=True)

    def __contains__(self, label: object) -> bool:
        try:
            self[str(label)]
        except KeyError:
            return False
        return True

    def __iter__(self) -> Iterator[str]:
        return iter(self._open)

    def __len__(self) -> int:
        return len(self._open)
