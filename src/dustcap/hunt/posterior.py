r"""What the evidence makes of the suspects: weighted particles, through readings, complaints, sightings and work.

A suspect is a set of particles (a sample of the part tolerances with a severity of the fault). Every entry multiplies
the weight of every particle by the likelihood of that entry; a suspect's probability is its prior times its mean
weight. Readings on one board hang together through the tolerances, which is why particles are kept.

First every reading is taken by itself (`likelihoods`), which is quick and enough to see who still counts. For those
the readings are then taken together (`kernel`), so that redundant ones count once although the particles are few.

*Not in the model* is one more suspect: a board like the healthy one of which three readings in ten can be anything.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from dustcap.hunt.evidence import Evidence
from dustcap.hunt.fold import Masses, Term, fold
from dustcap.hunt.likelihoods import blur
from dustcap.hunt.meter import positions, spread_of
from dustcap.hunt.predictions import Predictions, Renewing, unsure_of
from dustcap.predict.checks import Check

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

FEW = 0.3
WORTH_RENEWING = 0.003
MOST_RENEWED = 16
STILL_COUNTS = 1e-5
MOST_CLOSELY = 100
LEFT_OUT = 0.01  # less than half of what no plan looks at (`outcomes.TAIL`)


@dataclass(frozen=True)
class Posterior:
    """Masses of suspects and particles, and what a further check would read.

    `closely`: numbers of the suspects whose readings were taken together; number (suspects) is "not in the model".
    """

    predictions: Predictions
    masses: Masses
    closely: Ints
    kept: dict[tuple[Check, str], tuple[Floats, Floats]] = field(default_factory=dict, repr=False, compare=False)

    @property
    def old(self) -> Floats:
        """Mass since the unit came in, shape (suspects + 1, particles); the last row is "not in the model"."""
        return self.masses.old

    @property
    def new(self) -> Floats:
        """Mass since work was done on it, the same shape; old and new are one in all."""
        return self.masses.new

    @property
    def terms(self) -> tuple[Term, ...]:
        """The entries that were counted."""
        return self.masses.terms

    @property
    def mass(self) -> Floats:
        """What each suspect's particles now weigh, wherever the mass came from."""
        return self.old + self.new

    @property
    def probability(self) -> Floats:
        """Shape (suspects,), that of the healthy board first."""
        return np.asarray(self.mass[:-1].sum(axis=1))

    @property
    def unexplained(self) -> float:
        """Probability of something that is not in the model."""
        return float(self.mass[-1].sum())

    def weights(self, suspect: int) -> Floats:
        """Weights of one suspect's particles, summing to one."""
        row = self.mass[suspect]
        total = row.sum()
        return np.asarray(row / total) if total > 0 else np.full(row.size, 1.0 / row.size)

    def effective(self) -> Floats:
        """Effective share of particles of each suspect, 0 to 1, shape (suspects,)."""
        rows = self.mass[:-1]
        square = np.square(rows).sum(axis=1)
        total = rows.sum(axis=1)
        return np.asarray(np.where(square > 0, total**2 / np.where(square > 0, square, 1.0), 0.0) / rows.shape[1])

    def readings(self, check: Check) -> Floats:
        """What the check reads on the board as it is now, shape (suspects, particles), nothing learned."""
        return np.asarray(self.predictions.readings(check)[self.masses.rows])

    def predicted(self, check: Check, unit: str = "") -> tuple[Floats, Floats]:
        """The same after all that was read: middle and variance for each particle, on the scale of `meter.positions`.

        Suspects that no longer count, or together make up less than `LEFT_OUT` of the mass, have no variance.
        """
        if (check, unit) not in self.kept:
            place, variance = self.told(positions(self.readings(check), spread_of(check, unit)), which=self.likely)
            beside = np.broadcast_to(unsure_of(self.predictions, check), place.shape)[self.masses.rows]
            self.kept[check, unit] = place, np.maximum(variance + beside, 0.0)
        return self.kept[check, unit]

    @cached_property
    def likely(self) -> Bools:
        """Which of `closely` are the healthy board or have all but `LEFT_OUT` of the mass, shape (closely,)."""
        chance = self.mass[self.closely].sum(axis=1)
        order = np.argsort(-chance, kind="stable")
        many = 1 + int(np.searchsorted(np.cumsum(chance[order]), (1.0 - LEFT_OUT) * chance.sum()))
        found = self.closely == 0
        found[order[:many]] = True
        return np.asarray(found & (self.closely < len(self.predictions.suspects)))

    def told(self, table: Floats, *, centred: bool = False, which: Bools | None = None) -> tuple[Floats, Floats]:
        """Middle and variance, after all that was read, of any quantity that each particle has a value of.

        `centred`: see `Kernel.predicted`. `which` of `closely` it is wanted of, shape (closely,).

        `table` and both have shape (suspects, particles). Suspects that no longer count keep their values, without
        variance; so do values that are not finite.
        """
        place, variance = np.array(table, dtype=float), np.zeros_like(table, dtype=float)
        known = self.closely < place.shape[0] if which is None else which
        some = self.closely[known]
        place[some], variance[some] = self._predicted(place[some], known, centred, place[0].copy())
        return place, variance

    def _predicted(self, place: Floats, known: NDArray[np.bool_], centred: bool, good: Floats) -> tuple[Floats, Floats]:
        some = self.closely[known]
        changed = self.new[some].sum(axis=1) > self.old[some].sum(axis=1)
        middle = place.copy()
        variance = np.zeros_like(place) if centred else np.square(blur(place))
        for kernel, which in ((self.masses.kernels[0], ~changed), (self.masses.kernels[-1], changed)):
            if not kernel.empty and which.any():
                rows = known.copy()
                rows[known] = which
                middle[which], variance[which] = kernel.predicted(place[which], rows, good=good, centred=centred)
        return middle, variance


def posterior(predictions: Predictions, evidence: Evidence, rng: np.random.Generator | None = None) -> Posterior:
    """Everything that is known, put on the suspects.

    Where the particles of a likely suspect run out (effective number below three in ten) and the source can draw new
    ones, they are drawn with `rng`, the evidence is counted again, and the suspect's weight is the mean of both counts:
    each is an estimate of the same number, and one alone now and then misses the truth by bad luck.
    """
    closely = _who_counts(fold(predictions, evidence))
    first = Posterior(predictions, fold(predictions, evidence, closely), closely)
    if rng is None or not isinstance(predictions, Renewing):
        return first
    likely = np.argsort(-first.probability, kind="stable")[:MOST_RENEWED]
    poor = (first.effective() < FEW) & (first.probability > WORTH_RENEWING)
    which = sorted(int(i) for i in likely if i and poor[i])
    if not which:
        return first
    weights = np.stack([first.weights(i) for i in range(len(predictions.suspects))])
    fresh = predictions.renewed(which, weights, rng)
    return Posterior(fresh, _meaned(first.masses, fold(fresh, evidence, closely), which), closely)


def _who_counts(masses: Masses) -> Ints:
    """The healthy board, what is not in the model, and the likeliest of the suspects that still count."""
    chance = (masses.old + masses.new).sum(axis=1)
    order = np.argsort(-chance[:-1], kind="stable")[:MOST_CLOSELY]
    kept = {0, chance.size - 1, *(int(i) for i in order if chance[i] > STILL_COUNTS)}
    return np.array(sorted(kept), dtype=np.int64)


def _meaned(first: Masses, second: Masses, which: list[int]) -> Masses:
    """The second count with the rows of `which` at the mean weight of both."""
    before = (first.old + first.new).sum(axis=1) * np.exp(first.log_total - second.log_total)
    after = (second.old + second.new).sum(axis=1)
    factor = np.ones(after.size)
    factor[which] = np.where(after > 0, 0.5 + 0.5 * before / np.where(after > 0, after, 1.0), 1.0)[which]
    old, new = second.old * factor[:, None], second.new * factor[:, None]
    total = old.sum() + new.sum()
    return replace(second, old=old / total, new=new / total, log_total=second.log_total + float(np.log(total)))
