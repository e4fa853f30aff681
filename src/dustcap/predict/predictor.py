"""The predictions of one board, as the hunt asks for them.

The prior of the healthy board and of "something not in the model" are choices of ours; the hunt scales the first by
what is complained of.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from dustcap.board.circuit import to_circuit
from dustcap.board.model import Board
from dustcap.faults.severity import leak_ohms
from dustcap.faults.sighting import seen
from dustcap.faults.suspects import HEALTHY, Leak, Suspect, Weights, suspects
from dustcap.predict.analyses import Analyses, Store
from dustcap.predict.candidates import candidates
from dustcap.predict.cases import MAX_FAULTS, Cases, make_cases
from dustcap.predict.checks import Check
from dustcap.predict.complaints import heard
from dustcap.predict.conditions import follows
from dustcap.predict.powered import Spread
from dustcap.predict.readings import CAPACITANCE_HZ, ESR_HZ, reading

if TYPE_CHECKING:
    from dustcap.predict.grown import Batch

Floats = NDArray[np.float64]

LEAST_PARTICLES, MOST_PARTICLES = 16, 32
CASES = 12_000
"""Samples of each suspect: more on small boards, where they cost little; choices of ours."""
MANY, MANY_SEED = 256, 3
"""Samples of the healthy board for the ohms beside a leak: a choice of ours."""
NOT_IN_THE_MODEL = 0.03
KERNEL = 0.05
"""Width of a renewed severity about its parent, as a share of the whole range: a choice of ours."""


def particles_for(suspected: int) -> int:
    """How many samples each of so many suspects gets: the greatest power of two that keeps within `CASES`.

    Examples
    --------
    >>> particles_for(100), particles_for(300), particles_for(2000)
    (32, 32, 16)
    """
    fitting = 1 << max(0, (CASES // max(1, suspected)).bit_length() - 1)
    return min(MOST_PARTICLES, max(LEAST_PARTICLES, fitting))


class Predictor:
    """What every check would read under every suspect of one board; suspect 0 is the healthy board."""

    def __init__(
        self,
        board: Board,
        *,
        particles: int | None = None,
        seed: int = 1,
        store: Store | None = None,
        progress: Callable[[float], None] = lambda share: None,
        spread: Spread = map,
    ) -> None:
        found = (HEALTHY, *suspects(board))
        particles = particles or particles_for(len(found))
        leaks = [(f.a, f.b) for s in found for f in s.faults if isinstance(f, Leak)]
        kept: Store = {} if store is None else store
        cases = make_cases(board, to_circuit(board, leaks), found, particles=particles, seed=seed, store=kept)
        self._use(board, Analyses(cases, kept, progress, spread))

    def _use(self, board: Board, analyses: Analyses) -> None:
        self.board = board
        self.analyses = analyses
        self._known: dict[Check, Floats] = {}
        self._looked: dict[tuple[str, str], Floats] = {}
        self._batches: list[Batch] = []
        self.memory: dict[Hashable, Any] = {}  # what a hunt made of these predictions

    @property
    def suspects(self) -> tuple[Suspect, ...]:
        """Every single fault and leak considered; the first is none at all."""
        return self.analyses.cases.suspects

    @property
    def particles(self) -> int:
        """Samples of each suspect."""
        return self.analyses.cases.particles

    @cached_property
    def prior(self) -> Floats:
        """Shares of the suspects, shape (suspects,); what is missing to one is "something not in the model"."""
        return self.prior_with(())

    def prior_with(self, extra: Sequence[Suspect]) -> Floats:
        """The same with further suspects at the end, joint ones weighed against the single ones."""
        expected = self._weights.prior((*self.suspects, *extra))
        return np.asarray((1 - NOT_IN_THE_MODEL) * expected / np.sum(expected))

    @cached_property
    def _weights(self) -> Weights:
        return Weights.of(self.board, self._working_v(), {}, "aged")

    def _working_v(self) -> dict[str, float]:
        """Volts across every capacitor of the healthy board in use."""
        volts = self.analyses.powered(False).volts[:1]
        capacitors = self.board.of_kind("capacitor", "electrolytic")
        return {part.name: float(np.median(np.abs(self.analyses.across(part, volts)))) for part in capacitors}

    @property
    def shares(self) -> Floats:
        """Prior mass of each particle, rows of mean one."""
        return np.ones((len(self.suspects), self.particles))

    def readings(self, check: Check) -> Floats:
        """Predicted readings, shape (suspects, particles); nan: none can be taken there; inf: over range."""
        if check not in self._known:
            self._announce(check)
            self._known[check] = np.asarray(reading(self.analyses, check), dtype=float)
        return self._known[check]

    def _announce(self, check: Check) -> None:
        """Once the first unplugged check is asked for, have all of its kind computed in one pass."""
        self.expect_all(self.analyses, check)

    def expect_all(self, analyses: Analyses, check: Check) -> None:
        """Announce every candidate of an unplugged check's kind to analyses that were not asked for one yet."""
        hz = {"ohms": 0.0, "leakage": 0.0, "esr": ESR_HZ, "capacitance": CAPACITANCE_HZ}.get(check.kind)
        if hz is not None and ("unpowered", hz) not in analyses.kept:
            kinds = ("ohms", "leakage") if hz == 0.0 else (check.kind,)
            analyses.expect([(c.at, c.against) for c in self.candidates() if c.kind in kinds], hz)

    def severities(self) -> Floats:
        """Ohms of each suspect's first leak, shape (suspects, particles); nan where there is none."""
        found = np.full((len(self.suspects), self.particles), np.nan)
        for index, suspect in enumerate(self.suspects):
            leaks = [row for row, fault in enumerate(suspect.faults) if isinstance(fault, Leak)]
            if leaks:
                found[index] = self.severities_of(index)[leaks[0]]
        return found

    def severities_of(self, suspect: int) -> Floats:
        """Ohms of each fault of one suspect that is a leak, shape (faults, particles); nan where it is none."""
        faults = self.suspects[suspect].faults
        found = np.full((len(faults), self.particles), np.nan)
        for row, fault in enumerate(faults):
            if isinstance(fault, Leak):
                found[row] = leak_ohms(self.analyses.cases.severity[suspect, row])
        return found

    def beside_a_leak(self, check: Check, a: str, b: str) -> tuple[Floats, Floats, Floats, Floats] | None:
        """For ohms with R between a and b: base, share, transfer, across of base + share R - transfer^2 / (R + across).

        Of the healthy board, each of shape (`MANY`,); None where a diode near a lead conducts. Nets that nothing joins
        on the healthy board are joined by the leak, which then lies in series; leads that nothing joins read inf.
        """
        many, x, y = self.many, check.at, check.against or self.board.common
        if check.kind != "ohms" or not many.linear_between(x, y):
            return None
        pairs = [(x, y), (a, b), (x, b), (y, a), (x, a), (y, b)]
        many.expect([pair for pair in pairs if pair[0] != pair[1]], 0.0)
        none, one, inf = np.zeros(MANY), np.ones(MANY), np.full(MANY, np.inf)
        ohms = [np.real(many.impedance(*p, 0.0))[0].astype(float) if p[0] != p[1] else none for p in pairs]
        xy, ab, xb, ya, xa, yb = ohms
        joined = [bool(np.isfinite(each).all()) for each in ohms]
        if not all(there or np.isinf(each).all() for there, each in zip(joined, ohms, strict=True)):
            return None
        if all(joined):
            return xy, none, 0.5 * (xb + ya - xa - yb), ab
        if joined[0]:
            return xy, none, none, one
        if joined[1]:
            return inf, none, none, one
        return np.minimum(xa + yb, xb + ya), one, none, one

    @cached_property
    def many(self) -> Analyses:
        """The healthy board on more samples of the tolerances."""
        circuit, store = to_circuit(self.board), self.analyses.store
        return Analyses(make_cases(self.board, circuit, (HEALTHY,), particles=MANY, seed=MANY_SEED, store=store))

    def candidates(self) -> tuple[Check, ...]:
        """Checks worth considering."""
        return self._candidates

    @cached_property
    def _candidates(self) -> tuple[Check, ...]:
        return candidates(self.analyses)

    def heard(self, complaint: str, driver: str) -> Floats:
        """Probability that a complaint is observed, shape (suspects, particles)."""
        if ("heard", complaint, driver) not in self.analyses.kept:
            self.analyses.kept["heard", complaint, driver] = heard(self.analyses, complaint, driver)
        return np.asarray(self.analyses.kept["heard", complaint, driver])

    def follows(self, complaint: str, driver: str) -> Floats:
        """Probability that a complaint, once heard, is said to follow the volume, shape (suspects, particles)."""
        if ("follows", complaint, driver) not in self.analyses.kept:
            self.analyses.kept["follows", complaint, driver] = follows(self.analyses, complaint, driver)
        found: Floats = self.analyses.kept["follows", complaint, driver]
        return found

    def seen(self, target: str, word: str) -> Floats:
        """Probability of a sighting on a part or an area, shape (suspects,)."""
        if (target, word) not in self._looked:
            self._looked[target, word] = looks(self.board, self.suspects, target, word)
        return self._looked[target, word]

    def leaks_at(self, part: str) -> tuple[Suspect, ...]:
        """Leaks between any two nets of a part at which residue was seen, without those that are suspected anyway."""
        if part not in self.board.parts:
            return ()  # the leaks of an area are suspected from the start
        known = {fault.key for suspect in self.suspects for fault in suspect.faults}
        pairs = (Leak(a, b) for a, b in combinations(dict.fromkeys(self.board.part(part).nets), 2))
        return tuple(Suspect((leak,)) for leak in pairs if leak.key not in known)

    def grown(self, extra: Sequence[Suspect]) -> Predictor:
        """The same with further suspects at the end; only those that were never asked for before are solved.

        Those that were only read unplugged so far are put together anew: the others of their batch may not be wanted.
        """
        from dustcap.predict.grown import Grown, batch_of

        self._batches = [batch for batch in self._batches if batch.switched_on or {*batch.suspects} <= {*extra}]
        solved = {suspect for batch in self._batches for suspect in batch.suspects}
        new = [suspect for suspect in extra if suspect not in solved]
        if new:
            self._batches.append(batch_of(self.analyses, new))
        return Grown(self, extra, self._batches)

    def renewed(self, which: Sequence[int], weights: Floats, rng: np.random.Generator) -> Predictor:
        """New severities for some suspects near those of high weight; the tolerance samples stay.

        Half of the new severities come from the whole range, half from about the survivors; `shares` undo that.
        """
        return Renewed(self, tuple(which), weights, rng)


def looks(board: Board, suspected: Sequence[Suspect], target: str, word: str) -> Floats:
    """Probability of a sighting, shape (suspected,); only the target's own faults and the leaks bear on it."""
    found = np.full(len(suspected), seen(board, HEALTHY, target, word))
    for index, suspect in enumerate(suspected):
        if any(isinstance(fault, Leak) or fault.part == target for fault in suspect.faults):
            found[index] = seen(board, suspect, target, word)
    return found


class Renewed(Predictor):
    """A predictor in which some suspects have new severities."""

    def __init__(self, old: Predictor, which: tuple[int, ...], weights: Floats, rng: np.random.Generator) -> None:
        self._old, self._which = old, [w for w in which if w]
        cases = old.analyses.cases
        severity = cases.severity.copy()
        shares = old.shares.copy()
        chance = _Chance.of((MAX_FAULTS, cases.particles), rng)
        for index in self._which:
            severity[index], shares[index] = _drawn(
                severity[index], weights[index], len(cases.suspects[index].faults), chance
            )
        self._shares = shares
        rows = [0, *self._which]
        self._new = Analyses(cases.of(rows, severity[rows]), starts=old.analyses.starts, before=old.analyses)
        self._use(old.board, Analyses(_with(cases, severity), kept=dict(old.analyses.kept), before=old.analyses))

    @property
    def shares(self) -> Floats:
        """Prior mass of each particle, rows of mean one."""
        return self._shares

    @cached_property
    def prior(self) -> Floats:
        """As before the renewal."""
        return self._old.prior

    @cached_property
    def many(self) -> Analyses:
        """As before the renewal."""
        return self._old.many

    def candidates(self) -> tuple[Check, ...]:
        """As before the renewal."""
        return self._old.candidates()

    def readings(self, check: Check) -> Floats:
        """As before, with the rows of the renewed suspects computed anew."""
        if check not in self._known:
            found = self._old.readings(check).copy()
            found[self._which] = reading(self._new, check)[1:]
            self._known[check] = found
        return self._known[check]

    def heard(self, complaint: str, driver: str) -> Floats:
        """As before, with the rows of the renewed suspects computed anew."""
        found = self._old.heard(complaint, driver).copy()
        found[self._which] = heard(self._new, complaint, driver)[1:]
        return found

    def follows(self, complaint: str, driver: str) -> Floats:
        """As before the renewal: no severity decides on which side of the control a fault lies."""
        return self._old.follows(complaint, driver)


def _with(cases: Cases, severity: Floats) -> Cases:
    return cases.of(range(len(cases.suspects)), severity)


@dataclass(frozen=True)
class _Chance:
    """Random numbers of a renewal, the same for every suspect: what reads alike stays alike.

    `parent` and `side` (particles,), even in 0..1; `fresh`, even, and `step`, normal, (MAX_FAULTS, particles).
    """

    parent: Floats
    side: Floats
    fresh: Floats
    step: Floats

    @classmethod
    def of(cls, shape: tuple[int, int], rng: np.random.Generator) -> _Chance:
        """For severities of a shape (MAX_FAULTS, particles)."""
        parent, side = rng.random((2, shape[1]))
        return cls(parent, side, rng.random(shape), rng.standard_normal(shape))


def _drawn(severity: Floats, weights: Floats, faults: int, chance: _Chance) -> tuple[Floats, Floats]:
    """New severities (MAX_FAULTS, particles) and the share of prior mass of each (particles,)."""
    rising = np.cumsum(weights) / np.sum(weights)
    parents = severity[:, np.minimum(np.searchsorted(rising, chance.parent, side="right"), rising.size - 1)]
    new = np.where(chance.side < 0.5, _folded(parents + KERNEL * chance.step), chance.fresh)
    density = np.zeros(rising.size)
    for parent, weight in zip(severity.T, weights / np.sum(weights), strict=True):
        if weight > 0:
            density += weight * np.prod([_bump(new[f], parent[f]) for f in range(min(faults, MAX_FAULTS))], axis=0)
    shares = 1.0 / (0.5 + 0.5 * density)
    return new, shares / np.mean(shares)


def _folded(u: Floats) -> Floats:
    """Reflected back into 0..1, strictly inside."""
    return np.asarray(np.clip(1 - np.abs(1 - np.abs(u) % 2), 1e-9, 1 - 1e-9))


def _bump(u: Floats, about: float) -> Floats:
    """Density of the reflected kernel on 0..1."""
    z = [(u - about), (u + about), (u - 2 + about)]
    return np.asarray(sum(np.exp(-0.5 * (each / KERNEL) ** 2) for each in z) / (KERNEL * np.sqrt(2 * np.pi)))
