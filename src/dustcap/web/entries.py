"""Forms that enter something into a job. Each is a plain POST that goes back to where it came from."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated

from fastapi import APIRouter, Depends, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from dustcap.errors import InputError
from dustcap.job import corrections
from dustcap.job.desk import Desk, view
from dustcap.job.findings import enter
from dustcap.job.payloads import Complaint, Note, Payload, Reading, Sighting, Work, entered
from dustcap.job.readings import answered, placed
from dustcap.job.twin import name_twin
from dustcap.job.unit_state import confirm, state_of
from dustcap.web.frame import ANSWERS, AtDesk, JobNumber
from dustcap.web.guard import checked
from dustcap.web.job_pages import show_entry, show_job
from dustcap.web.mistakes import Typed, mistake_of

router = APIRouter(dependencies=[Depends(checked)], default_response_class=HTMLResponse, responses=ANSWERS)

Word = Annotated[str, Form()]


@router.post("/jobs/{job}/complaints", status_code=303)
def complaint(
    request: Request,
    desk: AtDesk,
    job: JobNumber,
    word: Word = "",
    driver: Word = "",
    absent: Word = "",
    with_volume: Word = "",
    when: Word = "",
) -> Response:
    """What the unit does, or does not do."""
    typed = {"word": word, "driver": driver, "absent": absent, "with_volume": with_volume, "when": when}
    fields = {"is": word, "driver": driver, "seen": not absent, "with_volume": with_volume, "when": when}
    return _enter(request, desk, job, "complaint", typed, lambda: entered(Complaint, fields))


@router.post("/jobs/{job}/sightings", status_code=303)
def sighting(
    request: Request, desk: AtDesk, job: JobNumber, word: Word = "", part: Word = "", area: Word = ""
) -> Response:
    """What a part or an area looks like."""
    typed = {"word": word, "part": part, "area": area}
    fields = {"is": word, "part": part, "area": area}
    return _enter(request, desk, job, "sighting", typed, lambda: entered(Sighting, fields))


@router.post("/jobs/{job}/readings", status_code=303)
def reading(
    request: Request,
    desk: AtDesk,
    job: JobNumber,
    check: Word = "",
    at: Word = "",
    against: Word = "",
    value: Word = "",
    state: Word = "",
    meter: Word = "",
    signal: Word = "",
    test_voltage: Word = "",
    esr: Word = "",
    discharged: Word = "",
    drivers_off: Word = "",
    limited: Word = "",
    dc_read: Word = "",
    quiet: Word = "",
    back: Word = "",
) -> Response:
    """What a meter shows, with what was confirmed about the unit's state."""
    typed = {"check": check, "at": at, "against": against, "value": value, "state": state, "meter": meter}
    typed |= {"signal": signal, "test_voltage": test_voltage, "esr": esr}
    given = {"discharged": discharged, "drivers_off": drivers_off, "limited": limited}
    given |= {"dc_read": dc_read, "quiet": quiet}

    def made() -> Payload:
        payload = reading_of(typed)
        confirm(view(desk, job), state_of(payload), {name: bool(one) for name, one in given.items()})
        return payload

    return _enter(request, desk, job, "reading", typed | given, made, back)


def reading_of(typed: Typed) -> Reading:
    """The reading that was typed in; an answer such as ``over`` or ``4.1..4.3 V`` is read.

    Raises
    ------
    InputError
        If something is missing or has no form of a reading.
    """
    extra = {key: typed.get(key, "") for key in ("state", "meter", "signal", "test_voltage", "esr")}
    if not typed["value"].strip():
        raise InputError("no value was given.", where="value", mend="Type what the meter shows: -23.8, 2k2, over.")
    place = placed(typed["check"], typed["at"], typed["against"])
    return entered(Reading, {"check": typed["check"], **place, **answered(typed["value"]), **extra})


@router.post("/jobs/{job}/work", status_code=303)
def work(
    request: Request,
    desk: AtDesk,
    job: JobNumber,
    did: Word = "",
    part: Word = "",
    area: Word = "",
    first_net: Word = "",
    second_net: Word = "",
    detail: Word = "",
    precaution: Word = "",
    back: Word = "",
) -> Response:
    """What was done."""
    typed = {"did": did, "part": part, "area": area, "first_net": first_net, "second_net": second_net}
    typed |= {"detail": detail, "precaution": precaution}
    between = tuple(net for net in (first_net.strip(), second_net.strip()) if net)
    fields = {"did": did, "part": part, "area": area, "between": between, "detail": detail}
    return _enter(
        request, desk, job, "work", typed, lambda: entered(Work, fields | {"precaution": bool(precaution)}), back
    )


@router.post("/jobs/{job}/notes", status_code=303)
def note(request: Request, desk: AtDesk, job: JobNumber, text: Word = "") -> Response:
    """Anything else worth keeping."""
    return _enter(request, desk, job, "note", {"text": text}, lambda: entered(Note, {"text": text}))


@router.post("/jobs/{job}/twin", status_code=303)
def twin(request: Request, desk: AtDesk, job: JobNumber, of: Word = "", good: Word = "") -> Response:
    """The good twin, whose readings correct the description."""
    try:
        if not of.isascii() or not of.isdigit() or len(of) > 9:
            raise InputError(f"{of!r} is not a job.", where="of", mend="Choose one of the list.")
        position = name_twin(desk, job, int(of), good=bool(good))
    except InputError as error:
        return show_job(request, desk, job, mistake_of("twin", error, {"of": of, "good": good}))
    return RedirectResponse(f"/jobs/{job}#entry-{position}", 303)


def _enter(
    request: Request,
    desk: Desk,
    job: int,
    form: str,
    typed: Typed,
    made: Callable[[], Payload],
    back: str = "",
) -> Response:
    """Keep an entry and go back to the job; or show the form again with what is wrong."""
    try:
        position = enter(desk, job, made())
    except InputError as error:
        return show_job(request, desk, job, mistake_of(form, error, typed))
    return RedirectResponse(f"/jobs/{job}/hunt" if back == "hunt" else f"/jobs/{job}#entry-{position}", 303)


@router.post("/jobs/{job}/entries/{position}/withdraw", status_code=303)
def withdraw(
    request: Request, desk: AtDesk, job: JobNumber, position: JobNumber, why: Word = "", back: Word = ""
) -> Response:
    """An entry no longer counts."""
    try:
        corrections.withdraw(desk, job, position, why[:1000])
    except InputError as error:
        return show_entry(request, desk, job, position, mistake_of("withdraw", error, {"why": why}))
    return RedirectResponse(f"/jobs/{job}/hunt" if back == "hunt" else f"/jobs/{job}#entry-{position}", 303)


@router.post("/jobs/{job}/entries/{position}/correct", status_code=303)
async def correct(request: Request, desk: AtDesk, job: JobNumber, position: JobNumber) -> Response:
    """An entry counts with other words: every field of the form but `why` is a key of the entry."""
    from starlette.concurrency import run_in_threadpool

    sent = {key: value.strip() for key, value in (await request.form()).items() if isinstance(value, str)}
    return await run_in_threadpool(_correct, request, desk, job, position, sent)


def _correct(request: Request, desk: Desk, job: int, position: int, sent: dict[str, str]) -> Response:
    fields = {key: text for key, text in sent.items() if key not in ("why", "token")}
    try:
        changes = {key: text or None for key, text in fields.items()}
        corrections.correct(desk, job, position, changes, sent.get("why", "")[:1000])
    except InputError as error:
        return show_entry(request, desk, job, position, mistake_of("correct", error, fields))
    return RedirectResponse(f"/jobs/{job}#entry-{position}", 303)
