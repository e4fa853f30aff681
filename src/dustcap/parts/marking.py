"""What is printed on parts: digit codes, letter codes, the E96 letter code and colour bands.

Digit codes count picofarads on capacitors and ohms on resistors; the caller knows which it holds.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from dustcap.errors import InputError, UnitError
from dustcap.parts.preferred import series
from dustcap.quantities import read

PICO = 1e-12

# IEC 60062, from memory; per cent below and above. Below 10 pF the letters B to G mean picofarads: not handled here.
TOLERANCE_LETTERS: Mapping[str, tuple[float, float]] = {
    letter: (-below, above)
    for letter, below, above in (
        ("E", 0.005, 0.005),
        ("L", 0.01, 0.01),
        ("P", 0.02, 0.02),
        ("W", 0.05, 0.05),
        ("B", 0.1, 0.1),
        ("C", 0.25, 0.25),
        ("D", 0.5, 0.5),
        ("F", 1.0, 1.0),
        ("G", 2.0, 2.0),
        ("H", 3.0, 3.0),
        ("J", 5.0, 5.0),
        ("K", 10.0, 10.0),
        ("M", 20.0, 20.0),
        ("N", 30.0, 30.0),
        ("Q", 10.0, 30.0),
        ("T", 10.0, 50.0),
        ("S", 20.0, 50.0),
        ("Z", 20.0, 80.0),
    )
}
DIGIT_COLOURS = ("black", "brown", "red", "orange", "yellow", "green", "blue", "violet", "grey", "white")
MULTIPLIER_COLOURS: Mapping[str, float] = {
    **{colour: 10.0**power for power, colour in enumerate(DIGIT_COLOURS)},
    "gold": 0.1,
    "silver": 0.01,
    "pink": 0.001,
}
# fractions; orange and yellow are additions of IEC 60062:2016 (from memory), grey is left at its older meaning
TOLERANCE_COLOURS: Mapping[str, float] = {
    "brown": 0.01,
    "red": 0.02,
    "orange": 0.0005,
    "yellow": 0.0002,
    "green": 0.005,
    "blue": 0.0025,
    "violet": 0.001,
    "grey": 0.0005,
    "gold": 0.05,
    "silver": 0.1,
}
DRIFT_COLOURS: Mapping[str, float] = {  # ppm/K
    "black": 250.0,
    "brown": 100.0,
    "red": 50.0,
    "orange": 15.0,
    "yellow": 25.0,
    "green": 20.0,
    "blue": 10.0,
    "violet": 5.0,
    "grey": 1.0,
}
# X, A, B, C, D are printed in the label sheet below; the others are from memory
E96_MULTIPLIERS: Mapping[str, float] = {
    "Z": 1e-3,
    "Y": 1e-2,
    "R": 1e-2,
    "X": 1e-1,
    "S": 1e-1,
    "A": 1.0,
    "B": 10.0,
    "H": 10.0,
    "C": 1e2,
    "D": 1e3,
    "E": 1e4,
    "F": 1e5,
}
_SMALL_TOLERANCE = 0.2  # four colour bands without a tolerance band: 20 %


@dataclass(frozen=True, slots=True)
class Marking:
    """A value in base units with its tolerance as fractions (nan: not marked) and, from bands, its drift in ppm/K."""

    value: float
    below: float = float("nan")
    above: float = float("nan")
    drift_ppm_k: float = float("nan")


def read_marking(text: str, unit: str) -> Marking:
    """Value and tolerance that a printed code stands for.

    Parameters
    ----------
    text : str
        ``473``, ``1001``, ``01C`` (resistors), ``4n7J``, ``104K``, ``2K2``.
    unit : {"ohm", "F"}
        What kind of part it is on.

    Returns
    -------
    Marking
        Base units; the digit codes count ohms or picofarads.

    Raises
    ------
    InputError
        If the code has no meaning for that kind of part.

    Notes
    -----
    Three or four digits: the last one is the power of ten; one or two digits on a capacitor are picofarads. ``R`` at
    the point and the letters of IEC 60062 as in `dustcap.quantities.read`. Two digits and a letter on a resistor: rank
    in the E96 series and a multiplier.
    A last letter is the tolerance; ``K``, ``G`` and ``M`` after plain digits are read as tolerance on a capacitor
    (``104K`` is 100 nF 10 %) and as multiplier on a resistor (``47K`` is 47 kohm).

    References
    ----------
    .. [1] IEC 60062, marking codes for resistors and capacitors (tolerance letters from memory).
    .. [2] Label sheet "ResistorLabels", https://github.com/user-attachments/files/21391261/ResistorLabels.pdf
       (474, 4702, 01C, 30A, 18D).

    Examples
    --------
    >>> read_marking("4702", "ohm").value, read_marking("104K", "F").above
    (47000.0, 0.1)
    """
    code = text.strip()
    if unit not in ("ohm", "F"):
        raise InputError(f"{unit!r} carries no marking code.", where="marking", mend="Codes are for ohm and F.")
    bare = _value_of(code, unit)
    if bare is not None:
        return Marking(bare)
    letter, rest = code[-1:].upper(), code[:-1]
    short = unit == "ohm" and re.fullmatch(r"[0-9]{1,2}", rest)  # two digits and a letter are no ohms with tolerance
    value = _value_of(rest, unit) if letter in TOLERANCE_LETTERS and not short else None
    if value is None:
        raise InputError(
            f"{text[:40]!r} is not a marking for {unit}.",
            where="marking",
            mend="Codes look like 473, 4n7J, 2K2 or 01C.",
        )
    below, above = TOLERANCE_LETTERS[letter]
    return Marking(value, below / 100, above / 100)


def _value_of(code: str, unit: str) -> float | None:
    if re.fullmatch(r"[0-9]{3,4}", code):
        return int(code[:-1]) * 10.0 ** int(code[-1]) * (1.0 if unit == "ohm" else PICO)
    if unit == "ohm" and re.fullmatch(r"[0-9]{2}[A-Z]", code) and code[-1] in E96_MULTIPLIERS and code[-1] not in "R":
        rank = int(code[:2])
        return round(series("E96")[rank - 1] * 100) * E96_MULTIPLIERS[code[-1]] if 1 <= rank <= 96 else None
    if unit == "F" and re.fullmatch(r"[0-9]{1,2}", code):
        return int(code) * PICO
    if unit == "F" and re.fullmatch(r"[0-9.,]*[A-Z]?", code):
        return None  # a capital letter after plain digits is a tolerance; a number with a point has no one meaning
    try:
        return read(code, unit)
    except UnitError:
        return None


def read_bands(colours: Sequence[str]) -> Marking:
    """Value, tolerance and drift of a resistor from its colour bands, first band first.

    Parameters
    ----------
    colours : sequence of str
        Three (20 %), four, five or six colour names.

    Raises
    ------
    InputError
        If the number of bands is another, or a colour has no meaning in its place.

    References
    ----------
    .. [1] IEC 60062, colour code; a resistor maker's colour sheet,
       https://blog.csdn.net/weixin_39975055/article/details/111536955 (bands, tolerances, drift).

    Examples
    --------
    >>> read_bands(["yellow", "violet", "black", "brown", "brown"]).value
    4700.0
    """
    bands = [colour.strip().lower() for colour in colours]
    if not 3 <= len(bands) <= 6:
        raise InputError(f"{len(bands)} colour bands.", where="marking", mend="A resistor has three to six bands.")
    digits = 2 if len(bands) < 5 else 3
    number = 0.0
    for place, colour in enumerate(bands[:digits], start=1):
        number = number * 10 + _meaning(dict(zip(DIGIT_COLOURS, range(10), strict=True)), colour, place)
    value = number * _meaning(MULTIPLIER_COLOURS, bands[digits], digits + 1)
    if len(bands) == 3:
        tolerance = _SMALL_TOLERANCE
    else:
        tolerance = _meaning(TOLERANCE_COLOURS, bands[digits + 1], digits + 2)
    drift = _meaning(DRIFT_COLOURS, bands[5], 6) if len(bands) == 6 else float("nan")
    return Marking(value, -tolerance, tolerance, drift)


def _meaning(table: Mapping[str, float], colour: str, place: int) -> float:
    if colour not in table:
        raise InputError(
            f"{colour!r} has no meaning in band {place}.",
            where="marking",
            mend=f"There it is one of {', '.join(table)}.",
        )
    return table[colour]
