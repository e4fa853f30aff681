"""Faults of linear circuits against the general solver, one case at a time, and a published filter."""

import numpy as np
import pytest
from circuit.wiring import capacitor, circuit, inductor, resistor, source
from hypothesis import given, settings
from hypothesis import strategies as st

from dustcap.circuit.elements import Element
from dustcap.circuit.linear_faults import Leak, fault_volts
from dustcap.circuit.operating import operating_point
from dustcap.circuit.signal import small_signal
from dustcap.errors import SolveError


def board(rng, nets):
    """A random linear circuit with everything that the linear way knows, and the faults of its elements."""
    name = [f"n{k}" for k in range(nets)] + ["0V"]
    elements = [source("V", "n0", volts=5.0, ohm=50.0), source("S", "n1", volts=0.0, ohm=600.0)]
    for k in range(nets):
        elements.append(resistor(f"R{k}", name[k], name[rng.integers(k + 1, nets + 1)], 10.0 ** rng.uniform(2, 5)))
        elements.append(resistor(f"P{k}", name[k], "0V", 10.0 ** rng.uniform(3, 6)))
    for k in range(nets // 2):
        a, b = rng.choice(nets + 1, 2, replace=False)
        elements.append(capacitor(f"C{k}", name[a], name[b], 10.0 ** rng.uniform(-9, -6), leak_ohm=1e7))
    elements += [
        inductor("L", name[2], name[3], 1e-2, ohm=3.0),
        Element("K", "contact", (name[3], name[4]), {"ohm": 0.05}),
        Element("D", "driver", (name[4], "0V"), {"ohm": 6.0}),
        Element("G", "gain", (name[5], "0V", name[1], name[2]), {"gain": 3.0, "out_ohm": 100.0}),
    ]
    faults = [{("K", "force"): -1.0}, {("D", "present"): 0.0}, {("G", "out_ohm"): 1e4}, {("G", "gain"): 0.1}]
    faults += [{("L", "ohm"): 1e9}, {("L", "shunt_ohm"): 0.1}, {("V", "ohm"): 5e3}, {}]
    faults += [{(f"R{k}", "ohm"): rng.choice([np.inf, 0.0, 3e4])} for k in range(nets)]
    faults += [{(f"C{k}", "farad"): 1e-12, (f"C{k}", "leak_ohm"): 2e3} for k in range(nets // 2)]
    faults += [{("R1", "ohm"): 1e5, ("R2", "ohm"): np.inf}, Leak("n0", "n5", 2e3), Leak("n2", "0V", 10.0)]
    return circuit(*elements), faults


@settings(max_examples=6, deadline=None)
@given(st.integers(0, 10_000), st.booleans())
def test_every_fault_is_what_the_general_solver_finds(seed, moving):
    """Within 1e-9 of the largest voltage, in both samples."""
    rng = np.random.default_rng(seed)
    wired, faults = board(rng, 9)
    samples = {(f"R{k}", "ohm"): wired.element(f"R{k}").value("ohm") * rng.uniform(0.9, 1.1, 2) for k in range(9)}
    nets, hz = ["n0", "n3", "n5", "0V"], 2e3 if moving else 0.0

    got = fault_volts(wired, samples, faults, nets, hz=hz, source="S" if moving else "")

    for place, fault in enumerate(faults):
        whole = (
            circuit(*wired.elements, resistor("leak", fault.a, fault.b, fault.ohm))
            if isinstance(fault, Leak)
            else wired
        )
        values = samples if isinstance(fault, Leak) else {**samples, **fault}
        point = operating_point(whole, values)
        solved = small_signal(whole, point, hz, source="S") if moving else point
        expected = np.stack([solved.volt(net) for net in nets], axis=1).reshape(2, len(nets))
        assert np.abs(got[place] - expected).max() < 1e-9 * np.abs(solved.volts).max()


def test_what_is_not_linear_or_not_there_is_refused():
    """One clear line each."""
    linear = circuit(source("V", "a", volts=1.0, ohm=1.0), resistor("R", "a", "0V", 1.0))
    diode = Element("D", "diode", ("a", "0V"), {"saturation_a": 1e-12})

    with pytest.raises(SolveError, match="'diode' elements is not linear"):
        fault_volts(circuit(*linear.elements, diode), {}, [], ["a"])
    with pytest.raises(SolveError, match="'X' has no value 'ohm'"):
        fault_volts(linear, {}, [{("X", "ohm"): 1.0}], ["a"])
    with pytest.raises(SolveError, match="no fault"):
        fault_volts(linear, {}, [{("V", "volts"): 1.0}], ["a"])
    with pytest.raises(SolveError, match="no net 'b'"):
        fault_volts(linear, {}, [], ["b"])
    with pytest.raises(SolveError, match="no source 'Q'"):
        fault_volts(linear, {}, [], ["a"], hz=1e3, source="Q")
