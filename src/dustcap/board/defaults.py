"""Values that a description left out and that follow from those it gave.

Electrolytic capacitors. A real part has a third to a half of the series resistance that its maker's limit of the loss
factor allows (from memory); the default is `ESR_SHARE` of that limit. A part that has been in service is well formed
and leaks up to two digits less than its maker's limit after minutes [1]_; the default is `LEAK_SHARE` of it, ours.

References
----------
.. [1] Nippon Chemi-Con, FAQ "alLeakageCurrentVsTime": leakage against time with volts on.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import pi

from dustcap.parts.electrolytic import esr_limit, leakage_limit

ESR_SHARE = 0.4
LEAK_SHARE = 0.1
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


def filled(kind: str, values: Mapping[str, float | str]) -> dict[str, float | str]:
    """The values with those added that follow from others; a value that is there is never changed."""
    full = dict(values)
    for key, value in _FOLLOWING.get(kind, lambda _: {})(values).items():
        full.setdefault(key, value)
    return full


def _electrolytic(values: Mapping[str, float | str]) -> dict[str, float]:
    farad, rated_v = float(values["value"]), float(values.get("voltage", ASSUMED_RATED_V))
    return {
        "esr": ESR_SHARE * esr_limit(farad, rated_v),
        "leakage": LEAK_SHARE * leakage_limit(farad, rated_v),
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
