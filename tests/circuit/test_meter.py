"""The meter in the unpowered circuit, by hand and against scipy's root finder."""

import numpy as np
import pytest
from circuit.wiring import capacitor, circuit, op_amp, rails, rectifier, resistor, signal_diode, source
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from dustcap.circuit.elements import Element
from dustcap.circuit.meter import impedance, junction_volts, resistance
from dustcap.errors import SolveError

VT = 1.380649e-23 * 298.15 / 1.602176634e-19  # kT/q, SI constants


def amplifier_board(**values):
    return circuit(
        *rails(),
        source("IN", "in", ohm=50.0),
        resistor("R1", "in", "m", 10e3),
        resistor("R2", "m", "out", 100e3),
        resistor("R3", "out", "x", 100.0),
        capacitor("C1", "x", "0V", 10e-6, leak_ohm=5e6, esr_ohm=1.5),
        op_amp("U", "0V", "m", "out", **values),
        signal_diode("D", "out", "v+"),
        Element("LS", "driver", ("x", "0V"), {"ohm": 5.6, "present": 0.0}),
    )


def test_ohms_see_through_resistors_inputs_and_leakage_but_not_through_chips_and_junctions():
    """Rails are off, the amplifier and the diode are open, the input stays closed by its 50 ohm."""
    ohm = resistance(amplifier_board(), [("m", "0V"), ("0V", "m"), ("out", "m"), ("v+", "0V"), ("v+", "v-")])

    left, right = 10e3 + 50.0, 100e3 + 100.0 + 5e6
    # the source's supplies are disconnected, so the rails hang on nothing
    expected = [left * right / (left + right)] * 2 + [100e3 * (left + 5e6 + 100) / (100e3 + left + 5e6 + 100)]
    assert ohm[0, :3] == pytest.approx(expected, rel=1e-9)
    assert np.isinf(ohm[0, 3:]).all()


def test_an_override_of_a_shunt_or_a_driver_counts():
    """A shorted supply inside the chip, a shorted diode and a driver that is plugged in."""
    faults = {
        ("U", "supply_ohm"): np.array([2.0, np.inf, np.inf]),
        ("D", "shunt_ohm"): np.array([np.inf, 0.5, np.inf]),
        ("LS", "present"): np.array([0.0, 0.0, 1.0]),
    }

    ohm = resistance(amplifier_board(), [("v+", "v-"), ("v+", "out"), ("x", "0V")], faults)

    assert ohm[0, 0] == pytest.approx(2.0)
    assert ohm[1, 1] == pytest.approx(0.5)
    assert ohm[2, 2] == pytest.approx(5.6, rel=1e-3)


def test_a_driver_counts_with_its_d_c_resistance_at_every_frequency():
    """Contract, "How readings are taken": 100 nF behind 10 ohm, beside 6 ohm; its motional branch would read 0.3 mF."""
    board = circuit(
        capacitor("C", "z", "0V", 100e-9),
        resistor("R", "out", "z", 10.0),
        Element("LS", "driver", ("out", "0V"), {"ohm": 6.0, "henry": 0.6e-3, "fs_hz": 45.0, "qms": 4.0, "qes": 0.4}),
    )

    for hz in (120.0, 100e3):
        expected = 1 / (1 / 16.0 + 2j * np.pi * hz * 100e-9)
        assert impedance(board, [("z", "0V")], [hz])[0, 0, 0] == pytest.approx(expected, rel=1e-6)


def test_windings_read_their_resistance_and_a_floating_one_hides_nothing():
    """A secondary that hangs on nothing else reads its copper, and over range to common."""
    board = circuit(
        Element("T", "transformer", ("a", "tap", "b"), {"volts_rms": 18.0, "ohm_a": 0.4, "ohm_b": 0.6}),
        Element("T2", "transformer", ("c", "", "0V"), {"volts_rms": 9.0, "ohm_a": 3.0}),
        resistor("F", "a", "fa", 0.01),
        resistor("R", "0V", "n", 1e3),
    )

    ohm = resistance(board, [("a", "b"), ("fa", "tap"), ("a", "0V"), ("c", "0V"), ("n", "0V")])[0]

    assert ohm[[0, 1, 3, 4]] == pytest.approx([1.0, 0.41, 3.0, 1e3], rel=1e-9)
    assert np.isinf(ohm[2])


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(-3, 6), min_size=9, max_size=9), st.integers(0, 2**31))
def test_resistances_obey_the_laws_of_a_metric(decades, seed):
    """Effective resistance is symmetric and obeys the triangle inequality (Klein & Randic 1993, from memory)."""
    rng = np.random.default_rng(seed)
    nets = ["0V", "a", "b", "c", "d"]
    wires = [tuple(rng.choice(nets, 2, replace=False)) for _ in decades]
    parts = [
        resistor(f"R{k}", *map(str, ends), 10.0**d) for k, (ends, d) in enumerate(zip(wires, decades, strict=True))
    ]
    tied = [resistor(f"T{net}", net, "0V", 1e7) for net in nets[1:]]
    board = circuit(*parts, *tied)

    ab, ba, bc, ac = resistance(board, [("a", "b"), ("b", "a"), ("b", "c"), ("a", "c")])[0]

    assert ab == pytest.approx(ba, rel=1e-9)
    assert ac <= (ab + bc) * (1 + 1e-9)


def test_a_diode_test_reads_the_junction_one_way_and_open_the_other():
    """1 mA through a junction beside 10 kohm, solved by scipy.optimize.brentq; open the other way above 2 V."""
    law = {"saturation_a": 2e-9, "ideality": 1.8, "series_ohm": 0.5}
    board = circuit(rectifier("D", "a", "0V", **law), resistor("R", "a", "0V", 10e3))
    expected = brentq(lambda v: v / 10e3 + _shockley(v) - 1e-3, 0.0, 2.0)

    volts = junction_volts(board, [("a", "0V"), ("0V", "a")])[0]

    assert volts[0] == pytest.approx(expected, rel=1e-4)
    assert np.isinf(volts[1])  # 10 kohm at 1 mA is 10 V


def _shockley(v):
    return brentq(lambda i: i - 2e-9 * np.expm1((v - 0.501 * i) / (1.8 * VT)), -1e-8, 4.0)


@pytest.mark.parametrize(("sign", "pairs"), [(1.0, [("b", "e"), ("b", "c")]), (-1.0, [("e", "b"), ("c", "b")])])
def test_a_transistor_reads_two_junctions(sign, pairs):
    """Base-emitter and base-collector conduct, the rest is open; the polarity tells npn from pnp."""
    board = circuit(
        Element("Q", "bipolar", ("c", "b", "e"), {"sign": sign}), *[resistor(f"R{n}", n, "0V", 1e9) for n in "cbe"]
    )

    forward = junction_volts(board, pairs)[0]
    back = junction_volts(board, [(b, a) for a, b in pairs] + [("c", "e"), ("e", "c")])[0]

    assert ((forward > 0.5) & (forward < 0.75)).all()
    assert np.isinf(back).all()


@pytest.mark.parametrize("gain", [100.0, 200.0, 400.0])
@pytest.mark.parametrize("load", [300e3, 1e6, 3e6])
def test_two_transistors_head_to_tail_read_one_of_them(gain, load):
    """Each one's base on the other's emitter, collectors joined at a zener: Newton's method may go in a circle.

    Expected: scipy.optimize.brentq on the equations of Ebers and Moll in transport form (J. J. Ebers, J. L. Moll, Proc.
    IRE 42 (1954) 1761; from memory).
    """
    first = Element("Q1", "bipolar", ("c", "s", "0V"), {"sign": 1.0, "gain": gain})
    second = Element("Q2", "bipolar", ("c", "0V", "s"), {"sign": 1.0, "gain": gain})
    zener = Element("Z", "zener", ("0V", "c"), {"zener_v": 12.0})
    board = circuit(first, second, zener, resistor("R", "c", "p", load), resistor("RL", "p", "0V", 1e3))
    saturation, back = first.value("saturation_a"), first.value("reverse_gain")

    def currents(c, b, e):
        forward, reverse = np.expm1((b - e) / VT), np.expm1((b - c) / VT)
        ic = saturation * (forward - reverse) - saturation / back * reverse
        ib = saturation / gain * forward + saturation / back * reverse
        return ic, ib, -ic - ib

    def collectors(c, s):
        forward = zener.value("saturation_a") * np.expm1(-c / VT)
        return currents(c, s, 0.0)[0] + currents(c, 0.0, s)[0] + c / (load + 1e3) - forward

    def source(s):
        c = brentq(collectors, -1.0, 0.5, args=(s,), xtol=1e-15)
        return currents(c, s, 0.0)[1] + currents(c, 0.0, s)[2] + 1e-3

    expected = -brentq(source, -0.9, -0.3, xtol=1e-15)
    assert junction_volts(board, [("0V", "s")])[0, 0] == pytest.approx(expected, abs=1e-5)


def test_a_shorted_junction_reads_its_short():
    """1 mA through 2 ohm is 2 mV, both ways."""
    board = circuit(rectifier("D", "a", "0V"), resistor("R", "a", "0V", 1e6))

    volts = junction_volts(board, [("a", "0V"), ("0V", "a")], {("D", "shunt_ohm"): 2.0})[0]

    assert volts == pytest.approx([2e-3, 2e-3], rel=1e-3)


def test_a_diode_of_low_drop_shows_on_the_ohms_range_one_way_only():
    """A diode that passes 1 mA at 0.2 V conducts at 0.3 V; silicon does not."""
    low = {"saturation_a": 1e-3 / np.expm1(0.2 / VT), "ideality": 1.0, "series_ohm": 1.0}
    board = circuit(
        rectifier("D1", "a", "0V", **low),
        signal_diode("D2", "b", "0V"),
        resistor("RA", "a", "0V", 100e3),
        resistor("RB", "b", "0V", 100e3),
    )

    ohm = resistance(board, [("a", "0V"), ("0V", "a"), ("b", "0V")])[0]

    assert ohm[0] < 20.0
    leak = low["saturation_a"] / 0.3  # backward the saturation current flows at 0.3 V
    assert ohm[1:] == pytest.approx([1 / (1e-5 + leak), 100e3], rel=1e-3)


def test_impedance_gives_esr_and_capacitance_in_circuit():
    """A 1000 uF reservoir with 60 mohm beside 2.2 kohm, at 100 kHz and 120 Hz, by complex arithmetic."""
    board = circuit(capacitor("C", "p", "0V", 1e-3, esr_ohm=0.06), resistor("R", "p", "0V", 2.2e3))

    z = impedance(board, [("p", "0V")], [120.0, 100e3])[0, 0]

    expected = [1 / (1 / 2.2e3 + 1 / (0.06 + 1 / (2j * np.pi * hz * 1e-3))) for hz in (120.0, 100e3)]
    assert z == pytest.approx(expected, rel=1e-9)
    assert z[1].real == pytest.approx(0.06, rel=1e-3)


def test_unknown_nets_and_frequencies_are_refused():
    """A net that is not there, and zero hertz."""
    board = amplifier_board()

    with pytest.raises(SolveError, match="no net 'nowhere'"):
        resistance(board, [("nowhere", "0V")])
    with pytest.raises(SolveError, match=r"asked for at 0\.0 Hz"):
        impedance(board, [("m", "0V")], 0.0)
