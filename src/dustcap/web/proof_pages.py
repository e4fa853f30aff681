"""The proof: the repair judged by its recordings and readings, verdict by verdict."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from dustcap.errors import InputError
from dustcap.job.bench import JobLine, jobs
from dustcap.job.desk import Desk, JobView, view
from dustcap.job.handover import verdict_line
from dustcap.job.kept_takes import KeptTake, kept_takes, newest
from dustcap.job.payloads import Proof
from dustcap.job.prove import prove
from dustcap.report.verdict_plot import verdict_gauge, verdict_mark
from dustcap.report.wording import measured, quantity
from dustcap.web.entries import Word
from dustcap.web.frame import ANSWERS, AtDesk, JobNumber, page
from dustcap.web.guard import checked
from dustcap.web.mistakes import Mistake, mistake_of

router = APIRouter(dependencies=[Depends(checked)], default_response_class=HTMLResponse, responses=ANSWERS)

SIDES = {"below": "at most", "above": "at least", "within": "within"}


@dataclass(frozen=True, slots=True)
class ShownVerdict:
    """One verdict in words and pictures."""

    what: str
    verdict: str
    value: str
    limit: str
    before: str
    why: str
    source: str
    gauge: str | None
    mark: str


@dataclass(frozen=True, slots=True)
class ProofPage:
    """Everything `proof.html` may use."""

    seen: JobView
    after: KeptTake | None
    before: KeptTake | None
    others: tuple[JobLine, ...]
    verdicts: tuple[ShownVerdict, ...]
    overall: str
    not_measured: tuple[str, ...]
    mistake: Mistake | None = None


@router.get("/jobs/{job}/proof")
def proof(request: Request, desk: AtDesk, job: JobNumber) -> HTMLResponse:
    """The last proof of a job, or what is missing for one."""
    return _show(request, desk, job)


@router.post("/jobs/{job}/proof", status_code=303)
def judged(request: Request, desk: AtDesk, job: JobNumber, twin: Word = "", gain_changed: Word = "") -> Response:
    """Judges the repair; the verdicts become an entry."""
    typed = {"twin": twin, "gain_changed": gain_changed}
    try:
        prove(desk, job, twin=_twin(twin), gain_changed=bool(gain_changed))
    except InputError as error:
        return _show(request, desk, job, mistake_of("proof", error, typed))
    return RedirectResponse(f"/jobs/{job}/proof", 303)


def _twin(text: str) -> int | None:
    if not text:
        return None
    if not text.isdecimal() or not 1 <= int(text[:10]) <= 2**31:
        raise InputError(f"{text!r} is not a job.", where="twin", mend="Choose one of the list.")
    return int(text[:10])


def shown_verdicts(rows: tuple[dict[str, object], ...]) -> tuple[ShownVerdict, ...]:
    """Verdicts as rows of a page."""
    lines = [verdict_line(row) for row in rows]
    return tuple(
        ShownVerdict(
            what=line.what,
            verdict=line.verdict,
            value="" if line.value is None else measured(line.value, line.uncertainty, line.unit),
            limit=""
            if line.limit is None
            else f"{SIDES.get(line.better, '')} {quantity(line.limit, line.unit)}".strip(),
            before="" if line.before is None else quantity(line.before, line.unit),
            why=line.why,
            source=line.source,
            gauge=verdict_gauge(line, width=180.0),
            mark=verdict_mark(line.verdict),
        )
        for line in lines
    )


def _show(request: Request, desk: Desk, job: int, mistake: Mistake | None = None) -> HTMLResponse:
    seen, takes = view(desk, job), kept_takes(desk, job)
    last = seen.state.last(Proof)
    rows = shown_verdicts(tuple(dict(row) for row in last.verdicts)) if last else ()
    found = {row.verdict for row in rows}
    context = ProofPage(
        seen=seen,
        after=newest(takes, "after"),
        before=newest(takes, "before"),
        others=tuple(line for line in jobs(desk) if line.job != job),
        verdicts=rows,
        overall="" if not last else "fail" if "fail" in found else "pass" if found == {"pass"} else "undecided",
        not_measured=last.not_measured if last else (),
        mistake=mistake,
    )
    title = f"Proof, job {job}"
    return page(request, "proof.html", context, title=title, tab="proof", job=seen, status=422 if mistake else 200)
