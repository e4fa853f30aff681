"""One job: its entries in order, what is known, what is next, and one entry by itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse

from dustcap.job import choices as words
from dustcap.job.bench import JobLine, jobs
from dustcap.job.choices import CHECKS, CheckChoice, Choices, choices
from dustcap.job.desk import Desk, JobView, view
from dustcap.job.payloads import HuntKept
from dustcap.job.state import CORRECTABLE, FINDINGS, Fact, correctable
from dustcap.job.unit_state import Assurance, all_assurances, unit_state
from dustcap.job.waiting import waits_for
from dustcap.web.frame import ANSWERS, AtDesk, JobNumber, page
from dustcap.web.guard import checked
from dustcap.web.mistakes import Mistake

router = APIRouter(dependencies=[Depends(checked)], default_response_class=HTMLResponse, responses=ANSWERS)

DETAILS = ("with_volume", "when")


@dataclass(frozen=True, slots=True)
class JobPage:
    """Everything `job.html` may use."""

    seen: JobView
    choices: Choices
    waits: str
    hunt: HuntKept | None
    unit_state: str
    asked: tuple[Assurance, ...]
    others: tuple[JobLine, ...] = ()  # jobs whose unit may be the good twin
    mistake: Mistake | None = None
    correctable: frozenset[int] = frozenset()
    checks: tuple[CheckChoice, ...] = CHECKS
    complaints: tuple[str, ...] = words.COMPLAINTS
    sightings: tuple[str, ...] = words.SIGHTINGS
    works: tuple[str, ...] = words.WORKS
    states: tuple[str, ...] = words.STATES
    meters: tuple[str, ...] = words.METERS


@dataclass(frozen=True, slots=True)
class EntryPage:
    """Everything `entry.html` may use."""

    seen: JobView
    fact: Fact
    fields: Mapping[str, str]
    may_change: bool
    mistake: Mistake | None = field(default=None)


@router.get("/jobs/{job}")
def job(request: Request, desk: AtDesk, job: JobNumber) -> HTMLResponse:
    """One job: its entries, what is known and what is next."""
    return show_job(request, desk, job)


@router.get("/jobs/{job}/entries/{position}")
def entry(request: Request, desk: AtDesk, job: JobNumber, position: JobNumber) -> HTMLResponse:
    """One entry, to correct or withdraw it."""
    return show_entry(request, desk, job, position)


def show_job(request: Request, desk: Desk, job: int, mistake: Mistake | None = None) -> HTMLResponse:
    """The job's page; with a form that comes back when there is a mistake."""
    seen = view(desk, job)
    context = JobPage(
        seen=seen,
        choices=choices(seen.board_text),
        waits=waits_for(seen.state, seen.board_text is not None),
        hunt=seen.state.last(HuntKept),
        unit_state=unit_state(seen),
        asked=all_assurances(seen),
        others=tuple(line for line in jobs(desk) if line.job != job and line.model == seen.row.model),
        mistake=mistake,
        correctable=frozenset(fact.position for fact in seen.state.standing() if isinstance(fact.payload, CORRECTABLE)),
    )
    title = f"Job {job}: {seen.row.model}, {seen.row.unit}"
    return page(request, "job.html", context, title=title, tab="job", job=seen, status=422 if mistake else 200)


def show_entry(request: Request, desk: Desk, job: int, position: int, mistake: Mistake | None = None) -> HTMLResponse:
    """One entry's page."""
    seen = view(desk, job)
    fact = correctable(seen.state, position)
    plain = fact.payload.plain()
    fields = {key: str(value) for key, value in plain.items() if isinstance(value, str | int | float)}
    fields = {key: text for key, text in fields.items() if key not in ("file", "result")}
    if mistake and mistake.form == "correct":
        fields |= {key: text for key, text in mistake.typed.items() if key in fields}
    context = EntryPage(seen, fact, fields, isinstance(fact.payload, FINDINGS) or bool(fields), mistake)
    return page(
        request,
        "entry.html",
        context,
        title=f"Job {job}, entry {position}",
        tab="job",
        job=seen,
        status=422 if mistake else 200,
    )
