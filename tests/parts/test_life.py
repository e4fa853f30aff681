"""Capacitor life agrees with makers' worked examples and refuses what lies beyond their formulas."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dustcap.errors import InputError
from dustcap.parts.life import (
    MAX_H,
    mixed_life,
    remaining_life,
    ripple_factor,
    service_life,
    temperature_factor,
    voltage_factor,
)

# COSEL Co., Ltd. (maker of power supplies), Q&A page a0057: 1000 h at 105 degC
COSEL_H = {45.0: 64_000.0, 55.0: 32_000.0, 65.0: 16_000.0}
# Rubycon, life formula sheet (formula SEEN, numbers computed from it): 2000 h 105 degC, rated rise 5 K
RUBYCON = [(55.0, 0.6, 83_456.2), (105.0, 1.0, 2000.0), (85.0, 0.0, 11_887.95)]


@pytest.mark.parametrize(("ambient_c", "hours"), COSEL_H.items())
def test_life_doubles_for_each_ten_kelvin_as_printed(ambient_c, hours):
    """The three printed lives come out."""
    assert 1000.0 * float(temperature_factor(105.0, ambient_c)) == pytest.approx(hours, rel=1e-12)


def test_a_round_of_temperatures_equals_the_printed_steady_one():
    """8 h each at 45, 55, 65 degC last as long as a steady 57.2 degC (printed), not as the mean of 55."""
    life_h = mixed_life(list(COSEL_H.values()), [8, 8, 8])

    assert 105.0 - 10.0 * np.log2(life_h / 1000.0) == pytest.approx(57.2, abs=0.05)
    assert life_h == pytest.approx(27_428.57, rel=1e-6)


@pytest.mark.parametrize(("ambient_c", "share", "hours"), RUBYCON)
def test_ripple_takes_life_as_the_makers_formula_says(ambient_c, share, hours):
    """Three points of the maker's formula: partial ripple, full ripple at the rating, none."""
    got = service_life(2000.0, 105.0, ambient_c, ripple_share=share)

    assert got.hours == pytest.approx(hours, rel=1e-5)


def test_voltage_counts_as_the_guide_says():
    """At 80 % of the rated volts the multiplier is 1.66 (a maker's guide, from memory); at full volts it is one."""
    assert voltage_factor(0.8) == pytest.approx(1.66)
    assert voltage_factor(1.0) == pytest.approx(1.0)


def test_an_estimate_is_capped_at_fifteen_years_and_says_so():
    """A cool capacitor is not promised more than makers promise (notes of a maker's estimate page)."""
    got = service_life(5000.0, 105.0, 45.0, ripple_share=0.1)

    assert got.hours == MAX_H == pytest.approx(15 * 8760)
    assert got.years == pytest.approx(15.0)
    assert "15 years" in " ".join(got.notes)


def test_a_cold_room_is_counted_as_forty_degrees():
    """Below 40 degC no more life is claimed (the makers' range of validity)."""
    assert service_life(1000, 105, 10, ripple_share=1).hours == service_life(1000, 105, 40, ripple_share=1).hours
    assert service_life(1000, 105, 10).notes


def test_what_was_used_is_taken_off():
    """Seven years of four hours a day take 7 x 365.25 x 4 h; a part that is past its life has none left."""
    assert remaining_life(32_000.0, 7.0, 4.0).hours == pytest.approx(32_000 - 7 * 365.25 * 4)
    assert remaining_life(1000.0, 7.0, 4.0).hours == 0.0
    assert "used up" in remaining_life(1000.0, 7.0, 4.0).notes[0]


stages = st.lists(st.tuples(st.floats(1.0, 1e6), st.floats(0.1, 24.0)), min_size=1, max_size=6)


@given(stages)
def test_a_round_lasts_between_its_shortest_and_longest_stage(pairs):
    """A weighted harmonic mean lies between the extremes (law)."""
    lives, hours = zip(*pairs, strict=True)

    assert min(lives) * (1 - 1e-9) <= mixed_life(lives, hours) <= max(lives) * (1 + 1e-9)


@pytest.mark.parametrize("ambient_c", [105.1, np.nan, -np.inf, [45.0, 120.0]])
def test_a_temperature_beyond_the_rating_is_refused(ambient_c):
    """Too hot, or not finite, is refused."""
    with pytest.raises(InputError, match="up to the rating of 105 degC"):
        temperature_factor(105.0, ambient_c)


@pytest.mark.parametrize("share", [-0.1, 3.0, np.nan])
def test_a_ripple_beyond_the_formula_is_refused(share):
    """Ripple that heats the core beyond 20 K, or that is no share, is refused."""
    with pytest.raises(InputError, match="heats the core"):
        ripple_factor(share)


@pytest.mark.parametrize("share", [0.0, 1.1, np.nan])
def test_volts_beyond_the_rating_are_refused(share):
    """The voltage term is for working volts within the rating."""
    with pytest.raises(InputError, match="rated volts"):
        voltage_factor(share)


@pytest.mark.parametrize(
    ("life_h", "hours"), [([1, 2], [1]), ([[1, 2]], [[1, 1]]), ([1, 0], [1, 1]), ([1, 1], [-1, 3]), ([1], [0])]
)
def test_an_impossible_round_is_refused(life_h, hours):
    """Shapes, signs and an empty round are refused."""
    with pytest.raises(InputError, match="a round needs"):
        mixed_life(life_h, hours)


@pytest.mark.parametrize("life_h", [0.0, -5.0, np.nan, np.inf])
def test_a_life_of_nothing_is_refused(life_h):
    """Rated and expected lives are finite and above zero."""
    with pytest.raises(InputError, match="a life of"):
        service_life(life_h, 105.0, 55.0)
    with pytest.raises(InputError, match="a life of"):
        remaining_life(life_h, 1.0, 4.0)


def test_a_day_has_24_hours():
    """More hours a day than there are is refused."""
    with pytest.raises(InputError, match="25 h a day"):
        remaining_life(1000.0, 1.0, 25.0)
