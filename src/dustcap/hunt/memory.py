"""What a hunt needs not compute twice: things that depend on the predictions and one entry or check alone.

They are kept with a source of predictions that never change, if it has a place for them (`memory`), and live as long as
it does.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from dustcap.faults.suspects import Suspect
from dustcap.hunt.predictions import Growing, ManyLeaks, Predictions
from dustcap.predict.checks import Check

Floats = NDArray[np.float64]

Kept = TypeVar("Kept")


def remembered(predictions: object, key: Hashable, make: Callable[[], Kept]) -> Kept:
    """What `make` gives, made once for each key where the source has a memory."""
    memory: dict[Hashable, Any] | None = getattr(predictions, "memory", None)
    if memory is None:
        return make()
    if key not in memory:
        memory[key] = make()
    found: Kept = memory[key]
    return found


def remembered_rows(predictions: object, key: Hashable, rows: Callable[[int], NDArray[Any]]) -> NDArray[Any]:
    """A table with one row a suspect, made once; of a source that grew, only the rows of its new suspects are made.

    `rows` makes those from one number on.
    """
    before: Settled | None = getattr(predictions, "before", None)

    def make() -> NDArray[Any]:
        if before is None:
            return rows(0)
        return np.concatenate([remembered_rows(before, key, rows), rows(len(before.suspects))])

    return remembered(predictions, key, make)


class Settled:
    """A source as it stands: what it predicts is kept once asked for, and nothing new is simulated for an answer."""

    def __init__(self, source: Predictions, before: Settled | None = None) -> None:
        self._source, self.before = source, before
        self.memory: dict[Hashable, Any] = {}
        self.suspects, self.prior, self.particles = source.suspects, source.prior, source.particles

    @property
    def plain(self) -> Predictions:
        """The source that all comes from."""
        return self._source

    def readings(self, check: Check) -> Floats:
        """Shape (suspects, particles), base units."""
        return self._source.readings(check)

    def severities(self) -> Floats:
        """Shape (suspects, particles): ohms of a leak; nan where there is none."""
        return remembered(self, "severities", self._source.severities)

    def candidates(self) -> Sequence[Check]:
        """Checks worth considering."""
        return remembered(self, "candidates", self._source.candidates)

    def heard(self, complaint: str, driver: str) -> Floats:
        """Shape (suspects, particles): probability that the complaint is observed."""
        return remembered(self, ("source heard", complaint, driver), lambda: self._source.heard(complaint, driver))

    def seen(self, target: str, word: str) -> Floats:
        """Shape (suspects,): probability of the sighting on a part or area."""
        return remembered(self, ("seen", target, word), lambda: self._source.seen(target, word))


class Settling(Settled):
    """The same of a source that grows: joint faults are simulated when they are asked for, and then kept.

    `before` is the source with fewer suspects that what was kept of still holds for.
    """

    def __init__(self, source: Predictions, before: Settled | None = None) -> None:
        super().__init__(source, before)
        assert isinstance(source, Growing)
        self._growing = source

    def grown(self, extra: Sequence[Suspect]) -> Predictions:
        """The same source with these suspects too."""
        return remembered(self, ("grown", tuple(extra)), lambda: self._with(extra))

    def prior_with(self, extra: Sequence[Suspect]) -> Floats:
        """The priors that the grown source would have."""
        return self._growing.prior_with(extra)

    def _with(self, extra: Sequence[Suspect]) -> Predictions:
        found = self._growing.grown(extra)
        return Settling(found, self) if isinstance(found, Growing) else Settled(found, self)

    def severities_of(self, suspect: int) -> Floats:
        """Shape (faults, particles): ohms of each fault of one suspect that is a leak; nan where it is none."""
        source = self._growing
        return source.severities_of(suspect) if isinstance(source, ManyLeaks) else self.severities()[suspect][None]


def heard(predictions: Predictions, complaint: str, driver: str) -> Floats:
    """Probability that a complaint is observed, shape (suspects, particles)."""
    shape = (len(predictions.suspects), predictions.particles)
    return remembered(
        predictions,
        ("heard", complaint, driver),
        lambda: np.broadcast_to(np.asarray(predictions.heard(complaint, driver), dtype=float), shape),
    )
