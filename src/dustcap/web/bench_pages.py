"""The bench: all jobs, how far each is and what it waits for."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse

from dustcap.errors import RecordError
from dustcap.job.bench import JobLine, jobs
from dustcap.job.desk import Desk
from dustcap.web.frame import AtDesk, page
from dustcap.web.guard import checked

router = APIRouter(dependencies=[Depends(checked)], default_response_class=HTMLResponse)


@dataclass(frozen=True, slots=True)
class BenchPage:
    """Everything `bench.html` may use."""

    lines: tuple[JobLine, ...]


@router.get("/")
def bench(request: Request, desk: AtDesk) -> HTMLResponse:
    """All jobs of the bench."""
    return page(request, "bench.html", BenchPage(_lines(desk)), title="Bench", tab="bench")


def _lines(desk: Desk) -> tuple[JobLine, ...]:
    """Newest first; a folder without a bench has none yet."""
    try:
        return tuple(reversed(jobs(desk)))
    except RecordError:
        if desk.begun:
            raise
        return ()
