"""How often something happens, from a count: exact intervals of a rate and of the ratio of two rates."""

from __future__ import annotations

from dataclasses import dataclass

from scipy import special

from dustcap.errors import InputError


@dataclass(frozen=True, slots=True)
class Interval:
    """A value with the bounds of its two-sided confidence interval; a bound may be infinite."""

    value: float
    low: float
    high: float


def rate_interval(events: int, seconds: float, *, confidence: float = 0.95) -> Interval:
    """Events per second with the exact interval of a Poisson count.

    References
    ----------
    F. Garwood, Fiducial limits for the Poisson distribution, Biometrika 28 (1936): chi-square quantiles with 2k and
    2k + 2 degrees of freedom, halved.

    Examples
    --------
    >>> rate_interval(0, 1.0).high.__round__(4)
    3.6889
    """
    _check(events, seconds)
    tail = (1.0 - confidence) / 2.0
    low = float(special.gammaincinv(events, tail)) if events else 0.0
    high = float(special.gammainccinv(events + 1, tail))
    return Interval(events / seconds, low / seconds, high / seconds)


def ratio_interval(
    events: int, seconds: float, other_events: int, other_seconds: float, *, confidence: float = 0.95
) -> Interval:
    """Rate over the other rate, with the exact conditional interval.

    Given the sum of two Poisson counts, one of them is binomial; the Clopper-Pearson bounds of its share become bounds
    of the ratio. With no events in the other recording the value and the upper bound are infinite; with none in
    either, nothing is known and the interval runs from zero to infinity.
    """
    _check(events, seconds)
    _check(other_events, other_seconds)
    tail = (1.0 - confidence) / 2.0
    low_share = float(special.betaincinv(events, other_events + 1, tail)) if events else 0.0
    high_share = float(special.betainccinv(events + 1, other_events, tail)) if other_events else 1.0
    scale = other_seconds / seconds
    value = events / other_events * scale if other_events else (float("inf") if events else float("nan"))
    return Interval(value, _odds(low_share) * scale, _odds(high_share) * scale)


def same_rate_p(events: int, seconds: float, other_events: int, other_seconds: float) -> float:
    """Probability that two equal rates give counts as unlike as these, or more so (two-sided conditional binomial)."""
    _check(events, seconds)
    _check(other_events, other_seconds)
    if events + other_events == 0:
        return 1.0
    share = seconds / (seconds + other_seconds)
    from scipy.stats import binomtest  # slow to load, and seldom asked for

    return float(binomtest(events, events + other_events, share).pvalue)


def _odds(share: float) -> float:
    return share / (1.0 - share) if share < 1.0 else float("inf")


def _check(events: int, seconds: float) -> None:
    if not (events >= 0 and seconds > 0):
        raise InputError(
            f"{events} events in {seconds:g} s is no rate.",
            where="sound.rates",
            mend="Give a count of zero or more and a time above zero.",
        )
