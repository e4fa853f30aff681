"""Entries in words, as a technician would say them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from dustcap.job.payloads import (
    Complaint,
    Handover,
    HuntKept,
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
)
from dustcap.job.state import Fact


def said(payload: Payload) -> str:
    """One line for what an entry holds."""
    return _WORDS[payload.KIND](payload)


def fact_said(fact: Fact) -> str:
    """One line for an entry as it stands, with what became of it."""
    line = said(fact.payload)
    because = f": {fact.why}" if fact.why else ""
    if fact.withdrawn:
        return f"{line} (withdrawn by entry {fact.corrected_by}{because})"
    if fact.corrected_by:
        return f"{line} (corrected by entry {fact.corrected_by}{because})"
    return line


def _intake(one: Intake) -> str:
    revision = f" revision {one.revision}" if one.revision else ""
    says = f": {one.says}" if one.says else ""
    return f"{one.model}{revision}, {one.unit}{says}"


def complaint_said(one: Complaint) -> str:
    """``hum, woofer, follows the volume``; ``squeal: not there``."""
    words = [one.word]
    if one.driver:
        words.append(one.driver)
    if one.with_volume:
        words.append({"follows": "follows the volume", "constant": "the same at any volume"}[one.with_volume])
    if one.when:
        words.append(one.when)
    return ", ".join(words) + ("" if one.seen else ": not there")


def _sighting(one: Sighting) -> str:
    return f"{one.part or one.area} {one.word}"


def reading_place(one: Reading) -> str:
    """The check and where its leads are: ``dc volts wf_out against 0V``."""
    if one.part:
        return f"{one.check} {one.part}"
    return f"{one.check} {one.at} against {one.against}" if one.against else f"{one.check} {one.at}"


def reading_value(one: Reading) -> str:
    """What the meter showed, as it was written down."""
    if one.over or one.under:
        return "over range" if one.over else "under range"
    value = one.value or f"{one.low or '...'} to {one.high or '...'}"
    return f"{value}, esr {one.esr}" if one.esr else value


def _reading(one: Reading) -> str:
    how = ", ".join(word for word in (one.signal, one.test_voltage, one.meter, one.state) if word)
    return f"{reading_place(one)}: {reading_value(one)}" + (f" ({how})" if how else "")


def work_target(one: Work) -> str:
    """What was worked on."""
    return one.part or one.area or " and ".join(one.between)


def _work(one: Work) -> str:
    between = "between " if one.between else ""
    detail = f", {one.detail}" if one.detail else ""
    return f"{one.did} {between}{work_target(one)}{detail}" + (" (as a precaution)" if one.precaution else "")


def _photo(one: Photo) -> str:
    return f"photograph {one.when} the work" + (f": {one.shows}" if one.shows else "")


def _recording(one: Recording) -> str:
    how = ", ".join(word for word, on in (("near field", one.near_field), ("power on", one.power_on)) if on)
    return f"{one.when} the work: {one.name}" + (f" ({how})" if how else "")


def _impedance(one: ImpedanceKept) -> str:
    of = " ".join(word for word in (one.driver, f"in a {one.box} box" if one.box else "") if word)
    said = f": {'; '.join(one.says)}" if one.says else ""
    return f"impedance {one.when} the work{f', {of}' if of else ''} ({one.name}){said}"


def _soak(one: Soak) -> str:
    run = f"{one.cycles} switch-ons" if one.cycles is not None else f"{one.hours:g} h under power"
    came = f"the fault came {one.came} times" if one.came else "clean"
    return f"{one.when} the work: {run}, {came}"


def _hunt(one: HuntKept) -> str:
    leads = ", ".join(f"{row['words']} {100 * row['probability']:.0f} %" for row in one.suspects[:3])
    return f"{leads or 'no suspect'}; {advice_said(one.advice)}"


def advice_said(advice: Mapping[str, Any]) -> str:
    """What the hunt advised, in a few words."""
    what = [*advice.get("parts", ()), *([advice["area"]] if advice.get("area") else [])]
    if advice.get("between"):
        what.append(" and ".join(advice["between"]))
    return f"advice: {advice.get('do', '')} {', '.join(what)}".strip()


def _proof(one: Proof) -> str:
    words = [str(verdict.get("verdict")) for verdict in one.verdicts]
    counts = [f"{words.count(word)} {word}" for word in ("pass", "fail", "undecided") if word in words]
    return ", ".join(counts) or "nothing could be judged"


def _handover(one: Handover) -> str:
    return f"sheet {one.file[:12]}"


def _twin(one: Twin) -> str:
    return f"good twin: the unit of job {one.of}" + (", known to be well" if one.good else "")


def _note(one: Note) -> str:
    return one.text


_WORDS: Mapping[str, Callable[[Any], str]] = {
    Intake.KIND: _intake,
    Complaint.KIND: complaint_said,
    Sighting.KIND: _sighting,
    Reading.KIND: _reading,
    Work.KIND: _work,
    Recording.KIND: _recording,
    ImpedanceKept.KIND: _impedance,
    Photo.KIND: _photo,
    Soak.KIND: _soak,
    HuntKept.KIND: _hunt,
    Proof.KIND: _proof,
    Handover.KIND: _handover,
    Twin.KIND: _twin,
    Note.KIND: _note,
}
