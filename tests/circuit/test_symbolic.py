"""Impedance and small signal of random one-port trees against the symbolic library lcapy."""

import warnings

import numpy as np
import pytest

from dustcap.circuit.elements import Circuit, Element
from dustcap.circuit.meter import impedance
from dustcap.circuit.operating import operating_point
from dustcap.circuit.signal import small_signal

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # the library's own, on loading
    import lcapy

HZ = np.array([30.0, 1000.0, 40e3])
SHUNT_OHM = 1e3


def tree(rng, a, b, depth, elements, nets):
    """A random tree of parts between two nets: elements of ours, and the same tree of the library's."""
    if depth == 0 or rng.random() < 0.2:
        name, law = f"X{len(elements)}", rng.choice(["resistor", "capacitor", "inductor"])
        value = {"resistor": 10.0 ** rng.uniform(1, 5), "capacitor": 10.0 ** rng.uniform(-9, -5)}.get(
            law, 10.0 ** rng.uniform(-4, -1)
        )
        key = {"resistor": "ohm", "capacitor": "farad", "inductor": "henry"}[law]
        # our coils have at least a milliohm: give them ten ohms, and the library the same in series
        own = {key: value, "ohm": 10.0} if law == "inductor" else {key: value}
        elements.append(Element(name, law, (a, b), own))
        theirs = {"resistor": lcapy.R, "capacitor": lcapy.C, "inductor": lcapy.L}[law](value)
        return theirs + lcapy.R(10.0) if law == "inductor" else theirs
    if rng.random() < 0.5:
        nets.append(f"n{len(nets)}")
        middle = nets[-1]
        return tree(rng, a, middle, depth - 1, elements, nets) + tree(rng, middle, b, depth - 1, elements, nets)
    return tree(rng, a, b, depth - 1, elements, nets) | tree(rng, a, b, depth - 1, elements, nets)


def symbolic(network):
    """The library's impedance at the frequencies of the test."""
    expression = network.Z(lcapy.s).sympy
    (s,) = expression.free_symbols or (lcapy.s.sympy,)
    return np.array([complex(expression.subs(s, 2j * np.pi * hz)) for hz in HZ])


@pytest.mark.parametrize("seed", range(12))
def test_impedance_of_a_random_tree_equals_the_symbolic_one(seed):
    """The meter in the unpowered circuit agrees within 1e-6 at three frequencies."""
    elements = [Element("bleed", "resistor", ("in", "0V"), {"ohm": 1e6})]
    network = tree(np.random.default_rng(seed), "in", "0V", 3, elements, []) | lcapy.R(1e6)

    got = impedance(Circuit(tuple(elements)), [("in", "0V")], HZ)[0, 0]

    np.testing.assert_allclose(got, symbolic(network), rtol=1e-6)


@pytest.mark.parametrize("seed", range(12, 20))
def test_a_divider_of_random_trees_equals_the_symbolic_one(seed):
    """The small signal of source, tree and load resistor is the divider of the library's impedances."""
    elements = [
        Element("source", "source", ("in", "0V"), {"ohm": SHUNT_OHM}),
        Element("load", "resistor", ("out", "0V"), {"ohm": SHUNT_OHM}),
    ]
    network = tree(np.random.default_rng(seed), "in", "out", 3, elements, [])
    circuit = Circuit(tuple(elements))

    got = small_signal(circuit, operating_point(circuit), HZ, source="source").volt("out")[0]

    np.testing.assert_allclose(
        got, SHUNT_OHM / (2 * SHUNT_OHM + symbolic(network)), rtol=1e-5
    )  # every net has 1 Tohm to common
