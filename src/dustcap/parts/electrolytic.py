"""Limits of aluminium electrolytic capacitors: loss, series resistance, leakage, and when one is worn out."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite, pi

from dustcap.errors import InputError

TEST_HZ = 120.0
# greatest tan delta at 120 Hz, 20 degC, of a general purpose 105 degC series by rated volts [Lelon RGA sheet]
TAN_DELTA = (
    (6.3, 0.23),
    (10.0, 0.20),
    (16.0, 0.16),
    (25.0, 0.14),
    (35.0, 0.12),
    (50.0, 0.10),
    (63.0, 0.09),
    (100.0, 0.08),
    (160.0, 0.12),
    (200.0, 0.14),
    (250.0, 0.17),
    (350.0, 0.20),
    (400.0, 0.25),
    (450.0, 0.25),
)
EXTRA_TAN_DELTA_PER_FARAD = 0.02 / 1000e-6  # above 1000 uF [same sheet]
RATED_VOLTS = tuple(volts for volts, _ in TAN_DELTA)


@dataclass(frozen=True, slots=True)
class WornOut:
    """An end-of-life criterion: capacitance lost, and loss factor times its limit."""

    farad_lost: float = 0.20
    tan_delta_times: float = 2.0


ENDURANCE = WornOut()  # Lelon RGA endurance: -20 %, tan delta 200 % of the limit
USEFUL_LIFE = WornOut(0.40, 3.0)  # TDK B41858 useful life: -40 %, tan delta three times the limit


def tan_delta_limit(farad: float, rated_v: float) -> float:
    """Greatest loss factor at 120 Hz of a new general purpose part; between rated volts the lower rating counts.

    References
    ----------
    .. [1] Lelon, series RGA sheet: table by rated volts, 0.02 more for each 1000 uF above 1000 uF.

    Examples
    --------
    >>> round(tan_delta_limit(4700e-6, 50.0), 4)
    0.174
    """
    _check(farad, rated_v)
    fitting = [tan for volts, tan in TAN_DELTA if volts <= rated_v * (1 + 1e-9)]
    base = fitting[-1] if fitting else TAN_DELTA[0][1]
    return base + EXTRA_TAN_DELTA_PER_FARAD * max(0.0, farad - 1000e-6)


def esr_limit(farad: float, rated_v: float) -> float:
    """Greatest series resistance in ohm at 120 Hz of a new general purpose part, tan delta / (2 pi f C).

    New parts measure a third to a half of it at 120 Hz (from memory).

    Examples
    --------
    >>> round(esr_limit(1000e-6, 25.0), 4)
    0.1857
    """
    return tan_delta_limit(farad, rated_v) / (2 * pi * TEST_HZ * farad)


def leakage_limit(farad: float, rated_v: float) -> float:
    """Greatest leakage in ampere after two minutes at rated volts (five minutes above 100 V).

    References
    ----------
    .. [1] Lelon, series RGA sheet: up to 100 V 0.01 CV or 3 uA, above 0.03 CV + 15 uA or, for CV above 1000,
       0.02 CV + 25 uA (C in uF).
    .. [2] Chemi-Con, FAQ on leakage: 2200 uF 35 V, 770 uA.

    Examples
    --------
    >>> round(leakage_limit(2200e-6, 35.0) * 1e6)
    770
    """
    _check(farad, rated_v)
    charge = farad * 1e6 * rated_v
    if rated_v <= 100.0:
        return max(0.01 * charge, 3.0) * 1e-6
    return (0.03 * charge + 15.0 if charge <= 1000.0 else 0.02 * charge + 25.0) * 1e-6


def worn_out(
    farad: float, rated_v: float, measured_farad: float, measured_esr_ohm: float, criterion: WornOut = ENDURANCE
) -> tuple[bool, str]:
    """Whether a measured capacitor (120 Hz) is at its end of life, and why.

    The loss factor is computed from the measured resistance and the marked capacitance's limit:
    a part at tan delta x 2 that has lost 20 % shows 2.5 times the resistance.
    """
    _check(farad, rated_v)
    _check(measured_farad, rated_v)
    tan = 2 * pi * TEST_HZ * measured_farad * measured_esr_ohm
    limit = criterion.tan_delta_times * tan_delta_limit(farad, rated_v)
    lost = 1 - measured_farad / farad
    if lost > criterion.farad_lost:
        return True, f"it has lost {100 * lost:.0f} % of its capacitance, of {100 * criterion.farad_lost:.0f} % allowed"
    if tan > limit:
        return True, f"its loss factor is {tan:.2f}, of {limit:.2f} allowed"
    return False, "within the limits for a used part"


def esr_ratio(tan_delta_times: float, farad_times: float) -> float:
    """How many times the series resistance grows when loss factor and capacitance change: ESR = tan / (2 pi f C)."""
    return tan_delta_times / farad_times


def core_rise(ripple_a: float, esr_ohm: float, k_w: float) -> float:
    """Rise of the core in kelvin from ripple current, I^2 ESR Rth."""
    return ripple_a**2 * esr_ohm * k_w


def _check(farad: float, rated_v: float) -> None:
    if not (isfinite(farad) and farad > 0 and isfinite(rated_v) and rated_v > 0):
        raise InputError(
            f"{farad:g} F at {rated_v:g} V.", where="electrolytic", mend="Give capacitance and rated volts above zero."
        )
