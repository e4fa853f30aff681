r"""What the evidence makes of the suspects: weighted particles, through readings, complaints, sightings and work.

A suspect is a set of particles (a sample of the part tolerances with a severity of the fault). Every entry multiplies
the weight of every particle by the likelihood of that entry; a suspect's probability is its prior times its mean
weight. Readings on one board hang together through the tolerances, which is why particles are kept.

* **Sparse particles.** Each prediction is blurred by the distance to its k-th nearest sample of the same suspect: a
  kernel estimate with the neighbours' distance as width [1]_. So a suspect with a wide range of severities is not ruled
  out because no sample lies at the reading, and many readings that each depend on other tolerances do not leave the
  judgement to one or two samples. The power of 0.6 (12 of 64) was chosen by us for the least log loss over simulated
  games on two boards, with 24 to 256 samples.
* **Not in the model** is one more suspect: a board like the healthy one of which three readings in ten can be anything.
* **Work** moves mass: a cured suspect becomes the healthy board (or what is left of a joint fault), and a small share
  becomes another single fault that hid behind the first; what follows is then read off the changed board. Mass that
  was never moved (`old`) is kept apart from mass that was (`new`).
* **A check made twice** on the same board shares its meter and its model error, so each of n counts for one n-th.

References
----------
.. [1] D. O. Loftsgaarden, C. P. Quesenberry, "A nonparametric estimate of a multivariate density function", Ann. Math.
   Statist. 36 (1965) 1049.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dustcap.errors import EvidenceError, InputError
from dustcap.hunt.cures import UNEXPLAINED_CURED, cure_of, gone_row
from dustcap.hunt.evidence import Complaint, Evidence, Reading, Sighting, Work
from dustcap.hunt.meter import BLUNDER, DOUBT, half_width, likelihood, spread_of
from dustcap.hunt.predictions import Predictions, Renewing, Shared

Floats = NDArray[np.float64]

HALF_KNOWN = 0.3  # share of odd readings on a board that the model does not describe: a choice of ours
NOTHING_FOUND = 0.01  # units with a complaint that turn out healthy; from the bench, no published source fits
NO_COMPLAINT = 0.2  # the same before any complaint is known: a unit on the bench is rarely there for nothing
HIDDEN_SECOND = 0.05  # cured units in which a second fault hid behind the first: common practice, no published source
HEARD_UNEXPLAINED = 0.3
SURE = 0.01  # no complaint or sighting is surer than this
FEW = 0.3
WORTH_RENEWING = 0.003
MOST_RENEWED = 16


@dataclass(frozen=True)
class Term:
    """One entry and the likelihood of it under each suspect's particles, shape (suspects + 1, particles)."""

    entry: Complaint | Sighting | Reading
    likelihood: Floats
    after_work: bool


@dataclass(frozen=True)
class Posterior:
    """Masses of suspects and particles, shape (suspects + 1, particles), one in all; last row: "not in the model".

    `old`: since the unit came in; `new`: since work was done on it. `log_total`: logarithm of the probability of the
    evidence, up to a constant of the evidence alone.
    """

    predictions: Predictions
    old: Floats
    new: Floats
    terms: tuple[Term, ...]
    log_total: float

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


def posterior(predictions: Predictions, evidence: Evidence, rng: np.random.Generator | None = None) -> Posterior:
    """Everything that is known, put on the suspects.

    Where the particles of a likely suspect run out (effective number below three in ten) and the source can draw new
    ones, they are drawn with `rng`, the evidence is counted again, and the suspect's weight is the mean of both counts:
    each is an estimate of the same number, and one alone now and then misses the truth by bad luck.
    """
    first = _fold(predictions, evidence)
    if rng is None or not isinstance(predictions, Renewing):
        return first
    likely = np.argsort(-first.probability, kind="stable")[:MOST_RENEWED]
    poor = (first.effective() < FEW) & (first.probability > WORTH_RENEWING)
    which = sorted(int(i) for i in likely if i and poor[i])
    if not which:
        return first
    weights = np.stack([first.weights(i) for i in range(len(predictions.suspects))])
    return _meaned(first, _fold(predictions.renewed(which, weights, rng), evidence), which)


def _meaned(first: Posterior, second: Posterior, which: list[int]) -> Posterior:
    """The second count with the rows of `which` at the mean weight of both."""
    before = first.mass.sum(axis=1) * np.exp(first.log_total - second.log_total)
    after = second.mass.sum(axis=1)
    factor = np.ones(after.size)
    factor[which] = np.where(after > 0, 0.5 + 0.5 * before / np.where(after > 0, after, 1.0), 1.0)[which]
    old, new = second.old * factor[:, None], second.new * factor[:, None]
    total = old.sum() + new.sum()
    return replace(second, old=old / total, new=new / total, log_total=second.log_total + float(np.log(total)))


def _fold(predictions: Predictions, evidence: Evidence) -> Posterior:
    state = _State(predictions, evidence)
    repeats = _repeats(evidence)
    for position, entry in enumerate(evidence.valid):
        if isinstance(entry, Work):
            state.work(entry)
        else:
            state.learn(entry, 1.0 / repeats.get(position, 1))
    return state.result()


def _repeats(evidence: Evidence) -> Mapping[int, int]:
    """How often the check of each reading was made on the same board, by position among the valid entries."""
    board, keys = 0, {}
    for position, entry in enumerate(evidence.valid):
        board += isinstance(entry, Work)
        if isinstance(entry, Reading):
            keys[position] = (board, entry.key)
    count = Counter(keys.values())
    return {position: count[key] for position, key in keys.items()}


class _State:
    """Masses while the evidence is gone through, kept as logarithms."""

    def __init__(self, predictions: Predictions, evidence: Evidence) -> None:
        self.predictions = predictions
        self.prior = starting_prior(predictions.prior, evidence)
        shares = np.ones((self.prior.size, predictions.particles))
        if isinstance(predictions, Shared):
            shares[:-1] = predictions.shares
        with np.errstate(divide="ignore"):
            self.log_prior = np.log(self.prior)[:, None] + np.log(shares / predictions.particles)
        self.old = self.log_prior
        self.new = np.full_like(self.old, -np.inf)
        self.terms: list[Term] = []
        self.gone: set[str] = set()
        self.works: list[Work] = []

    def learn(self, entry: Complaint | Sighting | Reading, power: float) -> None:
        rows, vague = self._rows()
        like = entry_likelihood(self.predictions, entry, rows, vague)
        self.old = self.old + power * np.log(like)
        self.new = self.new + power * np.log(like)
        self.terms.append(Term(entry, like, bool(self.works)))

    def work(self, work: Work) -> None:
        if work.part:
            self.gone.discard(work.part)
            if work.did == "removed":
                self.gone.add(work.part)
        cure = cure_of(work, self.predictions.suspects, self.works)
        self.works.append(work)
        share = np.append(cure.share, UNEXPLAINED_CURED)
        leaves = np.append(cure.leaves, 0)
        moved = np.full_like(self.old, -np.inf)
        both = np.logaddexp(self.old, self.new)
        for i in np.flatnonzero(share):
            moved[leaves[i]] = np.logaddexp(moved[leaves[i]], both[i] + np.log(share[i]))
        with np.errstate(divide="ignore"):
            stays = np.log1p(-share)[:, None]
            other = np.where(cure.share > 0, 0.0, self.prior[:-1])
            other[0] = 0.0
            hidden = np.log(HIDDEN_SECOND * other / max(other.sum(), 1e-300))
        self.old, self.new = self.old + stays, np.logaddexp(self.new + stays, moved)
        self.new[0] += np.log1p(-HIDDEN_SECOND) if np.isfinite(hidden).any() else 0.0
        self.new[:-1] = np.logaddexp(self.new[:-1], hidden[:, None] + moved[0])

    def result(self) -> Posterior:
        top = max(self.old.max(), self.new.max())
        if not np.isfinite(top):
            raise EvidenceError(
                "no suspect is possible any more.", where="hunt", mend="Withdraw the reading that is in doubt."
            )
        old, new = np.exp(self.old - top), np.exp(self.new - top)
        total = old.sum() + new.sum()
        log_total = float(top + np.log(total))
        return Posterior(self.predictions, old / total, new / total, tuple(self.terms), log_total)

    def _rows(self) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        """Which suspect's predictions hold for each suspect now, and where that is a guess: parts may be missing."""
        count = len(self.predictions.suspects)
        rows, vague = np.arange(count), np.zeros(count, dtype=bool)
        for part in sorted(self.gone):
            vague[1:] = True
            row = gone_row(part, self.predictions.suspects)
            if row is None:
                vague[0] = True
            else:
                rows[0], vague[row] = row, False
        return rows, vague


def starting_prior(prior: Floats, evidence: Evidence) -> Floats:
    """Prior shape (suspects + 1,) with the healthy board held down before any work: the unit is here for a reason."""
    prior = np.asarray(prior, dtype=float)
    if prior.ndim != 1 or not np.all(prior >= 0) or not 0 < prior.sum() <= 1 + 1e-9:
        raise InputError("the priors of the suspects are not probabilities.", where="hunt", mend="They sum to one.")
    whole = np.append(prior, max(1.0 - prior.sum(), 0.0))
    entries = evidence.valid
    first_work = next((i for i, entry in enumerate(entries) if isinstance(entry, Work)), len(entries))
    told = any(isinstance(entry, Complaint) and entry.seen for entry in entries[:first_work])
    healthy = min(whole[0], NOTHING_FOUND if told else NO_COMPLAINT)
    if whole[1:].sum() > 0:
        whole[1:] *= (1.0 - healthy) / whole[1:].sum()
        whole[0] = healthy
    return whole


def entry_likelihood(
    predictions: Predictions,
    entry: Complaint | Sighting | Reading,
    rows: NDArray[np.int64] | None = None,
    vague: NDArray[np.bool_] | None = None,
) -> Floats:
    """Likelihood of one entry, shape (suspects + 1, particles); `rows`: whose predictions to take for each suspect."""
    count, particles = len(predictions.suspects), predictions.particles
    rows = np.arange(count) if rows is None else rows
    vague = np.zeros(count, dtype=bool) if vague is None else vague
    out = np.empty((count + 1, particles))
    if isinstance(entry, Reading):
        values = predictions.readings(entry.check)
        out[:-1] = _reading(entry, values)[rows]
        if vague.any():
            out[:-1][vague] = _reading(entry, values, HALF_KNOWN)[rows][vague]
        out[-1] = _reading(entry, values[:1], HALF_KNOWN)[0]
        return out
    if isinstance(entry, Complaint):
        table = np.broadcast_to(predictions.heard(entry.word, entry.driver), (count, particles))
        out[:-1], out[-1] = table[rows], HEARD_UNEXPLAINED
        out = out if entry.seen else 1.0 - out
    else:
        chance = np.broadcast_to(np.asarray(predictions.seen(entry.target, entry.word), dtype=float), (count,))
        out[:-1], out[-1] = chance[rows][:, None], chance[0]
    low = SURE if isinstance(entry, Complaint) else 1e-4
    out = np.clip(out, low, 1.0 - low)
    return np.asarray(DOUBT * 0.5 + (1.0 - DOUBT) * out if entry.doubtful else out)


def _reading(entry: Reading, values: Floats, odd: float | None = None) -> Floats:
    spread = spread_of(entry.check, entry.unit)
    half = half_width(entry.meter, spread, entry.low) + entry.rounding
    usual = DOUBT if entry.doubtful else BLUNDER
    return likelihood(
        values,
        spread,
        low=entry.low,
        high=entry.high,
        over=entry.over,
        under=entry.under,
        half=0.0 if entry.is_range else half,
        blur=blur(values),
        odd=usual if odd is None else odd,
    )


def blur(values: Floats) -> Floats:
    """Distance to the k-th nearest sample of the same suspect, shape (suspects, particles); k = n to the power 0.6.

    Nearest by rank: the narrowest of the windows of k + 1 samples that end, begin or lie about it. Samples that are not
    finite have none and give none; of fewer than k + 1 finite ones it is the whole range.
    """
    count = values.shape[1]
    near = max(min(2, count - 1), round(count**0.6) if count > 3 else 0)
    finite = np.where(np.isfinite(values), values, np.nan)
    order = np.argsort(finite, axis=1)
    ranked = np.take_along_axis(finite, order, axis=1)
    width = np.fmin(
        np.fmin(_reach(ranked, near, 0), _reach(ranked, 0, near)), _reach(ranked, near // 2, near - near // 2)
    )
    last = np.maximum(np.isfinite(ranked).sum(axis=1) - 1, 0)
    whole = np.take_along_axis(ranked, last[:, None], axis=1) - ranked[:, :1]
    width = np.where(np.isnan(width) & np.isfinite(ranked), whole, np.where(np.isnan(width), 0.0, width))
    out = np.zeros_like(finite)
    np.put_along_axis(out, order, width, axis=1)
    return out


def _reach(ranked: Floats, below: int, above: int) -> Floats:
    """Farther of the distances to the samples so many ranks below and above; nan where there is none."""
    count = ranked.shape[1]
    low, high = np.full(ranked.shape, np.nan), np.full(ranked.shape, np.nan)
    low[:, below:] = ranked[:, : count - below]
    high[:, : count - above] = ranked[:, above:]
    return np.asarray(np.maximum(ranked - low, high - ranked))
