"""A board as a page shows it: where its parts and areas lie on each picture, and what is known at a part or a net."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from dustcap.board.compare import Difference, differences
from dustcap.board.geometry import Point
from dustcap.board.kinds import AREA_KINDS as AREA_KINDS
from dustcap.board.model import Board
from dustcap.board.places import neighbours, nets_in_area, reach_mm, shortest_tracks
from dustcap.board.write import set_area, set_place
from dustcap.errors import InputError
from dustcap.job.block_order import said
from dustcap.job.desk import Desk
from dustcap.job.drawer import change, open_board
from dustcap.job.leak_map import LeakMap, map_board
from dustcap.job.photos import COMPONENT, SOLDER, BoardPhotos, Fit, Side, fit_of, photos_of
from dustcap.job.sheet import ServiceSheet, sheet_of
from dustcap.predict.checks import DEFAULT_SIGNAL_HZ, DEFAULT_SIGNAL_V

Matrix = tuple[tuple[float, float, float], ...]

DRAWN_PX_PER_MM = 10.0
MARGIN_MM = 5.0
BLANK_MM = (160.0, 110.0)
"""Size of the drawn sheet of a board of which no place is known."""


@dataclass(frozen=True, slots=True)
class Plane:
    """The picture of one side. `file` is empty where it is drawn; `matrix` takes mm to pixels, None: not known yet."""

    side: str
    file: str
    width: int
    height: int
    matrix: Matrix | None
    fit: Fit | None = None

    def at(self, place: Point) -> Point:
        """Where a place in mm lies on the picture."""
        if self.matrix is None:
            raise InputError(f"the {self.side} side is not laid on millimetres yet.", where="photo")
        x, y, w = (row[0] * place[0] + row[1] * place[1] + row[2] for row in self.matrix)
        return x / w, y / w


@dataclass(frozen=True, slots=True)
class Spot:
    """A part as a picture shows it; `at` and `reach` in mm, None: its place is not known."""

    name: str
    kind: str
    value: str
    block: str
    nets: tuple[str, ...]
    at: Point | None
    reach: float

    @property
    def says(self) -> str:
        """Kind and value in a few words, neither twice."""
        return self.value if self.value.startswith(self.kind) else f"{self.kind} {self.value}".rstrip()


@dataclass(frozen=True, slots=True)
class LeakPair:
    """Two nets between which an area may lead; `near`: they are neighbours besides."""

    nets: tuple[str, str]
    near: bool


@dataclass(frozen=True, slots=True)
class AreaView:
    """A marked area, and the nets that run through it."""

    name: str
    kind: str
    outline: tuple[Point, ...]
    nets: tuple[str, ...]
    pairs: tuple[LeakPair, ...]


@dataclass(frozen=True, slots=True)
class BoardView:
    """A board with its pictures."""

    stem: str
    board: Board
    photos: BoardPhotos
    planes: tuple[Plane, Plane]
    spots: tuple[Spot, ...]
    areas: tuple[AreaView, ...]

    @property
    def title(self) -> str:
        """Name and revision in one line."""
        return f"{self.board.name}, revision {self.board.revision}" if self.board.revision else self.board.name

    def plane(self, side: str) -> Plane:
        """The picture of a side."""
        return self.planes[1] if side == SOLDER else self.planes[0]

    @property
    def unplaced(self) -> tuple[Spot, ...]:
        """The parts whose places are not known, in the order of the description."""
        return tuple(spot for spot in self.spots if spot.at is None)


def board_view(desk: Desk, stem: str) -> BoardView:
    """The board of that name with its pictures.

    Raises
    ------
    RecordError, InputError
        If there is none, or its files say something that cannot be.
    """
    return view_of(stem, open_board(desk, stem), photos_of(desk, stem))


def view_of(stem: str, board: Board, photos: BoardPhotos) -> BoardView:
    """A board with these photographs."""
    spots = tuple(
        Spot(part.name, part.kind, said(part), part.block, part.nets, board.places.get(part.name), reach_mm(part))
        for part in board.parts.values()
    )
    near = {frozenset(pair) for pair in neighbours(board)} if board.areas else set()
    areas = []
    for area in board.areas.values():
        nets = nets_in_area(board, area)
        pairs = tuple(LeakPair(pair, frozenset(pair) in near) for pair in combinations(nets, 2))
        areas.append(AreaView(area.name, area.kind, area.outline, nets, pairs))
    return BoardView(stem, board, photos, planes_of(board, photos), spots, tuple(areas))


def planes_of(board: Board, photos: BoardPhotos) -> tuple[Plane, Plane]:
    """The pictures of both sides; a side without a photograph is drawn."""
    top = photos.component.registration if photos.component else None
    under = photos.solder.registration if photos.solder else None
    above = _plane(board, COMPONENT, photos.component, top.matrix if top else None)
    chain = _product(under.matrix, top.matrix) if under and top else None
    return above, _plane(board, SOLDER, photos.solder, chain)


def place_part(desk: Desk, stem: str, part: str, place: Point | None) -> Board:
    """Write the place of a part, in mm to a tenth, into the description; None takes it away.

    Raises
    ------
    BoardError
        If there is no such part, or the place is none.
    """
    rounded = None if place is None else (round(place[0], 1), round(place[1], 1))
    return change(desk, stem, lambda board: set_place(board, part, rounded))


def draw_area(desk: Desk, stem: str, name: str, kind: str, outline: Sequence[Point] | None) -> Board:
    """Write a marked area into the description, corners in mm to a tenth; None takes it away.

    Raises
    ------
    InputError, BoardError
        If it has no name, is of no kind, or its outline encloses nothing or crosses itself.
    """
    if not name.strip():
        raise InputError("the area has no name.", where="area", mend="Name it: glue_1, corner by the fuse.")
    if kind not in AREA_KINDS:
        raise InputError(f"{kind[:40]!r} is no kind of area.", where="area", mend=f"Kinds: {', '.join(AREA_KINDS)}.")
    rounded = None if outline is None else [(round(x, 1), round(y, 1)) for x, y in outline]
    return change(desk, stem, lambda board: set_area(board, name.strip(), kind, rounded))


def sheet_for(view: BoardView) -> ServiceSheet:
    """The service sheet of the board, with the usual signal."""
    return sheet_of(view.board, DEFAULT_SIGNAL_HZ, DEFAULT_SIGNAL_V)


def leaks_on(view: BoardView, progress: Callable[[float], None] = lambda share: None) -> LeakMap:
    """The leak map of the board."""
    return map_board(view.board, progress=progress)


def changes_between(old: BoardView, new: BoardView) -> tuple[Difference, ...]:
    """What the maker changed from one board to the other."""
    return differences(old.board, new.board)


def net_tracks(view: BoardView, net: str) -> tuple[tuple[Point, Point], ...]:
    """The shortest straight tracks that join the parts of a net, mm."""
    return tuple(shortest_tracks([spot.at for spot in view.spots if spot.at is not None and net in spot.nets]))


def between(view: BoardView, pair: tuple[str, str]) -> tuple[Point, Point] | None:
    """The two nearest places of the parts of two nets, mm: twice the same for a part on both; None without a place."""
    sides = [[spot.at for spot in view.spots if spot.at is not None and net in spot.nets] for net in pair]
    ends = [(a, b) for a in sides[0] for b in sides[1]]
    return min(ends, key=lambda two: (two[0][0] - two[1][0]) ** 2 + (two[0][1] - two[1][1]) ** 2, default=None)


def _plane(board: Board, side: str, photo: Side | None, matrix: Matrix | None) -> Plane:
    if photo is not None:
        return Plane(side, photo.file, photo.width, photo.height, matrix, fit_of(side, photo))
    points = [*board.places.values(), *(corner for area in board.areas.values() for corner in area.outline)]
    xs, ys = zip(*(points or [(0.0, 0.0), BLANK_MM]), strict=True)
    left, right = min(xs) - MARGIN_MM, max(xs) + MARGIN_MM
    low, top = min(ys) - MARGIN_MM, max(ys) + MARGIN_MM
    scale = DRAWN_PX_PER_MM
    across = (scale, 0.0, -scale * left) if side == COMPONENT else (-scale, 0.0, scale * right)
    matrix = (across, (0.0, -scale, scale * top), (0.0, 0.0, 1.0))
    return Plane(side, "", round(scale * (right - left)), round(scale * (top - low)), matrix)


def _product(a: Matrix, b: Matrix) -> Matrix:
    h = np.array(a) @ np.array(b)
    x, y, w = (tuple(float(each) for each in row) for row in h / np.linalg.norm(h))
    return (x[0], x[1], x[2]), (y[0], y[1], y[2]), (w[0], w[1], w[2])
