"""Soak against printed and exact values."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from dustcap.errors import InputError
from dustcap.proof.soak import (
    clean_cycles,
    cycles_to_show,
    cycles_until_fair,
    hours_to_show,
    hours_until_fair,
    left_after_cycles,
    left_after_hours,
    shown_hours,
    shown_reliability,
    soak,
    soak_hours,
)


@pytest.mark.parametrize(
    # ln(1 - C) / ln R, rounded up: the usual success-run table (W. Nelson, Applied Life Data Analysis, from memory)
    ("reliability", "confidence", "cycles"),
    [(0.9, 0.9, 22), (0.95, 0.9, 45), (0.9, 0.95, 29), (0.95, 0.95, 59), (0.99, 0.9, 230), (0.99, 0.95, 299),
     (0.8, 0.8, 8), (0.5, 0.75, 2)],
)  # fmt: skip
def test_clean_cycles_are_those_of_the_success_run(reliability, confidence, cycles):
    """So many cycles without a failure demonstrate that reliability, and one fewer does not."""
    assert clean_cycles(reliability, confidence) == cycles
    assert reliability**cycles <= (1 - confidence) * (1 + 1e-12) < reliability ** (cycles - 1) * (1 + 1e-9)


@pytest.mark.parametrize(
    # rule of three, exact: 1 - 0.05^(1/n)
    ("cycles", "fails"),
    [(3, 0.631597), (10, 0.258866), (30, 0.095034), (100, 0.029513), (300, 0.009936)],
)
def test_clean_cycles_bound_the_share_of_failures(cycles, fails):
    """After n clean cycles the share of failures is below 1 - 0.05^(1/n) with 95 % confidence."""
    assert 1 - shown_reliability(cycles, 0) == pytest.approx(fails, abs=1e-6)


def test_failures_lower_the_bound_as_clopper_and_pearson_say():
    """With failures the bound is the exact binomial one of scipy's own test."""
    for cycles, failures in ((10, 1), (40, 3), (5, 5), (0, 0)):
        if cycles > failures:
            exact = stats.binomtest(cycles - failures, cycles).proportion_ci(0.90, method="exact").low
        else:
            exact = 0.0
        assert shown_reliability(cycles, failures) == pytest.approx(exact, abs=1e-9)


@pytest.mark.parametrize(
    # 2 T / chi2(C; 2 r + 2) for T = 1000 h
    ("failures", "confidence", "hours"),
    [(0, 0.90, 434.2945), (0, 0.95, 333.8082), (1, 0.90, 257.0879)],
)
def test_hours_bound_the_mean_time_between_failures(failures, confidence, hours):
    """A thousand hours demonstrate the chi-square bound (MIL-HDBK-338B, time-terminated test, from memory)."""
    assert shown_hours(1000.0, failures, confidence) == pytest.approx(hours, abs=1e-4)


def test_the_chance_of_a_lucky_run_is_the_beta_integral():
    """Averaged over the Jeffreys posterior by numeric integration, the chance of a clean run is the same."""
    share = np.linspace(0, 1, 200001)[1:-1]
    density = stats.beta.pdf(share, 3.5, 7.5)
    by_hand = np.trapezoid(density * (1 - share) ** 12, share)

    assert left_after_cycles(3, 10, 12) == pytest.approx(by_hand, rel=1e-4)


def test_cycles_until_fixed_is_a_fair_word():
    """The number is the least one that leaves 5 %, and a rarer fault needs more of them."""
    needed = cycles_until_fair(3, 10)

    assert left_after_cycles(3, 10, needed) <= 0.05 < left_after_cycles(3, 10, needed - 1)
    assert cycles_until_fair(1, 20) > needed > cycles_until_fair(9, 10)


def test_hours_until_fixed_is_a_fair_word():
    """The hours leave 5 % by the formula itself; simulated rates agree."""
    hours = hours_until_fair(4, 20.0)
    rates = np.random.default_rng(1).gamma(4.5, 1 / 20.0, 200000)

    assert left_after_hours(4, 20.0, hours) == pytest.approx(0.05, rel=1e-9)
    assert np.mean(np.exp(-rates * hours)) == pytest.approx(0.05, abs=0.002)


def test_a_soak_tells_how_far_it_is():
    """Half way it is undecided and says what remains; at the end it passes; a failure fails it."""
    needed = cycles_until_fair(3, 10)
    half, done, again = (soak(*run, came=3, tried=10) for run in ((5, 0), (needed, 0), (8, 1)))

    assert (half.verdict, half.remaining, half.needed) == ("undecided", needed - 5, needed)
    assert half.left == pytest.approx(left_after_cycles(3, 10, 5))
    assert (done.verdict, done.remaining) == ("pass", 0)
    assert done.left <= 0.05
    assert (again.verdict, again.left) == ("fail", 1.0)
    assert again.fails_at_most > soak(8, 0, came=3, tried=10).fails_at_most


def test_impossible_soaks_are_refused():
    """Shares beyond 0 and 1, more failures than cycles, no time, or a fault that never came are refused."""
    for reliability in (0.0, 1.0, np.nan):
        with pytest.raises(InputError, match="cannot be shown"):
            clean_cycles(reliability, 0.9)
    with pytest.raises(InputError, match="5 of 3 is no count"):
        shown_reliability(3, 5)
    with pytest.raises(InputError, match="says nothing"):
        hours_until_fair(1, 0.0)
    with pytest.raises(InputError, match="no soak"):
        shown_hours(-1.0, 0)
    with pytest.raises(InputError, match="too seldom"):
        cycles_until_fair(0, 100000)


@pytest.mark.parametrize(("share", "confidence", "failures"), [(0.05, 0.95, 0), (0.1, 0.9, 1), (0.02, 0.95, 3)])
def test_cycles_to_show_are_the_least_that_the_exact_bound_allows(share, confidence, failures):
    """So many cycles put the exact binomial bound of scipy's own test below the share, and one fewer does not."""

    def bound(cycles):
        exact = stats.binomtest(failures, cycles).proportion_ci(2 * confidence - 1, method="exact")
        return exact.high

    cycles = cycles_to_show(share, confidence, failures)

    assert bound(cycles) <= share * (1 + 1e-9) < bound(cycles - 1)


def test_cycles_to_show_agree_with_the_success_run():
    """Without a failure it is the usual table: 1 % with 95 % confidence takes 299 (from memory), 5 % takes 59."""
    assert (cycles_to_show(0.01), cycles_to_show(0.05)) == (299, 59)


@pytest.mark.parametrize(
    # T = M chi2(C; 2 r + 2) / 2 (MIL-HDBK-338B, time-terminated test, from memory); chi2 from scipy.stats
    ("between_h", "confidence", "failures"),
    [(100.0, 0.95, 0), (500.0, 0.9, 2)],
)
def test_hours_to_show_are_the_chi_square_bound_turned_round(between_h, confidence, failures):
    """So many hours, with so many failures in them, show that mean time."""
    expected = between_h * stats.chi2.ppf(confidence, 2 * failures + 2) / 2

    assert hours_to_show(between_h, confidence, failures) == pytest.approx(expected, rel=1e-9)


def test_a_soak_by_hours_passes_fails_and_waits():
    """Two times in 40 h: 92.6 clean hours are fair, (T/(T+t))^2.5 = 5 %; a failure ends it."""
    enough = 40.0 * (0.05 ** (-1 / 2.5) - 1)

    assert soak_hours(enough - 1, 0, came=2, hours_before=40).verdict == "undecided"
    done = soak_hours(enough + 1, 0, came=2, hours_before=40)
    assert (done.verdict, done.remaining) == ("pass", 0.0)
    assert done.left < 0.05
    back = soak_hours(enough + 1, 1, came=2, hours_before=40)
    assert (back.verdict, back.left) == ("fail", 1.0)


def test_the_fair_number_holds_for_units_as_they_come():
    """Over random faults counted in ten switch-ons, at most about 5 % of unrepaired units pass their own fair number.

    The shares are drawn from the prior of the rule (Jeffreys), so that the promise is exact on average.
    """
    generator = np.random.default_rng(27)
    shares = generator.beta(0.5, 0.5, 40_000)
    came = generator.binomial(10, shares)
    needed = np.array([cycles_until_fair(k, 10) if k else 0 for k in range(11)])
    passed = [generator.random(int(np.sum(came == k))) < (1 - shares[came == k]) ** needed[k] for k in range(1, 11)]

    assert 0.02 < np.concatenate(passed).mean() <= 0.05 + 0.004


@pytest.mark.parametrize("call", [lambda: cycles_to_show(0.0), lambda: cycles_to_show(1e-8, 0.95, 1),
                                  lambda: hours_to_show(0.0), lambda: hours_to_show(5.0, 1.0)])  # fmt: skip
def test_what_cannot_be_shown_is_refused(call):
    """One clear line."""
    with pytest.raises(InputError):
        call()
