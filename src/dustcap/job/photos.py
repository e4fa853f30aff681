"""Photographs of a board: both sides, laid on millimetres and on each other by common points.

They belong to the board and not to a job, for a revision is photographed once and serves every unit. Which photograph
shows which side, and the common points, stand in ``boards/NAME.photos.toml`` beside the description; the pictures lie
among the files of the record under their hash. What a job photographs of its own unit is an entry of that job.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import tomlkit

from dustcap.board.geometry import Point
from dustcap.board.registration import Registration, register
from dustcap.errors import InputError, RecordError
from dustcap.job.desk import Desk, add, view
from dustcap.job.drawer import SUFFIX, path_of
from dustcap.job.payloads import Photo, entered
from dustcap.job.photo_reading import read_photograph
from dustcap.job.text_files import read_text
from dustcap.records.files import write_whole

COMPONENT, SOLDER = "component", "solder"
SIDES = (COMPONENT, SOLDER)
LAYOUT = 1
LEAST_MM, MOST_MM = 5.0, 1000.0
WRONG_SIDE: Mapping[str, str] = {
    COMPONENT: "The picture comes out mirrored: are the corners in the right order, and is this the component side?",
    SOLDER: "The solder side should come out mirrored and does not: are the points in the same order?",
}


@dataclass(frozen=True, slots=True)
class Side:
    """The photograph of one side; `points` pair a place with a pixel of this photograph.

    The places are millimetres for the component side and pixels of the component side's photograph for the solder side.
    """

    side: str
    file: str
    width: int
    height: int
    points: tuple[tuple[Point, Point], ...] = ()

    @property
    def registration(self) -> Registration | None:
        """How the places lie on the photograph; None as long as there are no points."""
        if not self.points:
            return None
        return register([place for place, _ in self.points], [pixel for _, pixel in self.points])


@dataclass(frozen=True, slots=True)
class BoardPhotos:
    """What is photographed of a board."""

    component: Side | None = None
    solder: Side | None = None

    def of(self, side: str) -> Side | None:
        """The photograph of a side, if there is one."""
        return self.component if side == COMPONENT else self.solder


@dataclass(frozen=True, slots=True)
class Fit:
    """How well common points fit: in pixels of the photograph, and in words."""

    points: int
    rms_px: float
    worst: int  # 1 for the first
    worst_px: float
    checked: bool
    pixels_per_mm: float | None
    remark: str

    @property
    def said(self) -> str:
        """The fit in one line."""
        if not self.checked:
            return f"{self.points} points fit by force; a fifth one would show how well."
        line = f"{self.points} points, off by {self.rms_px:.1f} pixels (r.m.s.)"
        return f"{line}; number {self.worst} by {self.worst_px:.1f}, the most."


def photos_of(desk: Desk, stem: str) -> BoardPhotos:
    """The photographs of a board; none when it was never photographed.

    Raises
    ------
    InputError
        If the file beside the description was changed into something that cannot be.
    """
    path = _path(desk, stem)
    if not path.is_file():
        return BoardPhotos()
    try:
        tree = tomlkit.parse(read_text(path)).unwrap()
        sides = {side: _read_side(side, tree[side]) for side in SIDES if side in tree}
        found = BoardPhotos(**sides)
        for one in sides.values():
            _ = one.registration
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        raise InputError(
            f"cannot be read: {error}.", where=str(path), mend="Delete it and send the photographs again."
        ) from error
    return found


def keep_photo(desk: Desk, stem: str, side: str, content: bytes) -> Side:
    """Keep a photograph of a side; it takes the place of the one before, whose points no longer hold.

    Raises
    ------
    InputError
        If there is no such side, or the bytes are no photograph.
    """
    _check_side(side)
    photograph = read_photograph(content)
    with desk.open(create=True) as bench, bench.write() as write:
        hash_ = write.add_file(f"{stem} {side}.jpg", photograph.content, desk.now())
    new = Side(side, hash_, photograph.width, photograph.height)
    old = photos_of(desk, stem)
    if side == COMPONENT:
        _write(desk, stem, BoardPhotos(new, replace(old.solder, points=()) if old.solder else None))
    else:
        _write(desk, stem, BoardPhotos(old.component, new))
    return new


def set_points(desk: Desk, stem: str, side: str, places: Sequence[Point], pixels: Sequence[Point]) -> Fit:
    """Lay a photograph on millimetres (component side), or on the other side's photograph (solder side).

    Raises
    ------
    InputError
        If there is no photograph, a point lies outside it, or the points do not say how it lies.
    """
    _check_side(side)
    photos = photos_of(desk, stem)
    one = photos.of(side)
    if one is None or (side == SOLDER and photos.component is None):
        raise InputError(f"there is no photograph of the {side} side.", where="photo", mend="Send it first.")
    for number, (x, y) in enumerate(pixels, 1):
        if not (0 <= x <= one.width and 0 <= y <= one.height):
            raise InputError(f"point {number} lies outside the photograph.", where="common points", mend="Move it in.")
    register(places, pixels)
    new = replace(one, points=tuple((_rounded(a), _rounded(b)) for a, b in zip(places, pixels, strict=True)))
    fit = fit_of(side, new)
    if side == COMPONENT:
        _write(desk, stem, BoardPhotos(new, photos.solder))
    else:
        _write(desk, stem, BoardPhotos(photos.component, new))
    assert fit is not None
    return fit


def fit_of(side: str, one: Side) -> Fit | None:
    """How well a side's points fit; None as long as there are none."""
    found = one.registration
    if found is None:
        return None
    xs, ys = zip(*(place for place, _ in one.points), strict=True)
    middle = (sum(xs) / len(xs), sum(ys) / len(ys))
    scale = found.scale_at(middle) if side == COMPONENT else None
    # pixels count downward and millimetres upward, so that the component side has to come out turned over as well
    return Fit(
        len(found.residuals),
        found.rms,
        found.worst + 1,
        found.residuals[found.worst],
        found.checked,
        scale,
        "" if found.mirrored else WRONG_SIDE[side],
    )


def corners_mm(width: str, height: str) -> tuple[Point, Point, Point, Point]:
    """The corners of a board of that size, from the lower left one and on to the right, in mm.

    Raises
    ------
    InputError
        If a size is no length from 5 mm to 1 m.
    """
    from dustcap.quantities import read

    sizes = []
    for text, key in ((width, "width"), (height, "height")):
        size = 1e3 * read(text if any(letter.isalpha() for letter in text) else f"{text} mm", "m", key)
        if not LEAST_MM <= size <= MOST_MM:
            raise InputError(f"{text!r} is no size of a board.", where=key, mend="Write it in mm: 160")
        sizes.append(size)
    w, h = sizes
    return (0.0, 0.0), (w, 0.0), (w, h), (0.0, h)


def picture(desk: Desk, hash_: str) -> bytes:
    """A kept photograph.

    Raises
    ------
    RecordError
        If it is missing, changed, or no photograph.
    """
    with desk.open() as bench, bench.read() as read:
        content = read.content(hash_)
    if not content.startswith(b"\xff\xd8\xff"):
        raise RecordError(f"file {hash_[:12]} is no photograph.", where="files")
    return content


def photograph_job(desk: Desk, job: int, content: bytes, *, when: str, shows: str = "") -> int:
    """Keep a photograph of a job's own unit as an entry; returns its position.

    Raises
    ------
    InputError
        If the bytes are no photograph, or it is said to be taken neither before nor after.
    """
    view(desk, job)
    photograph = read_photograph(content)
    with desk.open() as bench, bench.write() as write:
        hash_ = write.add_file(f"job {job} {when}.jpg", photograph.content, desk.now())
        fields = {"file": hash_, "width": photograph.width, "height": photograph.height, "when": when, "shows": shows}
        return add(write, desk, job, entered(Photo, fields))


def _path(desk: Desk, stem: str) -> Path:
    path = path_of(desk, stem)
    return path.with_name(path.name.removesuffix(SUFFIX) + ".photos.toml")


def _check_side(side: str) -> None:
    if side not in SIDES:
        raise InputError(f"{side[:40]!r} is no side of a board.", where="photo", mend=f"Sides: {', '.join(SIDES)}.")


def _rounded(point: Point) -> Point:
    return round(float(point[0]), 3), round(float(point[1]), 3)


def _read_side(side: str, table: Mapping[str, Any]) -> Side:
    points = tuple((_pair(entry["place"]), _pair(entry["pixel"])) for entry in table.get("points", []))
    return Side(side, str(table["file"]), int(table["width"]), int(table["height"]), points)


def _pair(raw: Sequence[float]) -> Point:
    x, y = raw
    return float(x), float(y)


def _write(desk: Desk, stem: str, photos: BoardPhotos) -> None:
    document = tomlkit.document()
    document["layout"] = LAYOUT
    for one in (photos.component, photos.solder):
        if one is not None:
            table = tomlkit.table()
            table.update({"file": one.file, "width": one.width, "height": one.height})
            rows = tomlkit.array().multiline(True)
            for place, pixel in one.points:
                row = tomlkit.inline_table()
                row.update({"place": list(place), "pixel": list(pixel)})
                rows.append(row)
            table["points"] = rows
            document[one.side] = table
    path = _path(desk, stem)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise RecordError(f"the folder cannot be made: {error.strerror}.", where=str(path.parent)) from error
    write_whole(path, tomlkit.dumps(document).encode())
