"""What is put on a drawing of a block: symbols, wires that belong to nets, texts; and the boxes that they take."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from math import cos, pi, sin

from dustcap.job.drawn_blocks import DrawnPart
from dustcap.report.drawn_block_symbols import PAPER, Point, Stroke, Symbol, two_leads
from dustcap.report.svg import text_width

NAME_PT, VALUE_PT, SMALL_PT = 8.5, 8.0, 7.0
LINE = 9.0
"""From line to line of a label."""
CELL, JOINT = 38.0, 9.0
"""Height of one part of a strand that hangs, and of the name of a net between two of them."""
INK_TONE, FADED_TONE, DEEP_TONE = "ink", "faded", "deep"

Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Text:
    """A line of text on its base line."""

    at: Point
    words: str
    size: float
    anchor: str = "start"
    bold: bool = False
    tone: str = INK_TONE

    @property
    def box(self) -> Box:
        """Left, top, right, bottom."""
        wide = text_width(self.words, self.size) * (1.06 if self.bold else 1.0)
        left = self.at[0] - {"start": 0.0, "middle": wide / 2, "end": wide}[self.anchor]
        return left, self.at[1] - 0.75 * self.size, left + wide, self.at[1] + 0.22 * self.size


@dataclass(slots=True)
class Canvas:
    """A piece of a drawing while it grows."""

    strokes: list[Stroke] = field(default_factory=list)
    bodies: list[Box] = field(default_factory=list)
    wires: list[tuple[str, Point, Point]] = field(default_factory=list)
    frames: list[Box] = field(default_factory=list)  # what is drawn about texts, or at the end of a wire
    texts: list[Text] = field(default_factory=list)

    def wire(self, net: str, *points: Point) -> None:
        """A wire of a net along these points."""
        rounded = [(round(x, 2), round(y, 2)) for x, y in points]
        for start, end in pairwise(rounded):
            if start != end:
                self.wires.append((net, start, end))

    def put(self, symbol: Symbol, at: Point, turn: str = "east", *, slices: int = 0) -> None:
        """A symbol about a point; its axis runs east, west, south or north. A triangle takes its slices only."""
        self.strokes += [
            Stroke(tuple(_placed(point, at, turn) for point in one.points), one.fill, one.thin)
            for one in symbol.strokes
        ]
        xs, ys = zip(*(p for one in symbol.strokes for p in (_placed(q, at, turn) for q in one.points)), strict=True)
        left, top, right, low = min(xs), min(ys), max(xs), max(ys)
        for place in range(slices):
            share = 1 - (place + 0.5) / slices
            a, b = (left + (right - left) * (place + step) / slices for step in (0, 1))
            self.bodies.append((a, at[1] + (top - at[1]) * share, b, at[1] + (low - at[1]) * share))
        if not slices:
            self.bodies.append((left, top, right, low))

    def box(self, left: float, top: float, right: float, bottom: float) -> None:
        """A plain box with its words inside, as a symbol."""
        corners = ((left, top), (right, top), (right, bottom), (left, bottom), (left, top))
        self.strokes.append(Stroke(corners, PAPER))
        self.frames.append((left, top, right, bottom))

    def ring(self, at: Point) -> None:
        """The end of a wire that goes on in another block or stage."""
        self.strokes.append(
            Stroke(tuple((at[0] + 2 * cos(pi * t / 6), at[1] + 2 * sin(pi * t / 6)) for t in range(13)), PAPER)
        )
        self.frames.append((at[0] - 2.7, at[1] - 2.7, at[0] + 2.7, at[1] + 2.7))

    def say(
        self, at: Point, words: str, size: float = VALUE_PT, anchor: str = "start", bold: bool = False,
        tone: str = INK_TONE,
    ) -> None:  # fmt: skip
        """A line of text; nothing where there are no words."""
        if words:
            self.texts.append(Text(at, words, size, anchor, bold, tone))

    def lying(self, part: DrawnPart, nets: Sequence[str], start: Point, end: Point, *, below: bool = False) -> None:
        """A part of two leads on a level line, its name and value above it (or below)."""
        symbol = two_leads(part.kind, part.sort)
        middle = (start[0] + end[0]) / 2, start[1]
        forward = next(iter(part.pins.values())) == nets[0]
        self.put(symbol, middle, "east" if forward else "west")
        reach = symbol.reach[1]
        self._lead(nets[0], start, (middle[0] - reach, middle[1]))
        self._lead(nets[1], (middle[0] + reach, middle[1]), end)
        lines = [line for line in (part.name, part.value) if line]
        tall = max(abs(self.bodies[-1][1] - middle[1]), 7.0)
        deep = max(abs(self.bodies[-1][3] - middle[1]), 7.0)
        for row, line in enumerate(lines):
            y = middle[1] + deep + 9 + LINE * row if below else middle[1] - tall - 3.5 - LINE * (len(lines) - 1 - row)
            self.say((middle[0], y), line, NAME_PT if row == 0 else VALUE_PT, "middle", bold=row == 0)

    def standing(self, part: DrawnPart, nets: Sequence[str], top: Point, bottom: Point) -> None:
        """A part of two leads on an upright line, its name and value at its right."""
        symbol = two_leads(part.kind, part.sort)
        middle = top[0], (top[1] + bottom[1]) / 2
        forward = next(iter(part.pins.values())) == nets[0]
        self.put(symbol, middle, "south" if forward else "north")
        reach = symbol.reach[1]
        self._lead(nets[0], top, (middle[0], middle[1] - reach))
        self._lead(nets[1], (middle[0], middle[1] + reach), bottom)
        lines = [line for line in (part.name, part.value) if line]
        first = middle[1] + 3 - LINE * (len(lines) - 1) / 2
        x = max(self.bodies[-1][2], middle[0] + 6) + 2.5
        for row, line in enumerate(lines):
            self.say((x, first + LINE * row), line, NAME_PT if row == 0 else VALUE_PT, bold=row == 0)

    def _lead(self, net: str, start: Point, end: Point) -> None:
        self.wire(net, start, end)

    def dots(self) -> list[Point]:
        """Where three or more wires of one net meet."""
        found = []
        for net in dict.fromkeys(net for net, _, _ in self.wires):
            mine = _merged([(a, b) for name, a, b in self.wires if name == net])
            for point in dict.fromkeys(p for wire in mine for p in wire):
                degree = sum(1 if point in wire else 2 * _inside(point, wire) for wire in mine)
                if degree >= 3:
                    found.append(point)
        return found

    def extent(self) -> Box:
        """The box about everything."""
        points = [p for _, a, b in self.wires for p in (a, b)]
        boxes = [*self.bodies, *self.frames, *(text.box for text in self.texts), *((x, y, x, y) for x, y in points)]
        lefts, tops, rights, bottoms = zip(*boxes, strict=True)
        return min(lefts), min(tops), max(rights), max(bottoms)

    def moved(self, dx: float, dy: float) -> Canvas:
        """Everything shifted."""

        def boxes(found: list[Box]) -> list[Box]:
            return [(a + dx, b + dy, c + dx, d + dy) for a, b, c, d in found]

        return Canvas(
            [Stroke(tuple((x + dx, y + dy) for x, y in s.points), s.fill, s.thin) for s in self.strokes],
            boxes(self.bodies),
            [(net, (ax + dx, ay + dy), (bx + dx, by + dy)) for net, (ax, ay), (bx, by) in self.wires],
            boxes(self.frames),
            [replace(text, at=(text.at[0] + dx, text.at[1] + dy)) for text in self.texts],
        )


def widest(lines: Iterable[str], size: float = NAME_PT) -> float:
    """Width of the widest of some lines, as names are set."""
    return max((text_width(line, size) * 1.06 for line in lines), default=0.0)


def _merged(wires: list[tuple[Point, Point]]) -> list[tuple[Point, Point]]:
    """Wires without those that lie within another."""
    unique = list(dict.fromkeys((min(wire), max(wire)) for wire in wires))
    return [
        one
        for one in unique
        if not any(other != one and all(end in other or _inside(end, other) for end in one) for other in unique)
    ]


def _inside(point: Point, wire: tuple[Point, Point]) -> bool:
    (ax, ay), (bx, by) = wire
    x, y = point
    if ax == bx == x:
        return min(ay, by) < y < max(ay, by)
    return ay == by == y and min(ax, bx) < x < max(ax, bx)


def _placed(point: Point, at: Point, turn: str) -> Point:
    x, y = point
    turned = {"east": (x, y), "west": (-x, y), "south": (-y, x), "north": (-y, -x)}[turn]
    return at[0] + turned[0], at[1] + turned[1]
