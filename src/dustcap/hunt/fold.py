"""Going through the evidence: which board each entry speaks of, and what each makes of the masses.

Work moves mass: a cured suspect becomes the healthy board (or what is left of a joint fault), and a small share becomes
another single fault that hid behind the first; what follows is then read off the changed board. Mass that was never
moved (`old`) is kept apart from mass that was (`new`).

A check made twice on the same board shares its meter and its model error, so each of n counts for one n-th.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dustcap.errors import EvidenceError, InputError
from dustcap.hunt.cures import UNEXPLAINED_CURED, cure_of, gone_row
from dustcap.hunt.evidence import Complaint, Evidence, Reading, Sighting, Work
from dustcap.hunt.kernel import Given, Kernel, alike
from dustcap.hunt.likelihoods import HALF_KNOWN, entry_likelihood, without_it
from dustcap.hunt.meter import BLUNDER, DOUBT, positions, spread_of
from dustcap.hunt.predictions import Predictions, Shared, unsure_of
from dustcap.predict.checks import UNPLUGGED

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NOTHING_FOUND = 0.01  # units with a complaint that turn out healthy; from the bench, no published source fits
NO_COMPLAINT = 0.2  # the same before any complaint is known: a unit on the bench is rarely there for nothing
MASKED = 0.1  # second faults that an unplugged reading misses because of the first: a choice of ours
HIDDEN_SECOND = 0.1  # cured units in which a second fault hid behind the first: common practice, no published source


@dataclass(frozen=True)
class Item:
    """One valid entry with the board that it speaks of.

    `board` counts the work done before; `rows` is whose predictions hold for each suspect there, and `vague` where that
    is a guess because a part is missing; both of shape (suspects,).
    """

    entry: Complaint | Sighting | Reading | Work
    board: int
    power: float
    rows: Ints
    vague: NDArray[np.bool_]


@dataclass(frozen=True)
class Term:
    """One entry and the likelihood of it by itself under each suspect's particles, shape (suspects + 1, particles)."""

    entry: Complaint | Sighting | Reading
    likelihood: Floats
    after_work: bool


@dataclass(frozen=True)
class Masses:
    """What the evidence leaves: masses, shape (suspects + 1, particles), one in all, and what they were made of."""

    old: Floats
    new: Floats
    log_total: float
    terms: tuple[Term, ...]
    kernels: tuple[Kernel, ...]  # through all readings, and through those since each work
    rows: Ints  # whose predictions hold for each suspect now


def walk(predictions: Predictions, evidence: Evidence) -> tuple[Item, ...]:
    """The valid entries, each with its board."""
    entries = evidence.valid
    boards = np.cumsum([isinstance(entry, Work) for entry in entries])
    keys = [(b, entry.key) for b, entry in zip(boards, entries, strict=True) if isinstance(entry, Reading)]
    count = Counter(keys)
    items, gone = [], set[str]()
    for board, entry in zip(boards, entries, strict=True):
        if isinstance(entry, Work) and entry.part:
            gone.discard(entry.part)
            if entry.did == "removed":
                gone.add(entry.part)
        power = 1.0 / count[board, entry.key] if isinstance(entry, Reading) else 1.0
        items.append(Item(entry, int(board), power, *board_rows(predictions, gone)))
    return tuple(items)


def board_rows(predictions: Predictions, gone: set[str]) -> tuple[Ints, NDArray[np.bool_]]:
    """Whose predictions hold for each suspect when these parts are missing, and where that is a guess."""
    count = len(predictions.suspects)
    rows, vague = np.arange(count), np.zeros(count, dtype=bool)
    for part in sorted(gone):
        vague[1:] = True
        row = gone_row(part, predictions.suspects)
        if row is None:
            vague[0] = True
        else:
            rows[0], vague[row] = row, False
    return rows, vague


def fold(predictions: Predictions, evidence: Evidence, closely: Ints | None = None) -> Masses:
    """Masses after all entries.

    `closely`: numbers of the suspects whose readings are taken together in a kernel; those of the others are taken each
    by itself.
    """
    items = walk(predictions, evidence)
    state = _State(predictions, starting_prior(predictions.prior, evidence))
    kernels = []
    if closely is not None:
        boards = 1 + max((item.board for item in items), default=0)
        kernels = [_kernel(predictions, items, closely, state.paths * boards)]
    number, first = 0, 0
    for item in items:
        if isinstance(item.entry, Work):
            if closely is not None:
                state.even_out(closely, kernels, first, number)
            state.work(item.entry)
            if closely is not None:
                kernels.append(_kernel(predictions, items, closely, state.paths))
                first = number
            continue
        like = entry_likelihood(predictions, item.entry, item.rows, item.vague)
        old, new = _Told(like), _Told(like)
        if closely is not None and isinstance(item.entry, Reading):
            old, new = (_closely(like, closely, kernels[board], number) for board in (0, item.board))
            number += 1
        state.learn(item, like, old, new)
    if closely is not None:
        state.even_out(closely, kernels, first, number)
    rows = items[-1].rows if items else np.arange(len(predictions.suspects))
    return state.result(tuple(kernels), rows)


def _kernel(predictions: Predictions, items: Sequence[Item], closely: Ints, paths: Sequence[Ints]) -> Kernel:
    """One through all readings on the boards that there are paths for: what was read before the work still tells of
    the tolerances of the parts that stayed."""
    given = [
        _given(predictions, item, closely, paths[item.board])
        for item in items
        if isinstance(item.entry, Reading) and item.board < len(paths)
    ]
    return Kernel(given)


def _given(predictions: Predictions, item: Item, closely: Ints, path: Ints) -> Given:
    """A reading with the predictions of some suspects; what is not in the model is like the healthy board.

    `path`: what each suspect was on the board that was read.
    """
    reading = item.entry
    assert isinstance(reading, Reading)
    count = len(predictions.suspects)
    suspects = np.where(closely < count, path[np.minimum(closely, count - 1)], 0)
    usual = DOUBT if reading.doubtful else BLUNDER
    odd = np.where((closely == count) | item.vague[suspects], HALF_KNOWN, usual)
    without = without_it(predictions, reading, item.rows[suspects])
    values, rows = predictions.readings(reading.check), item.rows[suspects]
    beside = np.broadcast_to(unsure_of(predictions, reading.check), values.shape)
    return Given(reading, values[rows], odd, item.power, without, beside[rows], values[item.rows[0]])


@dataclass(frozen=True)
class _Told:
    """Likelihood of an entry, (suspects + 1, particles), and which suspects it tells nothing of a fault, if any."""

    likelihood: Floats
    silent: NDArray[np.bool_] | None = None


def _closely(like: Floats, which: Ints, kernel: Kernel, number: int) -> _Told:
    """The same with what the kernel has of the suspects `which`."""
    out, silent = like.copy(), np.zeros(len(like), dtype=bool)
    out[which], silent[which] = kernel.likelihoods[number], kernel.silent[:, number]
    return _Told(out, silent)


class _State:
    """Masses while the evidence is gone through, kept as logarithms."""

    def __init__(self, predictions: Predictions, prior: Floats) -> None:
        self.predictions, self.prior = predictions, prior
        shares = np.ones((prior.size, predictions.particles))
        if isinstance(predictions, Shared):
            shares[:-1] = predictions.shares
        with np.errstate(divide="ignore"):
            self.even = np.log(shares / predictions.particles)
            self.old = np.log(prior)[:, None] + self.even
        self.new = np.full_like(self.old, -np.inf)
        self.loud = [self.old, self.new]
        """Both without the silent readings since the last work."""
        self.terms: list[Term] = []
        self.read: list[tuple[Item, Reading, Floats]] = []  # without power, with the likelihood of each by itself
        self.works: list[Work] = []
        self.paths: list[Ints] = [np.arange(len(predictions.suspects))]
        """For each board so far: what most of each suspect's mass since work was on that board."""

    def learn(self, item: Item, alone: Floats, old: _Told, new: _Told) -> None:
        assert not isinstance(item.entry, Work)
        logs = [item.power * np.log(one.likelihood) for one in (old, new)]
        self.old, self.new = self.old + logs[0], self.new + logs[1]
        for number, one in enumerate((old, new)):
            loud = logs[number] if one.silent is None else np.where(one.silent[:, None], 0.0, logs[number])
            self.loud[number] = self.loud[number] + loud
        self.terms.append(Term(item.entry, alone, bool(self.works)))
        whole = np.array_equal(item.rows, np.arange(item.rows.size))
        if isinstance(item.entry, Reading) and item.entry.check.state == UNPLUGGED and whole:
            self.read.append((item, item.entry, alone))

    def even_out(self, closely: Ints, kernels: Sequence[Kernel], first: int, last: int) -> None:
        """Let the silent readings from `first` on tell the same of every suspect, whichever particles it has left.

        Where some of the good board's samples read over range, each of a few particles reads one or the other; what a
        fault does not change cannot speak for or against it, so all samples are asked, not the few that fit it.
        """
        for number, (mass, kernel) in enumerate(((self.old, kernels[0]), (self.new, kernels[-1]))):
            before = np.logaddexp.reduce(mass[closely], axis=1)
            after = np.logaddexp.reduce(self.loud[number][closely], axis=1)
            after = after + kernel.told_silently(first, last, self.even[closely])
            with np.errstate(invalid="ignore"):  # no mass at all stays none
                shift = np.nan_to_num(after - before, nan=0.0, posinf=0.0, neginf=0.0)
            mass[closely] += shift[:, None]

    def work(self, work: Work) -> None:
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
            gains = np.logaddexp.reduce(both, axis=1) + np.log(share)
        # how severe the first fault was says nothing of the second: all its particles, evenly
        behind = (hidden + np.logaddexp.reduce(moved[0]))[:, None] + self.even[:-1]
        behind += self._read_beside(int(np.argmax(np.where(leaves == 0, gains, -np.inf))))
        self._follow(gains, leaves, hidden, np.logaddexp.reduce(self.new + stays, axis=1))
        moved[0] += np.log1p(-HIDDEN_SECOND) if np.isfinite(hidden).any() else 0.0
        moved[:-1] = np.logaddexp(moved[:-1], behind)
        self.old, self.new = self.old + stays, np.logaddexp(self.new + stays, moved)
        self.loud = [self.old, self.new]

    def _read_beside(self, first: int) -> Floats:
        """What was read before of a second fault: logarithms of odds against the good board, (suspects, particles).

        Without power, and where the `first` one changes nothing: there the second reads beside it as by itself, unless
        it was `MASKED`.
        """
        told = np.zeros((self.even.shape[0] - 1, self.even.shape[1]))
        for item, reading, alone in self.read if first < len(told) else []:
            check, unit = reading.check, reading.unit
            place = positions(self.predictions.readings(check), spread_of(check, unit))
            shown = ~alike(place, place[0])
            if not shown[[first, self.paths[item.board][first]]].any():
                odds = (alone[:-1][shown] / alone[0].mean()) ** item.power
                told[shown] += np.log(MASKED + (1.0 - MASKED) * odds)
        return told

    def _follow(self, gains: Floats, leaves: Ints, hidden: Floats, stayed: Floats) -> None:
        """Keep what each suspect was on the boards before: that from which most of its mass comes."""
        count = hidden.size
        best, origin = stayed[:count].copy(), np.full(count, -1)
        for i in np.flatnonzero(np.isfinite(gains)):
            if gains[i] > best[leaves[i]]:
                best[leaves[i]], origin[leaves[i]] = gains[i], i if i < count else 0
        cured = np.where(leaves == 0, gains, -np.inf)
        lead = int(np.argmax(cured))
        behind = hidden + np.logaddexp.reduce(cured) > best
        origin[behind] = lead if lead < count else 0
        never = np.logaddexp.reduce(self.old, axis=1) >= np.logaddexp.reduce(self.new, axis=1)
        same = np.arange(count)
        pasts = [np.where(never[:-1], same, path) for path in self.paths]
        self.paths = [
            np.where(origin >= 0, past[origin], path) for past, path in zip(pasts, self.paths, strict=True)
        ] + [same]

    def result(self, kernels: tuple[Kernel, ...], rows: Ints) -> Masses:
        top = max(self.old.max(), self.new.max())
        if not np.isfinite(top):
            raise EvidenceError(
                "no suspect is possible any more.", where="hunt", mend="Withdraw the reading that is in doubt."
            )
        old, new = np.exp(self.old - top), np.exp(self.new - top)
        total = old.sum() + new.sum()
        log_total = float(top + np.log(total))
        return Masses(old / total, new / total, log_total, tuple(self.terms), kernels, rows)


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
