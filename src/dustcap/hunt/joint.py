"""Joint faults, grown best-first out of single ones where the evidence calls for more than one.

What a joint fault reads is known once it is simulated, and there are far too many to simulate. So each is first judged
by what its members read: where only one of them changes a reading, the joint fault reads as that one does; where
both do, it is given the better of the two, or what a board would have of which nothing is known, for together they may
read as neither does. That judgement is mostly too kind. The best are then simulated and weighed like any other
suspect; the best of those are extended by a third fault in the same way.

After work, a member that it cured no longer counts for what was read later: what the first repair left unexplained
is explained by the others.

References
----------
J. de Kleer, B. C. Williams, "Diagnosing multiple faults", Artif. Intell. 32 (1987) 97: candidates of several faults,
best first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from dustcap.faults.suspects import Fault, Leak, PartFault, Suspect
from dustcap.hunt.circumstances import plain
from dustcap.hunt.cures import cure_of
from dustcap.hunt.evidence import Complaint, Entry, Evidence, Reading, Sighting, Work
from dustcap.hunt.fold import Item, starting_prior, walk
from dustcap.hunt.likelihoods import entry_likelihood
from dustcap.hunt.meter import positions, spread_of
from dustcap.hunt.predictions import Growing, Leaking, Predictions

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

PAIRS, MORE_PAIRS, TRIPLES = 24, 12, 8  # simulated at most in each round: seconds on a board of 600 suspects
BASES = 120
WEIGHED = 400
WORTH = 0.01  # share of all mass that a joint fault may at best have, to be worth simulating
GAIN = 3.0  # natural units by which a joint fault must explain more than any of its members alone
SILENT = 0.5  # sigmas of a reading; what changes it less leaves it to the others
SILENT_CHANCE = 0.02
CURED = 0.5
SAME_AREA_BONUS = 1.6  # natural units; about the common-cause factor, to pick what is then weighed exactly
NEVER = -1e9


def with_joint(predictions: Predictions, evidence: Evidence) -> Predictions:
    """The source with the joint faults that the evidence calls for, if it can predict any; else itself."""
    told = [entry for entry in evidence.valid if not isinstance(entry, Work)]
    if not isinstance(predictions, Growing):
        return predictions
    extra = _at_residue(predictions, told)
    grown = predictions.grown(extra) if extra else predictions
    if len(told) < 2:
        return grown
    for most, size in ((PAIRS, 2), (MORE_PAIRS, 2), (TRIPLES, 3)):
        found = _best(predictions, grown, evidence, most, size)
        new = [suspect for suspect in _closed(found) if suspect not in extra]
        if new:
            extra += new
            grown = predictions.grown(extra)
    return grown


def single_faults_fall_short(evidence: Evidence) -> bool:
    """Whether more than the single faults has to be thought of, however well one of them explains what was found.

    Residue was seen somewhere, so that leaks may have to be added. A unit that still complains after a repair is no
    such case: each single fault may have hidden behind the one that was mended (`fold`).
    """
    return any(isinstance(entry, Sighting) and entry.word == "residue" for entry in evidence.valid)


def _at_residue(predictions: Growing, told: Sequence[Entry]) -> list[Suspect]:
    """Leaks at the parts on which residue was seen."""
    parts = dict.fromkeys(one.target for one in told if isinstance(one, Sighting) and one.word == "residue")
    known = plain(predictions)
    return list(dict.fromkeys(leak for part in parts if isinstance(known, Leaking) for leak in known.leaks_at(part)))


@dataclass(frozen=True)
class _Judged:
    """Every suspect against every entry: log likelihood and whether it leaves it as on a healthy board.

    Both of shape (suspects + 1, entries), "not in the model" last. `score`: log of prior times likelihood.
    """

    like: Floats
    silent: Bools
    score: Floats

    @property
    def total(self) -> float:
        """Log of all mass."""
        return float(np.logaddexp.reduce(self.score))


def _judge(predictions: Predictions, evidence: Evidence) -> _Judged:
    items = [item for item in walk(predictions, evidence) if not isinstance(item.entry, Work)]
    like = np.empty((len(predictions.suspects) + 1, len(items)))
    silent = np.zeros_like(like, dtype=bool)
    for column, item in enumerate(items):
        assert not isinstance(item.entry, Work)
        mean = entry_likelihood(predictions, item.entry, item.rows, item.vague).mean(axis=1)
        like[:, column] = item.power * np.log(mean)
        silent[:-1, column] = _silent(predictions, item)
        cured = _cured(predictions.suspects, evidence.work[: item.board])
        like[:-1, column][cured], silent[:-1, column][cured] = like[0, column], True
    with np.errstate(divide="ignore"):
        prior = np.log(starting_prior(predictions.prior, evidence))
    return _Judged(like, silent, prior + like.sum(axis=1))


def _cured(suspects: Sequence[Suspect], works: Sequence[Work]) -> Bools:
    """Suspects of which nothing is left after the work."""
    left = np.ones(len(suspects))
    for number, work in enumerate(works):
        cure = cure_of(work, suspects, works[:number])
        left *= np.where(cure.leaves == 0, 1.0 - cure.share, 1.0)
    return np.asarray(left < 1.0 - CURED)


def _silent(predictions: Predictions, item: Item) -> Bools:
    """Suspects under which the entry comes out as on the healthy board."""
    entry = item.entry
    if isinstance(entry, Reading):
        values = predictions.readings(entry.check)
        place = positions(values, spread_of(entry.check, entry.unit))
        shown = np.isfinite(place)
        same = np.where(shown, 0.0, place) == np.where(shown[0], 0.0, place[0])
        off = np.where(shown & shown[0], place - np.where(shown[0], place[0], 0.0), 0.0)
        odd = (shown != shown[0]) | (~shown & ~same & ~(np.isnan(place) & np.isnan(place[0])))
        return np.asarray((np.sqrt(np.square(off).mean(axis=1)) < SILENT) & ~odd.any(axis=1))
    if isinstance(entry, Complaint):
        chance = np.asarray(predictions.heard(entry.word, entry.driver))
        chance = np.broadcast_to(chance, (len(predictions.suspects), predictions.particles))
        return np.asarray(np.abs(chance - chance[0]).max(axis=1) < SILENT_CHANCE)
    assert isinstance(entry, Sighting)
    seen = np.broadcast_to(np.asarray(predictions.seen(entry.target, entry.word)), (len(predictions.suspects),))
    return np.asarray(np.abs(seen - seen[0]) < 1e-6)


def _best(base: Growing, grown: Predictions, evidence: Evidence, most: int, size: int) -> list[Suspect]:
    """Joint faults of `size` members, new to the source, that may count; the best first."""
    judged = _judge(grown, evidence)
    known = {frozenset(suspect.faults) for suspect in grown.suspects}
    sizes = np.array([len(suspect.faults) for suspect in grown.suspects])
    singles = np.flatnonzero(sizes == 1)
    heads = np.flatnonzero(sizes == size - 1)
    heads = heads[np.argsort(-judged.score[heads], kind="stable")[:BASES]]
    areas = [{fault.area for fault in suspect.faults if isinstance(fault, Leak)} - {""} for suspect in grown.suspects]
    in_area = {area: np.array([area in areas[i] for i in singles.tolist()]) for area in set().union(*areas)}
    found: dict[frozenset[Fault], tuple[float, float]] = {}
    for head in heads.tolist():
        like = _together(judged, head, singles).sum(axis=1)
        alone = np.maximum(judged.like[head].sum(), judged.like[singles].sum(axis=1))
        rough = judged.score[head] + judged.score[singles] - judged.like[singles].sum(axis=1)
        rough = rough - judged.like[head].sum() + like
        for area in areas[head]:
            rough = np.where(in_area[area], rough + SAME_AREA_BONUS, rough)
        rough[like - alone < GAIN] = NEVER
        for i in np.argsort(-rough, kind="stable")[:WEIGHED].tolist():
            if rough[i] == NEVER:
                break
            faults = frozenset((*grown.suspects[head].faults, *grown.suspects[int(singles[i])].faults))
            if len(faults) == size and faults not in known and _possible(faults):
                found[faults] = max(found.get(faults, (NEVER, 0.0)), (float(rough[i]), float(like[i])))
    ranked = sorted(found.items(), key=lambda one: (-one[1][0], sorted(fault.key for fault in one[0])))[:WEIGHED]
    suspects = [Suspect(tuple(sorted(faults, key=_order))) for faults, _ in ranked]
    if not suspects:
        return []
    with np.errstate(divide="ignore"):
        prior = np.log(starting_prior(base.prior_with(suspects), evidence))[-1 - len(suspects) : -1]
    scores = prior + np.array([like for _, (_, like) in ranked])
    order = np.argsort(-scores, kind="stable")
    return [suspects[i] for i in order[:most] if scores[i] > judged.total + np.log(WORTH)]


def _together(judged: _Judged, head: int, others: NDArray[np.intp]) -> Floats:
    """Log likelihood of every entry under the head together with each of the others, shape (others, entries)."""
    mine, theirs, anything = judged.like[head], judged.like[others], judged.like[-1]
    return np.asarray(
        np.where(
            judged.silent[others],
            mine,
            np.where(judged.silent[head], theirs, np.maximum(np.maximum(mine, theirs), anything)),
        )
    )


def _possible(faults: frozenset[Fault]) -> bool:
    """A part is in one mode only."""
    parts = [fault.part for fault in faults if isinstance(fault, PartFault)]
    return len(parts) == len(set(parts))


def _order(fault: Fault) -> tuple[bool, str]:
    return isinstance(fault, Leak), fault.key


def _closed(found: Sequence[Suspect]) -> list[Suspect]:
    """With the pairs of every triple, for these are what is left when one of the three is mended."""
    closed = dict.fromkeys(found)
    for suspect in found:
        for size in range(2, len(suspect.faults)):
            closed |= dict.fromkeys(Suspect(some) for some in combinations(suspect.faults, size))
    return list(closed)
