"""Rates from counts against printed exact intervals."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from dustcap.errors import InputError
from dustcap.sound.rates import rate_interval, ratio_interval, same_rate_p


@pytest.mark.parametrize(
    ("confidence", "events", "low", "high"),
    [
        # worked values on the documentation pages of two general statistics packages: 0 and 25 events
        (0.95, 0, 0.0, 3.689),
        (0.95, 25, 16.18, 36.90),
        (0.90, 25, 17.38, 34.92),
        (0.99, 25, 14.00, 41.00),
        # Garwood 1936, by chi-square tables
        (0.95, 1, 0.0253, 5.5716),
        (0.95, 10, 4.7954, 18.3904),
        (0.95, 100, 81.3640, 121.6268),
    ],
)
def test_the_interval_of_a_count_is_the_printed_one(confidence, events, low, high):
    """A count in one second has the exact limits that printed tables give."""
    got = rate_interval(events, 1.0, confidence=confidence)

    assert got.low == pytest.approx(low, abs=0.006)
    assert got.high == pytest.approx(high, abs=0.006)


@pytest.mark.parametrize("mean", [0.5, 3.0, 41.0])
def test_the_interval_covers_at_least_as_often_as_it_says(mean):
    """Summed over the Poisson distribution, the intervals hold the true mean in 95 % of cases or more (law)."""
    counts = np.arange(0, 200)
    holds = [rate_interval(int(k), 1.0).low <= mean <= rate_interval(int(k), 1.0).high for k in counts]

    assert 0.95 <= stats.poisson.pmf(counts, mean)[holds].sum() <= 0.99


def test_the_ratio_has_the_clopper_pearson_interval():
    """The interval of a ratio is the binomial one of scipy's own exact test, turned into odds."""
    got = ratio_interval(12, 60.0, 2, 30.0)
    share = stats.binomtest(12, 14).proportion_ci(0.95, method="exact")

    assert got.value == pytest.approx(12 / 2 * 30 / 60)
    assert got.low == pytest.approx(share.low / (1 - share.low) / 2, rel=1e-9)
    assert got.high == pytest.approx(share.high / (1 - share.high) / 2, rel=1e-9)


def test_no_events_leave_a_bound_open():
    """None in the other recording leaves the upper bound infinite, none in this one the lower bound zero."""
    assert ratio_interval(5, 10, 0, 10).high == np.inf
    assert ratio_interval(0, 10, 5, 10).low == 0.0
    assert np.isnan(ratio_interval(0, 10, 0, 10).value)


@pytest.mark.parametrize(
    # conditional binomial, summed by hand: 12 in 60 s against 2 in 60 s; 30 in 60 s against 0 in 120 s; 5 against 4
    ("case", "p"),
    [((12, 60, 2, 60), 0.0129395), ((30, 60, 0, 120), 4.857e-15), ((5, 60, 4, 60), 1.0), ((0, 9, 0, 9), 1.0)],
)
def test_equal_rates_are_tested_exactly(case, p):
    """The two-sided conditional test gives the probabilities of the binomial sum."""
    assert same_rate_p(*case) == pytest.approx(p, rel=1e-4)


def test_an_impossible_count_is_refused():
    """A negative count or no time is no rate."""
    with pytest.raises(InputError, match="no rate"):
        rate_interval(-1, 1.0)
    with pytest.raises(InputError, match="time above zero"):
        ratio_interval(1, 0.0, 1, 1.0)
