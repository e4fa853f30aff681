"""Expected readings as words: a middle value with the bounds between which good boards lie."""

from __future__ import annotations

from collections.abc import Mapping
from math import isfinite

from dustcap.job.sheet import Figure
from dustcap.report.wording import quantity

LEAST: Mapping[str, float] = {"V": 1e-6, "W": 1e-6, "%": 1e-4, "ohm": 1e-6, "A": 1e-6, "s": 1e-6, "m": 1e-9}
"""Below this nothing is left to read, and the figure is said to be 0: a choice of ours."""
AS_NOTHING = 0.25
"""A middle within this share of a spread about zero is said to be 0: its digits say nothing."""
OVER, NONE = "over", "–"


def middle(figure: Figure, unit: str, digits: int = 3) -> str:
    """The middle value alone: ``26.9 V``; "over" for over range, a dash where nothing is read."""
    if figure is None:
        return NONE
    nothing = figure.low < 0 < figure.high and abs(figure.median) < AS_NOTHING * figure.width
    return _said(0.0 if nothing else figure.median, unit, digits)


def bounds(figure: Figure, unit: str, digits: int = 3) -> str:
    """Low and high: ``25.6 V to 28 V``; empty where they read alike."""
    if figure is None:
        return ""
    low, high = (_said(each, unit, digits) for each in (figure.low, figure.high))
    return "" if low == high else f"{low} to {high}"


def figure_said(figure: Figure, unit: str, digits: int = 3) -> str:
    """Middle and bounds: ``26.9 V (25.6 V to 28 V)``."""
    between = bounds(figure, unit, digits)
    return middle(figure, unit, digits) + (f" ({between})" if between else "")


def _said(value: float, unit: str, digits: int) -> str:
    if not isfinite(value):
        return OVER
    return quantity(0.0 if abs(value) < LEAST[unit] else value, unit, digits)
