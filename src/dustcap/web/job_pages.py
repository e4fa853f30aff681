"""One job: its entries in order, what is known, what is next."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse

from dustcap.job.desk import JobView, view
from dustcap.web.frame import AtDesk, JobNumber, page
from dustcap.web.guard import checked

router = APIRouter(dependencies=[Depends(checked)], default_response_class=HTMLResponse)


@dataclass(frozen=True, slots=True)
class JobPage:
    """Everything `job.html` may use."""

    seen: JobView


@router.get("/jobs/{job}")
def job(request: Request, desk: AtDesk, job: JobNumber) -> HTMLResponse:
    """One job."""
    seen = view(desk, job)
    title = f"Job {job}: {seen.row.model}, {seen.row.unit}"
    return page(request, "job.html", JobPage(seen), title=title, tab="job", job=seen)
