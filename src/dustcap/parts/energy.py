"""Stored energy, discharge and touch limits.

======  ===========  ====  =========================================
symbol  name here    unit  meaning
======  ===========  ====  =========================================
C       farad        F     capacitance
V0, V   start_v, v   V     voltage at the start, voltage later
R       ohm          ohm   resistance that discharges it
t       s            s     time
======  ===========  ====  =========================================
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, inf, isfinite, log

from dustcap.errors import InputError

# IEC 62368-1:2018, table 4: up to and including these, and volts above the second are class 3
ES_LIMITS_DC_V = (60.0, 120.0)
ES_LIMITS_AC_V = (30.0, 50.0)  # r.m.s., up to 1 kHz
TOUCH_V = ES_LIMITS_DC_V[0]
SAFE_TO_WORK_V = 5.0  # this project's choice: low enough that a slipped probe only sparks; common practice, no source
IEC_61010_CHARGE_C = 45e-6  # IEC 61010-1, 6.10.3: charge that is not hazardous 5 s after disconnection
IEC_61010_WAIT_S = 5.0
# a discharge resistor held across by hand: done in ten seconds, and never above this; common practice, no source
DISCHARGE_TAU_S = 2.0
DISCHARGE_MAX_OHM = 100e3


def stored_energy(farad: float, v: float) -> float:
    """Energy in joules, C V^2 / 2.

    References
    ----------
    .. [1] M. H. Rashid, Power Electronics, 4th edition, example 2.4 (0.1 uF at 220 V: 2.42 mJ).

    Examples
    --------
    >>> stored_energy(10e-3, 40.0)
    8.0
    """
    _check(farad=farad)
    return farad * v * v / 2


def volts_after(start_v: float, farad: float, ohm: float, s: float) -> float:
    """Volts that are left after a time, V0 exp(-t / (R C)); a resistance of inf keeps them all.

    References
    ----------
    .. [1] M. H. Rashid, Power Electronics, 4th edition, example 2.4.
    """
    _check(farad=farad)
    if not ohm > 0 or not s >= 0:
        raise InputError(
            f"{ohm:g} ohm for {s:g} s.", where="discharge", mend="Give a resistance above zero and a time."
        )
    return start_v * exp(-s / (ohm * farad))


def discharge_time(start_v: float, to_v: float, farad: float, ohm: float) -> float:
    """Seconds until no more than `to_v` is left, R C ln(V0 / V); zero if it is below already; inf without a resistor.

    Examples
    --------
    >>> round(discharge_time(40.0, 1.0, 10e-3, 2200.0), 1)
    81.2
    """
    _check(farad=farad, to_v=to_v)
    if not ohm > 0:
        raise InputError(f"{ohm:g} ohm.", where="discharge", mend="Give a resistance above zero.")
    if abs(start_v) <= to_v:
        return 0.0
    return inf if ohm == inf else ohm * farad * log(abs(start_v) / to_v)


@dataclass(frozen=True, slots=True)
class Stored:
    """What one capacitor holds and how it goes away by itself."""

    joule: float
    coulomb: float
    energy_class: int  # 1 to 3 by IEC 62368-1 table 4, d.c.
    touch_after_s: float  # until 60 V
    work_after_s: float  # until 5 V
    bleeder_enough: bool  # 60 V or 45 uC within 5 s, IEC 61010-1
    resistor_ohm: float  # a resistor to discharge it with by hand; inf: not needed
    resistor_peak_w: float


def stored(v: float, farad: float, bleeder_ohm: float = inf) -> Stored:
    """Energy, class and waiting times of a charged capacitor.

    Parameters
    ----------
    v, farad : float
        Working volts and capacitance.
    bleeder_ohm : float
        What discharges it when the power is off; inf when nothing does.

    Notes
    -----
    After a discharge a large electrolytic creeps back by dielectric absorption (1 to 10 %, from memory): measure again.
    The limit values of the classes are IEC 62368-1:2018 table 4 as quoted by a secondary text.
    """
    left = volts_after(abs(v), farad, bleeder_ohm, IEC_61010_WAIT_S)
    needed = abs(v) > SAFE_TO_WORK_V
    ohm = min(DISCHARGE_TAU_S / farad, DISCHARGE_MAX_OHM) if needed else inf
    return Stored(
        joule=stored_energy(farad, v),
        coulomb=farad * abs(v),
        energy_class=energy_class(v),
        touch_after_s=discharge_time(v, TOUCH_V, farad, bleeder_ohm),
        work_after_s=discharge_time(v, SAFE_TO_WORK_V, farad, bleeder_ohm),
        bleeder_enough=left <= TOUCH_V or left * farad <= IEC_61010_CHARGE_C,
        resistor_ohm=ohm,
        resistor_peak_w=v * v / ohm if needed else 0.0,
    )


def energy_class(v: float, *, alternating: bool = False) -> int:
    """Class 1, 2 or 3 of a voltage (r.m.s. when alternating) by IEC 62368-1:2018, table 4.

    Examples
    --------
    Rails of 35 V are class 1 each, but 70 V from rail to rail is class 2:

    >>> energy_class(35.0), energy_class(70.0)
    (1, 2)
    """
    if not isfinite(v):
        raise InputError(f"{v} V has no class.", where="energy class", mend="Give a finite voltage.")
    first, second = ES_LIMITS_AC_V if alternating else ES_LIMITS_DC_V
    return 1 if abs(v) <= first else 2 if abs(v) <= second else 3


def _check(**above_zero: float) -> None:
    for name, value in above_zero.items():
        if not (isfinite(value) and value > 0):
            raise InputError(f"{name} of {value!r}.", where="discharge", mend="Give a number above zero.")
