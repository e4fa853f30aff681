"""Numbers in words."""

import pytest

from dustcap.report.wording import frequency, measured, per_cent, quantity


def test_the_value_ends_where_its_uncertainty_ends():
    """A value of 10.057 62 ohm with an uncertainty of 27 mohm is written 10.058 ohm.

    Source: JCGM 100:2008 (GUM), 7.2.6, worked example; from memory.
    """
    assert measured(10.05762, 0.027, "ohm") == "10.058 ± 0.027 Ω"


@pytest.mark.parametrize(
    ("value", "uncertainty", "unit", "said"),
    [
        (-52.34, 1.0, "dB", "−52.3 ± 1.0 dB"),
        (0.004, 0.0013, "V", "4.0 ± 1.3 mV"),
        (1.42e6, 3.4e4, "ohm", "1.42 ± 0.03 MΩ"),
        (0.072, 0.0031, "%", "7.2 ± 0.3 %"),
        (1000e-6, 34e-6, "F", "1000 ± 30 µF"),
        (0.0, 0.6, "1/s", "0.0 ± 0.6 /s"),
        (150.0, 54.3, "1/min", "150 ± 50 /min"),
    ],
)
def test_value_and_uncertainty_share_one_prefix(value, uncertainty, unit, said):
    """Two digits of the uncertainty are kept when it begins with 1 or 2, one otherwise; the prefix is the value's."""
    assert measured(value, uncertainty, unit) == said


@pytest.mark.parametrize("uncertainty", [None, 0.0, float("nan"), float("inf"), -1.0])
def test_without_a_usable_uncertainty_only_the_value_is_said(uncertainty):
    """No figure is made up for an uncertainty that is not known."""
    assert measured(-23.84, uncertainty, "V") == "−23.8 V"


def test_a_value_that_is_not_there_is_said_so():
    """Neither a missing value nor one that is not finite is printed as a number."""
    assert quantity(None, "V") == quantity(float("nan"), "V") == "not measured"


def test_no_probability_is_certain():
    """The ends of the scale stay open."""
    assert (per_cent(0.9999), per_cent(0.0001), per_cent(0.42)) == ("over 99 %", "under 1 %", "42 %")


def test_frequencies_at_an_axis_are_short():
    """Thousands are k."""
    assert [frequency(hz) for hz in (31.5, 500, 2000, 12500)] == ["31.5", "500", "2k", "12.5k"]
