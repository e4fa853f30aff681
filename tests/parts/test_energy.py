"""Stored energy, discharge and touch limits agree with worked examples and standards."""

from math import inf, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dustcap.errors import InputError
from dustcap.parts.energy import discharge_time, energy_class, stored, stored_energy, volts_after


def test_the_textbook_discharge_comes_out():
    """M. H. Rashid, Power Electronics, 4th edition, example 2.4: 220 V, 44 ohm, 0.1 uF, 2 us: 139.64 V, 2.42 mJ."""
    assert volts_after(220.0, 0.1e-6, 44.0, 2e-6) == pytest.approx(139.64, abs=0.005)
    assert stored_energy(0.1e-6, 220.0) == pytest.approx(2.42e-3, rel=1e-9)


def test_a_large_reservoir_takes_its_time():
    """10,000 uF, 2.2 kohm, 40 V to 1 V: 81.2 s and 8.0 J (derived: R C ln 40)."""
    assert discharge_time(40.0, 1.0, 10e-3, 2200.0) == pytest.approx(81.155, rel=5e-4)
    assert stored_energy(10e-3, 40.0) == pytest.approx(8.0)


def test_a_mains_capacitor_with_its_resistor_passes_the_plug_rule():
    """0.47 uF, 1 Mohm from 340 V: 40.5 V after 1 s, below 37 % (125.8 V) that IEC 60950-1 2.1.1.7 allows."""
    assert volts_after(340.0, 0.47e-6, 1e6, 1.0) == pytest.approx(40.5, abs=0.05)


@given(st.floats(1.0, 500.0), st.floats(1e-9, 0.1), st.floats(1.0, 1e7), st.floats(0.01, 0.99))
def test_waiting_the_discharge_time_leaves_the_volts_asked_for(v, farad, ohm, share):
    """Time and volts are inverses of each other (law)."""
    s = discharge_time(v, share * v, farad, ohm)

    assert volts_after(v, farad, ohm, s) == pytest.approx(share * v, rel=1e-9)


@pytest.mark.parametrize(
    ("v", "alternating", "number"),
    [
        # IEC 62368-1:2018 table 4 as quoted by a secondary text
        (35.0, False, 1),
        (60.0, False, 1),
        (-70.0, False, 2),
        (120.0, False, 2),
        (325.0, False, 3),
        (30.0, True, 1),
        (50.0, True, 2),
        (230.0, True, 3),
    ],
)
def test_voltages_are_classed_as_the_standard_does(v, alternating, number):
    """Each limit belongs to the class below it."""
    assert energy_class(v, alternating=alternating) == number


def test_a_capacitor_with_too_much_charge_fails_the_five_second_rule():
    """4.4 uF at 80 V holds 352 uC, more than the 45 uC of IEC 61010-1 6.10.3, and nothing drains it."""
    got = stored(80.0, 4.4e-6)

    assert got.coulomb == pytest.approx(352e-6)
    assert not got.bleeder_enough
    assert got.touch_after_s == inf


def test_a_bleeder_is_enough_when_five_seconds_are():
    """The same capacitor with 1 Mohm: 80 exp(-5/4.4) = 25.7 V left."""
    got = stored(80.0, 4.4e-6, 1e6)

    assert got.bleeder_enough
    assert got.touch_after_s == pytest.approx(4.4 * 0.28768, rel=1e-4)
    assert got.work_after_s > got.touch_after_s


def test_a_discharge_resistor_is_named_only_where_it_is_needed():
    """A reservoir gets a resistor that empties it in ten seconds; 3 V needs none."""
    reservoir, low = stored(35.0, 1000e-6), stored(3.0, 1000e-6)

    assert volts_after(35.0, 1000e-6, reservoir.resistor_ohm, 10.0) < 1.0
    assert reservoir.resistor_peak_w == pytest.approx(35.0**2 / reservoir.resistor_ohm)
    assert low.resistor_ohm == inf


@pytest.mark.parametrize("farad", [0.0, -1e-6, nan])
def test_an_impossible_capacitor_is_refused(farad):
    """Capacitance is above zero."""
    with pytest.raises(InputError, match="above zero"):
        stored_energy(farad, 10.0)


def test_an_impossible_discharge_is_refused():
    """No resistance, no target and no finite voltage are refused."""
    with pytest.raises(InputError, match="resistance above zero"):
        volts_after(10.0, 1e-6, 0.0, 1.0)
    with pytest.raises(InputError, match="resistance above zero"):
        discharge_time(10.0, 1.0, 1e-6, -5.0)
    with pytest.raises(InputError, match="to_v"):
        discharge_time(10.0, 0.0, 1e-6, 5.0)
    with pytest.raises(InputError, match="no class"):
        energy_class(nan)
