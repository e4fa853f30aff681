"""Stages of single transistors converge over their values and with every junction open or shorted."""

import numpy as np
import pytest
from circuit.wiring import circuit, rails, resistor, signal_diode
from hypothesis import given, settings
from hypothesis import strategies as st

from dustcap.circuit.elements import Element
from dustcap.circuit.operating import operating_point
from dustcap.circuit.point import OperatingPoint


def transistor(name, collector, base, emitter, sign=1.0, gain=150.0):
    return Element(name, "bipolar", (collector, base, emitter), {"sign": sign, "gain": gain, "saturation_a": 3e-14})


def long_tailed_pair():
    """Two transistors on a resistor tail, collectors to the high rail."""
    return [
        resistor("RB1", "b1", "0V", 22e3),
        resistor("RB2", "b2", "0V", 22e3),
        resistor("RC1", "v+", "c1", 4.7e3),
        resistor("RC2", "v+", "c2", 4.7e3),
        resistor("RT", "tail", "v-", 7.5e3),
        transistor("Q1", "c1", "b1", "tail"),
        transistor("Q2", "c2", "b2", "tail"),
    ]


def current_source():
    """Two diodes and an emitter resistor hold the current into a load."""
    return [
        resistor("RF", "0V", "ref", 10e3),
        signal_diode("D1", "ref", "d"),
        signal_diode("D2", "d", "v-"),
        resistor("RE", "e", "v-", 330.0),
        resistor("RL", "0V", "c", 2.2e3),
        transistor("Q1", "c", "ref", "e"),
    ]


def complementary_output():
    """Driver, bias multiplier and emitter followers into a load, held by feedback to the driver's base."""
    return [
        resistor("RH", "v+", "top", 3.3e3),
        resistor("RM1", "top", "m", 1.8e3),
        resistor("RM2", "m", "bottom", 1e3),
        transistor("QM", "top", "m", "bottom"),
        transistor("QD", "bottom", "in", "ed"),
        resistor("RD", "ed", "v-", 100.0),
        resistor("RF", "out", "in", 47e3),
        resistor("RG", "in", "v-", 3.9e3),
        transistor("QH", "v+", "top", "eh"),
        transistor("QL", "v-", "bottom", "el", sign=-1.0),
        resistor("RO1", "eh", "out", 0.47),
        resistor("RO2", "out", "el", 0.47),
        resistor("RL", "out", "0V", 8.0),
    ]


STAGES = (long_tailed_pair, current_source, complementary_output)


def faults(elements):
    """Every junction open or shorted, every resistor open or shorted."""
    found = [{}]
    for element in elements:
        if element.law == "bipolar":
            found += [{(element.name, "present"): 0.0}]
            found += [{(element.name, value): 0.01} for value in ("ce_ohm", "be_ohm", "bc_ohm")]
        elif element.law == "diode":
            found += [{(element.name, "present"): 0.0}, {(element.name, "shunt_ohm"): 0.01}]
        else:
            found += [{(element.name, "ohm"): np.inf}, {(element.name, "ohm"): 0.01}]
    return found


def unbalance(point: OperatingPoint, elements, nets):
    """Largest sum of currents into a net, as a share of the largest current in its case."""
    total = {net: np.zeros(len(point.volts)) for net in nets}
    most = np.full(len(point.volts), 1e-4)  # what 1 Tohm to common draws from every net is nothing beside it
    for element in elements:
        terminals = ("collector", "base", "emitter") if element.law == "bipolar" else ("a", "b")
        terminals = ("anode", "cathode") if element.law == "diode" else terminals
        for terminal, net in zip(terminals, element.nets, strict=True):
            amps = point.amps(element.name, terminal)
            most = np.maximum(most, np.abs(amps))
            if net in total:
                total[net] += amps
    return np.max([np.abs(sum_) for sum_ in total.values()], axis=0) / most


@pytest.mark.parametrize("stage", STAGES)
@settings(max_examples=8, deadline=None)
@given(st.integers(0, 10_000))
def test_every_stage_converges_with_every_fault(stage, seed):
    """Values drawn within a factor of two, gains from 30 to 600, all faults of single parts."""
    rng = np.random.default_rng(seed)
    elements = stage()
    every = faults(elements)
    values = {}
    for element in elements:
        key, low, high = ("ohm", 0.5, 2.0) if element.law == "resistor" else ("gain", 0.2, 4.0)
        if element.law != "diode":
            values[element.name, key] = np.full(len(every), element.value(key) * rng.uniform(low, high))
    for case, fault in enumerate(every):
        for (name, value), given_value in fault.items():
            own = np.full(len(every), next(e for e in elements if e.name == name).value(value))
            values.setdefault((name, value), own)[case] = given_value
    wired = circuit(*rails(18.0), *elements)

    point = operating_point(wired, values)

    assert point.converged.all()
    inner = [net for net in wired.nets if net not in ("v+", "v-")]
    assert (unbalance(point, elements, inner) < 1e-6).all()


def test_the_pair_shares_its_tail_current():
    """Equal halves: each collector carries half the tail current less the base's (derived by hand)."""
    point = operating_point(circuit(*rails(15.0), *long_tailed_pair()))

    tail = point.amps("RT", "a")[0]
    assert point.amps("Q1", "collector")[0] == pytest.approx(point.amps("Q2", "collector")[0], rel=1e-6)
    assert point.amps("Q1", "collector")[0] == pytest.approx(0.5 * tail * 150.0 / 151.0, rel=1e-4)
