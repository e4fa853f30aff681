"""Photographs: of a board, with the points, places and areas that are clicked on them; and of a job's own unit."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from math import isfinite
from typing import Annotated, Any

from fastapi import APIRouter, Depends, File, Form, Request, UploadFile
from fastapi import Path as InPath
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from dustcap.errors import InputError, UnitError
from dustcap.job.board_view import AREA_KINDS, BoardView, Plane, board_view, draw_area, place_part
from dustcap.job.desk import Desk, view
from dustcap.job.payloads import Photo
from dustcap.job.photo_reading import MOST_BYTES
from dustcap.job.photos import COMPONENT, SIDES, corners_mm, keep_photo, photograph_job, picture, set_points
from dustcap.quantities import read
from dustcap.report.board_photo import board_picture
from dustcap.web.board_pages import Stem, Typed
from dustcap.web.frame import ANSWERS, AtDesk, JobNumber, page
from dustcap.web.guard import checked

router = APIRouter(dependencies=[Depends(checked)], default_response_class=HTMLResponse, responses=ANSWERS)

Point = tuple[float, float]
Points = Annotated[str, Form(max_length=20_000)]
Hash = Annotated[str, InPath(pattern="^[0-9a-f]{64}$")]
Sent = Annotated[UploadFile | None, File(description="a photograph: JPEG, PNG or HEIC")]
FOR_GOOD = {"Cache-Control": "private, max-age=31536000, immutable"}
MOST_CORNERS = 200


@dataclass(frozen=True, slots=True)
class SidePicture:
    """The picture of one side as the page draws it, and how well its points fit."""

    side: str
    plane: Plane
    drawn: str


@dataclass(frozen=True, slots=True)
class PhotosPage:
    """Everything `photos.html` may use; `data` is what the script reads."""

    view: BoardView
    sides: tuple[SidePicture, SidePicture]
    data: dict[str, Any]
    area_kinds: tuple[str, ...]
    form: str = ""
    problem: str = ""


@dataclass(frozen=True, slots=True)
class JobPhotosPage:
    """Everything `photos_of_job.html` may use; the newest pair stands in the slider."""

    job: int
    photos: tuple[Photo, ...]
    before: Photo | None
    after: Photo | None
    problem: str = ""


@router.get("/photos/{hash_}.jpg", response_class=Response)
def photograph(desk: AtDesk, hash_: Hash) -> Response:
    """A kept photograph."""
    return Response(picture(desk, hash_), media_type="image/jpeg", headers=FOR_GOOD)


@router.get("/boards/{stem}/photos")
def photos(request: Request, desk: AtDesk, stem: Stem) -> HTMLResponse:
    """Both sides of a board, and the tools to click on them."""
    return _show(request, desk, stem)


@router.post("/boards/{stem}/photos", status_code=303)
def sent(request: Request, desk: AtDesk, stem: Stem, side: Typed = COMPONENT, file: Sent = None) -> Response:
    """Keeps a photograph of a side."""
    return _done(request, desk, stem, "photo", lambda: keep_photo(desk, stem, side, _content(file)))


@router.post("/boards/{stem}/points", status_code=303)
def laid(
    request: Request,
    desk: AtDesk,
    stem: Stem,
    side: Typed = COMPONENT,
    pixels: Points = "",
    places: Points = "",
    width: Typed = "",
    height: Typed = "",
) -> Response:
    """Lays a photograph by common points; `places` in mm or pixels, or the size of the board for its four corners."""

    def lay() -> None:
        known = _points(places, "places") if places.strip() else list(corners_mm(width, height))
        set_points(desk, stem, side, known, _points(pixels, "points"))

    return _done(request, desk, stem, f"points {side}", lay)


@router.post("/boards/{stem}/places", status_code=303)
def placed(
    request: Request, desk: AtDesk, stem: Stem, part: Typed = "", x: Typed = "", y: Typed = "", gone: Typed = ""
) -> Response:
    """Places a part, or takes its place away."""

    def place() -> None:
        place_part(desk, stem, part, None if gone else (_mm(x, "x"), _mm(y, "y")))

    return _done(request, desk, stem, "place", place)


@router.post("/boards/{stem}/areas", status_code=303)
def drawn(
    request: Request,
    desk: AtDesk,
    stem: Stem,
    name: Typed = "",
    kind: Typed = "residue",
    outline: Points = "",
    gone: Typed = "",
) -> Response:
    """Draws a marked area, corners in mm, or takes it away."""
    return _done(
        request,
        desk,
        stem,
        "area",
        lambda: draw_area(desk, stem, name, kind, None if gone else _points(outline, "outline")),
    )


@router.get("/jobs/{job}/photos")
def photos_of_job(request: Request, desk: AtDesk, job: JobNumber) -> HTMLResponse:
    """A job's own photographs, before and after the work."""
    return _show_job(request, desk, job)


@router.post("/jobs/{job}/photos", status_code=303)
def photographed(
    request: Request, desk: AtDesk, job: JobNumber, when: Typed = "before", shows: Typed = "", file: Sent = None
) -> Response:
    """Keeps a photograph as an entry of the job."""
    try:
        photograph_job(desk, job, _content(file), when=when, shows=shows)
    except InputError as error:
        return _show_job(request, desk, job, str(error))
    return RedirectResponse(f"/jobs/{job}/photos", 303)


def _done(request: Request, desk: Desk, stem: str, form: str, act: Callable[[], object]) -> Response:
    """The page again, with what was refused beside its form."""
    try:
        act()
    except InputError as error:
        return _show(request, desk, stem, form, f"{error.what} {error.mend}".strip())
    return RedirectResponse(f"/boards/{stem}/photos", 303)


def _show(request: Request, desk: Desk, stem: str, form: str = "", problem: str = "") -> HTMLResponse:
    found = board_view(desk, stem)
    pictures = [
        SidePicture(side, found.plane(side), board_picture(found, side, photo=lambda hash_: f"/photos/{hash_}.jpg"))
        for side in SIDES
    ]
    problem = problem[:1].upper() + problem[1:]
    context = PhotosPage(found, (pictures[0], pictures[1]), _data(found), AREA_KINDS, form, problem)
    title = f"Photos and places: {found.title}"
    return page(request, "photos.html", context, title=title, tab="boards", status=422 if problem else 200)


def _show_job(request: Request, desk: Desk, job: int, problem: str = "") -> HTMLResponse:
    seen = view(desk, job)
    kept = seen.state.all(Photo)
    newest = {photo.when: photo for photo in kept}
    context = JobPhotosPage(job, kept, newest.get("before"), newest.get("after"), problem)
    title = f"Photographs of job {job}"
    return page(
        request, "photos_of_job.html", context, title=title, tab="job", job=seen, status=422 if problem else 200
    )


def _data(found: BoardView) -> dict[str, Any]:
    """What the script needs: sizes, matrices from mm to pixels, points, places, outlines."""
    sides = {}
    for side in SIDES:
        plane, photo = found.plane(side), found.photos.of(side)
        sides[side] = {
            "width": plane.width,
            "height": plane.height,
            "matrix": plane.matrix,
            "photo": bool(plane.file),
            "points": [{"place": place, "pixel": pixel} for place, pixel in photo.points] if photo else [],
        }
    return {
        "sides": sides,
        "parts": [{"name": spot.name, "at": spot.at} for spot in found.spots],
        "areas": [{"name": area.name, "kind": area.kind, "outline": area.outline} for area in found.areas],
    }


def _content(file: UploadFile | None) -> bytes:
    return b"" if file is None else file.file.read(MOST_BYTES + 1)


def _points(text: str, where: str) -> list[Point]:
    """Points out of a form: ``[[30, 12], [52, 12]]`` or ``30 12; 52 12``."""
    try:
        raw = (
            json.loads(text)
            if text.lstrip().startswith("[")
            else [row.split() for row in text.split(";") if row.strip()]
        )
        found = [(float(x), float(y)) for x, y in raw][: MOST_CORNERS + 1]
    except (ValueError, TypeError, RecursionError) as error:
        raise InputError(
            f"{text[:40]!r} are no points.", where=where, mend="Write x y pairs: 30 12; 52 12; 52 26"
        ) from error
    if not all(isfinite(number) for point in found for number in point):
        raise InputError("a point is no point.", where=where, mend="Write finite numbers.")
    return found


def _mm(text: str, where: str) -> float:
    try:
        return 1e3 * read(text if any(letter.isalpha() for letter in text) else f"{text} mm", "m", where)
    except UnitError as error:
        raise InputError(f"{text[:40]!r} is no length.", where=where, mend="Write millimetres: 41.2") from error
