"""What a recording tells the hunt: complaints with their measured value, as entries of the job."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from dustcap.errors import InputError
from dustcap.hunt.known import Known
from dustcap.job.findings import check
from dustcap.job.payloads import Complaint, Work
from dustcap.job.state import JobState
from dustcap.quantities import show

ABSENT = ("hum", "crackle")
"""Complaints that a recording can deny: their verdict passes only where the noise left room to hear them."""

SHOWN = {
    "the cabinet leaks": "air leak",
    "impedance changes with the level": "rattle",
    "voice coil open": "no output",
}
"""How the sentences of an impedance begin that are a complaint as well."""


def told(document: Mapping[str, Any], entry: int, known: Known | None, state: JobState) -> Iterator[Complaint]:
    """Complaints heard, and those looked for and absent, that the job does not hold already.

    Parameters
    ----------
    document : mapping
        Of `dustcap listen`.
    entry : int
        Position of the recording's entry.
    known : Known, optional
        Names on the board; a driver that it does not have is left open, a word that no hunt knows is left out.
    state : JobState
        Of the job before the recording.
    """
    yield from _new(_found(document), entry, known, state)


def told_by_impedance(
    document: Mapping[str, Any], driver: str, entry: int, known: Known | None, state: JobState
) -> Iterator[Complaint]:
    """The same for an impedance, document of `dustcap impedance`: a leak, a rub, a coil without contact."""
    yield from _new(_measured(document, driver), entry, known, state)


def _new(complaints: Iterator[Complaint], entry: int, known: Known | None, state: JobState) -> Iterator[Complaint]:
    held = _held(state)
    for found in complaints:
        one = _fitting(found.model_copy(update={"recording": entry}), known)
        if one is not None and (one.word, one.driver, one.seen, one.with_volume) not in held:
            yield one


def _found(document: Mapping[str, Any]) -> Iterator[Complaint]:
    verdicts = document.get("verdicts") or ()
    passed = {verdict["what"] for verdict in verdicts if verdict["verdict"] == "pass"}
    heard = [one for one in document.get("evidence") or () if one["complaint"] not in passed]
    for one in heard:
        measured = f"{_figure(one['value'], one['unit'])} ± {_figure(one['spread'], one['unit'])}"
        where = {"driver": one["driver"] or "", "with_volume": one.get("with_volume") or ""}
        yield Complaint.model_validate({"is": one["complaint"], "measured": measured} | where)
    words = {one["complaint"] for one in heard}
    for word in ABSENT:
        if word in passed and word not in words:
            yield Complaint.model_validate({"is": word, "seen": False})


def _measured(document: Mapping[str, Any], driver: str) -> Iterator[Complaint]:
    for one in document["meaning"]:
        for begins, word in SHOWN.items():
            if one["what"].startswith(begins):
                where = {} if word == "air leak" else {"driver": driver}
                yield Complaint.model_validate({"is": word, "measured": one["why"]} | where)


def _figure(value: float, unit: str) -> str:
    return f"{value:.1f} {unit}" if unit == "dB" else f"{value:.3g} {unit}" if "/" in unit else show(value, unit)


def _fitting(found: Complaint, known: Known | None) -> Complaint | None:
    for one in (found, found.model_copy(update={"driver": ""})):
        try:
            check(one, known)
        except InputError:
            continue
        return one
    return None


def _held(state: JobState) -> set[tuple[str, str, bool, str]]:
    """Complaints entered since the last work."""
    facts = list(state.standing())
    worked = max((fact.position for fact in facts if isinstance(fact.payload, Work)), default=0)
    return {
        (fact.payload.word, fact.payload.driver, fact.payload.seen, fact.payload.with_volume)
        for fact in facts
        if isinstance(fact.payload, Complaint) and fact.position > worked
    }
