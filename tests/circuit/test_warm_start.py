"""A case ends where it ends from rest, wherever it is started."""

import numpy as np
from circuit.wiring import circuit, resistor, signal_diode, source
from hypothesis import given, settings
from hypothesis import strategies as st

from dustcap.circuit.elements import Element
from dustcap.circuit.operating import operating_point

ALIKE_V = 1e-3


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 10_000))
def test_nets_that_carry_next_to_nothing_do_not_depend_on_the_start(seed):
    """Nets between blocking junctions, held by femtoamperes and 1 Tohm to common, within a millivolt."""
    wired = circuit(
        source("V", "a", volts=10.0),
        signal_diode("D1", "m", "a"),
        signal_diode("D2", "0V", "m"),
        Element("Q", "bipolar", ("a", "b", "e"), {}),
        resistor("RE", "e", "0V", 1e3),
        signal_diode("D4", "b", "h"),
        signal_diode("D5", "h", "a"),
    )
    cold = operating_point(wired)
    start = cold.volts + np.random.default_rng(seed).uniform(-1.0, 1.0, (1, len(wired.nets)))

    warm = operating_point(wired, start=start)

    assert warm.converged.all()
    np.testing.assert_allclose(warm.volts, cold.volts, atol=ALIKE_V)
