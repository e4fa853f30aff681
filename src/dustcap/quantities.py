"""Text to number with unit and back, as technicians write them.

Read: SI prefixes with or without a space (``2.2k``, ``0.1 uF``, ``60 mohm``), the letter codes of IEC 60062 in which a
letter stands at the decimal point (``2k2``, ``4R7``, ``R47``, ``4M7`` = 4.7 M), comma or point as decimal sign, groups
of three digits set apart by spaces, and the unit spelled out (``22 kilohm``). A number without a unit is in the unit
that is asked for. Capital M is mega and small m is milli, always.

Everything comes back in base units: volt, ohm, farad, henry, ampere, watt, hertz, second, metre, gram; per cent comes
back as a fraction. Three units stay as the trade uses them: hours (``h``), degrees Celsius (``degC``) and decibel
(``dB``).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from math import isfinite, isinf, isnan
from numbers import Real

from dustcap.errors import UnitError

MAX_LENGTH = 64


def _factors(**powers: str) -> Mapping[str, Decimal]:
    return {name: Decimal(power) for name, power in powers.items()}


PREFIXES = _factors(p="1e-12", n="1e-9", u="1e-6", μ="1e-6", m="1e-3", k="1e3", K="1e3", M="1e6", G="1e9", T="1e12")
_SPELLED = _factors(pico="1e-12", nano="1e-9", micro="1e-6", milli="1e-3", kilo="1e3", kil="1e3", mega="1e6", meg="1e6")
ONE = Decimal(1)


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: how it is shown, the symbols and names that are read, and what it is worth in base units."""

    shown: str
    symbols: tuple[str, ...]
    names: tuple[str, ...] = ()
    letters: Mapping[str, Decimal] = field(default_factory=dict)  # at the decimal point or after the number, IEC 60062
    others: Mapping[str, Decimal] = field(default_factory=dict)  # further units of the same kind
    prefixes: str = "pnµm kMG"  # those that `show` may use; the space is "none"
    worth: Decimal = ONE
    prefixed: bool = True  # whether prefixes are read


UNITS: Mapping[str, Unit] = {
    "ohm": Unit("Ω", ("ohm", "Ω"), ("ohm", "ohms"), _factors(R="1", L="1e-3")),
    "V": Unit("V", ("V", "Vdc", "VDC", "Vac", "VAC", "Vrms"), ("volt", "volts"), _factors(V="1")),
    "A": Unit("A", ("A",), ("ampere", "amperes", "amp", "amps"), _factors(A="1")),
    "F": Unit("F", ("F",), ("farad", "farads"), _factors(F="1"), prefixes="pnµ"),
    "H": Unit("H", ("H",), ("henry", "henries"), _factors(H="1")),
    "W": Unit("W", ("W",), ("watt", "watts"), _factors(W="1")),
    "Hz": Unit("Hz", ("Hz", "hz", "HZ"), ("hertz",)),
    "s": Unit("s", ("s",), ("second", "seconds", "sec"), others=_factors(min="60", h="3600")),
    "h": Unit("h", ("h",), ("hour", "hours"), prefixes=" "),
    "J": Unit("J", ("J",), ("joule", "joules")),
    "C": Unit("C", ("C",), ("coulomb", "coulombs")),
    "K": Unit("K", ("K",), ("kelvin",), prefixes=" "),
    "degC": Unit("°C", ("degC", "°C", "C", "deg C", "° C"), ("celsius",), prefixes=" ", prefixed=False),
    "deg": Unit("°", ("deg", "°"), ("degree", "degrees"), prefixes=" ", prefixed=False),
    "dB": Unit("dB", ("dB", "db"), ("decibel",), prefixes=" ", prefixed=False),
    "%": Unit(
        "%", ("%",), ("percent",), others=_factors(ppm="1e-6"), prefixes=" ", worth=Decimal("0.01"), prefixed=False
    ),
    "m": Unit("m", ("m",), ("metre", "metres", "meter", "meters"), others=_factors(cm="1e-2"), prefixes="nµm "),
    "g": Unit("g", ("g",), ("gram", "grams"), prefixes="m k"),
    "L": Unit("L", ("L", "l"), ("litre", "litres", "liter", "liters"), prefixes="m "),
    "Pa": Unit("Pa", ("Pa",), ("pascal",)),
    "N": Unit("N", ("N",), ("newton", "newtons")),
    "T m": Unit("T m", ("T m", "Tm", "N/A"), prefixes=" "),
    "m/N": Unit("m/N", ("m/N",), prefixes="µm "),
    "A/V2": Unit("A/V²", ("A/V2", "A/V^2")),
    "A2s": Unit("A²s", ("A2s", "A2 s", "A^2s", "A^2 s"), prefixes=" ", prefixed=False),
    "V/rtHz": Unit("V/√Hz", ("V/rtHz", "V/√Hz", "V/sqrtHz", "V/sqrt(Hz)", "V/rt Hz", "V/√ Hz")),
    "A/rtHz": Unit("A/√Hz", ("A/rtHz", "A/√Hz", "A/sqrtHz", "A/sqrt(Hz)", "A/rt Hz", "A/√ Hz")),
    "": Unit("", ("", "x", "×"), prefixes=" "),
}

_PLAIN = re.compile(
    r"(?P<sign>[+-]?) ?(?P<number>(?:[0-9]{1,3}(?: [0-9]{3})+|[0-9]+)(?:[.,][0-9]*)?|[.,][0-9]+)"
    r"(?P<power>[eE][+-]?[0-9]{1,3})? ?(?P<tail>[^0-9.,+ -].*)?"
)
_CODE = re.compile(r"(?P<sign>[+-]?) ?(?P<whole>[0-9]*)(?P<letter>[A-Za-zμ])(?P<part>[0-9]+) ?(?P<tail>[^0-9.,+ -].*)?")
_COMMA_GROUP = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")
_PLUS_MINUS = re.compile(r"^(±|\+/-|\+-) ?")


def read(value: object, unit: str, where: str = "") -> float:
    """The number in base units that a text, or a bare number, stands for.

    Parameters
    ----------
    value : str or real number
        What was written; a bare number is in `unit`.
    unit : str
        The unit asked for: a key of `UNITS`, or one with an SI prefix (``"mm"``: bare numbers are millimetres).
    where : str
        Where it was written, for the sentence of the error.

    Returns
    -------
    float
        In base units, finite; per cent as a fraction; hours, degrees Celsius and decibel as they are.

    Raises
    ------
    UnitError
        If it does not read as one finite quantity in a unit of that kind.

    References
    ----------
    .. [1] IEC 60062, marking codes for resistors and capacitors: the letter at the decimal point.
    .. [2] BIPM, The International System of Units (SI brochure): prefixes.

    Examples
    --------
    >>> read("2k2", "ohm"), read("0.1 uF", "F"), read("5 %", "%"), read(12, "mm")
    (2200.0, 1e-07, 0.05, 0.012)
    """
    base, bare = _asked(unit)
    number: Decimal | None
    if isinstance(value, str):
        number = _read_text(value, base, bare, where)
    elif isinstance(value, Real) and not isinstance(value, bool):
        number = _read_number(value, bare)
    else:
        raise _refused(value, "is not a quantity", base, where)
    if number is None or not isfinite(float(number)) or (number and not float(number)):
        raise _refused(value, "is not a finite number", base, where)
    return float(number)


def show(value: float, unit: str, digits: int = 3) -> str:
    """A value in base units as a technician reads it, with a prefix and rounded to significant digits.

    Capacitance is shown in pF, nF and µF only. What is shown reads back with `read`, but for values that are not
    finite: they are shown as ``∞ Ω`` and ``not known``.

    Examples
    --------
    >>> show(2200, "ohm"), show(1e-3, "F"), show(-23.84, "V"), show(0.05, "%")
    ('2.2 kΩ', '1000 µF', '-23.8 V', '5 %')
    """
    base, _ = _asked(unit)
    spec = UNITS[base]
    if isnan(value):
        return "not known"
    if isinf(value):
        return f"{'-' if value < 0 else ''}∞ {spec.shown}".strip()
    rounded = Decimal(f"{Decimal(repr(float(value))) / spec.worth:.{digits - 1}e}")
    power, prefix = _prefix_for(rounded, spec.prefixes)
    number = f"{rounded.scaleb(-power):f}"
    if "." in number:
        number = number.rstrip("0").rstrip(".")
    return f"{'0' if not rounded else number} {prefix}{spec.shown}".strip()


def _prefix_for(rounded: Decimal, allowed: str) -> tuple[int, str]:
    """Power of ten and prefix that leave one to three digits before the point, where the unit allows them."""
    powers = [(("pnµm kMG".index(letter) - 4) * 3, letter.strip()) for letter in allowed]
    if not rounded:
        return 0, ""
    fitting = [entry for entry in powers if entry[0] <= rounded.adjusted()]
    return fitting[-1] if fitting else powers[0]


def _asked(unit: str) -> tuple[str, Decimal]:
    """The base unit that is asked for, and what one of the asked unit is worth in it."""
    if unit in UNITS:
        return unit, UNITS[unit].worth
    for base in filter(None, UNITS):
        worth = _worth(unicodedata.normalize("NFKC", unit), base, alone=False)
        if worth is not None:
            return base, worth
    known = ", ".join(filter(None, UNITS))
    raise UnitError(f"there is no unit {unit!r}.", where="quantities", mend=f"Units are: {known}.")


def _read_number(value: Real, bare: Decimal) -> Decimal | None:
    try:
        number = float(value)
    except OverflowError:
        return None
    return Decimal(repr(number)) * bare if isfinite(number) else None


def _read_text(text: str, base: str, bare: Decimal, where: str) -> Decimal:
    if len(text) > MAX_LENGTH:
        raise _refused(text, "is too long for a quantity", base, where)
    plain = " ".join(unicodedata.normalize("NFKC", text).replace("−", "-").split())
    if base == "%":
        plain = _PLUS_MINUS.sub("", plain)
    code = _CODE.fullmatch(plain)
    factor = _letter(code["letter"], base) if code else None
    if code and factor is not None and (code["tail"] or "") in ("", *UNITS[base].symbols, *UNITS[base].names):
        return Decimal(f"{code['sign']}{code['whole'] or '0'}.{code['part']}") * factor
    match = _PLAIN.fullmatch(plain)
    if not match:
        raise _refused(text, "does not read as a quantity", base, where)
    if _COMMA_GROUP.fullmatch(match["number"]):
        either = f"{match['number'].replace(',', '')}, or {match['number'].replace(',', '.')} with a point"
        raise UnitError(f"{_quoted(text)} can be read in two ways.", where=where, mend=f"Write {either}.")
    worth = _worth(match["tail"], base) if match["tail"] else bare
    if worth is None:
        raise _wrong_unit(text, match["tail"], base, where)
    number = match["number"].replace(" ", "").replace(",", ".")
    return Decimal(f"{match['sign']}{number}{match['power'] or ''}") * worth


def _letter(letter: str, base: str) -> Decimal | None:
    """What a letter at the decimal point multiplies by; none if it has no meaning for that unit."""
    unit = UNITS[base]
    return unit.letters.get(letter, PREFIXES.get(letter) if unit.prefixed else None)


def _worth(tail: str, base: str, alone: bool = True) -> Decimal | None:
    """What one of the unit written in `tail` is worth in base units; none if it is not a unit of that kind.

    `alone`: whether a prefix without a unit counts.
    """
    unit = UNITS[base]
    if tail in unit.symbols or tail.lower() in unit.names:
        return unit.worth
    if tail in unit.others:
        return unit.others[tail]
    if not unit.prefixed:
        return None
    if alone and tail in unit.letters:
        return unit.letters[tail]
    if alone and (tail in PREFIXES or tail.lower() == "meg"):
        return PREFIXES.get(tail, _SPELLED["meg"])
    for prefix, factor in PREFIXES.items():
        rest = tail.removeprefix(prefix).lstrip(" ")
        if tail.startswith(prefix) and rest and (rest in unit.symbols or rest.lower() in unit.names):
            return factor
    for prefix, factor in _SPELLED.items():
        rest = tail.lower().removeprefix(prefix).lstrip(" ")
        if tail.lower().startswith(prefix) and (rest in unit.names or (rest and rest in unit.symbols)):
            return factor
    return None


def _quoted(value: object) -> str:
    text = repr(value)
    return text if len(text) <= MAX_LENGTH else f"{text[: MAX_LENGTH - 10]}..."


def _example(base: str) -> str:
    examples = {"ohm": "2k2, 4R7 or 22 kohm", "F": "100n, 0.1 uF or 1000 uF", "V": "35 V or -23.8 V", "%": "5 %"}
    return examples.get(base, f"10 {base}".strip())


def _refused(value: object, why: str, base: str, where: str) -> UnitError:
    return UnitError(f"{_quoted(value)} {why}.", where=where, mend=f"Write it as {_example(base)}.")


def _wrong_unit(text: str, tail: str, base: str, where: str) -> UnitError:
    """Say which other kind of quantity it is, when it is one."""
    asked = UNITS[base].shown or "a bare number"
    kinds = [unit.shown for name, unit in UNITS.items() if name and _worth(tail, name, alone=False) is not None]
    why = f"is in {kinds[0]}, where {asked} is asked for" if kinds else f"has an unknown unit {_quoted(tail)}"
    return _refused(text, why, base, where)
