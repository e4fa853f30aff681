"""Soak: how many clean switch-ons or hours make "fixed" a fair word, and what has been shown so far.

=================  =================  =====  ==================================================================
symbol             name here          unit   meaning
=================  =================  =====  ==================================================================
R                  reliability        --     chance that one cycle passes without the fault
C                  confidence         --     one-sided confidence of a demonstrated bound
n, T               cycles, hours      --, h  cycles or hours run
r                  failures           --     times the fault came back
=================  =================  =====  ==================================================================
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, exp, log

from scipy import special

from dustcap.errors import InputError

LEFT = 0.05  # ours: chance that an unrepaired unit would have run clean, at which "fixed" becomes fair
MOST_CYCLES = 1_000_000


def clean_cycles(reliability: float, confidence: float) -> int:
    """Cycles without a failure that demonstrate a reliability: the least whole n with R^n <= 1 - C.

    Examples
    --------
    >>> clean_cycles(0.95, 0.95)
    59
    """
    _share(reliability, "reliability")
    _share(confidence, "confidence")
    return ceil(log(1.0 - confidence) / log(reliability) - 1e-9)


def shown_reliability(cycles: int, failures: int, confidence: float = 0.95) -> float:
    """Lower bound of the chance that a cycle passes, one-sided (Clopper and Pearson 1934); zero before any cycle."""
    _counts(cycles, failures)
    _share(confidence, "confidence")
    if failures >= cycles:
        return 0.0
    return float(special.betaincinv(cycles - failures, failures + 1, 1.0 - confidence))


def shown_hours(hours: float, failures: int, confidence: float = 0.95) -> float:
    """Lower bound of the mean time between failures in hours, one-sided: 2 T / chi2(C; 2 r + 2).

    The failures come at a constant rate and the run was ended by the clock.
    """
    if not (hours >= 0 and failures >= 0):
        raise InputError(
            f"{failures} failures in {hours:g} h is no soak.", where="proof.soak", mend="Give what was run so far."
        )
    _share(confidence, "confidence")
    return 2.0 * hours / float(2.0 * special.gammaincinv(failures + 1, confidence))


def left_after_cycles(came: int, tried: int, clean: int) -> float:
    """Chance that a unit as it was before the work runs so many cycles clean.

    Before the work the fault came in `came` of `tried` switch-ons; the unknown share has the Jeffreys prior, so that
    the chance is B(a, b + n) / B(a, b) with a = came + 1/2, b = tried - came + 1/2.
    """
    _counts(tried, came)
    _counts(clean, 0)
    a, b = came + 0.5, tried - came + 0.5
    return exp(float(special.betaln(a, b + clean) - special.betaln(a, b)))


def left_after_hours(came: int, hours_before: float, clean_hours: float) -> float:
    """The same for a fault that came so often in so many hours: (T / (T + t))^(r + 1/2), Jeffreys prior of a rate."""
    if not (came >= 0 and hours_before > 0 and clean_hours >= 0):
        raise InputError(
            f"{came} times in {hours_before:g} h says nothing about {clean_hours:g} h.",
            where="proof.soak",
            mend="Give how often it came, and in how many hours.",
        )
    return float((hours_before / (hours_before + clean_hours)) ** (came + 0.5))


def cycles_until_fair(came: int, tried: int, left: float = LEFT) -> int:
    """Clean cycles after which an unrepaired unit would have shown its fault with a probability of 1 - `left`."""
    _share(left, "share")
    if left_after_cycles(came, tried, MOST_CYCLES) > left:
        raise InputError(
            f"{came} of {tried} is too seldom to be shown gone.",
            where="proof.soak",
            mend="Note how often the fault came before the work, or soak by hours.",
        )
    low, high = 0, MOST_CYCLES
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if left_after_cycles(came, tried, middle) > left else (low, middle)
    return high


def hours_until_fair(came: int, hours_before: float, left: float = LEFT) -> float:
    """Clean hours after which an unrepaired unit would have shown its fault with a probability of 1 - `left`."""
    _share(left, "share")
    left_after_hours(came, hours_before, 0.0)
    return float(hours_before * (left ** (-1.0 / (came + 0.5)) - 1.0))


@dataclass(frozen=True, slots=True)
class Soak:
    """Where a soak by cycles stands.

    `needed` are the clean cycles that make "fixed" fair, `remaining` those still to run, `left` the chance that the
    unrepaired unit would look as clean, `fails_at_most` the share of cycles in which it fails at most (95 %).
    `verdict` is "pass", "fail" (it came back) or "undecided".
    """

    cycles: int
    failures: int
    needed: int
    remaining: int
    left: float
    fails_at_most: float
    verdict: str


def soak(cycles: int, failures: int, *, came: int, tried: int) -> Soak:
    """Progress of a soak after the work on a unit whose fault came in `came` of `tried` switch-ons before it."""
    _counts(cycles, failures)
    needed = cycles_until_fair(came, tried)
    passed = "pass" if cycles >= needed else "undecided"
    return Soak(
        cycles=cycles,
        failures=failures,
        needed=needed,
        remaining=max(needed - cycles, 0),
        left=left_after_cycles(came, tried, cycles) if not failures else 1.0,
        fails_at_most=1.0 - shown_reliability(cycles, failures),
        verdict="fail" if failures else passed,
    )


@dataclass(frozen=True, slots=True)
class HoursSoak:
    """Where a soak by hours stands; as `Soak`, with the mean time between failures that is shown at least (95 %)."""

    hours: float
    failures: int
    needed: float
    remaining: float
    left: float
    between_at_least_h: float
    verdict: str


def soak_hours(hours: float, failures: int, *, came: int, hours_before: float) -> HoursSoak:
    """Progress of a soak by hours, of a fault that came so often in so many hours before the work."""
    needed = hours_until_fair(came, hours_before)
    passed = "pass" if hours >= needed else "undecided"
    return HoursSoak(
        hours=hours,
        failures=failures,
        needed=needed,
        remaining=max(needed - hours, 0.0),
        left=left_after_hours(came, hours_before, hours) if not failures else 1.0,
        between_at_least_h=shown_hours(hours, failures),
        verdict="fail" if failures else passed,
    )


def cycles_to_show(share: float, confidence: float = 0.95, failures: int = 0) -> int:
    """Cycles, `failures` of them with the fault, that show it in less than that share of cycles.

    The least n whose exact binomial bound lies there; without a failure that of `clean_cycles`.
    """
    _share(share, "share")
    if not failures:
        return clean_cycles(1.0 - share, confidence)
    low, high = failures, 2 * failures
    while shown_reliability(high, failures, confidence) < 1.0 - share:
        low, high = high, 2 * high
        if low > MOST_CYCLES:
            raise InputError(
                f"less than {share:g} takes more than {MOST_CYCLES} cycles to show.",
                where="proof.soak",
                mend="Ask for a larger share.",
            )
    while high - low > 1:
        middle = (low + high) // 2
        good = shown_reliability(middle, failures, confidence) >= 1.0 - share
        low, high = (low, middle) if good else (middle, high)
    return high


def hours_to_show(between_h: float, confidence: float = 0.95, failures: int = 0) -> float:
    """Hours that show a mean time between failures of at least `between_h`: the inverse of `shown_hours`."""
    if not between_h > 0:
        raise InputError(
            f"{between_h:g} h between failures cannot be shown.", where="proof.soak", mend="Give hours above zero."
        )
    return between_h / shown_hours(1.0, failures, confidence)


def _counts(total: int, part: int) -> None:
    if not 0 <= part <= total:
        raise InputError(
            f"{part} of {total} is no count.", where="proof.soak", mend="Give whole numbers, the part no larger."
        )


def _share(value: float, name: str) -> None:
    if not 0 < value < 1:
        raise InputError(
            f"a {name} of {value:g} cannot be shown.",
            where="proof.soak",
            mend="Give a share between 0 and 1, like 0.95.",
        )
