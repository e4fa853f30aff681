"""Verdicts with guard bands."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from dustcap.errors import InputError
from dustcap.proof.verdicts import conformance, verdict


@pytest.mark.parametrize(
    ("value", "limit", "uncertainty", "better", "expected"),
    [
        (-52.0, -60.0, 1.0, "below", "fail"),
        (-61.0, -60.0, 1.0, "below", "pass"),
        (-60.5, -60.0, 1.0, "below", "undecided"),
        (-59.5, -60.0, 1.0, "below", "undecided"),
        (41.0, 40.0, 0.5, "above", "pass"),
        (39.6, 40.0, 0.5, "above", "undecided"),
        (39.0, 40.0, 0.5, "above", "fail"),
        (-0.3, 0.5, 0.1, "within", "pass"),
        (-0.45, 0.5, 0.1, "within", "undecided"),
        (-0.7, 0.5, 0.1, "within", "fail"),
        (5.0, 5.0, 0.0, "below", "pass"),  # without uncertainty the limit itself is good
    ],
)
def test_the_guard_band_decides(value, limit, uncertainty, better, expected):
    """Acceptance and rejection zones end one expanded uncertainty from the limit (JCGM 106:2012, 8.3, from memory)."""
    assert verdict(value, limit, uncertainty, better) == expected


def test_a_unit_on_the_limit_is_seldom_decided():
    """By the normal distribution a true value on the limit passes in 2.5 % and fails in 2.5 % of measurements."""
    values = np.random.default_rng(1).normal(-60.0, 1.0 / 1.959963985, 20000)
    words = [verdict(value, -60.0, 1.0) for value in values]

    assert words.count("pass") / 20000 == pytest.approx(0.025, abs=0.004)
    assert words.count("fail") / 20000 == pytest.approx(0.025, abs=0.004)


def test_the_chance_of_conformance_is_the_normal_integral():
    """At the edge of the guard band the chance is that of the normal distribution at 1.96 sigma, 97.5 %."""
    assert conformance(-61.0, -60.0, 1.0) == pytest.approx(stats.norm.cdf(1.959963985), abs=1e-9)
    assert conformance(41.0, 40.0, 1.0, "above") == pytest.approx(0.975, abs=1e-9)
    assert conformance(0.0, 1.0, 1.0, "within") == pytest.approx(0.95, abs=1e-9)
    assert conformance(3.0, 2.0, 0.0) == 0.0


@pytest.mark.parametrize("case", [(np.nan, 1, 1), (1, np.inf, 1), (1, 1, -0.1), (1, 1, np.nan)])
def test_what_is_no_number_is_not_judged(case):
    """Values that are not finite, or a negative uncertainty, are refused."""
    with pytest.raises(InputError, match="cannot be judged"):
        verdict(*case)


def test_an_unknown_side_is_refused():
    """The sentence names the sides there are."""
    with pytest.raises(InputError, match="below, above or within"):
        verdict(1, 1, 1, "at most")
