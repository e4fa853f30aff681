"""Natural frequencies against printed filters, polynomials and a phase-margin case."""

import numpy as np
import pytest
from circuit.wiring import capacitor, circuit, inductor, op_amp, rails, resistor, source

from dustcap.circuit.elements import Element
from dustcap.circuit.operating import operating_point
from dustcap.circuit.poles import poles, unstable_hz
from dustcap.errors import SolveError

FAST = {"gain": 1e7, "bandwidth_hz": 1e10, "out_ohm": 0.0}


def natural(board, values=None):
    point = operating_point(board, values)
    assert point.converged.all()
    return poles(board, point)


def slowest(board, count):
    found = natural(board)[0]
    return found[np.argsort(np.abs(found))][:count]


@pytest.mark.parametrize(
    ("r1", "r2", "c1", "c2", "k", "hz"),
    [
        (11.2e3, 11.2e3, 2e-9, 1e-9, 1.0, 10048.0),  # cases 5.33 and 5.34: values read in a stored file
        (15e3, 7.5e3, 37.6e-9, 37.6e-9, 1.5, 399.0),  # cases 5.36 and 5.37: published low-pass of an LR4 crossover
    ],
)
def test_sallen_key_low_passes_have_the_printed_frequency_and_q(r1, r2, c1, c2, k, hz):
    """Frequency as printed and Q of a Butterworth section."""
    board = circuit(
        *rails(),
        source("IN", "in"),
        resistor("R1", "in", "a", r1),
        resistor("R2", "a", "p", r2),
        capacitor("C1", "a", "out", c1),
        capacitor("C2", "p", "0V", c2),
        resistor("RA", "m", "0V", 1e12 if k == 1.0 else 10e3),
        resistor("RB", "m", "out", 10e3 * (k - 1)),
        op_amp("U", "p", "m", "out", **FAST),
    )

    pair = slowest(board, 2)

    assert np.abs(pair) / (2 * np.pi) == pytest.approx([hz, hz], rel=1e-3)
    assert -np.abs(pair) / (2 * pair.real) == pytest.approx([np.sqrt(0.5)] * 2, rel=1e-3)


def test_sallen_key_band_pass_has_the_two_real_poles_of_the_references():
    """Diagnosis references 2.3: -200000 and -133333.33 rad/s (computed with sympy there)."""
    board = circuit(
        *rails(),
        source("IN", "in"),
        resistor("R1", "in", "a", 1e3),
        resistor("R2", "out", "a", 3e3),
        resistor("R3", "b", "0V", 2e3),
        capacitor("C1", "a", "0V", 5e-9),
        capacitor("C2", "a", "b", 5e-9),
        resistor("R4", "m", "0V", 4e3),
        resistor("R5", "m", "out", 4e3),
        op_amp("U", "b", "m", "out", gain=1e9, bandwidth_hz=1e12, out_ohm=0.0),
    )

    assert slowest(board, 2) == pytest.approx([-133333.333, -200000.0], rel=1e-4)


def test_a_resonant_circuit_has_the_roots_of_its_polynomial():
    """Series R, L, C with esr: s^2 L C + s C (R + r + esr) + 1 = 0."""
    board = circuit(
        source("IN", "in", ohm=10.0),
        inductor("L", "in", "b", 1e-3, ohm=0.5),
        capacitor("C", "b", "0V", 1e-6, esr_ohm=1.0),
    )

    found = np.sort_complex(natural(board)[0])

    assert found == pytest.approx(np.sort_complex(np.roots([1e-9, 1e-6 * 11.5, 1.0])), rel=1e-6)


def test_a_driver_resonates_at_its_total_q():
    """A driver on a stiff source: resonance fs with Qts = Qms Qes / (Qms + Qes) when its inductance is negligible."""
    law = {"ohm": 5.6, "henry": 1e-9, "fs_hz": 60.0, "qms": 3.0, "qes": 1.5}
    board = circuit(source("IN", "in"), Element("LS", "driver", ("in", "0V"), law))

    pair = slowest(board, 2)

    assert np.abs(pair) / (2 * np.pi) == pytest.approx([60.0, 60.0], rel=1e-3)
    assert -np.abs(pair) / (2 * pair.real) == pytest.approx([3.0 * 1.5 / 4.5] * 2, rel=1e-3)


def loaded_follower(farad):
    """GBW 10 MHz and 50 ohm output as in case 5.28, 10 kohm with 100 pF in the feedback, and a capacitive load."""
    return circuit(
        *rails(),
        source("IN", "in"),
        op_amp("U", "in", "m", "out", gain=1e6, bandwidth_hz=10e6, out_ohm=50.0),
        resistor("RF", "out", "m", 10e3),
        capacitor("CM", "m", "0V", 100e-12),
        capacitor("CL", "out", "0V", farad),
    )


@pytest.mark.parametrize(("farad", "squeals"), [(1e-12, False), (1e-8, True)])
def test_a_capacitive_load_makes_a_follower_oscillate_where_its_loop_says(farad, squeals):
    """Stability by the loop gain: its phase margin, derived from four lags, where the modulus is one."""
    hz = np.geomspace(1e4, 1e8, 200001)
    s, wt = 2j * np.pi * hz, 2 * np.pi * 10e6
    lags = (1 + s / (3 * wt)) * (1 + s * 50.0 * farad) * (1 + s * 10e3 * 100e-12)
    loop = wt / s / lags
    at_one = np.flatnonzero(np.abs(loop) < 1)[0]
    margin = 180 + np.degrees(np.unwrap(np.angle(loop)))[at_one]

    found = unstable_hz(natural(loaded_follower(farad)))[0]

    assert (margin < 0) == squeals
    assert np.isfinite(found) == squeals
    if squeals:
        assert found == pytest.approx(hz[at_one], rel=0.2)


def test_a_batch_finds_the_same_poles_as_its_cases_alone():
    """Growing load: each case of the batch has the frequency of a circuit of its own."""
    farad = np.array([1e-12, 1e-10, 1e-9, 1e-8])
    found = unstable_hz(natural(loaded_follower(1e-9), {("CL", "farad"): farad}))

    each = [unstable_hz(natural(loaded_follower(one)))[0] for one in farad]

    assert found == pytest.approx(each, rel=1e-6, nan_ok=True)
    assert np.isfinite(found).any()
    assert np.isnan(found).any()


def test_another_circuits_point_is_refused():
    """A point belongs to its circuit."""
    with pytest.raises(SolveError, match="another circuit"):
        poles(loaded_follower(1e-9), operating_point(loaded_follower(1e-9)))
