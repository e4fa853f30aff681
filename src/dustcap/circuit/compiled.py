"""Whether the compiled loops of `loops.py` are at hand: they need numba, which is an extra."""

from __future__ import annotations

from functools import cache
from importlib import import_module
from typing import Any


@cache
def compiled_loops() -> Any | None:
    """The module of compiled loops.

    None where numba is missing or finds no place to keep what it compiles: numpy then does the same.
    """
    try:
        return import_module("dustcap.circuit.loops")
    except (ImportError, RuntimeError):
        return None
