"""How each kind of part fails: modes as the board description names them, with shares.

Two tables of shares. "aged" is for audio units of some ten damp years and is what the hunt uses: common practice, no
published source, shaped on the handbook's form, with loss of capacitance and rise of series resistance put first for
electrolytics (makers' texts on wear: electrolyte goes through the seal, capacitance falls, loss factor rises).
"handbook" spreads the ratios of MIL-HDBK-338B (`handbook.RATIOS`) over the same names; a ranking that turns round
between the two tables does not rest on the evidence.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from dustcap.board.model import Board, Part
from dustcap.faults.handbook import RATIOS

if TYPE_CHECKING:
    from dustcap.faults.suspects import Leak, PartFault

Shares = Mapping[str, float]

_BIPOLAR: Shares = {
    "collector-emitter short": 0.35,
    "base-emitter open": 0.20,
    "base-emitter short": 0.08,
    "base-collector short": 0.12,
    "collector-emitter leaky": 0.15,
    "gain lost": 0.10,
}
_FIELD: Shares = {"drain-source short": 0.60, "gate leaky": 0.25, "open": 0.15}

AGED: Mapping[str, Shares] = {
    "resistor": {"open": 0.55, "drifted high": 0.40, "short": 0.05},
    "film capacitor": {"open": 0.25, "short": 0.30, "value lost": 0.20, "leaky": 0.25},
    "ceramic capacitor": {"open": 0.20, "short": 0.45, "value lost": 0.15, "leaky": 0.20},
    "mains capacitor": {"open": 0.10, "short": 0.15, "value lost": 0.65, "leaky": 0.10},
    "electrolytic": {"capacity lost": 0.35, "esr up": 0.35, "leaky": 0.12, "short": 0.08, "open": 0.10},
    "inductor": {"open": 0.70, "short": 0.30},
    "potentiometer": {"wiper open": 0.15, "noisy": 0.60, "track worn": 0.25},
    "link": {"open": 0.60, "resistance": 0.40},
    "fuse": {"open": 0.95, "resistance": 0.05},
    "switch": {"stuck open": 0.30, "stuck closed": 0.10, "contact resistance": 0.60},
    "relay contact": {"stuck open": 0.25, "stuck closed": 0.20, "contact resistance": 0.55},
    "relay coil": {"open": 1.0},
    "diode": {"short": 0.50, "open": 0.30, "leaky": 0.20},
    "rectifier": {"short": 0.60, "open": 0.30, "leaky": 0.10},
    "zener": {"short": 0.40, "open": 0.30, "leaky": 0.30},
    "bridge": {"short": 0.70, "open": 0.30},
    "bipolar": _BIPOLAR,
    "field effect": _FIELD,
    "op amp": {
        "stuck high": 0.18,
        "stuck low": 0.18,
        "dead": 0.14,
        "input leakage": 0.17,
        "noisy": 0.25,
        "supply short": 0.08,
    },
    "power amplifier": {
        "stuck high": 0.20,
        "stuck low": 0.20,
        "dead": 0.20,
        "input leakage": 0.08,
        "noisy": 0.08,
        "supply short": 0.14,
        "mute stuck": 0.10,
    },
    "regulator": {"in-out short": 0.25, "no output": 0.55, "oscillating": 0.20},
    "transformer": {"winding open": 0.75, "shorted turns": 0.25},
    "supply": {"no output": 1.0},
    "driver": {"open": 0.45, "shorted turns": 0.10, "rubbing": 0.40, "reversed": 0.05},
    "input": {},
}


def _spread(row: str, **places: Mapping[str, float]) -> Shares:
    """Ratios of a handbook row, each spread over modes of ours: handbook mode -> our mode -> part of it."""
    shares: dict[str, float] = {}
    for theirs, ours in places.items():
        for mode, part in ours.items():
            shares[mode] = shares.get(mode, 0.0) + RATIOS[row][theirs.replace("_", " ")] * part
    return shares


def _one(mode: str) -> Mapping[str, float]:
    return {mode: 1.0}


_CHIP_WRONG = {"stuck high": 0.3, "stuck low": 0.3, "input leakage": 0.2, "noisy": 0.2}
HANDBOOK: Mapping[str, Shares] = {
    "resistor": _spread("film resistor", open=_one("open"), change=_one("drifted high"), short=_one("short")),
    "film capacitor": _spread("film capacitor", open=_one("open"), short=_one("short"), change=_one("value lost")),
    "ceramic capacitor": _spread(
        "ceramic capacitor", open=_one("open"), short=_one("short"), change=_one("value lost")
    ),
    "mains capacitor": _spread("film capacitor", open=_one("open"), short=_one("short"), change=_one("value lost")),
    "electrolytic": _spread(
        "aluminium electrolytic",
        short=_one("short"),
        open=_one("open"),
        electrolyte_leak={"esr up": 0.5, "leaky": 0.5},
        less_capacitance=_one("capacity lost"),
    ),
    "inductor": _spread("coil", open=_one("open"), short=_one("short"), change=_one("short")),
    "potentiometer": _spread(
        "variable resistor", open=_one("wiper open"), erratic=_one("noisy"), short=_one("track worn")
    ),
    "link": _spread("connection", open=_one("open"), poor_contact=_one("resistance"), short=_one("resistance")),
    "fuse": {"open": 1.0},  # of the handbook's modes only "premature open" is a fault that brings a unit in
    "switch": _spread(
        "switch", open=_one("stuck open"), sticking=_one("contact resistance"), short=_one("stuck closed")
    ),
    "relay contact": _spread(
        "relay", fails_to_trip=_one("stuck open"), spurious_trip=_one("contact resistance"), short=_one("stuck closed")
    ),
    "relay coil": {"open": 1.0},
    "diode": _spread("general diode", short=_one("short"), open=_one("open"), parameter=_one("leaky")),
    "rectifier": _spread("rectifier", short=_one("short"), open=_one("open"), parameter=_one("leaky")),
    "zener": _spread("zener", short=_one("short"), open=_one("open"), parameter=_one("leaky")),
    "bridge": _spread("rectifier", short=_one("short"), open=_one("open"), parameter=_one("short")),
    "bipolar": _spread(
        "bipolar",
        short={"collector-emitter short": 0.5, "base-emitter short": 0.25, "base-collector short": 0.25},
        open=_one("base-emitter open"),
    ),
    "field effect": _spread(
        "field effect",
        short=_one("drain-source short"),
        output_low=_one("drain-source short"),
        parameter=_one("gate leaky"),
        open=_one("open"),
        output_high=_one("open"),
    ),
    "op amp": _spread("linear chip", improper_output=_CHIP_WRONG, no_output={"dead": 0.7, "supply short": 0.3}),
    "power amplifier": _spread(
        "linear chip", improper_output=_CHIP_WRONG, no_output={"dead": 0.5, "supply short": 0.3, "mute stuck": 0.2}
    ),
    "regulator": _spread(
        "linear chip", improper_output={"in-out short": 0.5, "oscillating": 0.5}, no_output=_one("no output")
    ),
    "transformer": _spread(
        "transformer", open=_one("winding open"), short=_one("shorted turns"), parameter=_one("shorted turns")
    ),
    "supply": {"no output": 1.0},
    "driver": AGED["driver"],  # no row: the handbook has no loudspeakers
    "input": {},
}
TABLES: Mapping[str, Mapping[str, Shares]] = {"aged": AGED, "handbook": HANDBOOK}

_FAMILY: Mapping[str, str] = {
    "npn": "bipolar",
    "pnp": "bipolar",
    "n-mosfet": "field effect",
    "p-mosfet": "field effect",
    "n-jfet": "field effect",
    "p-jfet": "field effect",
}
_CAPACITOR: Mapping[str, str] = {
    "film": "film capacitor",
    "c0g": "ceramic capacitor",
    "x7r": "ceramic capacitor",
    "mains-x": "mains capacitor",
    "mains-y": "mains capacitor",
}


def family(part: Part) -> str:
    """The row of the tables that a part belongs to."""
    if part.kind == "capacitor":
        return _CAPACITOR.get(str(part.values.get("dielectric", "")), "film capacitor")
    if part.kind == "link" and "rating" in part.values:
        return "fuse"
    if part.kind == "switch" and part.values.get("driven_by"):
        return "relay contact"
    if part.kind == "diode" and part.values.get("type") in ("rectifier", "schottky"):
        return "rectifier"
    return _FAMILY.get(part.kind, part.kind)


def shares(part: Part, table: str = "aged") -> dict[str, float]:
    """Failure modes of one part with shares that sum to one; empty when it cannot fail here.

    Parameters
    ----------
    part : Part
        Its own `modes` override the kind's; `sealed` means none.
    table : {"aged", "handbook"}
    """
    if part.sealed:
        return {}
    found = dict(part.modes) if part.modes else dict(_of_kind(part, table))
    if part.kind == "power amplifier" and "mute" not in part.pins and not part.modes:
        found.pop("mute stuck", None)
    total = sum(found.values())
    return {mode: share / total for mode, share in found.items() if share > 0}


def _of_kind(part: Part, table: str) -> Shares:
    if part.kind != "module":
        return TABLES[table][family(part)]
    modes = {"no output": 0.6, "low output": 0.2} if part.drives or part.gains else {}
    return {**modes, "draws too much": 0.2} if part.draws else modes


# What circuit analysis cannot say: P(complaint | fault), on top of what is computed. Common practice, no published
# source.
_LISTENS: Mapping[tuple[str, str], Mapping[str, float]] = {
    ("op amp", "noisy"): {"hiss": 0.6, "crackle": 0.6},
    ("op amp", "input leakage"): {"crackle": 0.15, "thump at power": 0.2},
    ("op amp", "supply short"): {"hot": 0.4, "blows fuse": 0.2},
    ("power amplifier", "noisy"): {"hiss": 0.6, "crackle": 0.6},
    ("power amplifier", "supply short"): {"hot": 0.5, "blows fuse": 0.7},
    ("power amplifier", "stuck high"): {"hot": 0.4},
    ("power amplifier", "stuck low"): {"hot": 0.4},
    ("potentiometer", "noisy"): {"crackle": 0.9, "comes and goes": 0.2},
    ("potentiometer", "track worn"): {"crackle": 0.7, "comes and goes": 0.3},
    ("potentiometer", "wiper open"): {"crackle": 0.3, "comes and goes": 0.3},
    ("link", "open"): {"comes and goes": 0.3, "crackle": 0.15},
    ("link", "resistance"): {"comes and goes": 0.5, "crackle": 0.4},
    ("fuse", "open"): {"blows fuse": 0.2},
    ("switch", "contact resistance"): {"comes and goes": 0.5, "crackle": 0.4},
    ("relay contact", "contact resistance"): {"comes and goes": 0.5, "crackle": 0.4, "distorted": 0.2},
    ("relay contact", "stuck open"): {"comes and goes": 0.2},
    ("relay contact", "stuck closed"): {"thump at power": 0.8},
    ("driver", "rubbing"): {"distorted": 0.85, "rattle": 0.35, "crackle": 0.1},
    ("driver", "shorted turns"): {"distorted": 0.2},
    ("driver", "open"): {"comes and goes": 0.1},
    ("driver", "reversed"): {"weak output": 0.3, "polarity reversed": 0.9},
    ("regulator", "oscillating"): {"squeal": 0.3, "hiss": 0.3, "distorted": 0.2, "hot": 0.3},
    ("regulator", "in-out short"): {"hot": 0.2},
    ("transformer", "shorted turns"): {"hot": 0.7, "blows fuse": 0.5, "rattle": 0.1},
    ("bridge", "short"): {"blows fuse": 0.8, "hot": 0.3},
    ("rectifier", "short"): {"blows fuse": 0.5, "hot": 0.2},
    ("electrolytic", "leaky"): {"crackle": 0.1, "thump at power": 0.2},
    ("electrolytic", "esr up"): {"crackle": 0.05},
    ("electrolytic", "short"): {"blows fuse": 0.2},
    ("film capacitor", "leaky"): {"crackle": 0.15},
    ("ceramic capacitor", "leaky"): {"crackle": 0.2},
    ("resistor", "drifted high"): {"crackle": 0.1, "hiss": 0.05},
    ("zener", "leaky"): {"hiss": 0.15, "crackle": 0.1},
    ("bipolar", "collector-emitter leaky"): {"crackle": 0.25, "hiss": 0.2},
    ("bipolar", "gain lost"): {"hiss": 0.1},
    ("field effect", "gate leaky"): {"crackle": 0.2, "hiss": 0.1},
}
_LEAK: Mapping[str, float] = {"crackle": 0.3, "comes and goes": 0.35, "thump at power": 0.1, "hiss": 0.05}
_MODULE_NOISY: Mapping[str, float] = {"hiss": 0.6, "crackle": 0.5}


def listens(board: Board, fault: PartFault | Leak) -> Mapping[str, float]:
    """Probability of each complaint from a fault where the circuit's own quantities do not say; no entry: nothing.

    A noisy part is heard at a driver only if it is in that driver's way: this is for the caller to see.
    """
    part = board.parts.get(getattr(fault, "part", ""))
    if part is None:
        return _LEAK
    mode = str(getattr(fault, "mode", ""))
    if part.kind == "module":
        return _MODULE_NOISY if "nois" in mode else {}
    return _LISTENS.get((family(part), mode), {})


def with_volume(board: Board, fault: PartFault | Leak) -> str:
    """``follows`` for a worn potentiometer, whose crackle follows the knob; empty where a fault alone does not say."""
    part = board.parts.get(getattr(fault, "part", ""))
    return "follows" if part is not None and part.kind == "potentiometer" else ""
