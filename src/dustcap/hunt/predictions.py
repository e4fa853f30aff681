"""What the hunt asks of a source of predictions; a table in a test will do.

Suspect 0 is the healthy board. Particle p of every suspect is the same board but for the fault (the same sample of the
part tolerances), so that a cured suspect reads on as particle p of the healthy board.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from dustcap.faults.suspects import Suspect
from dustcap.predict.checks import Check

Floats = NDArray[np.float64]


class Predictions(Protocol):
    """What each check would read under each suspect."""

    @property
    def suspects(self) -> Sequence[Suspect]:
        """Suspect 0 is healthy."""

    @property
    def prior(self) -> Floats:
        """Shape (suspects,); what is missing to one is "something not in the model"."""

    @property
    def particles(self) -> int:
        """Samples of each suspect."""

    def readings(self, check: Check) -> Floats:
        """Shape (suspects, particles), base units; nan: no reading can be taken there; inf: over range."""

    def severities(self) -> Floats:
        """Shape (suspects, particles): ohms of a leak; nan where there is none."""

    def candidates(self) -> Sequence[Check]:
        """Checks worth considering."""

    def heard(self, complaint: str, driver: str) -> Floats:
        """Shape (suspects, particles): probability that the complaint is observed; driver "": on any."""

    def seen(self, target: str, word: str) -> Floats:
        """Shape (suspects,): probability of the sighting on a part or area."""


@runtime_checkable
class Renewing(Protocol):
    """A source that can draw new particles near the survivors.

    The new source has the same suspects in the same order and as many particles; only those of the suspects named are
    new. Its `shares` undo the draw: density of the prior over density of the draw for each particle, so that evidence
    can be counted from the start again.
    """

    def renewed(self, suspects: Sequence[int], weights: Floats, rng: np.random.Generator) -> Predictions:
        """New particles for these suspects, near those of high weight (`weights`: suspects x particles, rows sum to
        one)."""


@runtime_checkable
class Shared(Protocol):
    """A source whose particles do not all stand for the same prior mass."""

    @property
    def shares(self) -> Floats:
        """Shape (suspects, particles): prior mass of each particle, rows of mean one."""


@runtime_checkable
class Leaking(Protocol):
    """A source that knows where a part's residue could leak."""

    def leaks_at(self, part: str) -> Sequence[Suspect]:
        """Leaks at a part or an area that are not among the suspects already."""


@runtime_checkable
class Growing(Predictions, Protocol):
    """A source that can predict further suspects: joint faults of those it has.

    The new source has the same suspects in the same order with the same particles, and the new ones at the end; its
    priors weigh them all.
    """

    def grown(self, extra: Sequence[Suspect]) -> Predictions:
        """The same source with these suspects too."""

    def prior_with(self, extra: Sequence[Suspect]) -> Floats:
        """The priors that the grown source would have, without predicting anything; shape (suspects + extra,)."""


@runtime_checkable
class Unsure(Protocol):
    """A source that knows at which checks it is less sure, or surer, than the model's error says."""

    def unsure(self, check: Check) -> Floats:
        """Variance to count beside the model's error on the scale of `meter.positions`, for the suspects' particles or
        (1, 1); not below -1."""


def unsure_of(predictions: object, check: Check) -> Floats:
    """Variance beside the model's error, shape (suspects, particles) or (1, 1); nothing where no source knows of it."""
    source = predictions
    while not isinstance(source, Unsure):
        if not hasattr(source, "plain"):
            return np.zeros((1, 1))
        source = source.plain
    return source.unsure(check)


@runtime_checkable
class ManyLeaks(Protocol):
    """A source with suspects that leak in more than one place."""

    def severities_of(self, suspect: int) -> Floats:
        """Shape (faults, particles): ohms of each fault of one suspect that is a leak; nan where it is none."""


@runtime_checkable
class Metering(Protocol):
    """A source that knows what an unplugged board reads with any leak between two of its nets."""

    def beside_a_leak(self, check: Check, a: str, b: str) -> tuple[Floats, Floats, Floats, Floats] | None:
        """For ohms with R between a and b: base, share, transfer, across of base + share R - transfer^2 / (R + across).

        Each of shape (samples,), the same samples of the healthy board for every check; None where a reading is not
        linear in that way.
        """
