"""The hunt: suspects with their reasons, the check to make, the box for its reading, the way back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Depends, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from dustcap.errors import DustcapError, InputError
from dustcap.job import choices as words
from dustcap.job.choices import CHECKS, CheckChoice, Choices, choices
from dustcap.job.corrections import withdraw
from dustcap.job.desk import Desk, JobView, view
from dustcap.job.findings import enter
from dustcap.job.payloads import Complaint, HuntKept, Payload, Sighting, entered
from dustcap.job.replay import view_at
from dustcap.job.state import FINDINGS, Fact
from dustcap.job.stored_energy import Reservoir
from dustcap.job.unit_state import Assurance, all_assurances, assurances, confirm, unit_state
from dustcap.web.entries import Word, reading_of
from dustcap.web.frame import ANSWERS, AtDesk, JobNumber, WithHunts, page
from dustcap.web.guard import checked
from dustcap.web.hunt_view import AdviceLine, CheckCard, SuspectLine, advice_line, check_cards, suspect_lines
from dustcap.web.hunts import COMPUTING, READY, Hunts
from dustcap.web.mistakes import Mistake, mistake_of

router = APIRouter(dependencies=[Depends(checked)], default_response_class=HTMLResponse, responses=ANSWERS)

PATIENCE_S = 1.5
"""So long a page waits for an answer that is nearly there, instead of showing an older one."""
FIRST_LOOK_S = 0.15


@dataclass(frozen=True, slots=True)
class HuntPage:
    """Everything `hunt.html` may use."""

    seen: JobView
    choices: Choices
    how: str
    share: float
    problem: DustcapError | None
    suspects: tuple[SuspectLine, ...]
    cards: tuple[CheckCard, ...]
    card: CheckCard | None
    advice: AdviceLine | None
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    unit_state: str
    assurances: tuple[Assurance, ...]  # before the check that is shown
    asked: tuple[Assurance, ...]  # before any other reading
    reservoirs: tuple[Reservoir, ...] | None
    findings: tuple[Fact, ...]
    last: Fact | None
    upto: int | None
    mistake: Mistake | None
    checks: tuple[CheckChoice, ...] = CHECKS
    sightings: tuple[str, ...] = words.SIGHTINGS
    states: tuple[str, ...] = words.STATES


@router.get("/jobs/{job}/hunt")
def hunt(
    request: Request,
    desk: AtDesk,
    hunts: WithHunts,
    job: JobNumber,
    check: Annotated[int, Query(ge=1, le=99)] = 1,
    upto: Annotated[int | None, Query(ge=1, le=2**31)] = None,
) -> HTMLResponse:
    """The hunt as it stands; `check` picks another of the proposed checks, `upto` goes back to an earlier entry."""
    return show_hunt(request, desk, hunts, job, check=check, upto=upto)


@router.post("/jobs/{job}/hunt", status_code=303)
def answer(
    request: Request,
    desk: AtDesk,
    hunts: WithHunts,
    job: JobNumber,
    number: Annotated[int, Form(ge=1, le=99)] = 1,
    check: Word = "",
    at: Word = "",
    against: Word = "",
    part: Word = "",
    area: Word = "",
    driver: Word = "",
    word: Word = "",
    seen: Word = "",
    value: Word = "",
    esr: Word = "",
    state: Word = "",
    signal: Word = "",
    test_voltage: Word = "",
    meter: Word = "",
    discharged: Word = "",
    drivers_off: Word = "",
    limited: Word = "",
    dc_read: Word = "",
    quiet: Word = "",
) -> Response:
    """The answer to a proposed check: a reading, a look or a listen."""
    typed = {"check": check, "at": at or part, "against": against, "part": part, "area": area, "driver": driver}
    typed |= {"word": word, "seen": seen, "value": value, "esr": esr, "state": state, "meter": meter}
    typed |= {"signal": signal, "test_voltage": test_voltage}
    given = {"discharged": discharged, "drivers_off": drivers_off, "limited": limited}
    given |= {"dc_read": dc_read, "quiet": quiet}
    try:
        confirm(view(desk, job), state, {name: bool(one) for name, one in given.items()})
        enter(desk, job, _payload(typed))
    except InputError as error:
        return show_hunt(request, desk, hunts, job, check=number, mistake=mistake_of("answer", error, typed | given))
    hunts.look(job, wait_s=PATIENCE_S)
    return RedirectResponse(f"/jobs/{job}/hunt", 303)


@router.post("/jobs/{job}/hunt/undo", status_code=303)
def undo(desk: AtDesk, hunts: WithHunts, job: JobNumber, position: Annotated[int, Form(ge=1, le=2**31)]) -> Response:
    """Take the last finding back: a withdrawal that stays on the record."""
    withdraw(desk, job, position, "taken back")
    hunts.look(job, wait_s=PATIENCE_S)
    return RedirectResponse(f"/jobs/{job}/hunt", 303)


def _payload(typed: dict[str, str]) -> Payload:
    if typed["check"] == "look":
        where = {"area": typed["area"]} if typed["area"] else {"part": typed["part"]}
        return entered(Sighting, {"is": typed["seen"], **where})
    if typed["check"] == "listen":
        if typed["seen"] not in ("yes", "no"):
            raise InputError("heard or not heard?", where="seen", mend="Choose one of the two.")
        return entered(Complaint, {"is": typed["word"], "driver": typed["driver"], "seen": typed["seen"] == "yes"})
    return reading_of(typed)


def show_hunt(
    request: Request,
    desk: Desk,
    hunts: Hunts,
    job: int,
    *,
    check: int = 1,
    upto: int | None = None,
    mistake: Mistake | None = None,
) -> HTMLResponse:
    """The hunt's page."""
    seen = view(desk, job)
    standing = hunts.look(job, wait_s=FIRST_LOOK_S)
    found, how = standing.answer, standing.how
    if upto is not None and upto < seen.state.last_position:
        seen_then = view_at(desk, job, upto)
        then = hunts.at(job, upto, wait_s=PATIENCE_S)
        found, how = then, COMPUTING if then is None else READY
    else:
        upto, seen_then = None, seen
    named = choices(seen.board_text)
    farads = frozenset(name for name, unit in named.known.parts.items() if unit == "F") if named.known else frozenset()
    document = found.document if found else None
    # an answer that does not know the newest finding shows its suspects, and proposes nothing
    cards = check_cards(document, farads) if document and how == READY else ()
    card = cards[min(check, len(cards)) - 1] if cards else None
    context = HuntPage(
        seen=seen_then,
        choices=named,
        how=how,
        share=standing.share,
        problem=standing.error,
        suspects=suspect_lines(document) if document else _kept(seen_then),
        cards=cards,
        card=card,
        advice=advice_line(document) if document and how == READY else None,
        cautions=found.cautions if found else (),
        notes=tuple(document.get("notes", ())) if document else (),
        unit_state=unit_state(seen_then),
        assurances=assurances(seen_then, card.state) if card else (),
        asked=all_assurances(seen),
        reservoirs=standing.reservoirs,
        findings=tuple(fact for fact in seen.state.facts if isinstance(fact.payload, FINDINGS)),
        last=next((fact for fact in reversed(list(seen.state.standing())) if isinstance(fact.payload, FINDINGS)), None),
        upto=upto,
        mistake=mistake,
    )
    title = f"Hunt, job {job}"
    return page(request, "hunt.html", context, title=title, tab="hunt", job=seen, status=422 if mistake else 200)


def _kept(seen: JobView) -> tuple[SuspectLine, ...]:
    """What the record's last hunt said, to be read while the new answer is computed."""
    last = seen.state.last(HuntKept)
    if last is None:
        return ()
    return tuple(
        SuspectLine(str(row["words"]), row["probability"], "", tuple(row["explains"]), tuple(row["against"]))
        for row in last.suspects[:8]
    )
