"""The boards of the bench, and one board: its picture, what a good one reads at a click, its leak map and sheet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, File, Form, Query, Request, UploadFile
from fastapi import Path as InPath
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from dustcap.errors import InputError, RecordError
from dustcap.job.board_view import AreaView, BoardView, Spot, board_view, changes_between
from dustcap.job.desk import Desk, JobView, view
from dustcap.job.drawer import BoardLine, begin, boards, bring, stem_of
from dustcap.job.payloads import HuntKept
from dustcap.job.photos import COMPONENT, SIDES
from dustcap.report.board_photo import Suspected, board_picture
from dustcap.report.sheet import sheet_pdf
from dustcap.web.board_facts import Facts, facts_of
from dustcap.web.board_work import Found, work_of
from dustcap.web.frame import ANSWERS, AtDesk, JobNumber, page
from dustcap.web.guard import checked
from dustcap.web.mistakes import Mistake, mistake_of

router = APIRouter(dependencies=[Depends(checked)], default_response_class=HTMLResponse, responses=ANSWERS)

Stem = Annotated[str, InPath(max_length=80)]
Word = Annotated[str, Query(max_length=200)]
Typed = Annotated[str, Form(max_length=200)]
PLAIN, LEAKS, SUSPECTS = "", "leaks", "suspects"
MOST_BOARD_BYTES = 1_000_000
SHEET_WAIT_S, PDF_WAIT_S = 0.3, 90.0


@dataclass(frozen=True, slots=True)
class BoardsPage:
    """Everything `boards.html` may use."""

    lines: tuple[BoardLine, ...]
    mistake: Mistake | None = None


@dataclass(frozen=True, slots=True)
class BoardPage:
    """Everything `board.html` may use; `share` is how far a map or sheet that is waited for has come."""

    stem: str
    here: str
    title: str
    side: str
    shade: str
    picture: str
    laid: bool
    photographed: bool
    facts: Facts
    areas: tuple[AreaView, ...]
    spots: tuple[Spot, ...]
    others: tuple[BoardLine, ...]
    suspects: tuple[Suspected, ...] | None
    waiting: str = ""
    share: float = 0.0
    problem: str = ""


@dataclass(frozen=True, slots=True)
class BesidePage:
    """Everything `board_beside.html` may use."""

    titles: tuple[str, str]
    stems: tuple[str, str]
    pictures: tuple[str, str]
    side: str
    changes: tuple[tuple[str, str], ...]  # name of the part, what changed
    part: str


@router.get("/boards")
def all_boards(request: Request, desk: AtDesk) -> HTMLResponse:
    """Every board of the bench."""
    return _boards(request, desk)


@router.post("/boards", status_code=303)
def begun(request: Request, desk: AtDesk, name: Typed = "", revision: Typed = "", mains: Typed = "") -> Response:
    """Begins a description."""
    try:
        stem = begin(desk, name, revision, mains)
    except InputError as error:
        typed = {"name": name, "revision": revision, "mains": mains}
        return _boards(request, desk, mistake_of("begin", error, typed))
    return RedirectResponse(f"/boards/{stem}/describe", 303)


@router.post("/boards/bring", status_code=303)
def brought(
    request: Request, desk: AtDesk, file: Annotated[UploadFile | None, File(description="*.board.toml")] = None
) -> Response:
    """Puts a description that was written elsewhere into the drawer."""
    content = file.file.read(MOST_BOARD_BYTES + 1) if file is not None else b""
    try:
        if not content:
            raise InputError("no file was sent.", where="file", mend="Choose a board description first.")
        if len(content) > MOST_BOARD_BYTES:
            raise InputError("the file is larger than 1 MB.", where="file", mend="Choose the right file.")
        stem = bring(desk, content, (file.filename if file else "") or "sent.board.toml")
    except InputError as error:
        return _boards(request, desk, Mistake("bring", str(error), "", {}))
    return RedirectResponse(f"/boards/{stem}", 303)


@router.get("/boards/{stem}")
def board(
    request: Request,
    desk: AtDesk,
    stem: Stem,
    side: Word = COMPONENT,
    shade: Word = "",
    part: Word = "",
    net: Word = "",
) -> HTMLResponse:
    """One board."""
    return _board(request, board_view(desk, stem), f"/boards/{stem}", side, shade, part, net)


@router.get("/jobs/{job}/board")
def board_of_job(
    request: Request,
    desk: AtDesk,
    job: JobNumber,
    side: Word = COMPONENT,
    shade: Word = "",
    part: Word = "",
    net: Word = "",
) -> HTMLResponse:
    """The board of a job, with the suspects of its hunt."""
    seen = view(desk, job)
    if seen.row.board is None:
        raise InputError(
            "the job has no board description yet.", where=f"job {job}", mend="Describe its board under Boards."
        )
    found = board_view(desk, stem_of(seen.row.board.name, seen.row.board.revision))
    kept = seen.state.last(HuntKept)
    suspects = tuple(_suspected(row) for row in kept.suspects) if kept else ()
    return _board(request, found, f"/jobs/{job}/board", side, shade, part, net, seen=seen, suspects=suspects)


@router.get("/boards/{stem}/sheet.pdf", response_class=Response)
def sheet(request: Request, desk: AtDesk, stem: Stem) -> Response:
    """The service sheet as PDF."""
    found = work_of(request).sheet(board_view(desk, stem), wait_s=PDF_WAIT_S)
    if found.error is not None:
        raise found.error
    if found.value is None:
        raise RecordError("the sheet is still computed.", where="sheet", mend="Ask again in a minute.")
    return _download(sheet_pdf(found.value), "application/pdf", f"{stem} service sheet.pdf", inline=True)


@router.get("/boards/{stem}/file", response_class=Response)
def plain_file(desk: AtDesk, stem: Stem) -> Response:
    """The description as a plain file."""
    text = board_view(desk, stem).board.text
    return _download(text.encode(), "text/plain; charset=utf-8", f"{stem}.board.toml")


@router.get("/boards/{stem}/beside/{other}")
def beside(
    request: Request, desk: AtDesk, stem: Stem, other: Stem, side: Word = COMPONENT, part: Word = ""
) -> HTMLResponse:
    """Two revisions side by side, and what the maker changed."""
    views = (board_view(desk, stem), board_view(desk, other))
    side = _side(side)
    pictures = tuple(
        board_picture(each, side, photo=_photo, part=part, link=lambda spot: f"?{urlencode({'part': spot.name})}")
        for each in views
    )
    changes = tuple((each.name, each.words()) for each in changes_between(views[0], views[1]))
    context = BesidePage(
        (views[0].title, views[1].title), (stem, other), (pictures[0], pictures[1]), side, changes, part
    )
    return page(request, "board_beside.html", context, title="Two boards side by side", tab="boards")


def _boards(request: Request, desk: Desk, mistake: Mistake | None = None) -> HTMLResponse:
    context = BoardsPage(boards(desk), mistake)
    return page(request, "boards.html", context, title="Boards", tab="boards", status=422 if mistake else 200)


def _board(
    request: Request,
    found: BoardView,
    here: str,
    side: str,
    shade: str,
    part: str,
    net: str,
    *,
    seen: JobView | None = None,
    suspects: tuple[Suspected, ...] | None = None,
) -> HTMLResponse:
    side, work = _side(side), work_of(request)
    sheet = work.sheet(found, wait_s=SHEET_WAIT_S if part or net else 0.0) if found.board.parts else Found(share=1.0)
    leaks = work.leaks(found, wait_s=SHEET_WAIT_S) if shade == LEAKS else Found()
    chosen = {"side": side, "shade": shade}

    def link(spot: Spot) -> str:
        return f"{here}?{urlencode({**chosen, 'part': spot.name})}#facts"

    facts = facts_of(
        found,
        sheet.value,
        part=part,
        net=net,
        waiting=sheet.running and bool(found.board.parts),
        problem=str(sheet.error or ""),
        query=f"{here}?{urlencode(chosen)}",
    )
    drawn = board_picture(
        found,
        side,
        photo=_photo,
        link=link,
        suspects=suspects if shade == SUSPECTS and suspects else (),
        leaks=leaks.value,
        part=part,
        net=net,
    )
    plane = found.plane(side)
    waits = shade == LEAKS and leaks.running
    context = BoardPage(
        found.stem,
        here,
        found.title,
        side,
        shade,
        drawn,
        plane.matrix is not None,
        bool(plane.file),
        facts,
        found.areas,
        found.spots,
        tuple(line for line in boards(request.app.state.desk) if line.stem != found.stem and not line.problem),
        suspects,
        "the leak map" if waits else "",
        leaks.share,
        str(leaks.error or ""),
    )
    return page(request, "board.html", context, title=found.title, tab="board" if seen else "boards", job=seen)


def _suspected(row: object) -> Suspected:
    """A suspect as the hunt kept it."""
    assert isinstance(row, dict)
    parts = tuple(str(each["part"]) for each in row["parts"] if "part" in each)
    leaks = tuple((str(each["leak"][0]), str(each["leak"][1])) for each in row["parts"] if "leak" in each)
    return Suspected(str(row["words"]), parts, leaks, float(row["probability"]))


def _side(side: str) -> str:
    return side if side in SIDES else COMPONENT


def _photo(hash_: str) -> str:
    return f"/photos/{hash_}.jpg"


def _download(content: bytes, sort: str, name: str, *, inline: bool = False) -> Response:
    how = "inline" if inline else "attachment"
    return Response(content, media_type=sort, headers={"Content-Disposition": f'{how}; filename="{name}"'})
