"""Predictions of further suspects, joint faults above all, added to those of a board on demand.

Only the new suspects are solved, on the same samples of the tolerances. What was once solved stays with the predictor
it was asked of, so that the next hunt on the board asks for it again at no cost.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from math import inf

import numpy as np
from numpy.typing import NDArray

from dustcap.board.circuit import leak_name, to_circuit
from dustcap.errors import InputError
from dustcap.faults.suspects import HEALTHY, Leak, Suspect
from dustcap.predict.analyses import Analyses
from dustcap.predict.cases import MAX_FAULTS, Cases
from dustcap.predict.checks import Check
from dustcap.predict.complaints import heard
from dustcap.predict.conditions import follows
from dustcap.predict.predictor import Predictor, looks
from dustcap.predict.readings import reading

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Batch:
    """Suspects that were solved together; row 0 of its analyses is the healthy board. What was read off is kept."""

    suspects: tuple[Suspect, ...]
    analyses: Analyses
    tables: dict[Hashable, Floats] = field(default_factory=dict, repr=False, compare=False)

    @property
    def switched_on(self) -> bool:
        """Whether the powered board was solved, which is most of the work."""
        return any(("powered", connected) in self.analyses.kept for connected in (False, True))

    def table(self, key: Hashable, make: Callable[[Analyses], Floats]) -> Floats:
        """What `make` reads off the analyses, made once for each key."""
        if key not in self.tables:
            self.tables[key] = make(self.analyses)
        return self.tables[key]


def batch_of(analyses: Analyses, suspects: Sequence[Suspect]) -> Batch:
    """New suspects on the same samples of tolerances and severities.

    Raises
    ------
    InputError
        If one has more faults than are drawn for, or leaks to a net that the board does not have.
    """
    cases = analyses.cases
    nets = {*cases.board.nets, cases.board.common}
    for suspect in suspects:
        leaks = [f for f in suspect.faults if isinstance(f, Leak)]
        if len(suspect.faults) > MAX_FAULTS or not {net for f in leaks for net in (f.a, f.b)} <= nets:
            raise InputError(
                f"{suspect.words()} cannot be predicted here.",
                where="predict",
                mend=f"Name {MAX_FAULTS} faults at most, and nets of the board.",
            )
    cases = _with_places(cases, [f for s in suspects for f in s.faults if isinstance(f, Leak)])
    severity = np.repeat(cases.severity[:1], 1 + len(suspects), axis=0)
    grown = replace(cases, suspects=(HEALTHY, *suspects), severity=severity)
    return Batch(tuple(suspects), Analyses(grown, starts=analyses.starts, before=analyses))


def _with_places(cases: Cases, leaks: Sequence[Leak]) -> Cases:
    """The cases on a circuit that has a place for each of the leaks."""
    names = {element.name for element in cases.circuit.elements}
    missing = {leak_name(leak.a, leak.b): (leak.a, leak.b) for leak in leaks if leak_name(leak.a, leak.b) not in names}
    if not missing:
        return cases
    had = [(fault.a, fault.b) for s in cases.suspects for fault in s.faults if isinstance(fault, Leak)]
    circuit = to_circuit(cases.board, [*had, *missing.values()])
    places = {(name, "ohm"): inf for name in missing}
    return replace(cases, circuit=circuit, own={**cases.own, **places})


class Grown(Predictor):
    """A predictor with more suspects at the end; `batches` hold them all, and perhaps others."""

    def __init__(self, old: Predictor, extra: Sequence[Suspect], batches: Sequence[Batch]) -> None:
        self._old, self._extra, self._solved = old, tuple(extra), tuple(batches)
        cases = old.analyses.cases
        place = {s: (b, 1 + i) for b, batch in enumerate(self._solved) for i, s in enumerate(batch.suspects)}
        found = np.array([place[suspect] for suspect in self._extra], dtype=np.intp).reshape(-1, 2)
        self._picks = [(b, np.flatnonzero(found[:, 0] == b), found[found[:, 0] == b, 1]) for b in {*found[:, 0]}]
        drawn = [self._solved[b].analyses.cases.severity[i] for b, i in found]
        severity = np.concatenate([cases.severity, np.reshape(drawn, (-1, *cases.severity.shape[1:]))])
        cases = replace(cases, suspects=(*cases.suspects, *self._extra), severity=severity)
        self._use(old.board, Analyses(cases, before=old.analyses))

    @cached_property
    def prior(self) -> Floats:
        """Shares of all suspects; what is not in the model keeps its own."""
        return self._old.prior_with(self._extra)

    @cached_property
    def many(self) -> Analyses:
        """As before the growth."""
        return self._old.many

    def candidates(self) -> tuple[Check, ...]:
        """As before the growth."""
        return self._old.candidates()

    def readings(self, check: Check) -> Floats:
        """As before, with the rows of the new suspects below."""
        if check not in self._known:
            self._known[check] = self._below(self._old.readings(check), check, lambda one: self._reading(one, check))
        return self._known[check]

    def heard(self, complaint: str, driver: str) -> Floats:
        """As before, with the rows of the new suspects below."""
        old, key = self._old.heard(complaint, driver), ("heard", complaint, driver)
        return self._below(old, key, lambda one: heard(one, complaint, driver))

    def follows(self, complaint: str, driver: str) -> Floats:
        """As before, with the rows of the new suspects below."""
        old, key = self._old.follows(complaint, driver), ("follows", complaint, driver)
        return self._below(old, key, lambda one: follows(one, complaint, driver))

    def seen(self, target: str, word: str) -> Floats:
        """As before, with those of the new suspects at the end."""
        old = self._old.seen(target, word)
        return np.concatenate([old, looks(self.board, self._extra, target, word)])

    def _reading(self, analyses: Analyses, check: Check) -> Floats:
        self.expect_all(analyses, check)
        return np.asarray(reading(analyses, check), dtype=float)

    def _below(self, old: Floats, key: Hashable, table: Callable[[Analyses], Floats]) -> Floats:
        rows = np.empty((len(self._extra), old.shape[1]))
        for batch, mine, theirs in self._picks:
            rows[mine] = self._solved[batch].table(key, table)[theirs]
        return np.concatenate([old, rows])
