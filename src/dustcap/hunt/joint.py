"""Joint faults, grown best-first out of single ones where the evidence calls for more than one.

What a joint fault reads is known once it is simulated, and there are far too many to simulate. So each is first judged
by what its members read: where only one of them changes a reading, the joint fault reads as that one does; where
both do, it is given the better of the two, or what a board would have of which nothing is known, for together they may
read as neither does. That judgement is mostly too kind. So the best are then simulated: first what they read
unplugged, which costs little, then the rest, lot by lot, until the next may no longer count or a row of them came to
nothing. They are weighed like any other suspect; the best of those are extended by a third fault in the same way.

After work, a member that it cured no longer counts for what was read later: what the first repair left unexplained
is explained by the others.

References
----------
J. de Kleer, B. C. Williams, "Diagnosing multiple faults", Artif. Intell. 32 (1987) 97: candidates of several faults,
best first.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from math import log

import numpy as np
from numpy.typing import NDArray

from dustcap.faults.suspects import Fault, Leak, PartFault, Suspect
from dustcap.hunt.actions import Action, action_of
from dustcap.hunt.circumstances import plain
from dustcap.hunt.cures import cure_of
from dustcap.hunt.evidence import Complaint, Entry, Evidence, Reading, Sighting, Work
from dustcap.hunt.fold import Item, starting_prior, walk
from dustcap.hunt.likelihoods import entry_likelihood
from dustcap.hunt.meter import positions, spread_of
from dustcap.hunt.predictions import Growing, Leaking, Predictions
from dustcap.predict.checks import UNPLUGGED

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

PAIRS, TRIPLES = 36, 12  # simulated at most: seconds on a board of 600 suspects
GLIMPSED = 72  # of which the ohms are computed at most
ALIKE = 6  # of those that call for one and the same repair: to know more of them changes little, by choice of ours
LOT, BARREN = 6, 12  # simulated at a time, and how many may come to nothing in a row: choices of ours
BASES = 120
WEIGHED = 400
WORTH = 0.01  # share of all mass that a joint fault may at best have, to be worth simulating
KEPT = 1e-4  # share of all mass that a simulated one has to have, to be weighed on: a choice of ours
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
    if len(told) < 2:
        return predictions.grown(extra) if extra else predictions
    search = _Search(predictions, evidence, extra)
    for most, size in ((PAIRS, 2), (TRIPLES, 3)):
        search.widen(most, size)
    return search.grown


class _Search:
    """Joint faults simulated lot by lot, the most promising first; `grown` has those that came to something."""

    def __init__(self, predictions: Growing, evidence: Evidence, extra: Sequence[Suspect]) -> None:
        self.predictions, self.evidence, self.extra = predictions, evidence, list(extra)
        self.grown: Predictions = predictions
        self.judged: _Judged
        self._settle()

    def widen(self, most: int, size: int) -> None:
        """Simulate joint faults of `size` members, until the next may no longer count or a row came to nothing."""
        found = _promising(self.predictions, self.grown, self.evidence, self.judged, size)
        found = _few_alike(self._glimpsed(found[:GLIMPSED]))[:most]
        barren = 0
        for first in range(0, len(found), LOT):
            lot = [one.suspect for one in found[first : first + LOT] if one.score > self.judged.total + log(WORTH)]
            new = [suspect for suspect in _closed(lot) if suspect not in self.extra]
            if not new or barren >= BARREN:
                break
            barren = 0 if self._simulated(new) else barren + len(lot)

    def _simulated(self, new: Sequence[Suspect]) -> bool:
        """Take in what came to something of these; whether any counts."""
        before = list(self.extra)
        self.extra += new
        self._settle()
        score = self.judged.score[-1 - len(new) : -1] - self.judged.total
        kept = set(_closed([suspect for suspect, one in zip(new, score, strict=True) if one > log(KEPT)]))
        if len(kept) < len(new):
            self.extra = before + [suspect for suspect in new if suspect in kept]
            self._settle()
        return bool((score > log(WORTH)).any())

    def _settle(self) -> None:
        self.grown = self.predictions.grown(self.extra) if self.extra else self.predictions
        self.judged = _judge(self.grown, self.evidence)

    def _glimpsed(self, found: Sequence[_Promise]) -> list[_Promise]:
        """The same, best first, with what each reads unplugged, which costs little, in place of what it may read."""
        items = _items(self.predictions, self.evidence)
        cheap = np.array([isinstance(i.entry, Reading) and i.entry.check.state == UNPLUGGED for i in items], dtype=bool)
        if not found or not cheap.any():
            return list(found)
        grown = self.predictions.grown([*self.extra, *(one.suspect for one in found)])
        like = _judge(grown, self.evidence, cheap).like[-1 - len(found) : -1]
        seen = [
            replace(one, score=one.score + float(row[cheap].sum() - one.like[cheap].sum()))
            for one, row in zip(found, like, strict=True)
        ]
        return sorted(seen, key=lambda one: -one.score)


@dataclass(frozen=True)
class _Promise:
    """A joint fault with the log of its prior times likelihood at best, and log likelihoods at best, (entries,)."""

    suspect: Suspect
    score: float
    like: Floats


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


def _items(predictions: Predictions, evidence: Evidence) -> list[Item]:
    return [item for item in walk(predictions, evidence) if not isinstance(item.entry, Work)]


def _judge(predictions: Predictions, evidence: Evidence, only: Bools | None = None) -> _Judged:
    """Every suspect against every entry, or against some `only`, shape (entries,)."""
    items = _items(predictions, evidence)
    like = np.zeros((len(predictions.suspects) + 1, len(items)))
    silent = np.zeros_like(like, dtype=bool)
    for column, item in enumerate(items):
        if only is not None and not only[column]:
            continue
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


def _few_alike(found: Sequence[_Promise]) -> list[_Promise]:
    """The first `ALIKE` of each repair that is called for."""
    count: Counter[Action] = Counter()
    few = []
    for one in found:
        action = action_of(one.suspect)
        count[action] += 1
        if count[action] <= ALIKE:
            few.append(one)
    return few


def _promising(base: Growing, grown: Predictions, evidence: Evidence, judged: _Judged, size: int) -> list[_Promise]:
    """Joint faults of `size` members, new to the source, that may count; the best first."""
    known = {frozenset(suspect.faults) for suspect in grown.suspects}
    sizes = np.array([len(suspect.faults) for suspect in grown.suspects])
    singles = np.flatnonzero(sizes == 1)
    heads = np.flatnonzero(sizes == size - 1)
    heads = heads[np.argsort(-judged.score[heads], kind="stable")[:BASES]]
    areas = [{fault.area for fault in suspect.faults if isinstance(fault, Leak)} - {""} for suspect in grown.suspects]
    in_area = {area: np.array([area in areas[i] for i in singles.tolist()]) for area in set().union(*areas)}
    alone, prior = judged.like.sum(axis=1), judged.score - judged.like.sum(axis=1)
    rough = np.full((heads.size, singles.size), NEVER)
    for row, head in enumerate(heads.tolist()):
        like = _together(judged, head, singles).sum(axis=1)
        score = prior[head] + prior[singles] + like
        for area in areas[head]:
            score = np.where(in_area[area], score + SAME_AREA_BONUS, score)
        better = like - np.maximum(alone[head], alone[singles]) >= GAIN
        rough[row] = np.where(better, score, NEVER)
    found: dict[frozenset[Fault], tuple[int, int]] = {}
    for place in np.argsort(-rough, axis=None, kind="stable").tolist():
        row, column = divmod(place, max(singles.size, 1))
        if rough[row, column] == NEVER or len(found) == WEIGHED:
            break
        head, other = int(heads[row]), int(singles[column])
        faults = frozenset((*grown.suspects[head].faults, *grown.suspects[other].faults))
        if len(faults) == size and faults not in known and faults not in found and _possible(faults):
            found[faults] = head, other
    suspects = [Suspect(tuple(sorted(faults, key=_order))) for faults in found]
    if not suspects:
        return []
    with np.errstate(divide="ignore"):
        prior = np.log(starting_prior(base.prior_with(suspects), evidence))[-1 - len(suspects) : -1]
    likes = [_together(judged, head, np.array([other]))[0] for head, other in found.values()]
    promises = [
        _Promise(suspect, float(one + like.sum()), like)
        for suspect, one, like in zip(suspects, prior, likes, strict=True)
    ]
    promises = [one for one in promises if one.score > judged.total + log(WORTH)]
    return sorted(promises, key=lambda one: (-one.score, one.suspect.key))


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
