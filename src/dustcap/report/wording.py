"""Numbers as words: a value with its uncertainty, digits by the uncertainty, one prefix for both."""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Decimal
from math import floor, isfinite, log10

from dustcap.quantities import UNITS, show

MINUS = "−"
POWERS = {"p": -12, "n": -9, "µ": -6, "m": -3, " ": 0, "k": 3, "M": 6, "G": 9}


def quantity(value: float | None, unit: str, digits: int = 3) -> str:
    """A value in base units as it is read aloud: ``23.8 V``, ``2.2 kΩ``; "not measured" when there is none."""
    if value is None or not isfinite(value):
        return "not measured"
    shown = show(value, unit, digits) if unit in UNITS else f"{value:.{digits}g} {_symbol(unit)}".rstrip()
    return shown.replace("-", MINUS)


def measured(value: float | None, uncertainty: float | None, unit: str) -> str:
    """Value and expanded uncertainty in one unit: ``−52.3 ± 1.0 dB``.

    The uncertainty keeps two digits when its first is 1 or 2 and one digit otherwise, and the value ends at the same
    place (GUM, JCGM 100:2008, 7.2.6: at most two significant digits).
    """
    if value is None or not isfinite(value) or not uncertainty or not isfinite(uncertainty) or uncertainty < 0:
        return quantity(value, unit)
    prefix, power = _prefix(max(abs(value), uncertainty), unit)
    scale = 10.0**-power / float(UNITS[unit].worth if unit in UNITS else 1)
    place = _last_place(uncertainty * scale)
    said = f"{_rounded(value * scale, place)} ± {_rounded(uncertainty * scale, place)} {prefix}{_symbol(unit)}".rstrip()
    return said.replace("-", MINUS)


def per_cent(share: float) -> str:
    """A probability in words of two digits at most; the certain ends stay open: "over 99 %", "under 1 %"."""
    if share > 0.99:
        return "over 99 %"
    if share < 0.01:
        return "under 1 %"
    return f"{100 * share:.0f} %"


def frequency(hz: float) -> str:
    """A frequency as it stands at an axis: ``31.5``, ``500``, ``2k``."""
    return f"{hz / 1000:g}k" if hz >= 1000 else f"{hz:g}"


def _symbol(unit: str) -> str:
    """A unit as it stands behind a number: a rate of one a minute is 1 /min."""
    return UNITS[unit].shown if unit in UNITS else unit.removeprefix("1") if unit.startswith("1/") else unit


def _prefix(size: float, unit: str) -> tuple[str, int]:
    """The largest prefix that this unit is shown with and that keeps the size at one or more; else the smallest."""
    allowed = sorted(UNITS[unit].prefixes if unit in UNITS else " ", key=lambda letter: POWERS[letter])
    fitting = [letter for letter in allowed if size >= 10.0 ** POWERS[letter] * (1 - 1e-12)]
    best = fitting[-1] if fitting else allowed[0]
    return best.strip(), POWERS[best]


def _last_place(uncertainty: float) -> int:
    """Power of ten of the last digit to keep."""
    power = floor(log10(uncertainty))
    return power - 1 if uncertainty < 3 * 10.0**power else power


def _rounded(value: float, place: int) -> str:
    if place >= 0:
        return f"{round(value / 10**place) * 10**place:d}"
    return f"{Decimal(repr(value)).quantize(Decimal(1).scaleb(place), ROUND_HALF_EVEN):f}"
