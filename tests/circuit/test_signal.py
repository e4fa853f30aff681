"""Small signals against published filters, printed values and scipy."""

import numpy as np
import pytest
from circuit.wiring import capacitor, circuit, inductor, op_amp, rails, resistor, source

from dustcap.circuit.elements import Element
from dustcap.circuit.operating import operating_point
from dustcap.circuit.signal import small_signal
from dustcap.errors import SolveError

IDEAL = {"gain": 1e9, "bandwidth_hz": 1e13, "out_ohm": 0.0}


def response(board, hz, net, values=None):
    point = operating_point(board, values)
    assert point.converged.all()
    return small_signal(board, point, hz, source="IN").volt(net)


def sallen_key_band_pass(**amplifier):
    """R1 in to a, C1 a to common, C2 a to b, R3 b to common, R2 out to a, K = 1 + R5/R4 (benchmark circuit)."""
    return circuit(
        *rails(),
        source("IN", "in"),
        resistor("R1", "in", "a", 1e3),
        resistor("R2", "out", "a", 3e3),
        resistor("R3", "b", "0V", 2e3),
        capacitor("C1", "a", "0V", 5e-9),
        capacitor("C2", "a", "b", 5e-9),
        resistor("R4", "m", "0V", 4e3),
        resistor("R5", "m", "out", 4e3),
        op_amp("U", "b", "m", "out", **(IDEAL | amplifier)),
    )


def test_sallen_key_band_pass_has_the_computed_response():
    """Diagnosis references 2.3: moduli at 1, 10, 25 and 100 kHz and the angle at 25 kHz (computed with sympy there)."""
    h = response(sallen_key_band_pass(), [1e3, 10e3, 25e3, 100e3], "out")[0]

    # the source's floor of 1 mohm against 1 kohm costs 1e-6
    assert np.abs(h) == pytest.approx([0.09409688, 0.8133641, 1.1991319, 0.5934149], rel=3e-6)
    assert np.degrees(np.angle(h[2])) == pytest.approx(2.1794, abs=2e-4)


def test_the_response_is_bilinear_in_one_capacitor():
    """Case F2: H at 25 kHz for C2 = 7.5 nF, and for the C2 that bring the modulus to 1.0, 1.1 and 1.15."""
    farad = np.array([7.5e-9, 3.26403e-9, 3.97234e-9, 4.4331e-9])

    h = response(sallen_key_band_pass(), 25e3, "out", {("C2", "farad"): farad})[:, 0]

    assert h[0] == pytest.approx(1.305377166 - 0.191032307j, rel=1e-5)
    assert np.abs(h[1:]) == pytest.approx([1.0, 1.1, 1.15], rel=1e-5)


def test_tow_thomas_low_pass_has_the_computed_modulus():
    """Diagnosis references 2.3: all resistors 10 kohm, capacitors 10 nF; 1.1462718 at 1 kHz."""
    parts = [resistor(name, a, b, 10e3) for name, a, b in (("R1", "in", "m1"), ("R2", "m1", "v1"), ("R3", "m1", "v3"))]
    parts += [resistor(name, a, b, 10e3) for name, a, b in (("R4", "v1", "m2"), ("R5", "v2", "m3"), ("R6", "m3", "v3"))]
    board = circuit(
        *rails(),
        source("IN", "in"),
        *parts,
        capacitor("C1", "m1", "v1", 10e-9),
        capacitor("C2", "m2", "v2", 10e-9),
        *[op_amp(f"U{k}", "0V", f"m{k}", f"v{k}", **IDEAL) for k in (1, 2, 3)],
    )

    h = response(board, 1e3, "v2")[0, 0]

    assert abs(h) == pytest.approx(1.1462718, rel=1e-6)


def crossover(hz):
    """Two equal unity-gain Sallen-Key sections each way (Linkwitz 1976, from memory; values by case 5.40)."""
    ohm = 1 / (2 * np.pi * hz * np.sqrt(2) * 10e-9)
    parts = []
    for way in ("l", "h"):
        before = "in"
        for k in (1, 2):
            a, p, out = f"{way}a{k}", f"{way}p{k}", f"{way}o{k}"
            if way == "l":
                parts += [resistor(f"{a}1", before, a, ohm), resistor(f"{a}2", a, p, ohm)]
                parts += [capacitor(f"{p}1", a, out, 20e-9), capacitor(f"{p}2", p, "0V", 10e-9)]
            else:
                parts += [capacitor(f"{a}1", before, a, 10e-9), capacitor(f"{a}2", a, p, 10e-9)]
                parts += [resistor(f"{p}1", a, out, ohm), resistor(f"{p}2", p, "0V", 2 * ohm)]
            parts.append(op_amp(f"{way}U{k}", p, out, out, **IDEAL))
            before = out
    return circuit(*rails(), source("IN", "in"), *parts)


def test_a_fourth_order_crossover_sums_flat_and_crosses_at_six_decibels():
    """Cases 5.48 to 5.51: each way -6.0206 dB at the crossover, -24.609 dB an octave out, the sum flat."""
    hz = np.array([200.0, 1e3, 2e3, 4e3, 20e3])
    low, high = response(crossover(2e3), hz, "lo2")[0], response(crossover(2e3), hz, "ho2")[0]

    assert 20 * np.log10(np.abs(low[2])) == pytest.approx(-6.0206, abs=1e-3)
    assert 20 * np.log10(np.abs(high[2])) == pytest.approx(-6.0206, abs=1e-3)
    assert 20 * np.log10(np.abs(low[3])) == pytest.approx(-24.60897843, abs=1e-3)
    assert 20 * np.log10(np.abs(low + high)) == pytest.approx(0.0, abs=0.01)


def test_an_amplifier_has_one_pole_from_gain_and_bandwidth_and_a_second_at_three_times_it():
    """A gain of 21 (case 5.15): closed form of the two-pole loop, derived from (1/A + s/wt)(1 + s/3wt) z = v."""
    board = circuit(
        *rails(),
        source("IN", "in"),
        resistor("R1", "m", "0V", 1e3),
        resistor("R2", "m", "out", 20e3),
        op_amp("U", "in", "m", "out", bandwidth_hz=3e6, out_ohm=0.0),
    )
    hz = np.array([10.0, 1e5, 1e6])

    h = response(board, hz, "out")[0]
    s = 2j * np.pi * hz
    wt = 2 * np.pi * 3e6
    expected = 1 / (1 / 21 + (1e-5 + s / wt) * (1 + s / (3 * wt)))

    assert h == pytest.approx(expected, rel=1e-5)


def test_a_saturated_amplifier_passes_nothing():
    """With 1 V d.c. at an open-loop input the output is stuck, and a signal does not get through."""
    board = circuit(
        *rails(), source("IN", "in", volts=1.0), op_amp("U", "in", "0V", "out"), resistor("R", "out", "0V", 1e4)
    )

    assert abs(response(board, 1e3, "out")[0, 0]) < 1e-3


def test_a_driver_has_the_impedance_of_its_model():
    """Re + sL + the motional branch at resonance: Re (1 + Qms/Qes) (Small 1972, from memory)."""
    law = {"ohm": 5.6, "henry": 0.0, "fs_hz": 60.0, "qms": 3.0, "qes": 0.5}
    board = circuit(source("IN", "in"), resistor("R", "in", "d", 1e3), Element("LS", "driver", ("d", "0V"), law))

    h = response(board, [60.0, 60e3], "d", None)[0]

    at_resonance = 5.6 * (1 + 3.0 / 0.5)
    assert abs(h[0]) == pytest.approx(at_resonance / (1e3 + at_resonance), rel=1e-4)
    assert abs(h[1]) == pytest.approx(5.6 / 1005.6, rel=2e-3)


@pytest.mark.parametrize("seed", range(5))
def test_random_networks_agree_with_a_plain_nodal_solution(seed):
    """Random R, L, C networks against admittances summed by hand and solved by numpy."""
    rng = np.random.default_rng(seed)
    nets = [f"n{k}" for k in range(8)]
    parts, hz = [source("IN", "n0", ohm=75.0)], 5e3
    y = np.zeros((8, 8), dtype=complex)
    y[0, 0] += 1 / 75.0
    s = 2j * np.pi * hz
    for k in range(24):
        a, b = rng.choice(9, 2, replace=False)
        size = 10 ** rng.uniform(-1, 1)
        kind = k % 3
        ends = [nets[n] if n < 8 else "0V" for n in (a, b)]
        if kind == 0:
            parts.append(resistor(f"R{k}", *ends, 1e3 * size))
            admittance = 1 / (1e3 * size)
        elif kind == 1:
            parts.append(capacitor(f"C{k}", *ends, 30e-9 * size, esr_ohm=2.0, leak_ohm=1e7))
            admittance = 1 / (2.0 + 1 / (s * 30e-9 * size)) + 1e-7
        else:
            parts.append(inductor(f"L{k}", *ends, 0.03 * size, ohm=12.0, shunt_ohm=1e6))
            admittance = 1 / (12.0 + s * 0.03 * size) + 1e-6
        for n, m, sign in ((a, a, 1), (b, b, 1), (a, b, -1), (b, a, -1)):
            if n < 8 and m < 8:
                y[n, m] += sign * admittance
    ground = [resistor(f"G{k}", net, "0V", 1e5) for k, net in enumerate(nets)]
    y += np.eye(8) * 1e-5
    expected = np.linalg.solve(y, np.eye(8)[0] / 75.0)
    board = circuit(*parts, *ground)

    got = np.array([response(board, hz, net)[0, 0] for net in nets])

    assert got == pytest.approx(expected, rel=1e-7)


def test_a_frequency_or_source_that_cannot_be_is_refused():
    """Zero hertz and an element that is no source."""
    board = sallen_key_band_pass()
    point = operating_point(board)

    with pytest.raises(SolveError, match="not positive"):
        small_signal(board, point, 0.0, source="IN")
    with pytest.raises(SolveError, match="no source 'R1'"):
        small_signal(board, point, 1e3, source="R1")
