"""The state of a job: the fold of its entries.

A pure function of the entries: the same entries give the same state, and the entries up to any point give the state
at that point. A corrected entry keeps its place in the order, so that a reading taken before some work still speaks of
the board before it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from functools import reduce
from typing import TypeVar

from dustcap.errors import InputError, RecordError
from dustcap.job.payloads import (
    Complaint,
    Correction,
    Handover,
    ImpedanceKept,
    Intake,
    Note,
    Payload,
    Photo,
    Proof,
    Reading,
    Recording,
    Sighting,
    Soak,
    Twin,
    Work,
    payload_of,
)
from dustcap.records.rows import Entry

FINDINGS = (Complaint, Sighting, Reading, Work)
CORRECTABLE = (*FINDINGS, Twin, Intake, Note, Recording, ImpedanceKept, Photo, Soak)

P = TypeVar("P", bound=Payload)


@dataclass(frozen=True, slots=True)
class Fact:
    """An entry as it stands now: with its corrections applied, and `withdrawn` when it no longer counts."""

    position: int
    at: datetime
    author: str
    payload: Payload
    withdrawn: bool = False
    corrected_by: int | None = None
    why: str = ""


@dataclass(frozen=True, slots=True)
class JobState:
    """What is known of a job after its entries so far."""

    facts: tuple[Fact, ...] = ()

    def standing(self) -> Iterator[Fact]:
        """The facts that count, in order."""
        return (fact for fact in self.facts if not fact.withdrawn)

    def all(self, kind: type[P]) -> tuple[P, ...]:
        """Every payload of a kind that counts, in order."""
        return tuple(fact.payload for fact in self.standing() if isinstance(fact.payload, kind))

    def last(self, kind: type[P]) -> P | None:
        """The latest payload of a kind, if there is one."""
        found = self.all(kind)
        return found[-1] if found else None

    @property
    def intake(self) -> Intake:
        """What came in."""
        intake = self.last(Intake)
        if intake is None:
            raise RecordError("the job does not begin with an intake.", where="job")
        return intake

    @property
    def last_position(self) -> int:
        """Position of the newest entry; 0 when there is none."""
        return max((max(fact.position, fact.corrected_by or 0) for fact in self.facts), default=0)

    @property
    def last_finding(self) -> int:
        """Position of the newest entry that a hunt depends on, corrections included; 0 when there is none."""
        found = (fact for fact in self.facts if isinstance(fact.payload, (*FINDINGS, Twin)))
        return max((max(fact.position, fact.corrected_by or 0) for fact in found), default=0)

    @property
    def stage(self) -> str:
        """How far the job is: taken in, hunting, worked on, proven (or not), handed over."""
        if self.last(Handover):
            return "handed over"
        proof = self.last(Proof)
        if proof is not None:
            words = {str(verdict.get("verdict")) for verdict in proof.verdicts}
            return "fails its proof" if "fail" in words else "proven" if words == {"pass"} else "proof undecided"
        if self.last(Work):
            return "worked on"
        return "hunting" if any(isinstance(fact.payload, FINDINGS) for fact in self.standing()) else "taken in"


def fold(entries: Iterable[Entry]) -> JobState:
    """The state after these entries, which are one job's, in order.

    Raises
    ------
    InputError
        If an entry's payload does not fit its kind, or a correction does not fit what it corrects.
    """
    return reduce(_then, entries, JobState())


def _then(state: JobState, entry: Entry) -> JobState:
    payload = payload_of(entry.kind, entry.payload)
    if isinstance(payload, Correction):
        return _corrected(state, entry, payload)
    return JobState((*state.facts, Fact(entry.position, entry.at, entry.author, payload)))


def _corrected(state: JobState, entry: Entry, correction: Correction) -> JobState:
    old = correctable(state, entry.corrects)
    if correction.instead is None and isinstance(old.payload, Intake):
        raise InputError("an intake is not withdrawn.", where="correction", mend="Correct what is wrong in it.")
    new = replace(old, corrected_by=entry.position, why=correction.why, withdrawn=correction.instead is None)
    if correction.instead is not None:
        new = replace(new, payload=payload_of(type(old.payload).KIND, correction.instead))
    return JobState(tuple(new if fact is old else fact for fact in state.facts))


def correctable(state: JobState, position: int | None) -> Fact:
    """The fact at that position, if it is of a kind that a correction may name.

    Raises
    ------
    InputError
        If there is none, or if it is a result of the tool's own, which is made anew and not corrected.
    """
    for fact in state.facts:
        if fact.position == position:
            if isinstance(fact.payload, CORRECTABLE):
                return fact
            raise InputError(
                f"entry {position} is a {type(fact.payload).KIND}, which is not corrected.",
                where="correction",
                mend="Correct the findings that it rests on and make it anew.",
            )
    raise InputError(
        f"there is no entry {position} to correct.", where="correction", mend="`dustcap show` lists a job's entries."
    )
