"""Service life of aluminium electrolytic capacitors: temperature, ripple heating, working voltage.

============  =============  =====  ====================================================
symbol        name here      unit   meaning
============  =============  =====  ====================================================
Lb            rated_h        h      life at the rated temperature and rated ripple
Tmax          rated_c        degC   rated temperature
Ta            ambient_c      degC   air at the capacitor
dT0           rated_rise_k   K      rise of the core over the air at rated ripple and Tmax
I / I0        ripple_share   1      ripple current over rated ripple current
F             1 / weight     1      frequency coefficient of the ripple: taken into the share
============  =============  =====  ====================================================
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dustcap.errors import InputError

DOUBLING_K = 10.0
RATED_RISE_K = 5.0  # most series of the sheet [1]_ of `service_life`; 10 K and 3.5 K for a few
MAX_RISE_K = 20.0  # this project's bound: well before the formula's pole at 40 K
VALID_FROM_C = 40.0  # below, no more life may be claimed than at this temperature
MAX_H = 15 * 8760.0  # about 15 years: the cap that makers put on their own estimates
HOURS_A_YEAR = 8760.0


@dataclass(frozen=True, slots=True)
class Life:
    """A life expectancy in hours, what was left of it, and where the estimate is weaker than it looks."""

    hours: float
    notes: tuple[str, ...] = ()

    @property
    def years(self) -> float:
        """The same in years of continuous use."""
        return self.hours / HOURS_A_YEAR


def temperature_factor(rated_c: float, ambient_c: ArrayLike) -> NDArray[np.float64]:
    r"""How many times the rated life a cooler capacitor lasts, :math:`2^{(T_{max} - T_a) / 10}`.

    Parameters
    ----------
    rated_c : float
        Rated temperature, degC.
    ambient_c : array_like, shape (...)
        Air at the capacitor, degC; at most the rating.

    Returns
    -------
    ndarray, shape (...)

    Raises
    ------
    InputError
        If a temperature is not a finite number or lies above the rating, where the rule says nothing.

    Notes
    -----
    A maker finds that it holds well from 70 to 90 degC and less below 60 degC and above 105 degC [1]_.

    References
    ----------
    .. [1] Rubycon, technical note 4, http://www.rubycon.co.jp/en/products/alumi/technote4.html.
    .. [2] COSEL, Q&A page a0057: 1000 h at 105 degC are 64,000, 32,000, 16,000 h at 45, 55, 65 degC.

    Examples
    --------
    >>> float(1000 * temperature_factor(105.0, 45.0))
    64000.0
    """
    ambient = np.asarray(ambient_c, dtype=float)
    good = np.isfinite(ambient) & (ambient <= rated_c)
    if not np.all(good):
        raise InputError(
            f"{ambient[~good].flat[0]:g} degC is not a temperature up to the rating of {rated_c:g} degC.",
            where="capacitor life",
            mend="Check the temperature, or take a part with a higher rating.",
        )
    return np.asarray(2.0 ** ((rated_c - ambient) / DOUBLING_K), dtype=np.float64)


def ripple_factor(ripple_share: float, rated_rise_k: float = RATED_RISE_K) -> float:
    r"""How many times longer it lasts because its ripple current is not the rated one; below one above the rating.

    Notes
    -----
    .. math:: 2^{x(\Delta T_0) - x(\Delta T)}, \quad x(t) = t / (10 - t / 4), \quad \Delta T = \Delta T_0 (I / I_0)^2

    References
    ----------
    .. [1] Rubycon, life formula sheet, http://biz.doczj.com/doc/163504385.html.
    """
    rise = rated_rise_k * ripple_share**2
    if not (ripple_share >= 0 and rated_rise_k > 0 and rise <= MAX_RISE_K):
        raise InputError(
            f"ripple of {ripple_share:g} x the rated current heats the core by {rise:.3g} K.",
            where="capacitor life",
            mend=f"The formula is good up to {MAX_RISE_K:g} K: take a part with a higher ripple rating.",
        )
    return float(2.0 ** (_effective(rated_rise_k) - _effective(rise)))


def _effective(rise_k: float) -> float:
    return rise_k / (10.0 - 0.25 * rise_k)


def voltage_factor(voltage_share: float) -> float:
    """How many times longer it lasts below its rated volts: 4.3 - 3.3 Va / Vr, from one at full volts.

    From memory (one maker's application guide). Other makers say that derating the volts helps far less than cooling,
    so `service_life` counts it only when asked.
    """
    if not 0 < voltage_share <= 1:
        raise InputError(
            f"{voltage_share:g} of the rated volts.",
            where="capacitor life",
            mend="Working volts must lie within the rating.",
        )
    return 4.3 - 3.3 * voltage_share


def service_life(
    rated_h: float,
    rated_c: float,
    ambient_c: float,
    *,
    ripple_share: float = 1.0,
    rated_rise_k: float = RATED_RISE_K,
    voltage_share: float | None = None,
) -> Life:
    """Life at one temperature and ripple, capped as makers cap it, with notes on what weakens it.

    Parameters
    ----------
    rated_h, rated_c : float
        Rated life in hours at the rated temperature in degC.
    ambient_c : float
        Air at the capacitor, degC.
    ripple_share : float
        Ripple current over the rated one (both at the same frequency).
    rated_rise_k : float
        Rise of the core at rated ripple, K.
    voltage_share : float, optional
        Working volts over rated volts; left out, the volts are not counted.

    Raises
    ------
    InputError
        If the rating is not usable or the part is used beyond it.

    References
    ----------
    .. [1] Rubycon, life formula sheet, http://biz.doczj.com/doc/163504385.html.
    .. [2] Nichicon, notes on the estimated-life page for snap-in parts: valid from 40 degC up, at most about 15 years.

    Examples
    --------
    >>> round(service_life(2000, 105, 55, ripple_share=0.6).hours)
    83456
    """
    _check_rating(rated_h)
    notes = []
    if ambient_c < VALID_FROM_C:
        notes.append(f"counted as at {VALID_FROM_C:g} degC, below which the rule is not shown to hold")
    hours = rated_h * float(temperature_factor(rated_c, max(ambient_c, min(VALID_FROM_C, rated_c))))
    hours *= ripple_factor(ripple_share, rated_rise_k)
    if voltage_share is not None:
        hours *= voltage_factor(voltage_share)
        notes.append("the gain from low working volts is from memory, and disputed")
    if hours > MAX_H:
        notes.append("capped at 15 years: seals age too")
    return Life(min(hours, MAX_H), tuple(notes))


def mixed_life(life_h: ArrayLike, hours: ArrayLike) -> float:
    r"""Life under a repeating round of stages, each of which uses up its own share.

    Parameters
    ----------
    life_h : array_like, shape (n,)
        Life in each stage if it lasted for ever, hours.
    hours : array_like, shape (n,)
        Time in each stage in one round, hours; at least one above zero.

    Returns
    -------
    float
        Hours, the weighted harmonic mean :math:`\sum h_i / \sum (h_i / L_i)`.

    References
    ----------
    .. [1] COSEL, Q&A page a0057: 8 h each at 45, 55 and 65 degC equal a steady 57.2 degC.
    """
    lives, spent = np.asarray(life_h, dtype=float), np.asarray(hours, dtype=float)
    usable = lives.ndim == 1 and lives.shape == spent.shape and np.all(np.isfinite(lives)) and np.all(lives > 0)
    if not (usable and np.all(np.isfinite(spent)) and np.all(spent >= 0) and spent.sum() > 0):
        raise InputError(
            "a round needs as many positive lives as times, and some time spent.",
            where="capacitor life",
            mend="Give one life and one time for each stage.",
        )
    return float(spent.sum() / np.sum(spent / lives))


def remaining_life(life_h: float, age_years: float, hours_a_day: float) -> Life:
    """What is left after so many years of so many hours a day; zero when it is used up.

    Counts the hours under power only; a capacitor that stands unused dries out too, far more slowly (from memory).
    """
    _check_rating(life_h)
    if not (age_years >= 0 and 0 <= hours_a_day <= 24):
        raise InputError(
            f"{age_years:g} years of {hours_a_day:g} h a day.",
            where="capacitor life",
            mend="Give an age in years and at most 24 h a day.",
        )
    used = age_years * 365.25 * hours_a_day
    notes = ("used up by this count",) if used >= life_h else ()
    return Life(max(0.0, life_h - used), notes)


def _check_rating(life_h: float) -> None:
    if not (np.isfinite(life_h) and life_h > 0):
        raise InputError(f"a life of {life_h:g} h.", where="capacitor life", mend="Give hours above zero.")
