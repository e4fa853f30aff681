"""Taking a unit in: which one, what it does, and the description of its board."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Depends, File, Form, Request, UploadFile
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from dustcap.errors import InputError
from dustcap.job.desk import Desk
from dustcap.job.intake import take_in
from dustcap.job.known_boards import KnownBoard, board_file, known_boards
from dustcap.job.payloads import Intake, entered
from dustcap.web.entries import Word
from dustcap.web.frame import ANSWERS, AtDesk, page
from dustcap.web.guard import checked
from dustcap.web.mistakes import Mistake, mistake_of
from dustcap.web.uploads import on_disk, sent

router = APIRouter(dependencies=[Depends(checked)], default_response_class=HTMLResponse, responses=ANSWERS)

MOST_BOARD_BYTES = 1_000_000


@dataclass(frozen=True, slots=True)
class IntakePage:
    """Everything `intake.html` may use."""

    boards: tuple[KnownBoard, ...]
    mistake: Mistake | None = None


@router.get("/intake")
def intake(request: Request, desk: AtDesk) -> HTMLResponse:
    """The form for a unit that comes in."""
    return _show(request, desk)


@router.post("/intake", status_code=303)
def taken_in(
    request: Request,
    desk: AtDesk,
    model: Word = "",
    unit: Word = "",
    revision: Word = "",
    serial: Word = "",
    pair_with: Word = "",
    mains: Word = "",
    says: Word = "",
    history: Word = "",
    known: Annotated[str, Form(description="hash of a board description that the bench has already")] = "",
    board: Annotated[UploadFile | None, File(description="a board description, *.board.toml")] = None,
) -> Response:
    """Opens a job."""
    typed = {"model": model, "unit": unit, "revision": revision, "serial": serial, "pair_with": pair_with}
    typed |= {"mains": mains, "says": says, "history": history}
    try:
        payload = entered(Intake, typed)
        with _described(desk, known, board) as path:
            job = take_in(desk, payload, path).job
    except InputError as error:
        return _show(request, desk, _mistake(error, typed | {"known": known}, board))
    return RedirectResponse(f"/jobs/{job}", 303)


def _mistake(error: InputError, typed: dict[str, str], board: UploadFile | None) -> Mistake:
    """The line stands beside the file when the description is what is wrong."""
    found = mistake_of("intake", error, typed)
    if found.field or error.where.startswith("intake"):
        return found
    return Mistake("intake", f"{error.where}: {found.line}" if error.where else found.line, "board", typed)


@contextmanager
def _described(desk: Desk, known: str, board: UploadFile | None) -> Iterator[Path | None]:
    """The description as a file: the one that was sent, or one that the bench has already."""
    if board is not None and sent(board):
        with on_disk(board, MOST_BOARD_BYTES, "sent.board.toml") as path:
            yield path
    elif known:
        with board_file(desk, known) as path:
            yield path
    else:
        yield None


def _show(request: Request, desk: Desk, mistake: Mistake | None = None) -> HTMLResponse:
    context = IntakePage(known_boards(desk), mistake)
    status = 422 if mistake else 200
    return page(request, "intake.html", context, title="Take a unit in", tab="bench", status=status)
