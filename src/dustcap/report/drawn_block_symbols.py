"""Symbols of parts as strokes: the shapes of IEC 60617, most of them from schemdraw, in points about their middle.

A stroke is a polyline, closed and filled where it says so. A part of two leads lies on its axis, its first pin at the
left; a part of more has its pins where `HUB_PINS` says. y runs down, as on the page.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from math import cos, isnan, pi, radians, sin
from typing import Any

import schemdraw.elements as elm
from schemdraw import segments

Point = tuple[float, float]
UNIT = 23.0
"""Points for a length of one in schemdraw."""
INK, PAPER, NONE = "ink", "paper", "none"


@dataclass(frozen=True, slots=True)
class Stroke:
    """A polyline; `fill` is what the area that it encloses is filled with."""

    points: tuple[Point, ...]
    fill: str = NONE
    thin: bool = False


@dataclass(frozen=True, slots=True)
class Symbol:
    """Strokes and half of the length and of the height that they take; `reach`: where the leads begin on the axis."""

    strokes: tuple[Stroke, ...]
    half: Point
    reach: tuple[float, float]
    pins: Mapping[str, Point]


_TWO: Mapping[str, Any] = {
    "resistor": elm.ResistorIEC,
    "capacitor": elm.Capacitor,
    "inductor": elm.Inductor,
    "diode": elm.Diode,
    "zener": elm.Zener,
    "fuse": elm.FuseIEC,
    "led": elm.LED,
    "schottky": elm.Schottky,
}


@cache
def two_leads(kind: str, sort: str) -> Symbol:
    """The symbol of a part of two leads, its first pin at the left."""
    name = sort if sort in ("fuse", "led", "schottky") else kind
    own = {"electrolytic": _electrolytic, "switch": _switch, "relay coil": _coil, "driver": _driver}
    own |= {"supply": _source, "input": _source, "link": _link}
    if name in own:
        return own[name](sort)
    return _centred(_strokes(_TWO[name]()))


@cache
def hub(kind: str) -> Symbol:
    """The symbol of a part of more than two leads that has one shape: amplifiers, transistors, a potentiometer."""
    if kind in ("op amp", "power amplifier"):
        return _amplifier(kind == "power amplifier")
    if kind == "potentiometer":
        return _potentiometer()
    return _transistor(kind)


def _strokes(element: Any) -> list[Stroke]:
    """The strokes of an element of schemdraw, y turned down."""
    found: list[Stroke] = []
    for one in element.segments:
        match one:
            case segments.Segment():
                found += _polyline(one)
            case segments.SegmentPoly():
                points = [(float(x), float(y)) for x, y in one.verts]
                found.append(_scaled([*points, points[0]], INK if one.fill else PAPER))
            case segments.SegmentArc():
                found.append(_scaled(_arc(one)))
            case segments.SegmentCircle():
                x, y = one.center
                turn = [2 * pi * step / 16 for step in range(17)]
                found.append(_scaled([(x + one.radius * cos(t), y + one.radius * sin(t)) for t in turn], PAPER))
    return found


def _polyline(one: Any) -> list[Stroke]:
    runs: list[list[Point]] = [[]]
    for x, y in one.path:
        if isnan(x):
            runs.append([])
        else:
            runs[-1].append((float(x), float(y)))
    found = [_scaled(run, thin=bool(one.arrow)) for run in runs if len(run) > 1]
    return found + ([_head(runs[0][-2:])] if one.arrow == "->" else [])


def _head(ends: list[Point], length: float = 0.2) -> Stroke:
    """The head of an arrow at the second point."""
    (ax, ay), (bx, by) = ends
    size = ((bx - ax) ** 2 + (by - ay) ** 2) ** 0.5 or 1.0
    ux, uy = (bx - ax) / size * length, (by - ay) / size * length
    corners = [(bx, by), (bx - ux - uy * 0.45, by - uy + ux * 0.45), (bx - ux + uy * 0.45, by - uy - ux * 0.45)]
    return _scaled([*corners, corners[0]], INK)


def _arc(one: Any) -> list[Point]:
    (x, y), first, last = one.center, radians(one.theta1), radians(one.theta2)
    turn = [first + (last - first) * step / 10 for step in range(11)]
    return [(x + one.width / 2 * cos(t), y + one.height / 2 * sin(t)) for t in turn]


def _scaled(points: list[Point], fill: str = NONE, thin: bool = False) -> Stroke:
    return Stroke(tuple((UNIT * x, -UNIT * y) for x, y in points), fill, thin)


def _centred(strokes: list[Stroke], reach: float | None = None) -> Symbol:
    """About the middle of the axis."""
    axis = [x for stroke in strokes for x, y in stroke.points if abs(y) < 6.5]
    left, right = min(axis), max(axis)
    shift = (left + right) / 2
    moved = tuple(Stroke(tuple((x - shift, y) for x, y in one.points), one.fill, one.thin) for one in strokes)
    tall = max(abs(y) for one in moved for _, y in one.points)
    half = (right - left) / 2
    return Symbol(moved, (half, tall), (-(reach or half), reach or half), {})


def _box(x: float, y: float, wide: float, tall: float, fill: str = PAPER) -> Stroke:
    corners = ((x, y), (x + wide, y), (x + wide, y + tall), (x, y + tall), (x, y))
    return Stroke(corners, fill)


def _electrolytic(sort: str) -> Symbol:
    """A hollow plate towards plus and a filled one towards minus, with the sign."""
    plates = (_box(-4.5, -7, 3.2, 14), _box(1.3, -7, 3.2, 14, INK))
    sign = (Stroke(((-10, -6), (-6.4, -6)), thin=True), Stroke(((-8.2, -7.8), (-8.2, -4.2)), thin=True))
    return Symbol(plates + sign, (4.5, 8), (-4.5, 4.5), {})


def _switch(sort: str) -> Symbol:
    tip = (10.0, -1.0) if sort == "closed" else (8.5, -8.5)
    dots = tuple(
        Stroke(tuple((x + 1.8 * cos(pi * t / 6), 1.8 * sin(pi * t / 6)) for t in range(13)), PAPER) for x in (-10, 10)
    )
    return Symbol((Stroke(((-10.0, 0.0), tip)), *dots), (12, 9), (-11.8, 11.8), {})


def _link(sort: str) -> Symbol:
    """A plug and socket, or a wire that can be opened: two open contacts joined by a bar."""
    bar = Stroke(((-6.0, 0.0), (6.0, 0.0)))
    dots = tuple(
        Stroke(tuple((x + 2 * cos(pi * t / 6), 2 * sin(pi * t / 6)) for t in range(13)), PAPER) for x in (-6, 6)
    )
    return Symbol((bar, *dots), (8, 4), (-8, 8), {})


def _coil(sort: str) -> Symbol:
    """The coil of a relay: a wide box, crossed."""
    return Symbol((_box(-7, -11, 14, 22), Stroke(((-7, 11), (7, -11)), thin=True)), (7, 11), (-7, 7), {})


def _driver(sort: str) -> Symbol:
    """A driver: its coil on the axis and its cone beside it."""
    cone = Stroke(((-9, -4), (-17, -12), (17, -12), (9, -4), (-9, -4)), PAPER)
    return Symbol((_box(-9, -4, 18, 8), cone), (9, 12), (-9, 9), {})


def _source(sort: str) -> Symbol:
    ring = Stroke(tuple((9 * cos(pi * t / 12), 9 * sin(pi * t / 12)) for t in range(25)), PAPER)
    return Symbol((ring, Stroke(((-9.0, 0.0), (9.0, 0.0)), thin=True)), (9, 9), (-9, 9), {})


AMP_HALF, AMP_LEFT, AMP_RIGHT, PIN = 24.0, -20.0, 22.0, 10.0


def _amplifier(power: bool) -> Symbol:
    """A triangle with the inverting input above; a power amplifier has a heavier edge at its output."""
    edge = [Stroke(((AMP_LEFT, -AMP_HALF), (AMP_RIGHT, 0.0), (AMP_LEFT, AMP_HALF), (AMP_LEFT, -AMP_HALF)), PAPER)]
    minus = Stroke(((AMP_LEFT + 4, -PIN), (AMP_LEFT + 9, -PIN)))
    plus = (
        Stroke(((AMP_LEFT + 4, PIN), (AMP_LEFT + 9, PIN))),
        Stroke(((AMP_LEFT + 6.5, PIN - 2.5), (AMP_LEFT + 6.5, PIN + 2.5))),
    )
    if power:
        edge.append(Stroke(((5.0, -9.7), (AMP_RIGHT, 0.0), (5.0, 9.7), (5.0, -9.7)), INK))
    top = AMP_HALF * AMP_RIGHT / (AMP_RIGHT - AMP_LEFT)  # half of the height over the middle
    pins = {
        "minus": (AMP_LEFT, -PIN), "plus": (AMP_LEFT, PIN), "out": (AMP_RIGHT, 0.0),
        "high": (0.0, -top), "low": (0.0, top), "mute": (-11.0, AMP_HALF * 33 / 42),
    }  # fmt: skip
    return Symbol((*edge, minus, *plus), ((AMP_RIGHT - AMP_LEFT) / 2, AMP_HALF), (AMP_LEFT, AMP_RIGHT), pins)


def _potentiometer() -> Symbol:
    """A track from above to below, the wiper from the right."""
    track = _box(-5.7, -11.5, 11.5, 23)
    arrow = Stroke(((17.0, 0.0), (6.0, 0.0)))
    head = Stroke(((6.0, 0.0), (10.5, -2.2), (10.5, 2.2), (6.0, 0.0)), INK)
    return Symbol(
        (track, arrow, head), (12, 12), (-6, 17), {"end2": (0.0, -11.5), "end1": (0.0, 11.5), "wiper": (17.0, 0.0)}
    )


TOP_PIN: Mapping[str, str] = {
    "npn": "collector", "pnp": "emitter", "n-mosfet": "drain", "p-mosfet": "source", "n-jfet": "drain",
    "p-jfet": "source",
}  # fmt: skip
LOW_PIN: Mapping[str, str] = {
    "npn": "emitter", "pnp": "collector", "n-mosfet": "source", "p-mosfet": "drain", "n-jfet": "source",
    "p-jfet": "drain",
}  # fmt: skip
ACROSS, REACH, BAR = 7.0, 20.0, -5.0


def _transistor(kind: str) -> Symbol:
    """Base or gate at the left, the pin of the higher volts above."""
    ring = Stroke(tuple((1 + 14 * cos(pi * t / 14), 14 * sin(pi * t / 14)) for t in range(29)), PAPER, True)
    control = "base" if kind in ("npn", "pnp") else "gate"
    pins = {control: (-16.0, 0.0), TOP_PIN[kind]: (ACROSS, -REACH), LOW_PIN[kind]: (ACROSS, REACH)}
    strokes = [ring]
    if control == "base":
        strokes += [Stroke(((-16.0, 0.0), (BAR, 0.0))), Stroke(((BAR, -8.5), (BAR, 8.5)))]
        strokes += [Stroke(((BAR, s * 3.5), (ACROSS, s * 10.5), (ACROSS, s * REACH))) for s in (-1.0, 1.0)]
        tip = ((BAR, 3.5), (ACROSS, 10.5)) if kind == "npn" else ((ACROSS, -10.5), (BAR, -3.5))
        strokes.append(_tip(*tip, at=0.72))
    else:
        gate = [Stroke(((-16.0, 0.0), (-8.0, 0.0)))]
        if kind.endswith("jfet"):
            gate = [Stroke(((-16.0, 0.0), (BAR, 0.0)))]
        else:
            gate.append(Stroke(((-8.0, -8.0), (-8.0, 8.0))))
        channel = [Stroke(((BAR, -9.5), (BAR, 9.5)))]
        strokes += gate + channel
        strokes += [Stroke(((BAR, s * 7.0), (ACROSS, s * 7.0), (ACROSS, s * REACH))) for s in (-1.0, 1.0)]
        if kind.endswith("mosfet"):
            strokes.append(Stroke(((BAR, 0.0), (ACROSS, 0.0), (ACROSS, 7.0 if kind[0] == "n" else -7.0))))
        ends = ((BAR + 9, 0.0), (BAR, 0.0)) if kind.endswith("mosfet") else ((-13.0, 0.0), (BAR, 0.0))
        strokes.append(_tip(*(ends if kind[0] == "n" else ends[::-1]), at=1.0))
    return Symbol(tuple(strokes), (16, 20), (-16, 16), pins)


def _tip(start: Point, end: Point, at: float) -> Stroke:
    x, y = start[0] + at * (end[0] - start[0]), start[1] + at * (end[1] - start[1])
    size = ((end[0] - start[0]) ** 2 + (end[1] - start[1]) ** 2) ** 0.5
    ux, uy = (end[0] - start[0]) / size, (end[1] - start[1]) / size
    corners = [(x, y), (x - 5 * ux - 2.4 * uy, y - 5 * uy + 2.4 * ux), (x - 5 * ux + 2.4 * uy, y - 5 * uy - 2.4 * ux)]
    return Stroke((*corners, corners[0]), INK)
