"""From a board to a circuit: which elements a part becomes, with its nominal values.

A part of one element gives its name to it. The others are ``part.sub``: a bridge has ``ac1_plus``, ``ac2_plus``,
``minus_ac1`` and ``minus_ac2`` (anode to cathode), a potentiometer ``end1``, ``end2`` and ``wiper`` about the inner net
``part:wiper``, a module one element for each net that it drives or passes a signal to, named after its pin, and two for
each net that it draws from: ``pin`` and ``pin_below``, of which the one draws that fits the polarity of the rail.

Nominal: an amplifier's offset is 0 (it lies anywhere between minus and plus its `offset`: `dustcap.board.tolerances`)
and its bias currents are the ones described. A potentiometer's `position` is the share of the way from its first end.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from math import inf

from dustcap.board import devices
from dustcap.board.defaults import ASSUMED_RATED_V
from dustcap.board.model import Board, Part
from dustcap.circuit.elements import LAWS, Circuit, Element
from dustcap.errors import BoardError

Pair = tuple[str, str]


def leak_name(a: str, b: str) -> str:
    """Name of the element that is a leak between two nets, whichever is named first."""
    return "leak:" + "|".join(sorted((a, b)))


def to_circuit(board: Board, leaks: Iterable[Pair] = ()) -> Circuit:
    """The circuit of a board with nominal parts.

    Parameters
    ----------
    board : Board
    leaks : iterable of net pairs
        For each a resistor `leak_name` that is absent (infinite) until it is overridden.

    Raises
    ------
    BoardError
        If the board has no parts, or a leak names a net that it does not have or joins a net to itself.
    """
    if not board.parts:
        raise BoardError("the board has no parts yet.", where=board.where, mend="Describe its parts or blocks first.")
    elements = [element for part in board.parts.values() for element in elements_of(part, board.common)]
    nets = set(board.nets)
    for a, b in dict.fromkeys(tuple(sorted(pair)) for pair in leaks):
        if a not in nets or b not in nets or a == b:
            raise BoardError(f"there can be no leak between {a!r} and {b!r}.", where=board.where, mend="Name two nets.")
        elements.append(Element(leak_name(a, b), "resistor", (a, b), {"ohm": inf}))
    return Circuit(tuple(elements), common=board.common, mains_hz=board.mains_hz)


def elements_of(part: Part, common: str) -> tuple[Element, ...]:
    """The elements that a part becomes."""
    if part.kind in _MANY:
        return _MANY[part.kind](part, common)
    law, values = _ONE[part.kind](part)
    nets = tuple(part.pins.get(pin, "") for pin in _PINS.get(part.kind, LAWS[law].nets))
    drives = str(part.values.get("driven_by", ""))
    return (Element(part.name, law, nets, values, part=part.name, drives=drives),)


Values = Mapping[str, float]
_PINS: Mapping[str, tuple[str, ...]] = {"input": ("hot", "cold"), "electrolytic": ("plus", "minus")}
"""Pins in the order of the law's terminals, where the names differ."""


def _electrolytic(part: Part) -> tuple[str, Values]:
    leakage = part.number("leakage")
    rated_v = float(part.values.get("voltage", ASSUMED_RATED_V))
    leak_ohm = rated_v / leakage if leakage else inf
    return "capacitor", {"farad": part.number("value"), "esr_ohm": part.number("esr"), "leak_ohm": leak_ohm}


def _transistor(sign: float) -> Callable[[Part], tuple[str, Values]]:
    return lambda part: ("bipolar", {"sign": sign, "gain": part.number("gain")})


def _mosfet(sign: float) -> Callable[[Part], tuple[str, Values]]:
    return lambda part: (
        "mosfet",
        {"sign": sign, "threshold_v": part.number("threshold"), "k_a_v2": part.number("k")},
    )


def _jfet(sign: float) -> Callable[[Part], tuple[str, Values]]:
    return lambda part: (
        "jfet",
        {"sign": sign, "cutoff_v": part.number("cutoff"), "idss_a": part.number("idss")},
    )


def _amplifier(part: Part) -> dict[str, float]:
    return {
        "gain": part.number("gain"),
        "bandwidth_hz": part.number("bandwidth"),
        "bias_plus_a": part.number("bias"),
        "bias_minus_a": part.number("bias"),
        "headroom_v": part.number("headroom"),
        "limit_a": part.number("limit"),
    }


def _op_amp(part: Part) -> tuple[str, Values]:
    return "amplifier", {
        **_amplifier(part),
        "noise_v": part.number("noise"),
        "out_ohm": devices.SMALL_OUT_OHM,
        "quiescent_a": devices.SMALL_QUIESCENT_A,
    }


def _power_amplifier(part: Part) -> tuple[str, Values]:
    return "amplifier", {
        **_amplifier(part),
        "noise_v": devices.POWER_NOISE_V,
        "out_ohm": devices.POWER_OUT_OHM,
        "quiescent_a": part.number("quiescent"),
        "mute_a": part.number("mute_current") if "mute" in part.pins else 0.0,
    }


def _regulator(part: Part) -> tuple[str, Values]:
    return "regulator", {
        "volts": part.number("value"),
        "dropout_v": part.number("dropout"),
        "limit_a": part.number("limit"),
        "quiescent_a": part.number("quiescent"),
    }


def _transformer(part: Part) -> tuple[str, Values]:
    """A source of the loaded volts, raised by the regulation, behind the resistance of each half."""
    ohm = part.number("resistance")
    volts = part.number("volts") * (1 + part.number("regulation"))
    return "transformer", {"volts_rms": volts, "ohm_a": ohm, "ohm_b": ohm}


def _driver(part: Part) -> tuple[str, Values]:
    return "driver", {
        "ohm": part.number("resistance"),
        "henry": part.number("inductance"),
        "fs_hz": part.number("resonance"),
        "qms": part.number("qms"),
        "qes": part.number("qes"),
        "bl": part.number("bl"),
        "cms_m_n": part.number("compliance"),
        "excursion_m": part.number("excursion"),
    }


_ONE: Mapping[str, Callable[[Part], tuple[str, Values]]] = {
    "resistor": lambda part: ("resistor", {"ohm": part.number("value")}),
    "capacitor": lambda part: ("capacitor", {"farad": part.number("value")}),
    "electrolytic": _electrolytic,
    "inductor": lambda part: ("inductor", {"henry": part.number("value"), "ohm": part.number("resistance")}),
    "link": lambda part: ("resistor", {"ohm": devices.LINK_OHM}),
    "switch": lambda part: ("contact", {"closed": part.number("closed"), "ohm": devices.CONTACT_OHM}),
    "relay coil": lambda part: ("coil", {"ohm": part.number("resistance"), "pull_in_v": part.number("pull_in")}),
    "diode": lambda part: ("diode", devices.DIODES[part.word("type")]),
    "zener": lambda part: ("zener", {"zener_v": part.number("value")}),
    "npn": _transistor(1.0),
    "pnp": _transistor(-1.0),
    "n-mosfet": _mosfet(1.0),
    "p-mosfet": _mosfet(-1.0),
    "n-jfet": _jfet(1.0),
    "p-jfet": _jfet(-1.0),
    "op amp": _op_amp,
    "power amplifier": _power_amplifier,
    "regulator": _regulator,
    "transformer": _transformer,
    "supply": lambda part: ("source", {"volts": part.number("value"), "ohm": part.number("resistance")}),
    "input": lambda part: ("source", {"ohm": part.number("resistance")}),
    "driver": _driver,
}


def _bridge(part: Part, common: str) -> tuple[Element, ...]:
    ends = (("ac1", "plus"), ("ac2", "plus"), ("minus", "ac1"), ("minus", "ac2"))
    return tuple(
        Element(
            f"{part.name}.{anode}_{cathode}",
            "diode",
            (part.pins[anode], part.pins[cathode]),
            devices.DIODES["rectifier"],
            part=part.name,
        )
        for anode, cathode in ends
    )


def _potentiometer(part: Part, common: str) -> tuple[Element, ...]:
    share = devices.track_share(part.number("position"), part.word("law"))
    ohm, inner = part.number("value"), f"{part.name}:wiper"
    sides = (
        ("end1", (part.pins["end1"], inner), max(share * ohm, devices.TRACK_END_OHM)),
        ("end2", (inner, part.pins["end2"]), max((1 - share) * ohm, devices.TRACK_END_OHM)),
        ("wiper", (inner, part.pins["wiper"]), devices.WIPER_OHM),
    )
    return tuple(
        Element(f"{part.name}.{sub}", "resistor", nets, {"ohm": side}, part=part.name) for sub, nets, side in sides
    )


def _module(part: Part, common: str) -> tuple[Element, ...]:
    """A load draws its current towards the common net, from a rail above it or (``_below``) below it."""
    pin_of = {net: pin for pin, net in reversed(tuple(part.pins.items()))}
    made: list[tuple[str, str, tuple[str, ...], Values]] = []
    for net, volts in part.drives.items():
        made.append((pin_of[net], "source", (net, common), {"volts": volts, "ohm": devices.MODULE_DRIVE_OHM}))
    for net, ampere in part.draws.items():
        made.append((pin_of[net], "sink", (net, common), {"ampere": ampere}))
        made.append((f"{pin_of[net]}_below", "sink", (common, net), {"ampere": ampere}))
    for gain in part.gains:
        values = {"gain": gain.value, "out_ohm": devices.MODULE_OUT_OHM}
        made.append((pin_of[gain.to], "gain", (gain.to, common, gain.source, common), values))
    return tuple(Element(f"{part.name}.{sub}", law, nets, values, part=part.name) for sub, law, nets, values in made)


_MANY: Mapping[str, Callable[[Part, str], tuple[Element, ...]]] = {
    "bridge": _bridge,
    "potentiometer": _potentiometer,
    "module": _module,
}
