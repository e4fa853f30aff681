"""Handing a unit over: the job's entries gathered for the sheet, and the sheet kept with the job."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np

from dustcap.board.read import parse_board
from dustcap.errors import DustcapError, InputError
from dustcap.hunt import evidence as told
from dustcap.hunt.findings import parse_findings
from dustcap.job.cautions import MAINS
from dustcap.job.desk import Desk, JobView, add, view
from dustcap.job.findings import document
from dustcap.job.handover_data import (
    HandoverData,
    HuntStep,
    LimitRegion,
    ReadingLine,
    SuspectLine,
    UnitLine,
    VerdictLine,
    WorkLine,
)
from dustcap.job.hunt import PREDICTIONS, Hunter
from dustcap.job.impedance_told import impedance_said
from dustcap.job.payloads import Complaint, Handover, HuntKept, Intake, Proof, Reading, Recording, Sighting, Work
from dustcap.job.soak import soak_said
from dustcap.job.state import Fact
from dustcap.job.words import complaint_said, said, work_target
from dustcap.proof.judge import regions
from dustcap.proof.limits import default_limits

OTHERS = 3
GOOD_SHARE = (5.0, 95.0)


def gather(desk: Desk, job: int, *, remaining: Iterable[str] = ()) -> HandoverData:
    """What the hand-over sheet is drawn from.

    Parameters
    ----------
    desk : Desk
        The desk; its clock gives the time of making.
    job : int
        The job's number.
    remaining : iterable of str
        Remaining risks in the technician's words.

    Raises
    ------
    RecordError
        If there is no such job.
    """
    seen = view(desk, job)
    state = seen.state
    hunt, others, unexplained = _suspects(seen)
    return replace(
        gather_proof(desk, job),
        complaints=_complaints(seen),
        sightings=tuple(said(one) for one in state.all(Sighting)),
        readings=_readings(desk, seen),
        fault=hunt,
        others=others,
        unexplained=unexplained,
        steps=_steps(seen),
        work=tuple(WorkLine(one.did, work_target(one), one.detail, one.precaution) for one in state.all(Work)),
        remaining=tuple(remaining),
        cautions=(MAINS,),
    )


def gather_proof(desk: Desk, job: int) -> HandoverData:
    """What the page of the last proof is drawn from: unit, verdicts and recordings, nothing of the hunt.

    Raises
    ------
    RecordError
        If there is no such job.
    """
    state = view(desk, job).state
    proof = state.last(Proof)
    recordings = {fact.position: fact.payload for fact in state.standing() if isinstance(fact.payload, Recording)}
    after = _heard(desk, recordings.get(proof.after) if proof else None)
    return HandoverData(
        job=str(job),
        made=desk.now().isoformat(),
        unit=_unit(state.intake),
        technician=desk.author,
        before=_heard(desk, recordings.get(proof.before or 0) if proof else None),
        after=after,
        beside=_kept(desk, proof.beside_result) if proof and proof.beside_result else None,
        beside_words=proof.beside if proof else "",
        limits=limit_regions(after),
        verdicts=tuple(verdict_line(row) for row in proof.verdicts) if proof else (),
        soak=soak_said(state),
        impedance=impedance_said(state),
        not_measured=proof.not_measured if proof else ("no recording was made to prove the repair",),
    )


def keep_sheet(desk: Desk, job: int, sheet: bytes, *, remaining: Iterable[str] = ()) -> int:
    """Keep the sheet as it left with the unit; returns the position of the entry."""
    with desk.open() as bench, bench.write() as write:
        write.job(job)
        hash_ = write.add_file(f"handover of job {job}.pdf", sheet, desk.now())
        return add(write, desk, job, Handover(file=hash_, remaining=tuple(remaining)))


def _unit(intake: Intake) -> UnitLine:
    return UnitLine(
        model=intake.model,
        revision=intake.revision,
        mark=intake.unit,
        serial=intake.serial,
        pair_with=intake.pair_with,
        mains=intake.mains,
        history="; ".join(text for text in (intake.says, intake.history) if text),
    )


def _complaints(seen: JobView) -> tuple[str, ...]:
    """What it did, and what it does after the work."""
    worked, lines = False, []
    for fact in seen.state.standing():
        worked = worked or isinstance(fact.payload, Work)
        if isinstance(fact.payload, Complaint):
            lines.append(complaint_said(fact.payload) + (" (after the work)" if worked else ""))
    return tuple(lines)


def _suspects(seen: JobView) -> tuple[SuspectLine | None, tuple[SuspectLine, ...], float | None]:
    """The suspect that the work removed, the others and the unexplained share, by the last hunt before the work."""
    facts = list(seen.state.standing())
    works = [fact for fact in facts if isinstance(fact.payload, Work)]
    end = works[0].position if works else None
    hunts = [fact.payload for fact in facts if isinstance(fact.payload, HuntKept) and (not end or fact.position < end)]
    if not hunts:
        return None, (), None
    rows = hunts[-1].suspects
    done = [fact.payload for fact in works if isinstance(fact.payload, Work) and not fact.payload.precaution]
    hits = [row for row in rows if any(_removes(work, row) for work in done)]
    others = tuple(_line(row) for row in rows if row not in hits)[:OTHERS]
    return (_together(hits, done) if hits else None), others, hunts[-1].unexplained


def _together(hits: Sequence[Mapping[str, Any]], done: Sequence[Work]) -> SuspectLine:
    """The suspects that one work removed, as one line: which of them it was need not be known to mend it."""
    first = _line(hits[0])
    if len(hits) == 1:
        return first
    place = next((work_target(work) for work in done if _removes(work, hits[0])), "")
    words = f"{place}, most likely {first.words}"
    return replace(first, words=words, probability=sum(float(row["probability"]) for row in hits))


def _removes(work: Work, suspect: Mapping[str, Any]) -> bool:
    """Whether this work takes away one of the suspect's faults."""
    for part in suspect.get("parts", ()):
        if "leak" in part and (set(part["leak"]) == set(work.between) or (work.area and part.get("area") == work.area)):
            return True
        if work.part and part.get("part") == work.part:
            return True
    return False


def _line(row: Mapping[str, Any]) -> SuspectLine:
    return SuspectLine(str(row["words"]), float(row["probability"]), tuple(row["explains"]), tuple(row["against"]))


def _steps(seen: JobView) -> tuple[HuntStep, ...]:
    words = {fact.position: said(fact.payload) for fact in seen.state.facts}
    return tuple(
        HuntStep(
            words.get(hunt.upto, f"entry {hunt.upto}"),
            {str(row["words"]): float(row["probability"]) for row in hunt.suspects},
            hunt.unexplained,
        )
        for hunt in seen.state.all(HuntKept)
    )


def _readings(desk: Desk, seen: JobView) -> tuple[ReadingLine, ...]:
    """Every reading, withdrawn ones too, with what a good board reads there if there is a description."""
    facts = [fact for fact in seen.state.facts if isinstance(fact.payload, Reading)]
    if not facts:
        return ()
    if seen.board_text is None:
        return tuple(ReadingLine(said(fact.payload), None, withdrawn=fact.withdrawn) for fact in facts)
    hunter = Hunter(parse_board(seen.board_text, "board"), desk.folder / PREDICTIONS)
    worked = [fact.position for fact in seen.state.standing() if isinstance(fact.payload, Work)]
    lines = []
    for fact in facts:
        after = bool(worked) and fact.position > worked[0]
        for entry in parse_findings(document([fact.payload]), "reading", hunter.known).entries:
            if isinstance(entry, told.Reading):
                lines.append(_reading_line(hunter, fact, entry, after))
    return tuple(lines)


def _reading_line(hunter: Hunter, fact: Fact, entry: told.Reading, after: bool) -> ReadingLine:
    low, high = _good(hunter, entry)
    measured = not (entry.over or entry.under)
    return ReadingLine(
        check=f"{entry.check.words()}",
        value=(entry.low + entry.high) / 2 if measured else None,
        unit=entry.unit,
        word="" if measured else entry.value_words(),
        meter=entry.meter.name,
        state=entry.check.state,
        good_low=low,
        good_high=high,
        after_work=after,
        withdrawn=fact.withdrawn,
    )


def _good(hunter: Hunter, entry: told.Reading) -> tuple[float | None, float | None]:
    """Where 90 % of good boards read (inf: over range); None where nothing can be told."""
    try:
        healthy = hunter.predictor.readings(entry.check)[0]
    except InputError:
        return None, None
    told_there = healthy[~np.isnan(healthy)]
    if not told_there.size:
        return None, None
    ends = np.percentile(told_there, GOOD_SHARE, method="nearest")
    return float(ends[0]), float(ends[1])


def _heard(desk: Desk, recording: Recording | None) -> Mapping[str, Any] | None:
    return None if recording is None else _kept(desk, recording.result)


def _kept(desk: Desk, result: str) -> Mapping[str, Any]:
    """A document of `dustcap listen` by its hash."""
    with desk.open() as bench, bench.read() as read:
        found: Mapping[str, Any] = json.loads(read.content(result))
        return found


def limit_regions(after: Mapping[str, Any] | None) -> tuple[LimitRegion, ...]:
    """The limits that are shaded in the plots of a recording."""
    if after is None:
        return ()
    found = regions(after, default_limits())
    return tuple(
        LimitRegion(**{one.name: getattr(region, one.name) for one in fields(LimitRegion)}) for region in found
    )


def verdict_line(row: Mapping[str, Any]) -> VerdictLine:
    """A verdict of a proof or of a recording as it is printed."""
    names = {one.name for one in fields(VerdictLine)}
    try:
        return VerdictLine(**{key: value for key, value in row.items() if key in names})
    except TypeError as error:
        raise DustcapError(f"a verdict that cannot be printed: {error}.", where="proof") from error
