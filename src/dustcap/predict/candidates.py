"""The checks worth considering on a board: what a technician could put leads on, look at or listen for."""

from __future__ import annotations

from collections.abc import Iterator

from dustcap.board.model import Part
from dustcap.faults.suspects import Leak
from dustcap.predict.analyses import Analyses
from dustcap.predict.checks import CONNECTED, Check
from dustcap.predict.lifted import UNITS

JUNCTION_PAIRS = {
    "diode": (("anode", "cathode"),),
    "zener": (("anode", "cathode"),),
    "bridge": (("ac1", "plus"), ("ac2", "plus"), ("minus", "ac1"), ("minus", "ac2")),
    "npn": (("base", "emitter"), ("base", "collector")),
    "pnp": (("emitter", "base"), ("collector", "base")),
    "n-mosfet": (("source", "drain"),),
    "p-mosfet": (("drain", "source"),),
}
"""Pins to put the red and the black lead on so that a good junction conducts."""

SHORTED_PAIRS = {
    "bridge": (("ac1", "plus"), ("ac2", "plus"), ("minus", "ac1"), ("minus", "ac2")),
    "npn": (("collector", "emitter"),),
    "pnp": (("emitter", "collector"),),
    **dict.fromkeys(("n-mosfet", "p-mosfet", "n-jfet", "p-jfet"), (("drain", "source"),)),
    "op amp": (("high", "low"),),
    "power amplifier": (("high", "low"),),
    "regulator": (("in", "out"),),
}
"""Pins across which a part is read for a short while the unit is unplugged."""

LISTENED = ("cone pushed out", "no output", "weak output", "distorted", "hum", "hiss", "crackle", "squeal")
SEEN_ON_PARTS = {
    "electrolytic": ("bulged", "leaking"),
    "resistor": ("scorched", "cracked"),
    "link": ("cracked",),
    "power amplifier": ("scorched",),
}
WARM_SHARE = 0.02
"""Warmth is offered as a check for parts that take at least this many watts on the healthy board."""


def candidates(analyses: Analyses) -> tuple[Check, ...]:
    """Every check worth considering, in a fixed order, each once."""
    return tuple(dict.fromkeys(_all(analyses)))


def _all(analyses: Analyses) -> Iterator[Check]:
    board = analyses.cases.board
    common = board.common
    nets = [net for net in board.nets if net != common]
    for net in nets:
        yield Check("dc volts", net, common)
        yield Check("ripple", net, common)
        yield Check("ohms", net, common)
    if board.of_kind("input"):
        for net in nets:
            yield Check("ac volts", net, common)
    for part in board.parts.values():
        yield from _on_part(analyses, part)
    for pair in sorted(_leak_pairs(analyses)):
        yield Check("ohms", *pair)
    for area in board.areas:
        yield Check("look", part=area, word="residue")
    for driver in board.of_kind("driver"):
        for word in LISTENED:
            yield Check("listen", part=driver.name, state=CONNECTED, word=word)


def _on_part(analyses: Analyses, part: Part) -> Iterator[Check]:
    pins = part.pins
    if len(pins) == 2 and part.kind not in ("supply", "input", "module"):
        a, b = pins.values()
        if a != b and part.kind != "driver":
            yield Check("ohms", a, b)
        if part.kind in ("capacitor", "electrolytic"):
            yield Check("capacitance", a, b)
        if part.kind == "electrolytic":
            yield Check("esr", a, b)
    for red, black in JUNCTION_PAIRS.get(part.kind, ()):
        if pins[red] != pins[black]:
            yield Check("diode test", pins[red], pins[black])
    for red, black in SHORTED_PAIRS.get(part.kind, ()):
        if pins[red] != pins[black]:
            yield Check("ohms", pins[red], pins[black])
    if part.kind in UNITS and not part.sealed:
        yield Check("lifted", part=part.name)
    for word in SEEN_ON_PARTS.get(part.kind, ()):
        yield Check("look", part=part.name, word=word)
    if analyses.healthy_watts(part.name) >= WARM_SHARE:
        yield Check("warmth", part=part.name)


def _leak_pairs(analyses: Analyses) -> set[tuple[str, str]]:
    faults = (fault for suspect in analyses.cases.suspects for fault in suspect.faults)
    return {(fault.a, fault.b) for fault in faults if isinstance(fault, Leak)}
