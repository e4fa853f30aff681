"""Elements of a circuit: which laws there are, which nets and which values each one has.

A circuit is a structure (elements between nets) and values. Every analysis takes overrides of values, one number or
one number for each case of a batch, so that tolerances, drifted parts, failures and leaks are all the same thing:
other values on the same structure. A failure therefore never changes the structure: an open resistor has
``ohm = inf``, a shorted diode a small ``shunt_ohm``, an amplifier whose output is stuck high ``force = 1``, and a leak
between two nets is a resistor that is infinite until it is overridden.

Units are base units (volt, ohm, farad, henry, ampere, hertz, second). ``inf`` ohms means "not there".
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import inf

import numpy as np
from numpy.typing import NDArray

from dustcap.errors import SolveError

Values = Mapping[tuple[str, str], float | NDArray[np.float64]]
"""Overrides: (element name, value name) -> one number, or an array of shape (cases,)."""


@dataclass(frozen=True, slots=True)
class Law:
    """What an element of one law looks like: its terminals and its values with defaults (nan: to be given)."""

    nets: tuple[str, ...]
    values: Mapping[str, float]
    optional_nets: tuple[str, ...] = ()


NEEDED = float("nan")

LAWS: Mapping[str, Law] = {
    "resistor": Law(("a", "b"), {"ohm": NEEDED}),
    # leak_ohm is in parallel with the capacitor and its esr
    "capacitor": Law(("a", "b"), {"farad": NEEDED, "esr_ohm": 0.0, "leak_ohm": inf}),
    "inductor": Law(("a", "b"), {"henry": NEEDED, "ohm": 0.0, "shunt_ohm": inf}),
    # a d.c. source behind a resistance; a signal input is a source of 0 V behind its resistance. ac_volts: r.m.s.
    "source": Law(("plus", "minus"), {"volts": 0.0, "ohm": 0.0, "ac_volts": 0.0}),
    # a load that draws a constant current, fading to nothing below one volt
    "sink": Law(("plus", "minus"), {"ampere": NEEDED}),
    # present = 0: the junction is open
    "diode": Law(
        ("anode", "cathode"),
        {"saturation_a": NEEDED, "ideality": 1.0, "series_ohm": 0.0, "shunt_ohm": inf, "present": 1.0},
    ),
    # conducts forward as a silicon diode and backward beyond zener_v with slope_ohm
    "zener": Law(
        ("anode", "cathode"),
        {"zener_v": NEEDED, "slope_ohm": 5.0, "saturation_a": 1e-14, "shunt_ohm": inf, "present": 1.0},
    ),
    # Ebers-Moll transport form; sign +1 npn, -1 pnp; present = 0: emitter lead open
    "bipolar": Law(
        ("collector", "base", "emitter"),
        {
            "sign": 1.0,
            "gain": 200.0,
            "reverse_gain": 4.0,
            "saturation_a": 1e-14,
            "present": 1.0,
            "ce_ohm": inf,
            "be_ohm": inf,
            "bc_ohm": inf,
        },
    ),
    # square law; sign +1 n channel, -1 p channel; body diode source to drain (n channel)
    "mosfet": Law(
        ("drain", "gate", "source"),
        {"sign": 1.0, "threshold_v": 3.0, "k_a_v2": 0.2, "present": 1.0, "ds_ohm": inf, "gs_ohm": inf},
    ),
    # square law depletion device: current idss at zero gate volts, none beyond the cut-off
    "jfet": Law(
        ("drain", "gate", "source"),
        {"sign": 1.0, "cutoff_v": 2.0, "idss_a": 5e-3, "present": 1.0, "ds_ohm": inf, "gs_ohm": inf},
    ),
    # out = smooth clamp of gain x (plus - minus + offset) between low + headroom and high - headroom, behind out_ohm,
    # current limited; out current is drawn from the rail that sources it, plus quiescent. mute_a = 0: cannot mute;
    # else it plays when at least mute_a flows through the mute pin (1 kohm to common inside), muted = 1: stuck muted.
    # force +1/-1: stuck high/low; drive = 0: output dead (high impedance).
    "amplifier": Law(
        ("plus", "minus", "out", "high", "low", "mute"),
        {
            "gain": 1e5,
            "bandwidth_hz": 3e6,
            "offset_v": 0.0,
            "bias_plus_a": 100e-9,
            "bias_minus_a": 100e-9,
            "noise_v": 8e-9,
            "noise_a": 0.5e-12,
            "headroom_v": 1.5,
            "limit_a": 30e-3,
            "out_ohm": 60.0,
            "quiescent_a": 2e-3,
            "mute_a": 0.0,
            "force": 0.0,
            "drive": 1.0,
            "muted": 0.0,
            "supply_ohm": inf,
        },
        optional_nets=("mute",),
    ),
    # volts with its sign, against common; drive = 0: no output; oscillates = 1: an a.c. of half the output rides on it
    "regulator": Law(
        ("in", "out", "common"),
        {
            "volts": NEEDED,
            "dropout_v": 2.0,
            "limit_a": 1.0,
            "quiescent_a": 5e-3,
            "short_ohm": inf,
            "drive": 1.0,
            "oscillates": 0.0,
        },
    ),
    # volts_rms: e.m.f. from tap to each end when there is a tap, else from a to b, so that a load lowers it by the
    # drop in the winding; ohm_a, ohm_b: resistance of each half (without a tap only ohm_a counts); scale_a, scale_b:
    # share of the turns that work; inf ohms: winding open
    "transformer": Law(
        ("a", "tap", "b"),
        {"volts_rms": NEEDED, "ohm_a": 0.5, "ohm_b": 0.5, "scale_a": 1.0, "scale_b": 1.0},
        optional_nets=("tap",),
    ),
    # voice coil with (lossy) inductance and the motional branch; present = 0: unplugged or open
    "driver": Law(
        ("plus", "minus"),
        {
            "ohm": NEEDED,
            "henry": 0.3e-3,
            "fs_hz": 60.0,
            "qms": 3.0,
            "qes": 0.5,
            "bl": 6.0,
            "cms_m_n": 0.8e-3,
            "excursion_m": 4e-3,
            "sign": 1.0,
            "present": 1.0,
        },
    ),
    # closed: 1 or 0 at rest; with `drives` naming a coil element the pulled-in coil turns it over;
    # force +1: stuck closed, -1: stuck open; ohm: contact resistance when closed
    "contact": Law(("a", "b"), {"closed": 1.0, "ohm": 0.01, "force": 0.0}),
    "coil": Law(("a", "b"), {"ohm": NEEDED, "pull_in_v": NEEDED}),
    # out = gain x (hot - cold) against ref, behind out_ohm
    "gain": Law(("out", "ref", "hot", "cold"), {"gain": NEEDED, "out_ohm": 1.0}),
}


@dataclass(frozen=True, slots=True)
class Element:
    """One element: its name, the law it follows, its nets in the law's order ("" for an absent optional net)."""

    name: str
    law: str
    nets: tuple[str, ...]
    values: Mapping[str, float] = field(default_factory=dict)
    part: str = ""  # the part of the board that it belongs to
    drives: str = ""  # for a contact: the coil element that moves it

    def value(self, name: str) -> float:
        """The element's own value, or the law's default."""
        return float(self.values.get(name, LAWS[self.law].values[name]))


@dataclass(frozen=True)
class Circuit:
    """Elements between nets; `common` is the reference net of 0 V."""

    elements: tuple[Element, ...]
    common: str = "0V"
    mains_hz: float = 50.0

    def __post_init__(self) -> None:
        seen: set[str] = set()
        for element in self.elements:
            _check(element)
            if element.name in seen:
                raise SolveError(f"two elements are named {element.name!r}.", where="circuit")
            seen.add(element.name)

    @property
    def nets(self) -> tuple[str, ...]:
        """Every net in order of first mention, the common net left out."""
        names = dict.fromkeys(net for element in self.elements for net in element.nets if net)
        names.pop(self.common, None)
        return tuple(names)

    def element(self, name: str) -> Element:
        """The element of that name."""
        for element in self.elements:
            if element.name == name:
                return element
        raise SolveError(f"there is no element {name!r}.", where="circuit")


def _check(element: Element) -> None:
    law = LAWS.get(element.law)
    if law is None:
        raise SolveError(f"element {element.name!r} follows an unknown law {element.law!r}.", where="circuit")
    if len(element.nets) != len(law.nets):
        raise SolveError(f"element {element.name!r} needs nets {law.nets}, got {element.nets}.", where="circuit")
    for terminal, net in zip(law.nets, element.nets, strict=True):
        if not net and terminal not in law.optional_nets:
            raise SolveError(f"element {element.name!r} has no net at {terminal!r}.", where="circuit")
    for name in element.values:
        if name not in law.values:
            raise SolveError(f"element {element.name!r} has no value {name!r}.", where="circuit")
    for name in law.values:
        if np.isnan(element.value(name)):
            raise SolveError(f"element {element.name!r} needs its value {name!r}.", where="circuit")
