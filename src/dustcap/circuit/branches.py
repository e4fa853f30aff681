"""Two-terminal linear branches of every law: conductance at d.c., admittance at a frequency.

A junction's shunt, an amplifier's shorted supply and a regulator's short are branches too. What is non-linear is not
here, nor is the transformer's winding in a powered circuit (`rectifier.py`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from dustcap.circuit.layout import COMMON, Index, Layout, Real
from dustcap.circuit.values import FLOOR_OHM, Table, conductance

Complex = NDArray[np.complex128]
Get = Callable[[str], Real]

MUTE_PIN_OHM = 1e3
"""Inside a mute pin, to common (our convention; see elements.py)."""
LIGHT_F = 1e-15


@dataclass(frozen=True, slots=True)
class Branch:
    """One branch of a law between two of its terminals ("" is the common net)."""

    a: str
    b: str
    value: str  # resistance, inf when absent


PLAIN: Mapping[str, tuple[Branch, ...]] = {
    "resistor": (Branch("a", "b", "ohm"),),
    "capacitor": (Branch("a", "b", "leak_ohm"),),
    "inductor": (Branch("a", "b", "shunt_ohm"), Branch("a", "b", "ohm")),
    "source": (Branch("plus", "minus", "ohm"),),
    "diode": (Branch("anode", "cathode", "shunt_ohm"),),
    "zener": (Branch("anode", "cathode", "shunt_ohm"),),
    "bipolar": (
        Branch("collector", "emitter", "ce_ohm"),
        Branch("base", "emitter", "be_ohm"),
        Branch("base", "collector", "bc_ohm"),
    ),
    "mosfet": (Branch("drain", "source", "ds_ohm"), Branch("gate", "source", "gs_ohm")),
    "jfet": (Branch("drain", "source", "ds_ohm"), Branch("gate", "source", "gs_ohm")),
    "amplifier": (Branch("high", "low", "supply_ohm"),),
    "regulator": (Branch("in", "out", "short_ohm"),),
    "coil": (Branch("a", "b", "ohm"),),
}


@dataclass(frozen=True, eq=False)
class BranchList:
    """Every linear branch of a circuit: unknowns at both ends and how to get its conductance."""

    a: Index
    b: Index
    owners: tuple[tuple[str, int], ...]  # (law, count) in order

    @staticmethod
    def of(layout: Layout) -> BranchList:
        """The branches in a fixed order: plain ones, drivers, contacts, mute pins."""
        kept = layout.kept.get("branches")
        if isinstance(kept, BranchList):
            return kept
        ends_a: list[Index] = []
        ends_b: list[Index] = []
        owners: list[tuple[str, int]] = []
        for law, first, second in _ordered(layout):
            ends_a.append(layout.at(law, first))
            ends_b.append(layout.at(law, second) if second else np.full(layout.count(law), COMMON, dtype=np.intp))
            owners.append((law, layout.count(law)))
        empty = np.zeros(0, dtype=np.intp)
        found = BranchList(np.concatenate([*ends_a, empty]), np.concatenate([*ends_b, empty]), tuple(owners))
        layout.kept["branches"] = found
        return found


def _ordered(layout: Layout) -> list[tuple[str, str, str]]:
    ordered = [(law, branch.a, branch.b) for law, branches in PLAIN.items() if layout.count(law) for branch in branches]
    for law, first, second in (("driver", "plus", "minus"), ("contact", "a", "b"), ("amplifier", "mute", "")):
        if layout.count(law):
            ordered.append((law, first, second))
    return ordered


def dc_conductances(layout: Layout, table: Table, closed: Real) -> list[Real]:
    """Conductance of every branch, in the order of `BranchList.of`, each of shape (1 or cases, m).

    Parameters
    ----------
    closed : which contacts are closed, 0 to 1, shape (1 or cases, contacts)
    """
    parts = [
        conductance(table.get(law, branch.value))
        for law, branches in PLAIN.items()
        if layout.count(law)
        for branch in branches
    ]
    if layout.count("driver"):
        parts.append(table.get("driver", "present") * conductance(table.get("driver", "ohm")))
    return parts + _switched(layout, table, closed)


def _switched(layout: Layout, table: Table, closed: Real) -> list[Real]:
    parts: list[Real] = []
    if layout.count("contact"):
        parts.append(closed * conductance(table.get("contact", "ohm")))
    if layout.count("amplifier"):
        parts.append((table.get("amplifier", "mute_a") > 0) / MUTE_PIN_OHM)
    return parts


def ac_admittances(layout: Layout, table: Table, closed: Real, hz: float) -> list[Complex]:
    """Complex admittance of every branch at a frequency, in the order of `BranchList.of`."""
    s = 2j * np.pi * hz
    parts: list[Complex] = []
    for law, branches in PLAIN.items():
        if not layout.count(law):
            continue
        for branch in branches:
            y: Complex = conductance(table.get(law, branch.value)).astype(complex)
            if law == "capacitor":
                y = y + capacitor_admittance(table, s)
            elif law == "inductor" and branch.value == "ohm":
                y = 1.0 / (np.maximum(table.get(law, "ohm"), FLOOR_OHM) + s * table.get(law, "henry"))
            parts.append(y)
    if layout.count("driver"):
        get = partial(table.get, "driver")
        parts.append(get("present") / driver_impedance(get, s))
    return parts + [part.astype(complex) for part in _switched(layout, table, closed)]


def unpowered_branches(layout: Layout) -> tuple[Index, Index]:
    """Ends of every branch of the unpowered circuit: the powered one's, then the transformers' windings."""
    powered = BranchList.of(layout)
    if not layout.count("transformer"):
        return powered.a, powered.b
    a, tap, b = (layout.at("transformer", name) for name in ("a", "tap", "b"))
    tapped = _tapped(layout)
    return np.concatenate([powered.a, a, b]), np.concatenate(
        [powered.b, np.where(tapped, tap, b), np.where(tapped, tap, b)]
    )


def unpowered_admittances(layout: Layout, table: Table, closed: Real, hz: float = 0.0) -> Real | Complex:
    """Admittance of every branch of the unpowered circuit, (cases, branches); real at 0 Hz.

    Integrated circuits and junctions are open (their shunts count), a supply is disconnected, a signal input stays
    closed by its own resistance, contacts are at rest, windings and drivers count with their d.c. resistance at every
    frequency (contract of the board description, "How readings are taken").
    """
    parts = list(ac_admittances(layout, table, closed, hz) if hz else dc_conductances(layout, table, closed))
    laws = [law for law, _ in BranchList.of(layout).owners]
    if layout.count("source"):
        signal = np.array([element.value("volts") == 0.0 for element in layout.elements["source"]])
        where = laws.index("source")
        parts[where] = parts[where] * signal
    if layout.count("driver"):
        parts[laws.index("driver")] = table.get("driver", "present") * conductance(table.get("driver", "ohm"))
    if layout.count("amplifier"):
        parts[-1] = parts[-1] * 0.0  # the mute pin is inside an integrated circuit
    if layout.count("transformer"):
        second = conductance(table.get("transformer", "ohm_b")) * _tapped(layout)
        parts += [conductance(table.get("transformer", "ohm_a")), second]
    return np.concatenate([np.broadcast_to(part, (table.cases, part.shape[1])) for part in parts], axis=1)


def _tapped(layout: Layout) -> NDArray[np.bool_]:
    return np.array([bool(element.nets[1]) for element in layout.elements["transformer"]])


def capacitor_admittance(table: Table, s: complex) -> Complex:
    """Admittance of every capacitor behind its series resistance, its leakage left out."""
    farad = np.maximum(table.get("capacitor", "farad"), LIGHT_F)
    y: Complex = s * farad / (1.0 + s * farad * np.minimum(table.get("capacitor", "esr_ohm"), 1e18))
    return y


def driver_impedance(get: Get, s: complex) -> Complex:
    """Voice coil and motional branch.

    Notes
    -----
    Z = R + sL + R (Qms/Qes) (s w0/Qms) / (s^2 + s w0/Qms + w0^2), the usual lumped model (Small 1972, from memory).
    """
    w0 = 2 * np.pi * get("fs_hz")
    motional = (get("ohm") / get("qes")) * s * w0 / (s * s + s * w0 / get("qms") + w0 * w0)
    z: Complex = np.maximum(get("ohm"), FLOOR_OHM) + s * get("henry") + motional
    return z
