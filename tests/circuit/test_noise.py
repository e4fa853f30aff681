"""Noise against printed densities, Nyquist's theorem and closed forms."""

import numpy as np
import pytest
from circuit.wiring import capacitor, circuit, inductor, op_amp, rails, resistor, source

from dustcap.circuit.elements import Element
from dustcap.circuit.noise import FOUR_KT, noise
from dustcap.circuit.operating import operating_point
from dustcap.errors import SolveError

IDEAL = {"gain": 1e9, "bandwidth_hz": 1e13, "out_ohm": 0.0}
WIDE = np.geomspace(1e-2, 1e9, 1101)


def at(board, hz, net, values=None):
    point = operating_point(board, values)
    assert point.converged.all()
    return noise(board, point, hz, net)


def stage(*more):
    """Non-inverting, gain 10, source 1 kohm, amplifier of 1.1 nV and 1.7 pA."""
    return circuit(
        *rails(),
        resistor("RS", "p", "0V", 1e3),
        resistor("R1", "m", "0V", 1e3),
        resistor("R2", "m", "out", 9e3),
        op_amp("U", "p", "m", "out", noise_v=1.1e-9, noise_a=1.7e-12, **IDEAL),
        *more,
    )


def test_a_resistor_has_its_printed_thermal_noise():
    """Case 5.21: 0.1287 nV/rt(ohm Hz) at 300 K, here at 25 degC; case 5.22: 1 kohm at 25 degC 4.058 nV/rtHz."""
    board = circuit(resistor("R1", "a", "0V", 1.0), resistor("R2", "b", "0V", 1e3))

    assert at(board, 1e3, "a").total[0, 0] == pytest.approx(1.287e-10 * np.sqrt(298.15 / 300.0), rel=1e-3)
    assert at(board, 1e3, "b").total[0, 0] == pytest.approx(4.058e-9, rel=1e-3)


def test_the_noise_of_a_band_is_the_printed_one():
    """Case 5.23: 10 kohm, 25 degC, 20 kHz: 1.8147 uV."""
    found = at(circuit(resistor("R", "a", "0V", 1e4)), np.geomspace(1e-2, 1e5, 30), "a")

    assert found.volts(1e-2, 20e3)[0] == pytest.approx(1.8147e-6, rel=1e-4)


def test_an_amplifier_stage_has_the_printed_noise_and_shares():
    """Case 5.24 (formula of an amplifier's data sheet): 61.42 nV/rtHz of 11.0, 36.5, 12.2, 15.3, 40.6, 17.0 nV."""
    found = at(stage(), 1e3, "out")

    assert found.total[0, 0] == pytest.approx(6.1421e-8, rel=5e-4)
    assert np.sqrt(found.share("RS")[0, 0]) == pytest.approx(40.6e-9, rel=2e-3)
    assert np.sqrt(found.share("R1")[0, 0]) == pytest.approx(36.5e-9, rel=2e-3)
    assert np.sqrt(found.share("R2")[0, 0]) == pytest.approx(12.2e-9, rel=4e-3)
    assert np.sqrt(found.share("U")[0, 0]) == pytest.approx(np.sqrt(11.0**2 + 15.3**2 + 17.0**2) * 1e-9, rel=2e-3)


def test_a_stage_before_a_single_pole_has_the_printed_noise():
    """Case 5.25: the same in a one-pole bandwidth of 20 kHz, 10.8866 uV; the pole is made of 1 ohm, which adds 2e-6."""
    board = stage(resistor("R3", "out", "low", 1.0), capacitor("C", "low", "0V", 1 / (2 * np.pi * 20e3)))

    assert at(board, WIDE, "low").volts(1e-2, 1e9)[0] == pytest.approx(1.08866e-5, rel=5e-4)


@pytest.mark.parametrize("ohm", [10.0, 1e3, 1e6])
def test_a_capacitor_collects_kt_over_c_whatever_the_resistor(ohm):
    """Equipartition: v^2 = kT/C; the bandwidth of one pole is pi/2 of its corner (case 5.26)."""
    hz = np.geomspace(1e-5, 1e6, 601) / (2 * np.pi * ohm * 1e-9)

    found = at(circuit(resistor("R", "a", "0V", ohm), capacitor("C", "a", "0V", 1e-9)), hz, "a")

    assert found.volts(hz[0], hz[-1])[0] == pytest.approx(np.sqrt(0.25 * FOUR_KT / 1e-9), rel=1e-4)


def test_a_butterworth_low_pass_has_the_printed_noise_bandwidth():
    """Case 5.27: 1.1107 times the corner for two poles."""
    henry, farad = 1e-3, 1e-6
    ohm, corner = np.sqrt(2 * henry / farad), 1 / (2 * np.pi * np.sqrt(henry * farad))
    board = circuit(
        source("IN", "in"),
        resistor("R", "in", "m", ohm),
        inductor("L", "m", "a", henry),
        capacitor("C", "a", "0V", farad),
    )

    square = at(board, WIDE, "a").volts(1e-2, 1e9)[0] ** 2

    assert square / (FOUR_KT * ohm) / corner == pytest.approx(1.1107, rel=1e-4)


@pytest.mark.parametrize("seed", range(4))
def test_a_passive_network_has_the_noise_of_its_resistance(seed):
    """Nyquist's theorem (from memory): 4 kT Re Z at every net, Z by admittances summed by hand and solved by numpy."""
    rng = np.random.default_rng(seed)
    hz = 3e3
    s = 2j * np.pi * hz
    law = {"ohm": 5.6, "henry": 0.4e-3, "fs_hz": 60.0, "qms": 3.0, "qes": 0.5}
    w0 = 2 * np.pi * 60.0
    coil = 5.6 + s * 0.4e-3 + (5.6 / 0.5) * s * w0 / (s * s + s * w0 / 3.0 + w0 * w0)
    parts, y = [Element("LS", "driver", ("n0", "n1"), law)], np.zeros((6, 6), dtype=complex)
    branches = [(0, 1, 1 / coil)]
    for k in range(18):
        a, b = (int(net) for net in rng.choice(7, 2, replace=False))
        ends = [f"n{net}" if net < 6 else "0V" for net in (a, b)]
        size = 10 ** rng.uniform(-1, 1)
        if k % 3 == 0:
            parts.append(resistor(f"R{k}", *ends, 1e3 * size))
            branches.append((a, b, 1e-3 / size))
        elif k % 3 == 1:
            parts.append(capacitor(f"C{k}", *ends, 30e-9 * size, esr_ohm=2.0, leak_ohm=1e6))
            branches.append((a, b, 1 / (2.0 + 1 / (s * 30e-9 * size)) + 1e-6))
        else:
            parts.append(inductor(f"L{k}", *ends, 0.03 * size, ohm=12.0, shunt_ohm=1e5))
            branches.append((a, b, 1 / (12.0 + s * 0.03 * size) + 1e-5))
    parts += [resistor(f"G{net}", f"n{net}", "0V", 1e4) for net in range(6)]
    branches += [(net, 6, 1e-4) for net in range(6)]
    for a, b, g in branches:
        for n, m, sign in ((a, a, 1), (b, b, 1), (a, b, -1), (b, a, -1)):
            if n < 6 and m < 6:
                y[n, m] += sign * g
    expected = np.sqrt(FOUR_KT * np.linalg.inv(y).diagonal().real)
    board = circuit(*parts)

    got = [at(board, hz, f"n{net}").total[0, 0] for net in range(6)]

    assert got == pytest.approx(expected, rel=1e-7)


def test_noise_follows_the_values_of_each_case():
    """Thermal noise goes with the root of the resistance, excess noise of an amplifier with its own value."""
    board = stage()

    ohm = at(circuit(resistor("R", "a", "0V", 1e3)), 1e3, "a", {("R", "ohm"): np.array([1e3, 4e3])}).total[:, 0]
    noisy = at(board, 1e3, "out", {("U", "noise_v"): np.array([0.0, 100e-9])}).total[:, 0]

    assert ohm[1] / ohm[0] == pytest.approx(2.0, rel=1e-6)
    assert noisy[1] ** 2 - noisy[0] ** 2 == pytest.approx(1e-12, rel=1e-6)


def test_a_stuck_output_passes_no_noise_of_its_input():
    """An output forced to its rail is held there by a few ohms, and the input's noise does not reach it."""
    board = stage()

    found = at(board, 1e3, "out", {("U", "force"): 1.0})

    assert found.total[0, 0] < 1e-9


def test_what_cannot_be_asked_is_refused():
    """Net, frequency, band and part that are not there."""
    board = stage()
    point = operating_point(board)
    found = noise(board, point, [10.0, 100.0], "out")

    with pytest.raises(SolveError, match="no net 'nowhere'"):
        noise(board, point, 1e3, "nowhere")
    with pytest.raises(SolveError, match="not positive and rising"):
        noise(board, point, [100.0, 10.0], "out")
    with pytest.raises(SolveError, match="not within 10 to 100 Hz"):
        found.volts(5.0, 50.0)
    with pytest.raises(SolveError, match="'R9' makes no noise"):
        found.share("R9")
    with pytest.raises(SolveError, match="another circuit"):
        noise(stage(), point, 1e3, "out")
