"""The series lamp follows the published law and its worked points."""

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dustcap.errors import InputError
from dustcap.parts.lamp import EXPONENT, Lamp, limited

LAMP = Lamp(230.0, 100.0)


def test_the_exponent_follows_from_radiation_and_resistance():
    """P ~ T^4 and R ~ T^1.2 give I ~ V^(2.8/5.2) = V^0.53846 (derived; the power law is Martinez and Krug's)."""
    assert pytest.approx(0.53846, abs=5e-6) == EXPONENT


def test_a_hundred_watts_at_mains():
    """Rated 0.43478 A, hot 529 ohm (derived), cold 36.9 ohm (ratio 14.35 at 2700 K, tungsten table from memory)."""
    assert LAMP.rated_a == pytest.approx(0.43478, abs=5e-6)
    assert LAMP.hot_ohm == pytest.approx(529.0)
    assert LAMP.cold_ohm == pytest.approx(36.9, abs=0.1)


def test_at_a_tenth_of_its_volts_it_draws_more_than_a_quarter_of_its_current():
    """23 V: 0.1258 A (computed from the law), where a plain resistor would draw 0.043 A."""
    assert LAMP.ampere(23.0) == pytest.approx(0.12584, abs=5e-6)


def test_a_load_in_series_takes_most_of_the_mains():
    """1058 ohm behind the lamp: 43.16 V at the lamp, 33.0 W in the load (computed from the law)."""
    got = limited(230.0, LAMP, 1058.0)

    assert got.lamp_v == pytest.approx(43.158, abs=0.001)
    assert got.load_w == pytest.approx(33.0, abs=0.05)
    assert got.glows == "dull red"


def test_a_short_draws_the_rated_current_and_an_open_circuit_none():
    """The lamp takes all of the mains or none of it (limits)."""
    short, open_circuit = limited(230.0, LAMP, 0.0), limited(230.0, LAMP, inf)

    assert short.ampere == pytest.approx(LAMP.rated_a)
    assert short.glows == "bright"
    assert (open_circuit.ampere, open_circuit.load_v, open_circuit.glows) == (0.0, 230.0, "dark")


@given(st.floats(1.0, 1e5), st.floats(5.0, 500.0))
def test_the_split_adds_up(ohm, watt):
    """Volts add up to the mains and one current flows through both (Kirchhoff)."""
    lamp = Lamp(230.0, watt)

    got = limited(230.0, lamp, ohm)

    assert got.lamp_v + got.load_v == pytest.approx(230.0)
    assert got.load_v == pytest.approx(got.ampere * ohm, rel=1e-6)


def test_impossible_lamps_and_mains_are_refused():
    """Volts, watts and ohms outside their range are refused."""
    with pytest.raises(InputError, match="volts and watts"):
        Lamp(230.0, 0.0)
    with pytest.raises(InputError, match="zero or more"):
        LAMP.ampere(-1.0)
    with pytest.raises(InputError, match="mains volts"):
        limited(0.0, LAMP, 10.0)
