"""What each suspect explains and what speaks against it, entry by entry.

Each entry is judged by what the suspect would have said of it, knowing all the *other* entries. With weights w and
likelihoods L of the particles that prediction is one over the mean of 1/L under w (importance weights with one factor
taken back). It *explains* an entry that it predicts much better than the healthy board does, and an entry is *against*
it when it predicts it much worse than a board that nothing is known of.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dustcap.hunt.evidence import Complaint, Reading, Sighting
from dustcap.hunt.fold import Term
from dustcap.hunt.posterior import Posterior
from dustcap.hunt.twin import twin_said

Floats = NDArray[np.float64]

EXPLAINS = 5.0
AGAINST = 0.2


@dataclass(frozen=True, slots=True)
class Reasons:
    """The entries that a suspect explains and those that contradict it, in the order entered, in words."""

    explains: tuple[str, ...]
    against: tuple[str, ...]


def reasons(found: Posterior, suspect: int, common: str = "0V") -> Reasons:
    """What speaks for and against one suspect."""
    weights, since_work = weights_of(found, suspect)
    if weights is None:
        return Reasons((), ())
    explains, against = [], []
    for term in found.terms:
        if since_work and not term.after_work:
            continue
        said = foretold(term.likelihood[suspect], weights)
        if said > EXPLAINS * float(term.likelihood[0].mean()):
            explains.append(entry_words(term, common) + _beside(found, term))
        if said < AGAINST * float(term.likelihood[-1].mean()):
            against.append(entry_words(term, common) + _beside(found, term))
    return Reasons(tuple(dict.fromkeys(explains)), tuple(dict.fromkeys(against)))


def weights_of(found: Posterior, suspect: int) -> tuple[Floats | None, bool]:
    """Weights of a suspect's particles, one in all (None where none is left), and whether they began at the work."""
    old, new = found.old[suspect], found.new[suspect]
    since_work = bool(new.sum() > old.sum())
    weights = new if since_work else old
    return (weights / weights.sum() if weights.sum() > 0 else None), since_work


def foretold(likelihood: Floats, weights: Floats) -> float:
    """Likelihood of one entry given all the others: one over the mean of 1/L under the final weights."""
    return float(1.0 / np.sum(weights / likelihood))


def _beside(found: Posterior, term: Term) -> str:
    return twin_said(found.predictions, term.entry.check) if isinstance(term.entry, Reading) else ""


def entry_words(term: Term, common: str = "0V") -> str:
    """The entry as results name it."""
    entry: Complaint | Sighting | Reading = term.entry
    return entry.words(common) if isinstance(entry, Reading) else entry.words()
