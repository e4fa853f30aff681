"""Currents into the terminals of an element and the heat in it, at an operating point.

Elements of a rectifier are averaged over the mains cycle; everything else by its means. A capacitor's heat is its
leakage and, in a rectifier, the ripple current in its series resistance.
"""

from __future__ import annotations

import numpy as np

from dustcap.circuit.branches import MUTE_PIN_OHM, PLAIN
from dustcap.circuit.cycle import WEIGHT
from dustcap.circuit.devices import Group
from dustcap.circuit.elements import LAWS
from dustcap.circuit.junctions import Diodes
from dustcap.circuit.layout import Real
from dustcap.circuit.linearised import Solved
from dustcap.circuit.newton import gathered
from dustcap.circuit.pins import Pins
from dustcap.circuit.rectifier import Region
from dustcap.circuit.values import conductance


def terminal_amps(solved: Solved, law: str, number: int) -> Real:
    """Mean currents into the terminals of one element, (cases, terminals), in the law's order."""
    volts = _volts(solved, law, number)
    amps = np.zeros_like(volts)
    for a, b, g in _branches(solved, law, number):
        i = g * (volts[:, a] - (volts[:, b] if b >= 0 else 0.0))
        amps[:, a] += i
        if b >= 0:
            amps[:, b] -= i
    if law == "source":
        driven = (
            solved.table.get("source", "volts")[:, number] * conductance(solved.table.get("source", "ohm"))[:, number]
        )
        amps += driven[:, None] * np.array([-1.0, 1.0])
    elif law == "gain":
        amps[:, 0] += _gain_amps(solved, number, volts)
        amps[:, 1] -= amps[:, 0]
    return amps + _device_amps(solved, law, number) + _cycle_amps(solved, law, number)


def watts(solved: Solved, law: str, number: int) -> Real:
    """Mean heat in one element, (cases,), W."""
    for place, region in enumerate(solved.work.problem.regions):
        over_cycle = _cycle_watts(solved, law, number, region, place)
        if over_cycle is not None:
            return over_cycle
    amps, volts = terminal_amps(solved, law, number), _volts(solved, law, number)
    if law == "source":
        ohm = np.maximum(solved.table.get("source", "ohm")[:, number], 0.0)
        heat: Real = amps[:, 0] ** 2 * np.where(np.isfinite(ohm), ohm, 0.0)
        return heat
    total: Real = (amps * volts).sum(axis=1)
    return total


def _volts(solved: Solved, law: str, number: int) -> Real:
    return gathered(solved.unknowns, solved.layout.terminals[law][number : number + 1])[:, 0]


def _branches(solved: Solved, law: str, number: int) -> list[tuple[int, int, Real]]:
    names, table = LAWS[law].nets, solved.table
    found = [
        (names.index(branch.a), names.index(branch.b), conductance(table.get(law, branch.value))[:, number])
        for branch in PLAIN.get(law, ())
    ]
    if law == "driver":
        found.append((0, 1, (table.get(law, "present") * conductance(table.get(law, "ohm")))[:, number]))
    elif law == "contact":
        found.append((0, 1, solved.state.closed[:, number] * conductance(table.get(law, "ohm"))[:, number]))
    elif law == "amplifier" and solved.layout.terminals[law][number, 5] >= 0:
        found.append((5, -1, (table.get(law, "mute_a")[:, number] > 0) / MUTE_PIN_OHM))
    return found


def _gain_amps(solved: Solved, number: int, volts: Real) -> Real:
    g = conductance(solved.table.get("gain", "out_ohm"))[:, number]
    k = solved.table.get("gain", "gain")[:, number]
    out: Real = g * (volts[:, 0] - volts[:, 1] - k * (volts[:, 2] - volts[:, 3]))
    return out


def _device_amps(solved: Solved, law: str, number: int) -> Real:
    """Currents of the non-linear law, in the order of the law's terminals."""
    amps = np.zeros((solved.table.cases, len(LAWS[law].nets)))
    for group, (f, _) in solved.devices:
        if isinstance(group, Pins) and law == "amplifier":
            plus, minus = f[:, number], f[:, number + solved.layout.count("amplifier")]
            amps[:, :2] += np.stack([plus[:, 0], minus[:, 0]], axis=1)
            amps[:, [4, 3]] += plus[:, 1:] + minus[:, 1:]
        elif group.law == law:
            mine = _own(group, f, number)
            first = 2 if law == "amplifier" else 0
            mine = mine[:, 1:] if law == "amplifier" else mine
            amps[:, first : first + mine.shape[1]] += mine
    return amps


def _own(group: Group, f: Real, number: int) -> Real:
    """The currents of one element; none for a diode that is not in the group."""
    if not isinstance(group, Diodes):
        return f[:, number]
    match = np.flatnonzero(group.numbers == number)
    return f[:, int(match[0])] if len(match) else np.zeros((len(f), 2))


def _cycle_amps(solved: Solved, law: str, number: int) -> Real:
    """Mean currents of a rectifier diode or a transformer over the cycle."""
    amps = np.zeros((solved.table.cases, len(LAWS[law].nets)))
    for place, (region, waves) in enumerate(zip(solved.work.problem.regions, solved.waves, strict=True)):
        if law == "diode" and number in region.diodes:
            mean = np.tensordot(WEIGHT, waves.amps, axes=(0, 1))[:, region.diodes.index(number)]
            amps += mean[:, None] * np.array([1.0, -1.0])
        elif law == "transformer":
            for winding, which in enumerate(region.transformers):
                if which == number:
                    mean = np.tensordot(WEIGHT, solved.networks[place].winding_current(waves.v, winding), axes=(0, 1))
                    tapped = bool(solved.layout.elements[law][number].nets[1])
                    first, last = (2 if region.second[winding] else 0), (1 if tapped else 2)
                    amps[:, first] += mean
                    amps[:, last] -= mean
    return amps


def _cycle_watts(solved: Solved, law: str, number: int, region: Region, place: int) -> Real | None:
    waves = solved.waves[place]
    if law == "diode" and number in region.diodes:
        at = region.diodes.index(number)
        drop = _drop(waves.v, region.diode_ends[at].tolist())
        return np.tensordot(WEIGHT, waves.amps[..., at] * drop, axes=(0, 1)) + _shunt_watts(solved, number, drop)
    if law == "transformer" and number in region.transformers:
        heat = np.zeros(solved.table.cases)
        for winding, which in enumerate(region.transformers):
            if which == number:
                name = "ohm_b" if region.second[winding] else "ohm_a"
                ohm = solved.table.get(law, name)[:, number]
                square = np.tensordot(
                    WEIGHT, solved.networks[place].winding_current(waves.v, winding) ** 2, axes=(0, 1)
                )
                heat = heat + square * np.where(np.isfinite(ohm), ohm, 0.0)
        return heat
    if law in ("resistor", "contact"):
        ends = [_local(region, net) for net in solved.layout.terminals[law][number].tolist()]
        if max(ends) >= 0 and min(ends) > -2:
            _, _, g = _branches(solved, law, number)[0]
            return g * np.tensordot(WEIGHT, _drop(waves.v, ends) ** 2, axes=(0, 1))
    if law == "capacitor" and number in region.capacitors:
        current = solved.networks[place].capacitor_current(waves.v, region.capacitors.index(number))
        esr = np.minimum(solved.table.get(law, "esr_ohm")[:, number], 1e9)
        mean = _volts(solved, law, number)
        leak = conductance(solved.table.get(law, "leak_ohm"))[:, number] * (mean[:, 0] - mean[:, 1]) ** 2
        return esr * np.tensordot(WEIGHT, current**2, axes=(0, 1)) + leak
    return None


def _shunt_watts(solved: Solved, number: int, drop: Real) -> Real:
    g = conductance(solved.table.get("diode", "shunt_ohm"))[:, number]
    heat: Real = g * np.tensordot(WEIGHT, drop**2, axes=(0, 1))
    return heat


def _local(region: Region, net: int) -> int:
    """Position of a net in the region, -1 for common, -2 for a net outside."""
    if net < 0:
        return -1
    match = np.flatnonzero(region.nets == net)
    return int(match[0]) if len(match) else -2


def _drop(v: Real, ends: list[int]) -> Real:
    zero = np.zeros(v.shape[:2])
    a, b = (v[..., end] if end >= 0 else zero for end in ends)
    return a - b
