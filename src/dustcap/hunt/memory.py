"""What a hunt needs not compute twice: things that depend on the predictions and one entry or check alone.

They are kept with the source of predictions, if it has a place for them, and live as long as it does.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import Any, Protocol, TypeVar, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from dustcap.hunt.predictions import Predictions

Kept = TypeVar("Kept")


@runtime_checkable
class Remembering(Protocol):
    """A source of predictions that never change, with a place to keep what was made of them."""

    memory: dict[Hashable, Any]


def remembered(predictions: object, key: Hashable, make: Callable[[], Kept]) -> Kept:
    """What `make` gives, made once for each key where the source remembers."""
    if not isinstance(predictions, Remembering):
        return make()
    if key not in predictions.memory:
        predictions.memory[key] = make()
    found: Kept = predictions.memory[key]
    return found


def heard(predictions: Predictions, complaint: str, driver: str) -> NDArray[np.float64]:
    """Probability that a complaint is observed, shape (suspects, particles)."""
    shape = (len(predictions.suspects), predictions.particles)
    return remembered(
        predictions,
        ("heard", complaint, driver),
        lambda: np.broadcast_to(np.asarray(predictions.heard(complaint, driver), dtype=float), shape),
    )
