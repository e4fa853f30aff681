"""What a source knows of the circumstances of a fault: whether it shows, how it goes with the volume, and when.

A source that knows nothing of them (a table) says nothing: every fault shows, and every circumstance is equally likely.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from dustcap.board.model import Board
from dustcap.faults.intermittent import UNKNOWN, heard_when, shows
from dustcap.faults.suspects import Suspect
from dustcap.hunt.evidence import Complaint
from dustcap.hunt.memory import remembered
from dustcap.hunt.predictions import Predictions

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

UNTOLD = 0.5


@runtime_checkable
class Placed(Protocol):
    """A source that knows its board."""

    board: Board

    def follows(self, complaint: str, driver: str) -> Floats:
        """Shape (suspects, particles): probability that the complaint, once heard, is said to follow the volume."""


@dataclass(frozen=True)
class Showing:
    """For each suspect the probability that it shows during a check, and the number of the suspect that is met when it
    does not; both of shape (suspects,)."""

    share: Floats
    absent: Ints

    @property
    def always(self) -> bool:
        """Whether every fault always shows."""
        return bool(np.all(self.share >= 1.0))


def plain(predictions: Predictions) -> Predictions:
    """The source itself, under whatever keeps what it said."""
    while hasattr(predictions, "plain"):
        predictions = predictions.plain
    return predictions


def showing(predictions: Predictions) -> Showing:
    """How surely each suspect shows. A joint fault of which several members come and go is taken to show."""
    return remembered(predictions, "showing", lambda: _showing(predictions))


def _showing(predictions: Predictions) -> Showing:
    count = len(predictions.suspects)
    share, absent = np.ones(count), np.arange(count)
    source = plain(predictions)
    if isinstance(source, Placed):
        index = {frozenset(suspect.faults): i for i, suspect in enumerate(predictions.suspects)}
        for i, suspect in enumerate(predictions.suspects):
            fickle = [fault for fault in suspect.faults if shows(source.board, Suspect((fault,))) < 1.0]
            rest = frozenset(suspect.faults) - frozenset(fickle)
            if len(fickle) == 1 and rest in index:
                share[i], absent[i] = shows(source.board, Suspect(tuple(fickle))), index[rest]
    return Showing(share, absent)


def told_so(predictions: Predictions, entry: Complaint) -> tuple[Floats, float]:
    """Probability of what was said of a complaint's circumstances, for each suspect's particles and for what is not in
    the model; the first of shape (suspects, particles) or (1, 1)."""
    chance, unknown = np.ones((1, 1)), 1.0
    source = plain(predictions)
    if not entry.seen or not isinstance(source, Placed):
        return chance, unknown
    if entry.with_volume:
        share = np.asarray(source.follows(entry.word, entry.driver))
        chance, unknown = share if entry.with_volume == "follows" else 1.0 - share, UNTOLD
    if entry.when:
        times = np.array([heard_when(source.board, suspect, entry.when) for suspect in predictions.suspects])
        chance, unknown = chance * times[:, None], unknown * UNKNOWN[entry.when]
    return chance, unknown
