"""Power-up against closed forms and scipy's integrator."""

import numpy as np
import pytest
from circuit.wiring import capacitor, circuit, inductor, op_amp, rails, rectifier, resistor, source
from scipy.integrate import solve_ivp
from scipy.special import lambertw

from dustcap.circuit.elements import Element
from dustcap.circuit.operating import operating_point
from dustcap.circuit.transient import power_up
from dustcap.errors import SolveError

THERMAL_V = 1.380649e-23 * 298.15 / 1.602176634e-19
FINE = {"finest_s": 1e-7, "relative": 1e-5}


def reference(slope, start, t):
    """Scipy's stiff integrator (Radau) at the times t."""
    found = solve_ivp(slope, (0.0, t[-1]), start, method="Radau", t_eval=t, rtol=1e-9, atol=1e-12, max_step=t[-1] / 400)
    assert found.success
    return found.y


def rising(t, volts, ramp_s):
    return volts * np.minimum(1.0, t / ramp_s)


def test_a_capacitor_charges_as_the_closed_form_says():
    """v = k (t - tau (1 - exp(-t/tau))) while the supply rises with k volts a second, an exponential afterwards."""
    board = circuit(source("V", "in", volts=10.0), resistor("R", "in", "a", 1e3), capacitor("C", "a", "0V", 1e-6))

    found = power_up(board, seconds=10e-3, nets=["a"], ramp_s=2e-3, **FINE)

    t, tau, k = found.t_s, 1e-3, 10 / 2e-3
    at_end = k * (2e-3 - tau * (1 - np.exp(-2)))
    expected = np.where(
        t < 2e-3, k * (t - tau * (1 - np.exp(-t / tau))), 10 + (at_end - 10) * np.exp(-(t - 2e-3) / tau)
    )
    assert found.volt("a")[0] == pytest.approx(expected, abs=2e-3)
    assert found.inrush_a["V"][0] == pytest.approx(k * 1e-6 * (1 - np.exp(-2)), rel=1e-3)


def test_a_resonant_circuit_rings_as_scipy_says_and_keeps_its_energy():
    """Series R, L, C: volts by scipy; what the source gave is in the parts or became heat."""
    ohm, henry, farad, ramp = 8.0, 1e-3, 10e-6, 50e-6
    board = circuit(
        source("V", "in", volts=5.0),
        resistor("R", "in", "m", ohm),
        inductor("L", "m", "a", henry),
        capacitor("C", "a", "0V", farad),
    )

    found = power_up(board, seconds=2e-3, nets=["in", "m", "a"], ramp_s=ramp, **FINE)

    t = found.t_s
    level, amps = reference(lambda s, y: [y[1] / farad, (rising(s, 5.0, ramp) - ohm * y[1] - y[0]) / henry], [0, 0], t)
    assert found.volt("a")[0] == pytest.approx(level, abs=5e-3)
    current = (found.volt("in")[0] - found.volt("m")[0]) / ohm
    assert current == pytest.approx(amps, abs=2e-3 * np.abs(amps).max())
    given, heat = np.trapezoid(found.volt("in")[0] * current, t), np.trapezoid(ohm * current**2, t)
    kept = 0.5 * farad * found.volt("a")[0, -1] ** 2 + 0.5 * henry * current[-1] ** 2
    assert given == pytest.approx(heat + kept, rel=2e-3)


def test_a_half_wave_rectifier_charges_as_scipy_says():
    """Winding 1 ohm, diode, 470 uF, 100 ohm; the diode's current by Lambert's W; switched on at the peak."""
    ohm, farad, load, peak = 1.0 + 0.03, 470e-6, 100.0, 12.0 * np.sqrt(2.0)
    board = circuit(
        Element("T", "transformer", ("ac", "", "0V"), {"volts_rms": 12.0, "ohm_a": 1.0}),
        rectifier("D", "ac", "raw"),
        capacitor("C", "raw", "0V", farad),
        resistor("R", "raw", "0V", load),
    )

    found = power_up(board, seconds=50e-3, nets=["raw"], relative=1e-4, finest_s=1e-6)

    scale, saturation = 1.8 * THERMAL_V, 1e-9

    def amps(v):
        x = (v + saturation * ohm) / scale
        return scale / ohm * lambertw(saturation * ohm / scale * np.exp(x)).real - saturation

    def slope(s, y):
        return (amps(peak * np.cos(2 * np.pi * 50 * s) - y) - y / load) / farad

    expected = reference(slope, [0.0], found.t_s[1:])[0]
    assert found.volt("raw")[0, 1:] == pytest.approx(expected, abs=0.03)
    # at the first step the capacitor is still empty: the largest current there is
    assert found.inrush_a["T"][0] == pytest.approx(amps(peak), rel=5e-3)


def test_an_amplifier_lags_by_one_pole():
    """A follower of 10 kHz: 1/gain + (1/wt) d/dt, closed by its own output; scipy and the ramp's constant lag."""
    wt = 2 * np.pi * 10e3
    board = circuit(
        *rails(),
        source("IN", "in", volts=2.0),
        op_amp("U", "in", "out", "out", gain=1e5, bandwidth_hz=10e3, out_ohm=0.0),
        resistor("R", "out", "0V", 1e4),
    )

    found = power_up(board, seconds=2e-3, nets=["out"], ramp_s=1e-3, **FINE)

    expected = reference(lambda s, y: wt * (rising(s, 2.0, 1e-3) - y * (1 + 1e-5)), [0.0], found.t_s)[0]
    # the rails must first be there: for the first millivolts the output cannot follow
    late = found.t_s > 0.4e-3
    assert found.volt("out")[0, late] == pytest.approx(expected[late], abs=3e-3)


def test_a_driver_is_pushed_as_its_equations_of_motion_say():
    """Voice coil and motional branch by scipy; in the end x = bl i cms, turned round by a reversed connection."""
    ohm, henry, w0, qms, qes, bl, cms = 5.6, 0.5e-3, 2 * np.pi * 50, 3.0, 0.5, 6.0, 0.8e-3
    law = {"ohm": ohm, "henry": henry, "fs_hz": 50.0, "qms": qms, "qes": qes, "bl": bl, "cms_m_n": cms}
    board = circuit(
        source("V", "in", volts=24.0), resistor("R", "in", "d", 1.0), Element("LS", "driver", ("d", "0V"), law)
    )

    found = power_up(board, {("LS", "sign"): np.array([1.0, -1.0])}, seconds=0.15, ramp_s=1e-3, finest_s=1e-5)

    loss = ohm * qms / qes
    spring, mass = loss / (w0 * qms), qms / (w0 * loss)

    def slope(s, y):
        return [
            (rising(s, 24.0, 1e-3) - (ohm + 1.0) * y[0] - y[1]) / henry,
            (y[0] - y[1] / loss - y[2]) / mass,
            y[1] / spring,
        ]

    coil, _, held = reference(slope, [0, 0, 0], found.t_s)
    assert found.displacement_m[0, 0] == pytest.approx(bl * cms * held, abs=2e-2 * bl * cms * held.max())
    assert found.peak_m[0, 0] == pytest.approx(bl * cms * held.max(), rel=5e-3)
    assert found.displacement_m[1, 0] == pytest.approx(-found.displacement_m[0, 0])
    assert found.displacement_m[0, 0, -1] == pytest.approx(bl * cms * 24.0 / 6.6, rel=5e-3)
    assert found.peak_v[0, 0] == pytest.approx((24.0 * np.minimum(1, found.t_s / 1e-3) - coil).max(), rel=5e-3)


def muted(ohm):
    """A power amplifier whose mute pin is fed through `ohm` into 10 uF; it plays from 0.5 mA, 0.5 V at the pin."""
    return circuit(
        *rails(24.0),
        resistor("R1", "v+", "hold", ohm),
        capacitor("C1", "hold", "0V", 10e-6),
        resistor("R2", "hold", "mute", 10e3),
        resistor("R3", "fb", "out", 10e3),
        resistor("R4", "fb", "0V", 1e3),
        resistor("RL", "out", "0V", 1e3),
        op_amp("U", "0V", "fb", "out", mute="mute", mute_a=0.5e-3, offset_v=5e-3),
    )


@pytest.mark.parametrize("ohm", [10e3, 15e3])
def test_an_amplifier_plays_when_its_mute_pin_has_charged(ohm):
    """Thevenin source and time constant of the capacitor, its volts at the moment when the pin has 0.975 x 0.5 V."""
    found = power_up(muted(ohm), seconds=0.5, nets=["out"], ramp_s=1e-4)

    final, tau = 24.0 * 11e3 / (ohm + 11e3), ohm * 11e3 / (ohm + 11e3) * 10e-6
    expected = -tau * np.log(1 - 0.975 * 0.5 * 11 / final)
    assert found.unmute_s["U"][0] == pytest.approx(expected, rel=0.02)
    assert found.volt("out")[0, -1] == pytest.approx(0.055, rel=5e-3)


def test_an_amplifier_whose_mute_pin_gets_too_little_stays_silent():
    """100 kohm leave 2.4 V behind 11 kohm: less than half a milliampere."""
    found = power_up(muted(200e3), seconds=0.5, nets=["out"], ramp_s=1e-4)

    assert np.isnan(found.unmute_s["U"][0])


def test_a_relay_turns_over_when_its_coil_has_its_volts():
    """1 kohm, 100 uF and a coil of 1 kohm on 24 V: half of it with 50 ms; 8.4 V after -50 ms ln(1 - 0.7)."""
    board = circuit(
        source("V", "v", volts=24.0),
        resistor("R", "v", "coil", 1e3),
        capacitor("C", "coil", "0V", 100e-6),
        Element("K", "coil", ("coil", "0V"), {"ohm": 1e3, "pull_in_v": 8.4}),
        Element("S", "contact", ("v", "load"), {"closed": 0.0}, drives="K"),
        resistor("RL", "load", "0V", 1e3),
    )

    found = power_up(board, seconds=0.3, nets=["load"], ramp_s=1e-5)

    assert found.unmute_s["S"][0] == pytest.approx(-0.05 * np.log(0.3), rel=0.02)
    assert found.volt("load")[0, 5] == pytest.approx(0.0, abs=1e-6)
    assert found.volt("load")[0, -1] == pytest.approx(24.0, rel=1e-3)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_latching_amplifier_ends_where_the_ramp_says(sign):
    """Positive feedback holds it at the rail that its offset chose at switch-on, as the operating point says too."""
    board = circuit(
        *rails(),
        resistor("R1", "p", "out", 10e3),
        resistor("R2", "p", "0V", 10e3),
        op_amp("U", "p", "0V", "out", offset_v=sign * 2e-3),
    )

    found = power_up(board, seconds=20e-3, nets=["out"])

    assert np.sign(found.volt("out")[0, -1]) == sign
    assert found.volt("out")[0, -1] == pytest.approx(operating_point(board).volt("out")[0], rel=1e-4)


def test_a_rectified_supply_ends_at_its_operating_point():
    """Bridge, reservoir, regulator, zener lamp and a stage: the mean of the last cycle against the periodic one."""
    board = circuit(
        Element("T", "transformer", ("a", "0V", "b"), {"volts_rms": 15.0, "ohm_a": 0.8, "ohm_b": 0.8}),
        *[rectifier(f"D{k}", *ends) for k, ends in enumerate((("a", "r+"), ("b", "r+"), ("r-", "a"), ("r-", "b")))],
        capacitor("C1", "r+", "0V", 470e-6, esr_ohm=0.1),
        capacitor("C2", "r-", "0V", 470e-6, esr_ohm=0.1),
        Element("REG", "regulator", ("r+", "v+", "0V"), {"volts": 12.0}),
        capacitor("C3", "v+", "0V", 10e-6),
        resistor("R1", "r-", "v-", 470.0),
        Element("Z", "zener", ("v-", "0V"), {"zener_v": 10.0}),
        capacitor("C4", "v-", "0V", 47e-6),
        resistor("R2", "m", "0V", 1e3),
        resistor("R3", "m", "out", 1e4),
        op_amp("U", "0V", "m", "out", offset_v=0.1),
        resistor("RL", "out", "0V", 600.0),
        resistor("R5", "r+", "0V", 330.0),
    )

    found = power_up(board, seconds=0.12, nets=["r+", "r-", "v+", "v-", "out"])
    point = operating_point(board)

    assert found.solved.all()
    assert point.converged.all()
    for net in found.nets:
        assert found.mean(net, 0.1, 0.12)[0] == pytest.approx(point.volt(net)[0], rel=4e-3)


def test_what_cannot_be_followed_is_refused():
    """Net, time and span that are not there."""
    board = circuit(source("V", "a", volts=1.0), resistor("R", "a", "0V", 1.0))

    with pytest.raises(SolveError, match="no net 'nowhere'"):
        power_up(board, seconds=1.0, nets=["nowhere"])
    with pytest.raises(SolveError, match="above zero"):
        power_up(board, seconds=0.0)
    found = power_up(board, seconds=0.1)
    with pytest.raises(SolveError, match="not asked for"):
        found.volt("a")
    with pytest.raises(SolveError, match="not within 0 to"):
        power_up(board, seconds=0.1, nets=["a"]).mean("a", 0.05, 0.2)
