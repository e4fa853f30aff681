"""The good twin of a job: the other unit of the pair, or an earlier healthy one, and what it read.

A reading of the other job was taken on a healthy unit when nothing was complained of it till then, when its proof had
passed and nothing had been found or done since, or when the technician says that the unit is well. Its readings before
any of its work are never taken once it had a complaint.
"""

from __future__ import annotations

from dataclasses import replace

from dustcap.errors import InputError
from dustcap.hunt.evidence import Evidence
from dustcap.hunt.evidence import Reading as Measured
from dustcap.hunt.findings import parse_findings
from dustcap.hunt.known import Known
from dustcap.job.desk import Desk, append, view
from dustcap.job.findings import document, evidence
from dustcap.job.payloads import Complaint, Proof, Reading, Twin, Work
from dustcap.job.state import JobState


def name_twin(desk: Desk, job: int, of: int, *, good: bool = False) -> int:
    """Name the good twin of a job; returns the position of the entry.

    Raises
    ------
    RecordError
        If there is no such job.
    InputError
        If it is the job itself, or if none of its readings was taken while it was known to be well.
    """
    if job == of:
        raise InputError("a unit is not its own twin.", where=f"job {job}", mend="Name the job of the other unit.")
    view(desk, job)
    if not healthy_readings(view(desk, of).state, good):
        raise InputError(
            "none of its readings was taken while it was known to be well.",
            where=f"job {of}",
            mend="Read it before any complaint or after its proof has passed, or say --good if it is well.",
        )
    return append(desk, job, Twin(of=of, good=good))


def healthy_readings(state: JobState, good: bool = False) -> tuple[Reading, ...]:
    """The readings of a unit that were taken while it was well; `good`: all of those since its last work were."""
    found: list[Reading] = []
    well = True
    for fact in state.standing():
        payload = fact.payload
        if isinstance(payload, Work):
            well = False
            if good:
                found = []
        elif isinstance(payload, Complaint):
            well = well and not payload.seen
        elif isinstance(payload, Proof):
            well = _passed(payload)
        elif isinstance(payload, Reading) and (well or good) and not payload.doubtful:
            found.append(payload)
    return tuple(found)


def told_of(desk: Desk, state: JobState, known: Known) -> Evidence:
    """What a hunt is told of a job: its findings that stand, in order, and what its good twin read.

    Raises
    ------
    InputError
        If a finding does not fit the board.
    """
    told = evidence(state, known)
    named = state.last(Twin)
    if named is None:
        return told
    read, notes = [], list(told.notes)
    for one in healthy_readings(view(desk, named.of).state, named.good):
        try:
            entries = parse_findings(document([one]), f"job {named.of}", known).entries
        except InputError as error:
            notes.append(f"twin, job {named.of}: not counted: {error.what}")
            continue
        read += [entry for entry in entries if isinstance(entry, Measured)]
    return replace(told, twin=tuple(read), notes=tuple(notes))


def _passed(proof: Proof) -> bool:
    return bool(proof.verdicts) and all(verdict.get("verdict") == "pass" for verdict in proof.verdicts)
