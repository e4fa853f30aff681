"""Preferred values: the E series and the value of a series that is nearest by ratio."""

from __future__ import annotations

from functools import cache
from math import floor, isfinite, log, log10

from dustcap.errors import InputError

# the values of E24 that differ from the rounded geometric row, and the one of E192 [IEC 60063]
_ODD_24 = {2.6: 2.7, 2.9: 3.0, 3.2: 3.3, 3.5: 3.6, 3.8: 3.9, 4.2: 4.3, 4.6: 4.7, 8.3: 8.2}
_ODD_192 = {9.19: 9.20}
SERIES = ("E3", "E6", "E12", "E24", "E48", "E96", "E192")


@cache
def series(name: str) -> tuple[float, ...]:
    """The values of one decade of an E series, from 1 up.

    Raises
    ------
    InputError
        If there is no such series.

    References
    ----------
    .. [1] IEC 60063, preferred number series for resistors and capacitors.
    """
    if name not in SERIES:
        raise InputError(f"there is no series {name!r}.", where="preferred", mend=f"Series are {', '.join(SERIES)}.")
    count = int(name[1:])
    if count <= 24:
        row = [round(10 ** (step / 24), 1) for step in range(0, 24, 24 // count)]
        return tuple(_ODD_24.get(value, value) for value in row)
    row = [round(10 ** (step / 192), 2) for step in range(0, 192, 192 // count)]
    return tuple(_ODD_192.get(value, value) for value in row)


def nearest(value: float, name: str = "E24") -> float:
    """The preferred value whose ratio to `value` is nearest to one; of two equally near, the lower.

    Parameters
    ----------
    value : float
        Above zero, in any unit.
    name : str
        The series.

    Raises
    ------
    InputError
        If the value is not a finite number above zero, or there is no such series.

    Examples
    --------
    >>> nearest(5.1e3, "E12"), nearest(4.6, "E24")
    (4700.0, 4.7)
    """
    if not (isfinite(value) and value > 0):
        raise InputError(f"{value!r} has no nearest value.", where="preferred", mend="Give a number above zero.")
    decade = floor(log10(value))
    row = [number for power in (decade - 1, decade, decade + 1) for number in _decade(name, power)]
    return min(row, key=lambda number: abs(log(number / value)))


def is_preferred(value: float, name: str = "E24") -> bool:
    """Whether a value stands in the series (to a part in a thousand, finer than any series' step)."""
    return abs(nearest(value, name) / value - 1) < 1e-3


def _decade(name: str, power: int) -> list[float]:
    return [float(f"{number}e{power}") for number in series(name)]
