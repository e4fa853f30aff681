"""Values that a description left out and that follow from those it gave.

Electrolytic capacitors. The makers' limit of tan delta at 120 Hz and 20 degC, by rated volts, gives the greatest series
resistance of a new part, ``tan delta / (2 pi f C)``. A real part has a third to a half of the limit (from memory); the
default is `ESR_SHARE` of it. The makers' limit of leakage up to 100 V is the greater of ``0.01 C V`` (microfarad, volt,
microampere) and 3 uA, two minutes after the volts are on; a part that has been in service is well formed and leaks much
less: the default is `LEAK_SHARE` of the limit (common practice, no published source).

References
----------
.. [1] Lelon RGA series data sheet (105 degC, 2000 h): tan delta 6.3 V 0.23 ... 450 V 0.25, plus 0.02 for each 1000 uF
   above 1000 uF; leakage 0.01 CV or 3 uA. Panasonic SU series data sheet: the same values within 0.01.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping
from math import pi

TAN_DELTA_HZ = 120.0
TAN_DELTA_LIMIT = (
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
"""Rated volts and greatest tan delta, of [1]_; a rating in between takes the row below it (the greater limit)."""
MORE_PER_1000_UF = 0.02
ESR_SHARE = 0.4
LEAK_SHARE = 0.1
LEAK_FLOOR_A = 3e-6
ASSUMED_RATED_V = 25.0
"""Taken for the two limits when a description gives no rated volts; ours."""
PULL_IN_SHARE = 0.7
"""Pull-in at 70 % of the rated volts (contract of the board description; common practice, no published source)."""

_DRIVERS: Mapping[str, Mapping[str, float]] = {
    "woofer": {"inductance": 0.6e-3, "resonance": 45.0, "qms": 4.0, "qes": 0.45, "bl": 7.0, "excursion": 5e-3},
    "tweeter": {"inductance": 0.05e-3, "resonance": 1000.0, "qms": 2.5, "qes": 1.0, "bl": 3.0, "excursion": 0.3e-3},
    "full range": {"inductance": 0.3e-3, "resonance": 60.0, "qms": 3.0, "qes": 0.5, "bl": 6.0, "excursion": 4e-3},
}
"""Typical figures by role (common practice, no published source); another role takes those of a full-range driver."""


def esr_limit_ohm(farad: float, rated_v: float) -> float:
    """Greatest series resistance of a new electrolytic capacitor at 120 Hz, in ohm, by [1]_ of the module.

    Examples
    --------
    >>> round(esr_limit_ohm(1000e-6, 35.0), 4)
    0.1592
    """
    row = bisect_left(TAN_DELTA_LIMIT, (rated_v, 0.0))
    if row == len(TAN_DELTA_LIMIT) or TAN_DELTA_LIMIT[row][0] > rated_v:
        row = max(row - 1, 0)
    tan_delta = TAN_DELTA_LIMIT[row][1] + MORE_PER_1000_UF * max(farad / 1e-3 - 1.0, 0.0)
    return tan_delta / (2 * pi * TAN_DELTA_HZ * farad)


def leakage_limit_a(farad: float, rated_v: float) -> float:
    """Greatest leakage of a new electrolytic capacitor at its rated volts, in ampere, by [1]_ of the module.

    Examples
    --------
    >>> leakage_limit_a(1000e-6, 35.0)
    0.00035
    """
    return max(0.01 * farad * 1e6 * rated_v * 1e-6, LEAK_FLOOR_A)


def filled(kind: str, values: Mapping[str, float | str]) -> dict[str, float | str]:
    """The values with those added that follow from others; a value that is there is never changed."""
    full = dict(values)
    for key, value in _FOLLOWING.get(kind, lambda _: {})(values).items():
        full.setdefault(key, value)
    return full


def _electrolytic(values: Mapping[str, float | str]) -> dict[str, float]:
    farad, rated_v = float(values["value"]), float(values.get("voltage", ASSUMED_RATED_V))
    return {
        "esr": ESR_SHARE * esr_limit_ohm(farad, rated_v),
        "leakage": LEAK_SHARE * leakage_limit_a(farad, rated_v),
    }


def _relay_coil(values: Mapping[str, float | str]) -> dict[str, float]:
    return {"pull_in": PULL_IN_SHARE * float(values["volts"])} if "volts" in values else {}


def _driver(values: Mapping[str, float | str]) -> dict[str, float]:
    """Figures of the role; the compliance that belongs to them.

    Moving mass from ``Qes = 2 pi fs Mms Re / Bl^2``, compliance from ``fs = 1 / (2 pi sqrt(Mms Cms))`` (Small, "Direct
    radiator loudspeaker system analysis", J. Audio Eng. Soc. 20, 1972; from memory), so that they agree.
    """
    role = str(values.get("role", ""))
    figures = dict(_DRIVERS.get(role, _DRIVERS["full range"]))
    figures.update({key: float(value) for key, value in values.items() if key in figures})
    speed = 2 * pi * figures["resonance"]
    mass_kg = figures["qes"] * figures["bl"] ** 2 / (speed * float(values["resistance"]))
    figures["compliance"] = 1 / (speed**2 * mass_kg)
    return figures


_FOLLOWING = {"electrolytic": _electrolytic, "relay coil": _relay_coil, "driver": _driver}
