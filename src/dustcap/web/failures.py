"""Every error as a page: one clear line, what was typed is not lost (the browser's way back), nothing was saved."""

from __future__ import annotations

import logging
from dataclasses import dataclass

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import Response
from starlette.exceptions import HTTPException

from dustcap.errors import DustcapError, EvidenceError, InputError, RecordError, SafetyStop, SignalError, SolveError
from dustcap.web.frame import page

log = logging.getLogger("dustcap.web")

STATUS: tuple[tuple[type[DustcapError], int, str], ...] = (
    (SafetyStop, 409, "Stop"),
    (RecordError, 404, "Not found"),
    (InputError, 422, "That cannot be right"),
    (SignalError, 422, "The recording carries no answer"),
    (SolveError, 422, "This cannot be computed"),
    (EvidenceError, 422, "The findings contradict each other"),
    (DustcapError, 422, "That did not work"),
)
BROKEN = "Something broke, nothing was saved."


@dataclass(frozen=True, slots=True)
class FailurePage:
    """Everything `failure.html` may use."""

    what: str
    where: str = ""
    mend: str = ""
    stop: bool = False


def handle_failures(app: FastAPI) -> None:
    """Give every error its page."""
    app.add_exception_handler(DustcapError, _ours)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _invalid)
    app.add_exception_handler(Exception, _broken)


def status_of(error: DustcapError) -> tuple[int, str]:
    """HTTP status and heading of an error."""
    return next((status, title) for kind, status, title in STATUS if isinstance(error, kind))


def _ours(request: Request, error: Exception) -> Response:
    assert isinstance(error, DustcapError)
    status, title = status_of(error)
    context = FailurePage(error.what, error.where, error.mend, isinstance(error, SafetyStop))
    return page(request, "failure.html", context, title=title, status=status)


def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    lines = {404: "There is no such page.", 405: "This page takes no such request."}
    said = lines.get(error.status_code, str(error.detail))
    response = page(request, "failure.html", FailurePage(said), title="Not found", status=error.status_code)
    response.headers.update(error.headers or {})
    return response


def _invalid(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    first = error.errors()[0]
    where = " ".join(str(step) for step in first["loc"])
    context = FailurePage(f"{first['msg']}.", where, "Nothing was saved.")
    return page(request, "failure.html", context, title="That cannot be right", status=422)


def _broken(request: Request, error: Exception) -> Response:
    log.error("a page broke: %s %s", request.method, request.url.path, exc_info=error)
    context = FailurePage(BROKEN, mend="The details are in the log; please report it.")
    return page(request, "failure.html", context, title="A defect of ours", status=500)
