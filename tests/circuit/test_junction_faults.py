"""Faults of circuits with junctions against the general solver, one fault at a time."""

import numpy as np
import pytest
from circuit.wiring import circuit, op_amp, rails, rectifier, resistor, signal_diode, source
from hypothesis import given, settings
from hypothesis import strategies as st

from dustcap.circuit import junction_faults
from dustcap.circuit.elements import Element
from dustcap.circuit.junction_faults import junction_fault_volts
from dustcap.circuit.linear_faults import Leak
from dustcap.circuit.operating import operating_point
from dustcap.errors import SolveError

AGREED = 1e-6


def board(rng, nets, diodes, transistors):
    """A random network of resistors between two supplies with junctions in it, and the faults of its parts."""
    name = [f"n{k}" for k in range(nets)] + ["0V"]
    elements = [source("V+", "n0", volts=15.0, ohm=1.0), source("V-", "n1", volts=-15.0, ohm=1.0)]
    for k in range(nets):
        elements.append(resistor(f"R{k}", name[k], name[rng.integers(k + 1, nets + 1)], 10.0 ** rng.uniform(3, 5)))
        elements.append(resistor(f"P{k}", name[k], name[int(rng.choice([0, 1, nets]))], 10.0 ** rng.uniform(3.5, 6)))
    for k in range(diodes):
        a, b = rng.choice(nets + 1, 2, replace=False)
        kind = k % 3
        if kind == 2:
            elements.append(Element(f"D{k}", "zener", (name[a], name[b]), {"zener_v": 5.6}))
        else:
            elements.append((signal_diode if kind else rectifier)(f"D{k}", name[a], name[b]))
    for k in range(transistors):
        nets_of = tuple(name[net] for net in rng.choice(nets + 1, 3, replace=False))
        elements.append(Element(f"Q{k}", "bipolar", nets_of, {"sign": 1.0 - 2.0 * (k % 2), "gain": 100.0}))
    faults = [{(f"R{k}", "ohm"): rng.choice([np.inf, 0.0, 3e4])} for k in range(nets)]
    for k in range(diodes):
        faults += [{(f"D{k}", "present"): 0.0}, {(f"D{k}", "shunt_ohm"): 0.0}, {(f"D{k}", "shunt_ohm"): 3e3}]
    for k in range(transistors):
        faults += [{(f"Q{k}", name): value} for name, value in (("present", 0.0), ("ce_ohm", 0.1), ("gain", 5.0))]
    faults += [{}, Leak("n2", "n4", 1e3), {("D0", "present"): 0.0, ("R2", "ohm"): np.inf}]
    return circuit(*elements), faults


@settings(max_examples=6, deadline=None)
@given(st.integers(0, 10_000), st.integers(0, 2))
def test_every_fault_is_what_the_general_solver_finds(seed, transistors):
    """Within a millionth of the supply, in every sample."""
    rng = np.random.default_rng(seed)
    wired, faults = board(rng, 10, 5, transistors)
    samples = {(f"R{k}", "ohm"): wired.element(f"R{k}").value("ohm") * rng.uniform(0.9, 1.1, 3) for k in range(10)}
    nets = ["n0", "n3", "n5", "n7", "0V"]

    got = junction_fault_volts(wired, samples, faults, nets)

    leaky = circuit(*wired.elements, resistor("leak", "n2", "n4", np.inf))
    everything = {key: np.tile(value, len(faults)) for key, value in samples.items()}
    for place, fault in enumerate(faults):
        for key, value in ({("leak", "ohm"): fault.ohm} if isinstance(fault, Leak) else fault).items():
            own = np.full(3 * len(faults), leaky.element(key[0]).value(key[1]))
            everything.setdefault(key, own)[3 * place : 3 * place + 3] = value
    point = operating_point(leaky, everything)
    expected = np.stack([point.volt(net) for net in nets], axis=1).reshape(got.shape)
    assert point.converged.all()
    np.testing.assert_allclose(got, expected, atol=AGREED * 15.0, rtol=0)


def test_nearly_every_case_is_solved_at_the_ports(monkeypatch):
    """The general solver is a fall-back: fewer than one in fifty cases of an ordinary board need it."""
    rng = np.random.default_rng(11)
    wired, faults = board(rng, 20, 8, 0)
    samples = {(f"R{k}", "ohm"): wired.element(f"R{k}").value("ohm") * rng.uniform(0.9, 1.1, 16) for k in range(20)}
    anew = []
    plain = junction_faults._Work._plain
    monkeypatch.setattr(
        junction_faults._Work, "_plain", lambda self, fault, some: (anew.append(len(some)), plain(self, fault, some))[1]
    )

    junction_fault_volts(wired, samples, faults, ["n3"])

    assert sum(anew) < 0.02 * len(faults) * 16


def test_a_circuit_with_other_devices_is_refused():
    """One clear line."""
    wired = circuit(*rails(), resistor("R", "o", "0V", 1e3), op_amp("U", "0V", "o", "o"))

    with pytest.raises(SolveError, match="'amplifier' elements cannot be reduced"):
        junction_fault_volts(wired, {}, [], ["o"])
