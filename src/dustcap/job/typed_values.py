"""A value as a technician types it off a part: a quantity, a printed code or colour bands.

What could be two things is refused with both: ``470`` off a resistor is 470 ohm as a value and 47 ohm as a code.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import isfinite

from dustcap.errors import InputError, UnitError
from dustcap.parts.marking import DIGIT_COLOURS, Marking, read_bands, read_marking
from dustcap.quantities import read, show

COLOURS = (*DIGIT_COLOURS, "gold", "silver", "pink", "gray", "purple")
_OTHER_WORDS = {"gray": "grey", "purple": "violet"}
_CODED = ("ohm", "F")
DIGITS = 6


@dataclass(frozen=True, slots=True)
class Typed:
    """A value as it is written into a description; `tolerance` as well where the part says it, else empty."""

    value: str
    tolerance: str = ""


def typed_value(text: str, unit: str, where: str = "value", *, polar: bool = False) -> Typed:
    """What was typed, as it can stand in a description.

    Parameters
    ----------
    text : ``2k2``, ``473``, ``4n7J``, ``01C``, ``yellow violet red gold``
    unit : unit of the key
    where : the field, for messages
    polar : an electrolytic capacitor, on which plain digits are no code

    Raises
    ------
    InputError
        If it has no meaning, or two.

    Examples
    --------
    >>> typed_value("yellow violet red gold", "ohm")
    Typed(value='4.7 kΩ', tolerance='5 %')
    >>> typed_value("473", "F").value, typed_value("2k2", "ohm").value
    ('47 nF', '2k2')
    """
    text = " ".join(text.split())
    if unit not in _CODED:
        return Typed(text)
    words = [_OTHER_WORDS.get(word, word) for word in re.split(r"[\s,/-]+", text.lower())]
    try:
        if unit == "ohm" and len(words) > 2 and all(word in COLOURS for word in words):
            return _as_typed(read_bands(words), unit)
        if re.fullmatch(r"[0-9]{3,4}", text):
            return _plain_digits(text, unit, where, polar)
        if unit == "F" and re.fullmatch(r"[0-9]{2,4}[A-Z]?", text) and not polar:
            return _as_typed(read_marking(text, unit), unit)
        try:
            read(text, unit)
            return Typed(text)
        except UnitError as refused:
            try:
                return _as_typed(read_marking(text, unit), unit)
            except InputError:
                raise refused from None
    except InputError as error:
        raise InputError(error.what, where=where, mend=error.mend) from error


def _plain_digits(text: str, unit: str, where: str, polar: bool) -> Typed:
    coded = read_marking(text, unit).value
    if polar:
        raise InputError(f"{text!r} has no unit.", where=where, mend=f"Write {text} uF, if it is in microfarads.")
    if unit == "F":
        return Typed(show(coded, unit, DIGITS))
    raise InputError(
        f"{text!r} is {show(float(text), unit)} as a value and {show(coded, unit)} as a code.",
        where=where,
        mend=f"Write {text}R, or {_short(coded)}.",
    )


def _short(ohms: float) -> str:
    return show(ohms, "ohm", DIGITS).replace(" Ω", "R").replace(" kΩ", "k").replace(" MΩ", "M")


def _as_typed(found: Marking, unit: str) -> Typed:
    even = isfinite(found.above) and found.above == -found.below
    return Typed(show(found.value, unit, DIGITS), show(found.above, "%") if even else "")
