"""The kinds of parts: their pins, and their keys with unit, default, range and choices.

One table for reading, for messages and for pages. Which element of the circuit a kind becomes is in
`dustcap.board.circuit`, how it fails is in `dustcap.faults`; here stand only the names of the failure modes, so that a
slip in ``modes`` is found with its line.

Defaults follow the contract of the board description; those of the driver are by its role (`dustcap.board.defaults`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf

NUMBER, WORD, TRUTH, NAME = "number", "word", "truth", "name"


@dataclass(frozen=True, slots=True)
class Key:
    """One key of a kind. A number must lie above `above` (or at it, where `zero` allows) and not beyond `most`."""

    unit: str = ""
    default: float | str | bool | None = None
    example: str = ""
    needed: bool = False
    sort: str = NUMBER
    above: float = 0.0
    zero: bool = False
    most: float = inf
    signed: bool = False
    choices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of part. `listed`: its pins may be written as a list; `optional`: pins that may be absent."""

    name: str
    pins: tuple[str, ...]
    keys: Mapping[str, Key]
    modes: tuple[str, ...]
    listed: bool = True
    optional: tuple[str, ...] = ()
    other_sizes: tuple[int, ...] = ()


def _value(unit: str, example: str, most: float, *, signed: bool = False) -> Key:
    return Key(unit, example=example, needed=True, most=most, signed=signed)


def _word(default: str, *choices: str) -> Key:
    return Key(default=default, sort=WORD, choices=choices)


def _tolerance(default: float) -> Key:
    return Key("%", default, example="5 %", zero=True, most=0.9)


VOLTAGE = Key("V", example="35 V", most=1e4)
_SMALL = ("drain-source short", "gate leaky", "open")
_JUNCTIONS = (
    "collector-emitter short",
    "base-emitter open",
    "base-emitter short",
    "base-collector short",
    "collector-emitter leaky",
    "gain lost",
)
_AMPLIFIER = ("stuck high", "stuck low", "dead", "input leakage", "noisy", "supply short")
_AMPLIFIER_PINS = ("plus", "minus", "out", "high", "low")
_TRANSISTOR = Kind(
    "npn", ("collector", "base", "emitter"), {"gain": Key("", 200.0, example="200", most=1e5)}, _JUNCTIONS
)
_MOSFET_KEYS = {
    "threshold": Key("V", 3.0, example="3 V", most=50),
    "k": Key("A/V2", 0.2, example="0.2 A/V2", most=1e3),
}
_JFET_KEYS = {"cutoff": Key("V", 2.0, example="2 V", most=50), "idss": Key("A", 5e-3, example="5 mA", most=10)}


def _amplifier_keys(bandwidth: float, offset: float, bias: float, headroom: float, limit: float) -> dict[str, Key]:
    return {
        "gain": Key("", 1e5, example="1e5", above=1.0, most=1e9),
        "bandwidth": Key("Hz", bandwidth, example="3 MHz", most=1e10),
        "offset": Key("V", offset, example="2 mV", zero=True, most=1.0),
        "bias": Key("A", bias, example="100 nA", zero=True, most=1e-3),
        "headroom": Key("V", headroom, example="1.5 V", zero=True, most=50),
        "limit": Key("A", limit, example="30 mA", most=1e3),
    }


_KINDS = (
    Kind(
        "resistor",
        ("a", "b"),
        {
            "value": _value("ohm", "2k2", 1e12),
            "tolerance": _tolerance(0.05),
            "power": Key("W", 0.25, example="0.25 W", most=1e4),
        },
        ("open", "drifted high", "short"),
    ),
    Kind(
        "capacitor",
        ("a", "b"),
        {
            "value": _value("F", "100n", 10.0),
            "tolerance": _tolerance(0.10),
            "voltage": VOLTAGE,
            "dielectric": _word("film", "film", "c0g", "x7r", "mains-x", "mains-y"),
        },
        ("open", "short", "value lost", "leaky"),
    ),
    Kind(
        "electrolytic",
        ("plus", "minus"),
        {
            "value": _value("F", "1000 uF", 10.0),
            "tolerance": _tolerance(0.20),
            "voltage": VOLTAGE,
            "esr": Key("ohm", example="60 mohm", zero=True, most=1e6),
            "leakage": Key("A", example="10 uA", zero=True, most=1.0),
            "temperature": Key("degC", 105.0, example="105 degC", most=250),
            "life": Key("h", 2000.0, example="2000 h", most=1e6),
            "ripple": Key("A", example="1.2 A", most=1e3),
            "diameter": Key("mm", example="16 mm", most=1.0),
            "height": Key("mm", example="25 mm", most=1.0),
            "pitch": Key("mm", example="7.5 mm", most=1.0),
        },
        ("capacity lost", "esr up", "leaky", "short", "open"),
    ),
    Kind(
        "inductor",
        ("a", "b"),
        {
            "value": _value("H", "1.2 mH", 1e3),
            "tolerance": _tolerance(0.10),
            "resistance": Key("ohm", 0.0, example="0.3 ohm", zero=True, most=1e7),
        },
        ("open", "short"),
    ),
    Kind(
        "potentiometer",
        ("end1", "wiper", "end2"),
        {
            "value": _value("ohm", "10k", 1e9),
            "tolerance": _tolerance(0.20),
            "position": Key("", 0.5, example="0.5", zero=True, most=1.0),
            "law": _word("linear", "linear", "log"),
        },
        ("wiper open", "noisy", "track worn"),
    ),
    Kind("link", ("a", "b"), {"rating": Key("A", example="2.5 A", most=1e4)}, ("open", "resistance")),
    Kind(
        "switch",
        ("a", "b"),
        {"closed": Key(default=True, sort=TRUTH), "driven_by": Key(sort=NAME, example="K1")},
        ("stuck open", "stuck closed", "contact resistance"),
    ),
    Kind(
        "relay coil",
        ("a", "b"),
        {
            "resistance": Key("ohm", example="1 kohm", needed=True, most=1e7),
            "pull_in": Key("V", example="17 V", most=1e3),
            "volts": Key("V", example="24 V", most=1e3),
        },
        ("open",),
    ),
    Kind(
        "diode",
        ("anode", "cathode"),
        {"type": _word("signal", "signal", "rectifier", "schottky", "led")},
        ("short", "open", "leaky"),
    ),
    Kind(
        "zener",
        ("anode", "cathode"),
        {"value": _value("V", "15 V", 1e3), "tolerance": _tolerance(0.05)},
        ("short", "open", "leaky"),
    ),
    Kind("bridge", ("ac1", "ac2", "plus", "minus"), {}, ("short", "open")),
    _TRANSISTOR,
    Kind("pnp", _TRANSISTOR.pins, _TRANSISTOR.keys, _JUNCTIONS),
    Kind("n-mosfet", ("drain", "gate", "source"), _MOSFET_KEYS, _SMALL),
    Kind("p-mosfet", ("drain", "gate", "source"), _MOSFET_KEYS, _SMALL),
    Kind("n-jfet", ("drain", "gate", "source"), _JFET_KEYS, _SMALL),
    Kind("p-jfet", ("drain", "gate", "source"), _JFET_KEYS, _SMALL),
    Kind(
        "op amp",
        _AMPLIFIER_PINS,
        {
            **_amplifier_keys(3e6, 2e-3, 100e-9, 1.5, 30e-3),
            "noise": Key("nV/rtHz", 8e-9, example="8 nV/rtHz", zero=True, most=1e-3),
        },
        _AMPLIFIER,
        listed=False,
    ),
    Kind(
        "power amplifier",
        (*_AMPLIFIER_PINS, "mute"),
        {
            **_amplifier_keys(5e6, 3e-3, 200e-9, 3.0, 4.0),
            "mute_current": Key("A", 0.5e-3, example="0.5 mA", most=1.0),
            "quiescent": Key("A", 50e-3, example="50 mA", zero=True, most=10),
        },
        (*_AMPLIFIER, "mute stuck"),
        listed=False,
        optional=("mute",),
    ),
    Kind(
        "regulator",
        ("in", "out", "common"),
        {
            "value": _value("V", "-15 V", 1e3, signed=True),
            "dropout": Key("V", 2.0, example="2 V", zero=True, most=50),
            "limit": Key("A", 1.0, example="1 A", most=1e3),
            "quiescent": Key("A", 5e-3, example="5 mA", zero=True, most=10),
        },
        ("in-out short", "no output", "oscillating"),
        listed=False,
    ),
    Kind(
        "transformer",
        ("a", "tap", "b"),
        {
            "volts": Key("V", example="20 V", needed=True, most=1e4),
            "resistance": Key("ohm", 0.5, example="0.5 ohm", zero=True, most=1e6),
            "regulation": Key("%", 0.0, example="8 %", zero=True, most=1.0),
        },
        ("winding open", "shorted turns"),
        listed=False,
        optional=("tap",),
    ),
    Kind(
        "supply",
        ("plus", "minus"),
        {
            "value": _value("V", "15 V", 1e4, signed=True),
            "resistance": Key("ohm", 0.0, example="0.1 ohm", zero=True, most=1e6),
        },
        ("no output",),
    ),
    Kind("input", ("hot", "cold"), {"resistance": Key("ohm", 50.0, example="50 ohm", zero=True, most=1e9)}, ()),
    Kind(
        "driver",
        ("plus", "minus"),
        {
            "role": Key(default="full range", sort=NAME, example="woofer"),
            "resistance": Key("ohm", example="5.6 ohm", needed=True, most=1e5),
            "inductance": Key("H", example="0.3 mH", zero=True, most=1.0),
            "resonance": Key("Hz", example="60 Hz", most=1e5),
            "qms": Key("", example="3.0", most=1e3),
            "qes": Key("", example="0.5", most=1e3),
            "bl": Key("T m", example="6 T m", most=1e3),
            "compliance": Key("m/N", example="0.8 mm/N", most=1.0),
            "excursion": Key("mm", example="4 mm", most=1.0),
        },
        ("open", "shorted turns", "rubbing", "reversed"),
    ),
    Kind("module", (), {}, (), listed=False),
)

KINDS: Mapping[str, Kind] = {kind.name: kind for kind in _KINDS}

INTEGRATED = ("op amp", "power amplifier", "regulator", "module")
"""Kinds with a chip inside, that a meter on ohms cannot test."""
AMPLIFIERS = ("op amp", "power amplifier")
AREA_KINDS = ("residue", "corrosion", "scorching")
