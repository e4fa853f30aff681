"""Handing the unit over: the sheet is made, kept with the job, and fetched."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from dustcap.job.desk import JobView, view
from dustcap.job.handover import gather, keep_sheet
from dustcap.job.payloads import Handover, Proof, Work
from dustcap.job.state import Fact
from dustcap.report.handover import handover_pdf
from dustcap.web.entries import Word
from dustcap.web.frame import ANSWERS, AtDesk, JobNumber, page
from dustcap.web.guard import checked

router = APIRouter(dependencies=[Depends(checked)], default_response_class=HTMLResponse, responses=ANSWERS)

MOST_RISKS, MOST_LETTERS = 12, 300


@dataclass(frozen=True, slots=True)
class HandoverPage:
    """Everything `handover.html` may use."""

    seen: JobView
    sheets: tuple[Fact, ...]
    worked: bool
    proven: bool
    remaining: str


@router.get("/jobs/{job}/handover")
def handover(request: Request, desk: AtDesk, job: JobNumber) -> HTMLResponse:
    """The sheets that were made, and the form for a new one."""
    seen = view(desk, job)
    sheets = tuple(fact for fact in seen.state.facts if isinstance(fact.payload, Handover))
    last = seen.state.last(Handover)
    context = HandoverPage(
        seen=seen,
        sheets=sheets[::-1],
        worked=seen.state.last(Work) is not None,
        proven=seen.state.last(Proof) is not None,
        remaining="\n".join(last.remaining) if last else "",
    )
    return page(request, "handover.html", context, title=f"Handover, job {job}", tab="handover", job=seen)


@router.post("/jobs/{job}/handover", status_code=303)
def make(desk: AtDesk, job: JobNumber, remaining: Word = "") -> Response:
    """Makes the sheet and keeps it with the job."""
    lines = [" ".join(line.split())[:MOST_LETTERS] for line in remaining.splitlines() if line.strip()]
    risks = tuple(lines[:MOST_RISKS])
    keep_sheet(desk, job, handover_pdf(gather(desk, job, remaining=risks)), remaining=risks)
    return RedirectResponse(f"/jobs/{job}/handover", 303)
