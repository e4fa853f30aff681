"""What each failure mode does to the elements of its part, and within which bounds.

Bounds: resistor drift, capacitance lost, series resistance and contamination follow the project's physics page; all the
others are common practice, no published source. Every one is drawn log-uniformly unless it says otherwise.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from dustcap.board.circuit import elements_of
from dustcap.board.model import Board, Part

Floats = NDArray[np.float64]
Nominal = Callable[[str, str], float | Floats]
Changes = dict[tuple[str, str], float | Floats]

DRIFT = (1.3, 10.0)
CAPACITY_LEFT = (0.05, 0.70)
ESR_TIMES = (3.0, 100.0)
ESR_FLOOR_OHM = 0.02  # what a series resistance described as less is counted as before it rises
LEAK_OHM = (1e3, 100e6)
SHORT_OHM = (0.05, 2.0)
LEAKY_OHM = (100.0, 100e3)  # electrolytics, junctions, gates
LEAKY_FILM_OHM = (1e3, 10e6)
CONTACT_OHM = (0.3, 100.0)
TRACK_OHM = (30.0, 3e3)  # a dirty wiper
INPUT_LEAK_A = (0.1e-6, 20e-6)
NOISE_TIMES = (10.0, 1000.0)
GAIN_LEFT = (0.02, 0.3)
TURNS_LEFT = (0.3, 0.9)  # evenly
COIL_LEFT = (0.3, 0.8)  # evenly
LOW_OUTPUT = (0.2, 0.8)  # evenly
DRAW_TIMES = (3.0, 30.0)
STRAY_F = 1e-12  # what is left between the leads of an open capacitor


def log_between(u: Floats, bounds: tuple[float, float]) -> Floats:
    """Quantiles u in 0..1 of a log-uniform spread between two bounds, same shape as u."""
    low, high = bounds
    return np.asarray(low * (high / low) ** u)


def _even(u: Floats, bounds: tuple[float, float]) -> Floats:
    low, high = bounds
    return np.asarray(low + (high - low) * u)


@dataclass(frozen=True)
class Draw:
    """One fault to be drawn: its part, the quantiles and where nominal values come from."""

    board: Board
    part: Part
    u: Floats
    nominal: Nominal

    def sub(self, name: str) -> str:
        """Name of one of the part's elements."""
        return f"{self.part.name}.{name}"

    def own(self, value: str, element: str = "") -> Floats:
        """A value of the part, or of one of its elements, before the fault; shape (cases,)."""
        return np.asarray(self.nominal(element or self.part.name, value), dtype=float)

    def variants(self, count: int) -> tuple[NDArray[np.intp], Floats]:
        """Which of `count` equally likely variants each case is, and the quantile that is left for its severity."""
        scaled = self.u * count
        which = np.minimum(scaled.astype(np.intp), count - 1)
        return which, np.asarray(scaled - which)


Effect = Callable[[Draw], Changes]


def _set(value: str, number: float) -> Effect:
    return lambda draw: {(draw.part.name, value): number}


def _drawn(value: str, bounds: tuple[float, float]) -> Effect:
    return lambda draw: {(draw.part.name, value): log_between(draw.u, bounds)}


def _times(
    value: str, bounds: tuple[float, float], law: Callable[..., Floats] = log_between, floor: float = 0.0
) -> Effect:
    return lambda draw: {(draw.part.name, value): np.maximum(draw.own(value), floor) * law(draw.u, bounds)}


def _nothing(draw: Draw) -> Changes:
    return {}


def _open_capacitor(draw: Draw) -> Changes:
    """Neither capacitance nor leakage is left."""
    return {(draw.part.name, "esr_ohm"): inf, (draw.part.name, "leak_ohm"): inf, (draw.part.name, "farad"): STRAY_F}


_BRIDGE = ("ac1_plus", "ac2_plus", "minus_ac1", "minus_ac2")


def _one_of_four(value: str, severity: Callable[[Floats], Floats]) -> Effect:
    """One diode of a bridge, each equally likely."""

    def effect(draw: Draw) -> Changes:
        which, rest = draw.variants(4)
        return {
            (draw.sub(name), value): np.where(which == place, severity(rest), draw.own(value, draw.sub(name)))
            for place, name in enumerate(_BRIDGE)
        }

    return effect


def _worn_track(draw: Draw) -> Changes:
    """Both sides of the track drift by the same factor."""
    return {
        (draw.sub(end), "ohm"): draw.own("ohm", draw.sub(end)) * log_between(draw.u, DRIFT) for end in ("end1", "end2")
    }


def _input_leakage(draw: Draw) -> Changes:
    """On top of the bias of one of the two inputs, in or out of the pin: four equally likely variants."""
    which, rest = draw.variants(4)
    ampere = log_between(rest, INPUT_LEAK_A) * np.where(which % 2 == 0, 1.0, -1.0)
    plus, minus = draw.own("bias_plus_a"), draw.own("bias_minus_a")
    return {
        (draw.part.name, "bias_plus_a"): plus + np.where(which < 2, ampere, 0.0),
        (draw.part.name, "bias_minus_a"): minus + np.where(which >= 2, ampere, 0.0),
    }


def _open_winding(draw: Draw) -> Changes:
    """One end of the secondary, or (the last variant) the primary: no volts at all."""
    name, tapped = draw.part.name, "tap" in draw.part.pins
    which, _ = draw.variants(3 if tapped else 2)
    dead = which == (2 if tapped else 1)
    changes: Changes = {
        (name, "ohm_a"): np.where(which == 0, inf, draw.own("ohm_a")),
        (name, "scale_a"): np.where(dead, 0.0, draw.own("scale_a")),
    }
    if tapped:
        changes[name, "ohm_b"] = np.where(which == 1, inf, draw.own("ohm_b"))
        changes[name, "scale_b"] = np.where(dead, 0.0, draw.own("scale_b"))
    return changes


def _shorted_turns(draw: Draw) -> Changes:
    """One half, or the whole where there is no tap, gives a share of its volts."""
    name, tapped = draw.part.name, "tap" in draw.part.pins
    which, rest = draw.variants(2 if tapped else 1)
    left = _even(rest, TURNS_LEFT)
    changes: Changes = {(name, "scale_a"): np.where(which == 0, left, draw.own("scale_a"))}
    if tapped:
        changes[name, "scale_b"] = np.where(which == 1, left, draw.own("scale_b"))
    return changes


def _shorted_coil(draw: Draw) -> Changes:
    """Resistance falls with the turns, inductance with their square."""
    left = _even(draw.u, COIL_LEFT)
    name = draw.part.name
    return {(name, "ohm"): draw.own("ohm") * left, (name, "henry"): draw.own("henry") * left**2}


def _no_supply(draw: Draw) -> Changes:
    return {(draw.part.name, "volts"): 0.0, (draw.part.name, "ohm"): inf}


def _module_effect(mode: str) -> Effect:
    """A module's modes are its description's own words; what they say decides."""
    if "nois" in mode:
        return _nothing
    if "draw" in mode or "short" in mode:
        return _module_draws
    return _module_low if "low" in mode or "weak" in mode else _module_dead


def _module_elements(draw: Draw) -> dict[str, str]:
    """Element -> law."""
    return {element.name: element.law for element in elements_of(draw.part, draw.board.common)}


def _module_dead(draw: Draw) -> Changes:
    key = {"source": ("volts", 0.0), "gain": ("gain", 0.0)}
    return {(name, key[law][0]): key[law][1] for name, law in _module_elements(draw).items() if law in key}


def _module_low(draw: Draw) -> Changes:
    key = {"source": "volts", "gain": "gain"}
    left = _even(draw.u, LOW_OUTPUT)
    found = {name: key[law] for name, law in _module_elements(draw).items() if law in key}
    return {(name, value): draw.own(value, name) * left for name, value in found.items()}


def _module_draws(draw: Draw) -> Changes:
    sinks = [name for name, law in _module_elements(draw).items() if law == "sink"]
    times = log_between(draw.u, DRAW_TIMES)
    return {(name, "ampere"): draw.own("ampere", name) * times for name in sinks} or _module_dead(draw)


_GROUP: Mapping[str, str] = {
    "npn": "bipolar",
    "pnp": "bipolar",
    "n-mosfet": "field effect",
    "p-mosfet": "field effect",
    "n-jfet": "field effect",
    "p-jfet": "field effect",
    "power amplifier": "op amp",
    "zener": "diode",
}
_EFFECTS: Mapping[tuple[str, str], Effect] = {
    ("resistor", "open"): _set("ohm", inf),
    ("resistor", "drifted high"): _times("ohm", DRIFT),
    ("resistor", "short"): _drawn("ohm", SHORT_OHM),
    ("capacitor", "open"): _open_capacitor,
    ("capacitor", "short"): _drawn("leak_ohm", SHORT_OHM),
    ("capacitor", "value lost"): _times("farad", CAPACITY_LEFT),
    ("capacitor", "leaky"): _drawn("leak_ohm", LEAKY_FILM_OHM),
    ("electrolytic", "capacity lost"): _times("farad", CAPACITY_LEFT),
    ("electrolytic", "esr up"): _times("esr_ohm", ESR_TIMES, floor=ESR_FLOOR_OHM),
    ("electrolytic", "leaky"): _drawn("leak_ohm", LEAKY_OHM),
    ("electrolytic", "short"): _drawn("leak_ohm", SHORT_OHM),
    ("electrolytic", "open"): _open_capacitor,
    ("inductor", "open"): _set("ohm", inf),
    ("inductor", "short"): _drawn("shunt_ohm", SHORT_OHM),
    ("potentiometer", "wiper open"): lambda draw: {(draw.sub("wiper"), "ohm"): inf},
    ("potentiometer", "noisy"): lambda draw: {(draw.sub("wiper"), "ohm"): log_between(draw.u, TRACK_OHM)},
    ("potentiometer", "track worn"): _worn_track,
    ("link", "open"): _set("ohm", inf),
    ("link", "resistance"): _drawn("ohm", CONTACT_OHM),
    ("switch", "stuck open"): _set("force", -1.0),
    ("switch", "stuck closed"): _set("force", 1.0),
    ("switch", "contact resistance"): _drawn("ohm", CONTACT_OHM),
    ("relay coil", "open"): _set("ohm", inf),
    ("diode", "short"): _drawn("shunt_ohm", SHORT_OHM),
    ("diode", "open"): _set("present", 0.0),
    ("diode", "leaky"): _drawn("shunt_ohm", LEAKY_OHM),
    ("bridge", "short"): _one_of_four("shunt_ohm", lambda rest: log_between(rest, SHORT_OHM)),
    ("bridge", "open"): _one_of_four("present", np.zeros_like),
    ("bipolar", "collector-emitter short"): _drawn("ce_ohm", SHORT_OHM),
    ("bipolar", "base-emitter open"): _set("present", 0.0),
    ("bipolar", "base-emitter short"): _drawn("be_ohm", SHORT_OHM),
    ("bipolar", "base-collector short"): _drawn("bc_ohm", SHORT_OHM),
    ("bipolar", "collector-emitter leaky"): _drawn("ce_ohm", LEAKY_OHM),
    ("bipolar", "gain lost"): _times("gain", GAIN_LEFT),
    ("field effect", "drain-source short"): _drawn("ds_ohm", SHORT_OHM),
    ("field effect", "gate leaky"): _drawn("gs_ohm", LEAKY_OHM),
    ("field effect", "open"): _set("present", 0.0),
    ("op amp", "stuck high"): _set("force", 1.0),
    ("op amp", "stuck low"): _set("force", -1.0),
    ("op amp", "dead"): _set("drive", 0.0),
    ("op amp", "input leakage"): _input_leakage,
    ("op amp", "noisy"): _times("noise_v", NOISE_TIMES),
    ("op amp", "supply short"): _drawn("supply_ohm", SHORT_OHM),
    ("op amp", "mute stuck"): _set("muted", 1.0),
    ("regulator", "in-out short"): _drawn("short_ohm", SHORT_OHM),
    ("regulator", "no output"): _set("drive", 0.0),
    ("regulator", "oscillating"): _set("oscillates", 1.0),
    ("transformer", "winding open"): _open_winding,
    ("transformer", "shorted turns"): _shorted_turns,
    ("supply", "no output"): _no_supply,
    ("driver", "open"): _set("present", 0.0),
    ("driver", "shorted turns"): _shorted_coil,
    ("driver", "rubbing"): _nothing,
    ("driver", "reversed"): _set("sign", -1.0),
}


def effect_of(part: Part, mode: str) -> Effect | None:
    """What a mode does to a part; none when its kind has no such mode. Every word is a mode of a module."""
    if part.kind == "module":
        return _module_effect(mode)
    return _EFFECTS.get((_GROUP.get(part.kind, part.kind), mode))
