"""Limits of electrolytic capacitors agree with makers' sheets."""

import pytest

from dustcap.errors import InputError
from dustcap.parts.electrolytic import (
    USEFUL_LIFE,
    core_rise,
    esr_limit,
    esr_ratio,
    leakage_limit,
    tan_delta_limit,
    worn_out,
)


@pytest.mark.parametrize(
    ("farad", "rated_v", "micro_a"),
    [
        (2200e-6, 35.0, 770.0),  # Chemi-Con FAQ on leakage current, printed
        (10e-6, 16.0, 3.0),  # Lelon RGA sheet, formula: never below 3 uA
        (47e-6, 400.0, 401.0),  # Lelon RGA sheet, formula above 100 V, CV above 1000
        (1e-6, 200.0, 21.0),  # the same sheet, CV below 1000: 0.03 x 200 + 15
    ],
)
def test_leakage_limits_are_the_sheets(farad, rated_v, micro_a):
    """The limits of the makers' sheets come out in ampere."""
    assert leakage_limit(farad, rated_v) == pytest.approx(micro_a * 1e-6, rel=1e-12)


@pytest.mark.parametrize(
    ("farad", "rated_v", "ohm"),
    [(1000e-6, 25.0, 0.18568), (100e-6, 25.0, 1.8568)],  # tan delta 0.14 (Lelon RGA) / (2 pi 120 Hz C), computed
)
def test_series_resistance_follows_from_the_loss_factor(farad, rated_v, ohm):
    """The limit at 120 Hz follows from the sheet's loss factor."""
    assert esr_limit(farad, rated_v) == pytest.approx(ohm, rel=1e-4)


def test_large_capacitors_may_lose_more():
    """4700 uF 50 V: 0.10 + 0.02 x 3.7 = 0.174 (Lelon RGA sheet, read linearly)."""
    assert tan_delta_limit(4700e-6, 50.0) == pytest.approx(0.174, rel=1e-12)


def test_a_part_between_two_ratings_counts_as_the_lower():
    """40 V has the limit of 35 V; below the table its first row counts."""
    assert tan_delta_limit(100e-6, 40.0) == 0.12
    assert tan_delta_limit(100e-6, 4.0) == 0.23


def test_twice_the_loss_and_a_fifth_less_capacitance_is_two_and_a_half_times_the_resistance():
    """ESR = tan delta / (2 pi f C): 2 / 0.8 = 2.5 (derived)."""
    assert esr_ratio(2.0, 0.8) == pytest.approx(2.5)


def test_ripple_heats_the_core():
    """1.5 A in 50 mohm at 20 K/W is 2.25 K (derived: I^2 R Rth)."""
    assert core_rise(1.5, 0.05, 20.0) == pytest.approx(2.25)


def test_worn_out_by_loss_of_capacitance_or_by_loss_factor():
    """Endurance criterion of the Lelon RGA sheet (-20 %, tan delta x 2), useful life of the TDK B41858 (-40 %, x 3)."""
    limit = esr_limit(1000e-6, 35.0)

    assert worn_out(1000e-6, 35.0, 790e-6, limit)[0]
    assert not worn_out(1000e-6, 35.0, 810e-6, 2.4 * limit)[0]
    assert worn_out(1000e-6, 35.0, 810e-6, 2.5 * limit)[0]
    assert not worn_out(1000e-6, 35.0, 790e-6, limit, USEFUL_LIFE)[0]
    assert "loss factor" in worn_out(1000e-6, 35.0, 1000e-6, 2.1 * limit)[1]


@pytest.mark.parametrize(("farad", "rated_v"), [(0.0, 35.0), (1e-6, -1.0), (float("nan"), 35.0)])
def test_an_impossible_capacitor_is_refused(farad, rated_v):
    """Capacitance and rated volts are above zero."""
    with pytest.raises(InputError, match="Give capacitance"):
        tan_delta_limit(farad, rated_v)
