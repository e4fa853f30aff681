"""Preferred values agree with the registry's library and the printed exceptions."""

from math import log

import eseries
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dustcap.errors import InputError
from dustcap.parts.preferred import SERIES, is_preferred, nearest, series


@pytest.mark.parametrize("name", SERIES)
def test_each_series_agrees_with_the_registry_library(name):
    """Every value of every series is the one of the general-purpose library (IEC 60063)."""
    expected = [float(value) / 10 for value in eseries.series(eseries.ESeries[name])]

    assert len(series(name)) == int(name[1:])
    assert series(name) == pytest.approx([value / (10 ** (value >= 10)) for value in expected], rel=1e-12)


@pytest.mark.parametrize(
    ("value", "name", "expected"),
    [
        (5.1e3, "E12", 4.7e3),  # |ln(5.1/4.7)| = 0.0817 < |ln(5.6/5.1)| = 0.0935
        (4.6, "E24", 4.7),  # the rounded formula would keep 4.6
        (9.9, "E12", 10.0),
        (0.95e-6, "E6", 1e-6),
    ],
)
def test_the_nearest_value_is_nearest_by_ratio(value, name, expected):
    """Worked cases of the handbook of check values (computed), and the step over a decade."""
    assert nearest(value, name) == pytest.approx(expected, rel=1e-12)


@given(st.floats(1e-12, 1e9), st.sampled_from(SERIES))
def test_no_other_value_of_the_series_is_nearer(value, name):
    """No neighbour in the series has a ratio nearer to one."""
    got = nearest(value, name)

    for step in series(name):
        for power in range(-13, 11):
            assert abs(log(got / value)) <= abs(log(step * 10.0**power / value)) + 1e-12


def test_e24_is_no_part_of_e96():
    """1.2 stands in E24 and not in E96 (1.21 does)."""
    assert is_preferred(1200.0, "E24")
    assert not is_preferred(1200.0, "E96")
    assert is_preferred(1210.0, "E96")


@pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf")])
def test_a_value_without_a_ratio_is_refused(value):
    """Zero, negative and what is not finite have no nearest value."""
    with pytest.raises(InputError, match="no nearest"):
        nearest(value)


def test_an_unknown_series_is_refused():
    """E7 is no series."""
    with pytest.raises(InputError, match="no series 'E7'"):
        series("E7")
