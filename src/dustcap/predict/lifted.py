"""What a part reads with one end lifted: its own value, whatever stands around it.

A resistor, link, coil, contact, potentiometer track or driver in ohms; a capacitor in farads; a junction in volts at
1 mA. An integrated circuit cannot be lifted.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from dustcap.board.model import Part
from dustcap.circuit.elements import LAWS, Element
from dustcap.errors import InputError
from dustcap.predict.cases import Cases
from dustcap.predict.checks import DIODE_OPEN_V, DIODE_TEST_A, OHMS_OVER_RANGE

Floats = NDArray[np.float64]
Look = Mapping[tuple[str, str], Floats]

THERMAL_V = 0.025693  # kT/q at 25 degC
SHORTED_CAPACITOR_OHM = 100.0
"""Of a capacitor that conducts better than this a meter shows what it computes from the impedance, as it does in
circuit: a choice of ours."""
CAPACITANCE_HZ, ESR_HZ = 120.0, 100e3
"""Contract of the board description, table of checks."""

UNITS: Mapping[str, str] = {
    "resistor": "ohm",
    "link": "ohm",
    "inductor": "ohm",
    "switch": "ohm",
    "relay coil": "ohm",
    "driver": "ohm",
    "potentiometer": "ohm",
    "capacitor": "F",
    "electrolytic": "F",
    "diode": "V",
    "zener": "V",
}
"""The kinds that can be lifted, and the unit each is then read in."""


def lifted(cases: Cases, name: str, key: str = "value") -> Floats:
    """The part's own reading, shape (suspects, particles); `key` "esr" for the series resistance of a capacitor.

    Raises
    ------
    InputError
        If the part is of a kind that is not read with one end lifted.
    """
    part = cases.board.parts[name]
    if part.kind not in UNITS:
        raise InputError(
            f"{name} is of the kind {part.kind!r}, which is not read with one end lifted.",
            where="check lifted",
            mend=f"It is made on: {', '.join(UNITS)}.",
        )
    elements = tuple(element for element in cases.circuit.elements if element.part == name)
    base = cases.base
    healthy = _own(part, elements, _looked_up(cases, elements, base), key)
    readings = np.tile(healthy, (len(cases.suspects), 1))
    for index, suspect in enumerate(cases.suspects):
        if any(getattr(fault, "part", "") == name for fault in suspect.faults):
            values = {**base, **cases.of_suspect(index, base)}
            readings[index] = _own(part, elements, _looked_up(cases, elements, values), key)
    return readings


def _looked_up(cases: Cases, elements: tuple[Element, ...], values: Look) -> Look:
    """Every value of the part's elements, (particles,) each."""
    return {
        (element.name, name): values.get((element.name, name), np.full(cases.particles, element.value(name)))
        for element in elements
        for name in LAWS[element.law].values
    }


def _own(part: Part, elements: tuple[Element, ...], values: Look, key: str) -> Floats:
    first = elements[0].name
    match part.kind:
        case "capacitor" | "electrolytic" if key == "esr":
            return np.asarray(np.real(_impedance(values, first, ESR_HZ)))
        case "capacitor" | "electrolytic":
            shorted = -1.0 / (2 * np.pi * CAPACITANCE_HZ * np.imag(_impedance(values, first, CAPACITANCE_HZ)))
            return np.where(values[first, "leak_ohm"] < SHORTED_CAPACITOR_OHM, shorted, values[first, "farad"])
        case "diode":
            return _junction(values, first, values[first, "ideality"] * THERMAL_V, values[first, "series_ohm"])
        case "zener":
            return _junction(values, first, np.full_like(values[first, "present"], THERMAL_V), 0.0)
        case "potentiometer":
            track = [e.name for e in elements if not e.name.endswith(".wiper")]
            return _over(sum((values[name, "ohm"] for name in track), np.zeros(())))
        case "switch":
            return _over(_contact(values, first))
        case "inductor":
            ohm, shunt = values[first, "ohm"], values[first, "shunt_ohm"]
            siemens = 1.0 / np.maximum(ohm, 1e-6) + 1.0 / shunt
            return _over(1.0 / np.maximum(siemens, 1e-12))
        case "driver":
            return _over(np.where(values[first, "present"] > 0, values[first, "ohm"], np.inf))
        case _:
            return _over(values[first, "ohm"])


def _impedance(values: Look, name: str, hz: float) -> NDArray[np.complex128]:
    """A capacitor with its series resistance, beside its leakage."""
    s = 2j * np.pi * hz * np.maximum(values[name, "farad"], 1e-13)
    through = s / (1.0 + s * np.minimum(values[name, "esr_ohm"], 1e18))
    return np.asarray(1.0 / (through + 1.0 / values[name, "leak_ohm"]))


def _over(ohms: Floats) -> Floats:
    return np.where(ohms > OHMS_OVER_RANGE, np.inf, ohms)


def _contact(values: Look, name: str) -> Floats:
    force, closed = values[name, "force"], values[name, "closed"]
    shut = np.where(force > 0, 1.0, np.where(force < 0, 0.0, closed))
    return np.where(shut > 0.5, values[name, "ohm"], np.inf)


def _junction(values: Look, name: str, slope_v: Floats, series_ohm: Floats | float) -> Floats:
    """Volts at the test current through the junction in parallel with its shunt (fixed point from the shunt's side)."""
    saturation, shunt = values[name, "saturation_a"], values[name, "shunt_ohm"]
    volts = np.minimum(slope_v * np.log1p(DIODE_TEST_A / saturation), DIODE_TEST_A * shunt)
    for _ in range(30):  # Newton on i_junction(v) + v / shunt = test current; convex, from above
        current = saturation * np.expm1(volts / slope_v)
        slope = saturation * np.exp(volts / slope_v) / slope_v + 1.0 / shunt
        volts = volts - (current + volts / shunt - DIODE_TEST_A) / slope
    through = saturation * np.expm1(volts / slope_v)
    read = np.where(values[name, "present"] > 0, volts + through * series_ohm, DIODE_TEST_A * shunt)
    return np.where(read > DIODE_OPEN_V, np.inf, read)
