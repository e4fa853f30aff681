"""The power amplifier of single transistors as the textbooks draw it: rail to rail, from the pair to the output.

A plan for the library's own block, nets by their names there; a block that was taken from it and altered since is drawn
by the rules for all blocks.
"""

from __future__ import annotations

from collections.abc import Mapping

from dustcap.job.drawn_blocks import DrawnBlock, DrawnNet, DrawnPart, drawn_library
from dustcap.report.drawn_block_canvas import DEEP_TONE, FADED_TONE, NAME_PT, SMALL_PT, VALUE_PT, Canvas, widest
from dustcap.report.drawn_block_hung import end_mark, name_net, net_lines, volts_said
from dustcap.report.drawn_block_symbols import Point, hub

ORIGIN = "discrete class-AB amplifier"

TRANSISTORS: Mapping[str, tuple[float, float, str]] = {
    "Q1": (120, 170, "east"), "Q2": (214, 170, "west"), "Q3": (508, 440, "east"), "Q4": (508, 235, "east"),
    "Q5": (612, 130, "east"), "Q6": (612, 390, "east"), "Q7": (714, 175, "east"), "Q8": (714, 345, "east"),
}  # fmt: skip
"""Middle, and where the leads of collector and emitter lie; the base is opposite."""

UPRIGHT: Mapping[str, tuple[str, str, float, float]] = {
    "R1": ("base_in", "0V", 34, 204), "R2": ("high", "tail", 167, 42), "R3": ("pair_load", "low", 127, 456),
    "R5": ("fb", "fb_leg", 262, 204), "C2": ("fb_leg", "0V", 262, 254), "R6": ("high", "boot", 515, 14),
    "R7": ("boot", "drive_high", 515, 76), "R8": ("drive_high", "trim", 400, 148),
    "R9": ("trim_end", "drive_low", 400, 278), "C3": ("drive_low", "pair_load", 354, 352),
    "R10": ("gate_high", "gate_low", 619, 241), "R11": ("source_high", "out", 721, 205),
    "R12": ("out", "source_low", 721, 277), "R13": ("out", "damp", 788, 276), "C5": ("damp", "0V", 788, 326),
}  # fmt: skip
"""Nets from above, where the line stands and begins; each part is 38 long."""
LONG = 38.0

LYING: Mapping[str, tuple[str, str, float, float]] = {
    "C1": ("in", "base_in", -10, 170), "C4": ("boot", "out", 650, 66), "R4": ("fb", "out", 566, 548),
}  # fmt: skip

WIRES: tuple[tuple[str, tuple[Point, ...]], ...] = (
    ("high", ((40, 0), (746, 0))), ("low", ((40, 510), (746, 510))),
    ("in", ((-96, 170), (-10, 170))), ("base_in", ((28, 170), (104, 170))), ("base_in", ((34, 170), (34, 204))),
    ("tail", ((127, 150), (127, 122), (207, 122), (207, 150))), ("tail", ((167, 80), (167, 122))),
    ("high", ((167, 0), (167, 42))), ("pair_load", ((127, 190), (127, 456))), ("pair_load", ((127, 440), (492, 440))),
    ("low", ((127, 494), (127, 510))), ("low", ((207, 190), (207, 510))),
    ("fb", ((230, 170), (322, 170), (322, 548), (566, 548))), ("fb", ((262, 170), (262, 204))),
    ("fb_leg", ((262, 242), (262, 254))),
    ("high", ((515, 0), (515, 14))), ("boot", ((515, 52), (515, 76))), ("boot", ((515, 66), (650, 66))),
    ("drive_high", ((515, 114), (515, 215))), ("drive_high", ((400, 148), (400, 130), (515, 130), (596, 130))),
    ("trim", ((400, 186), (400, 223.5))), ("trim_end", ((400, 246.5), (400, 278))),
    ("spread", ((417, 235), (492, 235))),
    ("drive_low", ((515, 255), (515, 420))), ("drive_low", ((400, 316), (400, 332), (515, 332))),
    ("drive_low", ((354, 352), (354, 332), (400, 332))), ("drive_low", ((515, 390), (596, 390))),
    ("pair_load", ((354, 390), (354, 440))), ("low", ((515, 460), (515, 510))),
    ("high", ((619, 0), (619, 110))), ("gate_high", ((619, 150), (619, 241))), ("gate_high", ((619, 175), (698, 175))),
    ("gate_low", ((619, 279), (619, 370))), ("gate_low", ((619, 345), (698, 345))), ("low", ((619, 410), (619, 510))),
    ("high", ((721, 0), (721, 155))), ("source_high", ((721, 195), (721, 205))), ("out", ((721, 243), (721, 277))),
    ("source_low", ((721, 315), (721, 325))), ("low", ((721, 365), (721, 510))),
    ("out", ((688, 66), (772, 66), (772, 260))), ("out", ((721, 260), (858, 260))), ("out", ((788, 260), (788, 276))),
    ("damp", ((788, 314), (788, 326))), ("out", ((604, 548), (850, 548), (850, 260))),
)  # fmt: skip

NAMES: Mapping[str, Point] = {
    "in": (-92, 170), "base_in": (46, 170), "tail": (171, 122), "pair_load": (131, 440), "fb": (266, 170),
    "boot": (519, 66), "drive_high": (519, 130), "spread": (419, 235), "drive_low": (519, 390), "gate_high": (623, 175),
    "gate_low": (623, 345), "out": (792, 260), "high": (42, 0), "low": (42, 510),
}  # fmt: skip
"""Where the label of a net stands, over its lane."""
ROOM = {"in": 84.0, "out": 100.0, "high": 110.0, "low": 84.0}
"""How wide the label of a net that the board names may be."""
ASIDE: Mapping[str, tuple[float, float, str]] = {
    "fb_leg": (266, 251, "start"), "damp": (792, 323, "start"), "trim": (396, 208, "end"),
    "trim_end": (396, 264, "end"),
    "source_high": (716, 203, "end"), "source_low": (716, 323, "end"),
}  # fmt: skip
"""In one line beside an upright wire."""


def push_pull(block: DrawnBlock) -> Canvas | None:
    """The whole drawing; None where the block is not the library's, has been altered, or its nets have long names."""
    if block.origin != ORIGIN:
        return None
    plan = next(one for one in drawn_library() if one.origin == ORIGIN)
    parts = {part.name: part for part in block.parts}
    nets = _nets_of(plan, parts)
    if nets is None or any(widest(net_lines(block.nets[nets[label]])) > room for label, room in ROOM.items()):
        return None
    return _drawn(parts, {name: block.nets[net] for name, net in nets.items()})


def _nets_of(plan: DrawnBlock, parts: Mapping[str, DrawnPart]) -> dict[str, str] | None:
    """The block's net for each of the plan's, by label; None where the parts or their wires are others."""
    if {part.name for part in plan.parts} != parts.keys():
        return None
    found: dict[str, str] = {}
    for part in plan.parts:
        own = parts[part.name]
        if own.kind != part.kind or own.pins.keys() != part.pins.keys():
            return None
        for pin, net in part.pins.items():
            if found.setdefault(plan.nets[net].label, own.pins[pin]) != own.pins[pin]:
                return None
    return found if len(set(found.values())) == len(found) else None


def _drawn(parts: Mapping[str, DrawnPart], nets: Mapping[str, DrawnNet]) -> Canvas:
    canvas = Canvas()
    for net, points in WIRES:
        canvas.wire(nets[net].name, *points)
    for name, (x, y, turn) in TRANSISTORS.items():
        canvas.put(hub(parts[name].kind), (x, y), turn)
        east = turn == "east"
        canvas.say((x + (18 if east else -18), y + 3), name, NAME_PT, "start" if east else "end", True)
    for name, (upper, lower, x, y) in UPRIGHT.items():
        canvas.standing(parts[name], (nets[upper].name, nets[lower].name), (x, y), (x, y + LONG))
        if lower == "0V":
            end_mark(canvas, nets[lower], (x, y + LONG))
    for name, (left, right, x, y) in LYING.items():
        canvas.lying(parts[name], (nets[left].name, nets[right].name), (x, y), (x + LONG, y))
    trimmer = parts["RV1"]
    canvas.put(hub(trimmer.kind), (400, 235))
    canvas.say((391, 234), trimmer.name, NAME_PT, "end", True)
    canvas.say((391, 243), trimmer.value, VALUE_PT, "end")
    for net, at in NAMES.items():
        name_net(canvas, nets[net], at)
    for net, (x, y, anchor) in ASIDE.items():
        canvas.say((x, y), f"{nets[net].label} {volts_said(nets[net])}".strip(), SMALL_PT, anchor, tone=DEEP_TONE)
    for net, x, anchor in (("in", -98, "end"), ("out", 860, "start")):
        canvas.ring((x, NAMES[net][1]))
        one = nets[net]
        blocks = (one.before or one.after) if anchor == "end" else (one.after or one.before)
        words = ", ".join(name.replace("_", " ") for name in blocks[:2])
        canvas.say(
            (x + (5 if anchor == "start" else -5), NAMES[net][1] + 2.5), words, SMALL_PT, anchor, tone=FADED_TONE
        )
    return canvas
