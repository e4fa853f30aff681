"""What the tolerance of the known resistor does to figures of an impedance.

The resistor sets the scale of every ohm that is measured with it: ohms and henries are off by its share, a force factor
by half of it, and frequencies, Q and masses not at all. Two takes with one resistor are off alike, so that what is said
of one beside the other is not widened.

References
----------
JCGM 100:2008 (GUM), 4.3.7: a tolerance without further knowledge is a rectangular distribution; 5.1.2: propagation.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import exp, hypot, log, sqrt
from typing import Any

from dustcap.sound.driver_fit import SURE

Document = dict[str, Any]

POWERS: Mapping[tuple[str, ...], float] = {
    ("re_ohm",): 1.0,
    ("peak_ohm",): 1.0,
    ("inductance", "le_mh_1khz"): 1.0,
    ("box", "peak_low_ohm"): 1.0,
    ("box", "minimum_ohm"): 1.0,
    ("box", "peak_high_ohm"): 1.0,
    ("bl",): 0.5,
}
"""By what power of the resistor's ohms each figure goes, by its place in the document."""


def with_resistor(document: Document, tolerance: float) -> None:
    """Widen the 95 % ranges of what goes with the resistor's ohms; `tolerance` is its share, as in 0.01."""
    for (*outer, name), power in POWERS.items():
        inside: Document | None = document
        for key in outer:
            inside = (inside or {}).get(key)
        one = inside.get(name) if inside else None
        if inside and one and one["value"] and one["value"] > 0:
            share = power * SURE * tolerance / sqrt(3.0)
            inside[name] = one | {
                "low": _further(one["low"], one["value"], -share),
                "high": _further(one["high"], one["value"], share),
            }


def _further(end: float | None, value: float, share: float) -> float | None:
    """An end of a range on a ratio scale, set further off by an independent share."""
    if end is None or end <= 0:
        return end
    width = hypot(log(end / value), share)
    return float(f"{value * exp(width if share > 0 else -width):.6g}")
