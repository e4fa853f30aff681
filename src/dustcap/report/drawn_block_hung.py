"""What hangs from a lane of a drawn block or stands by itself; and the words of nets."""

from __future__ import annotations

from collections.abc import Mapping

from dustcap.job.drawn_blocks import COMMON, HIGH, LOW, WINDING, DrawnNet, DrawnPart
from dustcap.job.sheet import Figure
from dustcap.report.drawn_block_canvas import (
    CELL,
    DEEP_TONE,
    FADED_TONE,
    JOINT,
    LINE,
    NAME_PT,
    SMALL_PT,
    VALUE_PT,
    Canvas,
    widest,
)
from dustcap.report.drawn_block_symbols import Point
from dustcap.report.drawn_block_tiles import Strand
from dustcap.report.figures import middle

LEAST_DC_V, LEAST_LEVEL_V = 1e-3, 1e-4
"""What is still said of a net: below it a handheld meter shows nothing (common practice, no published source)."""
SIDE = 8.0


def net_lines(net: DrawnNet) -> list[str]:
    """The label of a net: its name, then d.c. volts and, after a tilde, the level."""
    volts = volts_said(net)
    level = net.level is not None and net.level.high > LEAST_LEVEL_V
    said = [volts if net.role != WINDING else "", f"{middle(net.level, 'V', _digits(net.level))}~" if level else ""]
    return [line for line in (net.label, ", ".join(filter(None, said))) if line]


def volts_said(net: DrawnNet) -> str:
    """The d.c. volts of a net, as few digits as its spread allows; empty where they are not known."""
    if net.volts is None:
        return ""
    if max(abs(net.volts.low), abs(net.volts.high)) < LEAST_DC_V:
        return "0 V"
    return middle(net.volts, "V", _digits(net.volts))


def _digits(figure: Figure) -> int:
    return 3 if figure is not None and abs(figure.median) >= 1 else 2


def name_net(canvas: Canvas, net: DrawnNet, at: Point, anchor: str = "start", *, below: bool = False) -> float:
    """The label of a net over (or under) a point of its lane; its width."""
    lines = net_lines(net)
    for row, line in enumerate(lines):
        y = at[1] + 9.5 + LINE * row if below else at[1] - 3.5 - LINE * (len(lines) - 1 - row)
        canvas.say(
            (at[0], y), line, NAME_PT if row == 0 else VALUE_PT, anchor, row == 0, DEEP_TONE if row == 0 else "ink"
        )
    return widest(lines)


def end_mark(canvas: Canvas, net: DrawnNet, at: Point, *, up: bool = False) -> None:
    """Where an upright wire ends: common, a rail, or the name of a net that goes on elsewhere."""
    way = -1.0 if up else 1.0
    if net.role == COMMON and not up:
        for row, half in enumerate((7.0, 4.5, 2.0)):
            y = at[1] + 2.6 * row
            canvas.wire("", (at[0] - half, y), (at[0] + half, y))
        return
    if net.role in (HIGH, LOW, COMMON):
        canvas.wire("", (at[0] - 7, at[1]), (at[0] + 7, at[1]))
        canvas.say((at[0], at[1] + (9.5 if way > 0 else -3.5)), net.label, NAME_PT, "middle", True, DEEP_TONE)
        return
    lines = net_lines(net)
    for row, line in enumerate(lines if way > 0 else lines[::-1]):
        y = at[1] + way * LINE * row + (9.5 if way > 0 else -3.5)
        bold = line == net.label
        canvas.say((at[0], y), line, NAME_PT if bold else VALUE_PT, "middle", bold, DEEP_TONE if bold else "ink")


def strand_width(strand: Strand, nets: Mapping[str, DrawnNet]) -> float:
    """Width of a strand that hangs, from the left of its column."""
    words = [line for part in strand.parts for line in (part.name, part.value)]
    inner = [f"{nets[net].label} {volts_said(nets[net])}" for net in strand.nets[1:-1]]
    end = nets[strand.nets[-1]]
    foot = 0.0 if end.role == COMMON else widest(net_lines(end) if end.role not in (HIGH, LOW) else [end.label])
    lean = 13.0 if any(part.kind in ("driver", "zener", "relay coil", "diode") for part in strand.parts) else 9.0
    return max(SIDE + lean + 3 + max(widest(words), widest(inner, VALUE_PT)), SIDE + foot / 2 + 2, foot)


def strand_height(strand: Strand) -> float:
    """Height of a strand that hangs."""
    return CELL * len(strand.parts) + JOINT * (len(strand.parts) - 1)


def hang(
    canvas: Canvas, strand: Strand, nets: Mapping[str, DrawnNet], top: Point, start_y: float, *, up: bool = False
) -> None:
    """A strand from a point of a lane down (or up) to what it ends in; its first part begins at `start_y`."""
    way = -1.0 if up else 1.0
    x, y = top[0], start_y
    canvas.wire(strand.nets[0], top, (x, y))
    for place, part in enumerate(strand.parts):
        ends = strand.nets[place], strand.nets[place + 1]
        a, b = (x, y), (x, y + way * CELL)
        if up:
            canvas.standing(part, ends[::-1], b, a)
        else:
            canvas.standing(part, ends, a, b)
        y += way * CELL
        if place < len(strand.parts) - 1:
            net = nets[strand.nets[place + 1]]
            canvas.wire(net.name, (x, y), (x, y + way * JOINT))
            words = f"{net.label} {volts_said(net)}".strip()
            canvas.say((x + 4, y + way * JOINT / 2 + 2.7), words, SMALL_PT, tone=DEEP_TONE)
            y += way * JOINT
    end_mark(canvas, nets[strand.nets[-1]], (x, y), up=up)


def pin_box(part: DrawnPart, nets: Mapping[str, DrawnNet]) -> Canvas:
    """A part of many pins as a box, every pin ending in the name of its net."""
    canvas = Canvas()
    slot = (
        max(widest(line for net in part.pins.values() for line in net_lines(nets[net])), widest(part.pins), 24.0) + 10
    )
    half = (len(part.pins) + 1) // 2
    canvas.box(0.0, 0.0, slot * half, 44.0)
    canvas.say((slot * half / 2, 25.0), part.name, NAME_PT, "middle", True)
    for place, (pin, net) in enumerate(part.pins.items()):
        x, up = slot * (place % half + 0.5), place < half
        y, way = (0.0, -10.0) if up else (44.0, 10.0)
        canvas.say((x, 9.0 if up else 40.5), pin, SMALL_PT, "middle", tone=FADED_TONE)
        canvas.wire(net, (x, y), (x, y + way))
        end_mark(canvas, nets[net], (x, y + way), up=up)
    return canvas


def pin_pair(part: DrawnPart, nets: Mapping[str, DrawnNet]) -> Canvas:
    """A part of two leads between the names of its nets."""
    canvas, strand = Canvas(), Strand(tuple(part.pins.values()), (part,))
    end_mark(canvas, nets[strand.nets[0]], (0.0, 0.0), up=True)
    hang(canvas, strand, nets, (0.0, 0.0), 6.0)
    return canvas
