"""Rectifiers against brute-force time stepping (scipy.integrate) and printed examples."""

import numpy as np
import pytest
from circuit.wiring import capacitor, circuit, rectifier, resistor
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.special import wrightomega

from dustcap.circuit.cycle import PHASE, harmonic_weights
from dustcap.circuit.elements import Element
from dustcap.circuit.operating import operating_point

VT = 1.380649e-23 * 298.15 / 1.602176634e-19  # kT/q, SI constants
SATURATION_A, IDEALITY, SERIES_OHM = 1e-9, 1.8, 0.03


def winding(volts, ohm, b="b", tap="0V", **values):
    return Element("T", "transformer", ("a", tap, b), {"volts_rms": volts, "ohm_a": ohm, "ohm_b": ohm, **values})


def one_rail(volts, ohm, farad, ampere, *, half=False):
    wires = [
        winding(volts, ohm),
        rectifier("D1", "a", "rail"),
        capacitor("C", "rail", "0V", farad),
        Element("L", "sink", ("rail", "0V"), {"ampere": ampere}),
    ]
    return circuit(*wires, *([] if half else [rectifier("D2", "b", "rail")]))


def diode(v, ohm):
    """Shockley's law behind a resistance."""
    scale = IDEALITY * VT
    omega = wrightomega(np.log(SATURATION_A * ohm / scale) + (v + SATURATION_A * ohm) / scale)
    return omega * scale / ohm - SATURATION_A


def stepped_wave(volts, ohm, farad, ampere, *, half=False, hz=50.0):
    """One cycle of the same rail, 4000 points, by time stepping to a closed cycle."""
    series = ohm + SERIES_OHM

    def slope(t, y):
        e = volts * np.sqrt(2) * np.sin(2 * np.pi * hz * t)
        drawn = ampere * (1 - 1 / (1 + (max(y[0], 0.0) / 0.5) ** 4))
        return [(diode(e - y[0], series) + (0.0 if half else diode(-e - y[0], series)) - drawn) / farad]

    def turn(v, **more):
        return solve_ivp(slope, (0, 1 / hz), [v], method="LSODA", rtol=1e-8, atol=1e-9, max_step=2.5e-4, **more)

    peak = volts * np.sqrt(2)
    begin = brentq(lambda v: turn(v).y[0, -1] - v, 0.0, peak, xtol=1e-6)
    return turn(begin, dense_output=True).sol(np.arange(4000) / 4000 / hz)[0]


def stepped(*rail, **more):
    """Mean and r.m.s. phasors at 1 and 2 times mains of that wave."""
    wave, turns = stepped_wave(*rail, **more), np.arange(4000) / 4000
    phasors = [np.sqrt(2) * np.mean(wave * np.exp(-2j * np.pi * n * turns)) for n in (1, 2)]
    return wave.mean(), *np.abs(phasors)


@pytest.mark.parametrize("share", [1.0, 0.3, 0.1])
@pytest.mark.parametrize(
    "rail",
    [
        {"volts": 18.0, "ohm": 0.5, "farad": 4700e-6, "ampere": 0.5},
        {"volts": 18.0, "ohm": 0.05, "farad": 1000e-6, "ampere": 0.05},
        {"volts": 12.0, "ohm": 2.0, "farad": 1000e-6, "ampere": 0.1, "half": True},
    ],
    ids=["two diodes", "stiff", "half wave"],
)
def test_mean_and_ripple_of_a_rail_agree_with_time_stepping(rail, share):
    """Within 2 % of the mean and 5 % of the ripple, from nominal capacity down to a tenth."""
    rail = rail | {"farad": rail["farad"] * share}
    mean, once, twice = stepped(**rail)

    point = operating_point(one_rail(**rail))
    at = point.circuit.nets.index("rail")

    assert point.converged.all()
    assert point.volt("rail")[0] == pytest.approx(mean, rel=5e-3)
    assert abs(point.ripple[0, at]) == pytest.approx(twice, rel=0.03)
    assert abs(point.ripple_mains[0, at]) == pytest.approx(once, rel=0.03, abs=1e-4)


def test_an_open_reservoir_keeps_its_mean_within_ten_per_cent():
    """With a millionth of its capacity the rail follows the rectified sine; time stepping with 1 uF says 15.3 V."""
    mean, _, twice = stepped(18.0, 0.5, 1e-6, 0.1)

    point = operating_point(one_rail(18.0, 0.5, 4700e-6, 0.1), {("C", "farad"): np.array([1e-6, 0.0])})

    assert point.converged.all()
    assert point.volt("rail") == pytest.approx(mean, rel=0.02)
    assert np.abs(point.ripple[:, point.circuit.nets.index("rail")]) == pytest.approx(twice, rel=0.05)


@pytest.mark.parametrize(("full", "volts"), [(False, 18.0), (True, 36.0)])
def test_average_of_an_unfiltered_rectifier_is_the_printed_one(full, volts):
    """40 V r.m.s.: 18 V half wave (case 4.03), 1.80 A in 20 ohm full wave (case 4.04); stored textbook examples."""
    ideal = {"saturation_a": 1e-5, "ideality": 0.1, "series_ohm": 0.0}
    wires = [winding(40.0, 0.0), rectifier("D1", "a", "r", **ideal), resistor("R", "r", "0V", 20.0)]
    board = circuit(*wires, *([rectifier("D2", "b", "r", **ideal)] if full else []))

    point = operating_point(board)

    # chords of the sine between the phases: 0.5 %
    assert point.volt("r")[0] == pytest.approx(volts, rel=0.01)


@pytest.mark.parametrize(("mains", "volts"), [(1.0, 24.656), (1.1, 27.20)])
def test_an_unloaded_rail_stands_at_the_peak_less_one_drop(mains, volts):
    """Cases 4.13 and 4.14 (computed in the references): 18 V r.m.s., one drop of 0.8 V, mains +10 %."""
    # a diode that drops 0.8 V at the microampere that is left
    law = {"saturation_a": 1e-6 / np.expm1(0.8 / VT), "ideality": 1.0, "series_ohm": 0.0}
    wires = [winding(18.0, 0.01), rectifier("D1", "a", "rail", **law), rectifier("D2", "b", "rail", **law)]
    load = Element("L", "sink", ("rail", "0V"), {"ampere": 1e-7})

    point = operating_point(
        circuit(*wires, capacitor("C", "rail", "0V", 4700e-6), load), {("T", "volts_rms"): 18.0 * mains}
    )

    # charging the reservoir takes peak currents above the mean: a few hundredths of a volt
    assert point.volt("rail")[0] == pytest.approx(volts, abs=0.15)


def test_loaded_rail_has_the_exact_ripple_of_the_references():
    """Case 4.12 (computed, checked by time stepping there): 0.966 V peak to peak with 0.5 A and 4700 uF at 50 Hz."""
    board = one_rail(18.0, 0.001, 4700e-6, 0.5)

    point = operating_point(board)
    wave = point.waves[0].v[0, :, 2]

    assert point.circuit.nets[2] == "rail"
    assert np.ptp(wave) == pytest.approx(0.966, rel=0.05)


def test_a_doubler_agrees_with_time_stepping():
    """Two diodes and two capacitors on one winding, lightly loaded, against scipy.integrate after it has settled."""
    board = circuit(
        Element("T", "transformer", ("a", "", "0V"), {"volts_rms": 10.0, "ohm_a": 0.2}),
        capacitor("C1", "a", "x", 470e-6),
        rectifier("D1", "0V", "x"),
        rectifier("D2", "x", "rail"),
        capacitor("C2", "rail", "0V", 470e-6),
        resistor("R", "rail", "0V", 1e5),
    )

    def slope(t, w):
        x = 10.0 * np.sqrt(2) * np.sin(100 * np.pi * t) - w[0]
        up, down = diode(x - w[1], 0.2 + SERIES_OHM), diode(-x, 0.2 + SERIES_OHM)
        return [(up - down) / 470e-6, (up - w[1] / 1e5) / 470e-6]

    settled = solve_ivp(slope, (0, 0.8), [-13.4, 26.8], method="LSODA", rtol=1e-7, atol=1e-8, max_step=2.5e-4)
    point = operating_point(board)

    assert point.converged.all()
    assert point.volt("rail")[0] == pytest.approx(settled.y[1, -1], rel=2e-3)


def bridge(**values):
    return circuit(
        Element("T", "transformer", ("a", "0V", "b"), {"volts_rms": 18.0, "ohm_a": 0.3, "ohm_b": 0.3}),
        resistor("FA", "a", "fa", 0.01),
        resistor("FB", "b", "fb", 0.01),
        rectifier("D1", "fa", "p"),
        rectifier("D2", "fb", "p"),
        rectifier("D3", "m", "fa"),
        rectifier("D4", "m", "fb"),
        capacitor("CP", "p", "0V", 2200e-6),
        capacitor("CM", "0V", "m", 2200e-6),
        resistor("RP", "p", "0V", 100.0),
        resistor("RM", "m", "0V", 100.0),
        **values,
    )


def test_a_split_bridge_is_symmetrical_and_its_faults_are_not():
    """Equal rails of both signs; a fuse open leaves half wave with a mains-frequency part, both open leave nothing."""
    faults = {("FA", "ohm"): np.array([0.01, np.inf, np.inf]), ("FB", "ohm"): np.array([0.01, 0.01, np.inf])}

    point = operating_point(bridge(), faults)
    p, once, twice = point.volt("p"), point.ripple_mains, point.ripple
    at = point.circuit.nets.index("p")

    assert point.converged.all()
    assert point.volt("m")[0] == pytest.approx(-p[0], rel=1e-6)
    assert p[1] < p[0] - 0.3
    assert p[2] == pytest.approx(0.0, abs=1e-3)
    assert abs(once[0, at]) < 1e-4 * abs(twice[0, at])
    assert abs(once[1, at]) > abs(twice[1, at])


def test_a_shorted_diode_collapses_the_rail_and_a_tap_lost_shifts_both():
    """A bridge diode shorted loads the winding with the other; the answer stays finite and converged."""
    point = operating_point(bridge(), {("D1", "shunt_ohm"): np.array([np.inf, 0.05])})

    assert point.converged.all()
    assert point.volt("p")[1] < 0.5 * point.volt("p")[0]


def test_a_winding_without_a_rectifier_has_no_mean():
    """A pure alternating net reads 0 V d.c. and its full r.m.s. at the mains frequency."""
    board = circuit(winding(12.0, 1.0), resistor("R", "a", "0V", 1e3), resistor("Q", "b", "0V", 1e3))

    point = operating_point(board)
    at = point.circuit.nets.index("a")

    assert point.volt("a")[0] == pytest.approx(0.0, abs=1e-9)
    # chords between the phases make 0.3 %
    assert abs(point.ripple_mains[0, at]) == pytest.approx(12.0 * 1000 / 1001, rel=5e-3)


def test_a_detector_fed_from_the_winding_charges_to_its_mean():
    """A half wave on 1 kohm, through 10 kohm into 47 uF loaded with 10 kohm, by the law of means."""
    ideal = {"saturation_a": 1e-5, "ideality": 0.1, "series_ohm": 0.0}
    board = circuit(
        winding(20.0, 0.1),
        rectifier("D", "a", "d", **ideal),
        resistor("R0", "d", "0V", 1e3),
        resistor("R1", "d", "c", 10e3),
        capacitor("C", "c", "0V", 47e-6),
        resistor("R2", "c", "0V", 10e3),
    )

    point = operating_point(board)

    # mean of d: the half wave's sqrt(2) V / pi, and half of the time c through 10 kohm against 1 kohm; c is half of it
    half_wave = 20 * np.sqrt(2) / np.pi
    assert point.volt("c")[0] == pytest.approx(half_wave / (2 - 1 / 22), rel=5e-3)


def test_harmonic_weights_know_sines_and_ignore_a_constant():
    """The r.m.s. phasor of sin is -j / sqrt(2) on its own order and nothing on the other."""
    once, twice = harmonic_weights(1), harmonic_weights(2)

    assert abs(once.sum()) < 1e-12
    assert abs(twice.sum()) < 1e-12
    assert once @ np.sin(PHASE) == pytest.approx(-1j / np.sqrt(2), abs=3e-3)
    assert abs(twice @ np.sin(PHASE)) < 1e-12


def test_regulators_with_nothing_on_them_give_their_volts():
    """Both rails of thirty boards are solved: the volts, and nearly no current from the raw rail."""
    spread = 10.0 * np.linspace(0.95, 1.05, 30)
    idle = circuit(
        winding(12.0, 1.0),
        rectifier("D1", "a", "raw+"),
        rectifier("D2", "b", "raw+"),
        rectifier("D3", "raw-", "a"),
        rectifier("D4", "raw-", "b"),
        capacitor("C1", "raw+", "0V", 2.2e-3),
        capacitor("C2", "0V", "raw-", 2.2e-3),
        Element("U1", "regulator", ("raw+", "out+", "0V"), {"volts": 10.0}),
        Element("U2", "regulator", ("raw-", "out-", "0V"), {"volts": -10.0}),
        capacitor("C3", "out+", "0V", 1e-5),
        capacitor("C4", "0V", "out-", 1e-5),
    )

    point = operating_point(idle, {("U1", "volts"): spread, ("U2", "volts"): -spread[::-1]})

    assert point.converged.all()
    np.testing.assert_allclose(point.volt("out+"), spread, atol=0.05)
    np.testing.assert_allclose(point.volt("out-"), -spread[::-1], atol=0.05)
