"""The picture of a board, photographed or drawn, with its parts, areas, a chosen net, the suspects and the leak map.

What is shaded is told without colour as well: a suspect's ring is thicker the more probable it is and carries the
figure, a leak's tone is a step of lightness with hatching on the darkest and the reading written on it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import cos, hypot, sin, tau

from dustcap.job.board_view import BoardView, Plane, Spot, between, net_tracks
from dustcap.job.leak_map import LeakMap, Shape, limit_said
from dustcap.report.leak_picture import HATCHED_FROM, hatching, tone
from dustcap.report.svg import DEEP, GRID, INK, PAPER, Drawing, Point, text_width
from dustcap.report.wording import per_cent, quantity

WIDTH = 1000.0
NAME_PT, LABEL_PT, SMALLEST_PT = 12.0, 13.0, 8.0
LEAST_RADIUS, REACHABLE = 4.0, 15.0
CHOSEN = "#ffd34d"
GROUND = "#eef0ec"
LEAST_PROBABILITY = 0.02
VEIL = 0.45
RING_STEPS = 48
BELOW = 8.0
LEAST_LABELLED = 1e5


@dataclass(frozen=True, slots=True)
class Suspected:
    """A suspect to be shaded: the parts and the pairs of nets that it is made of, and its probability."""

    words: str
    parts: tuple[str, ...]
    leaks: tuple[tuple[str, str], ...]
    probability: float


def board_picture(
    view: BoardView,
    side: str,
    *,
    photo: Callable[[str], str],
    link: Callable[[Spot], str] | None = None,
    suspects: Sequence[Suspected] = (),
    leaks: LeakMap | None = None,
    part: str = "",
    net: str = "",
) -> str:
    """The picture of one side as SVG text.

    Parameters
    ----------
    view : BoardView
    side : ``component`` or ``solder``
    photo : address of a photograph by its hash
    link : address behind each part; left out: none
    suspects, leaks : what is shaded
    part, net : what is chosen, or empty
    """
    plane = view.plane(side)
    frame = _Frame(plane)
    title = f"{view.board.name} {view.board.revision}, {side} side".replace("  ", " ")
    drawing = Drawing(WIDTH, frame.height, title, _words(view, suspects), role="group" if link else "img")
    if plane.file:
        drawing.picture(photo(plane.file), (WIDTH, frame.height))
    else:
        drawing.box((0, 0), (WIDTH, frame.height), fill=GROUND, stroke=GRID)
    if plane.matrix is None:
        return drawing.svg()
    if suspects or leaks or net:
        drawing.begin(faint=VEIL)
        drawing.box((0, 0), (WIDTH, frame.height), fill=PAPER)
        drawing.end()
    _areas(drawing, frame, view, leaks)
    if leaks is not None:
        _gaps(drawing, frame, leaks)
    if net:
        _tracks(drawing, frame, view, net)
    names = _Names(frame.height)
    for spot in view.spots:
        if spot.at is not None:
            chosen = spot.name == part or bool(net and net in spot.nets)
            _spot(drawing, frame, spot, names, chosen=chosen, link=link)
    labels = _Labels(drawing, frame.height)
    _suspects(drawing, frame, view, suspects, labels)
    if leaks is not None:
        _leak_labels(frame, leaks, labels)
    labels.finish()
    return drawing.svg()


class _Frame:
    """Millimetres to points of the drawing."""

    def __init__(self, plane: Plane) -> None:
        self.plane = plane
        self.scale = WIDTH / plane.width
        self.height = plane.height * self.scale

    def spot(self, place: Point) -> Point:
        x, y = self.plane.at(place)
        return x * self.scale, y * self.scale

    def radius(self, place: Point, reach: float) -> float:
        """Points that a reach in mm takes near a place."""
        here, there = self.spot(place), self.spot((place[0] + reach, place[1]))
        return max(hypot(there[0] - here[0], there[1] - here[1]), LEAST_RADIUS)


class _Labels:
    """Boxes of text that do not cover each other: the first come stay, later ones move down or are left out."""

    def __init__(self, drawing: Drawing, height: float) -> None:
        self.drawing, self.height = drawing, height
        self.taken: list[tuple[float, float, float, float]] = []
        self.texts: list[tuple[str, ...]] = []

    def put(self, at: Point, lines: Sequence[str]) -> None:
        wide = max(text_width(line, LABEL_PT) for line in lines) * 1.1 + 10
        tall = 15.0 * len(lines) + 5
        x = min(max(at[0] - wide / 2, 2), WIDTH - wide - 2)
        for down in (0.0, tall, -tall, 2 * tall, -2 * tall, 3 * tall):
            y = min(max(at[1] + down, 2), self.height - tall - 2)
            if not any(
                x < ox + ow and ox < x + wide and y < oy + oh and oy < y + tall for ox, oy, ow, oh in self.taken
            ):
                break
        else:
            return
        self.taken.append((x, y, wide, tall))
        self.texts.append(tuple(lines))
        if down:
            self.drawing.line(at, (x + wide / 2, y + tall / 2), stroke=PAPER, width=2.4)
            self.drawing.line(at, (x + wide / 2, y + tall / 2), stroke=INK, width=0.8)

    def finish(self) -> None:
        """Draw the boxes, over all the lines that lead to them."""
        for (x, y, wide, tall), lines in zip(self.taken, self.texts, strict=True):
            self.drawing.box((x, y), (wide, tall), fill=PAPER, stroke=INK, width=1.0)
            for row, line in enumerate(lines):
                self.drawing.text((x + 5, y + 14 + 15 * row), line, size=LABEL_PT, bold=row == 0)


class _Names:
    """Where the names of parts stand: beside their part on the first side that is free, small where none is."""

    def __init__(self, height: float) -> None:
        self.height = height
        self.taken: list[tuple[float, float, float, float]] = []

    def place(self, at: Point, radius: float, name: str, size: float) -> tuple[Point, float]:
        """Base line of a name, and its size."""
        for each in (size, SMALLEST_PT):
            wide, out = text_width(name, each), radius * 0.7 + 2
            for x in (at[0] + out, at[0] - out - wide):
                for y in (at[1] - out, at[1] + out + each * 0.7):
                    box = (x, y - each * 0.8, wide, each * 0.9)
                    if (
                        0 < x < WIDTH - wide
                        and each < y < self.height
                        and not any(_meet(box, old) for old in self.taken)
                    ):
                        self.taken.append(box)
                        return (x, y), each
        return (at[0] + radius * 0.7 + 2, at[1] - radius * 0.7), SMALLEST_PT


def _meet(a: tuple[float, float, float, float], b: tuple[float, float, float, float]) -> bool:
    return a[0] < b[0] + b[2] and b[0] < a[0] + a[2] and a[1] < b[1] + b[3] and b[1] < a[1] + a[3]


def _areas(drawing: Drawing, frame: _Frame, view: BoardView, leaks: LeakMap | None) -> None:
    shapes = {shape.name: shape for shape in leaks.areas} if leaks else {}
    for area in view.areas:
        corners = [frame.spot(corner) for corner in area.outline]
        shape = shapes.get(area.name)
        if shape is not None:
            _shaded(drawing, corners, shape)
        drawing.path([*corners, corners[0]], stroke=PAPER, width=4.0)
        drawing.path([*corners, corners[0]], stroke=INK, width=2.0, dash="7 4")
        if shape is None:
            x, y = min(corners, key=lambda corner: corner[1])
            drawing.text((x, max(y - 6, 12)), area.name, size=LABEL_PT, anchor="middle", bold=True, halo=True)


def _shaded(drawing: Drawing, corners: list[Point], shape: Shape) -> None:
    ohms = shape.worst.ohms if shape.worst else None
    drawing.begin(faint=0.75)
    drawing.path(corners, stroke="none", fill=tone(ohms))
    drawing.end()
    if ohms is not None and ohms >= HATCHED_FROM:
        for start, end in hatching(corners, 7.0):
            drawing.line(start, end, stroke=PAPER, width=1.0)


def _gaps(drawing: Drawing, frame: _Frame, leaks: LeakMap) -> None:
    for gap in leaks.gaps:
        ohms = gap.worst.ohms if gap.worst else None
        start, end = (frame.spot(place) for place in gap.outline)
        drawing.line(start, end, stroke=INK, width=8)
        drawing.line(start, end, stroke=tone(ohms), width=6.4)


def _tracks(drawing: Drawing, frame: _Frame, view: BoardView, net: str) -> None:
    for start, end in net_tracks(view, net):
        drawing.line(frame.spot(start), frame.spot(end), stroke=INK, width=5)
        drawing.line(frame.spot(start), frame.spot(end), stroke=CHOSEN, width=3)


def _spot(
    drawing: Drawing, frame: _Frame, spot: Spot, names: _Names, *, chosen: bool, link: Callable[[Spot], str] | None
) -> None:
    assert spot.at is not None
    at, radius = frame.spot(spot.at), frame.radius(spot.at, spot.reach)
    if link is not None:
        drawing.begin(href=link(spot), says=f"{spot.name}, {spot.says}")
        drawing.dot(at, max(radius, REACHABLE), fill="#ffffff00")
    drawing.dot(at, radius, fill="none", stroke=PAPER, width=9.0 if chosen else 3.0)
    drawing.dot(at, radius, fill="none", stroke=INK, width=7.0 if chosen else 1.4)
    if chosen:
        drawing.dot(at, radius, fill="none", stroke=CHOSEN, width=4.0)
    place, size = names.place(at, radius, _short(spot), LABEL_PT if chosen else NAME_PT)
    drawing.text(place, _short(spot), size=size, bold=chosen, halo=True)
    if link is not None:
        drawing.end()


def _short(spot: Spot) -> str:
    """The name as it is printed on the board: without the block that it came with."""
    return spot.name.rsplit("-", 1)[-1]


def _suspects(drawing: Drawing, frame: _Frame, view: BoardView, suspects: Sequence[Suspected], labels: _Labels) -> None:
    places = {spot.name: spot for spot in view.spots if spot.at is not None}
    for suspect in suspects:
        if suspect.probability < LEAST_PROBABILITY:
            continue
        width = 3 + 9 * suspect.probability
        centre: Point | None = None
        for name in suspect.parts:
            spot = places.get(name)
            if spot is not None and spot.at is not None:
                centre = frame.spot(spot.at)
                radius = max(frame.radius(spot.at, spot.reach), 9) + width / 2 + 2
                drawing.dot(centre, radius, fill="none", stroke=PAPER, width=width + 4)
                drawing.dot(centre, radius, fill="none", stroke=DEEP, width=width)
                centre = (centre[0], centre[1] + radius + width / 2)
        for pair in suspect.leaks:
            ends = between(view, pair)
            if ends is not None:
                start, end = frame.spot(ends[0]), frame.spot(ends[1])
                way = [start, end] if ends[0] != ends[1] else _ring(start, 18 + width)
                drawing.path(way, stroke=PAPER, width=width + 4)
                drawing.path(way, stroke=DEEP, width=width, dash="8 4")
                centre = ((start[0] + end[0]) / 2, max(y for _, y in way) + width)
        if centre is not None:
            labels.put(centre, [per_cent(suspect.probability), suspect.words])


def _ring(centre: Point, radius: float) -> list[Point]:
    """A circle as a path, which can be dashed."""
    return [
        (centre[0] + radius * cos(tau * step / RING_STEPS), centre[1] + radius * sin(tau * step / RING_STEPS))
        for step in range(RING_STEPS + 1)
    ]


def _leak_labels(frame: _Frame, leaks: LeakMap, labels: _Labels) -> None:
    """The reading that would already explain the trouble, worst shapes first."""
    gaps = [gap for gap in leaks.gaps if gap.worst and (gap.worst.ohms or 0) >= LEAST_LABELLED]
    gaps.sort(key=lambda gap: -((gap.worst and gap.worst.ohms) or 0))
    for shape in (*leaks.areas, *gaps[:12]):
        if shape.worst is None or shape.nets is None:
            continue
        xs, ys = zip(*(frame.spot(corner) for corner in shape.outline), strict=True)
        lines = [
            f"≤ {quantity(shape.worst.ohms, 'ohm', 2)}",
            f"{' – '.join(shape.nets)}: {limit_said(shape.worst.limit)}",
        ]
        labels.put((sum(xs) / len(xs), max(ys) + BELOW), ([shape.name, *lines] if shape.name else lines))


def _words(view: BoardView, suspects: Sequence[Suspected]) -> str:
    told = [f"{each.words} {per_cent(each.probability)}" for each in suspects[:5]]
    areas = [f"area {area.name}, {area.kind}" for area in view.areas]
    placed = sum(spot.at is not None for spot in view.spots)
    return "; ".join([f"{placed} of {len(view.spots)} parts placed", *areas, *told])
