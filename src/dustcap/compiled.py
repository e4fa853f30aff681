"""Loops that are compiled where numba, an extra, is at hand."""

from __future__ import annotations

from functools import cache
from importlib import import_module
from typing import Any


def compiled(function: Any) -> Any:
    """The function compiled when it is first called, and kept beside its file. ImportError where numba is missing."""
    from numba import njit

    return njit(cache=True, error_model="numpy", nogil=True)(function)


@cache
def compiled_loops(room: str) -> Any | None:
    """The compiled loops of a room.

    None where numba is missing or finds no place to keep what it compiles: numpy then does the same.
    """
    try:
        return import_module(f"dustcap.{room}.loops")
    except (ImportError, RuntimeError):
        return None
