"""Which part of a stock list may stand in for another, and what speaks against each.

A rule that bears on safety is never weighed against anything: a flameproof or fusible resistor stays one, a mains
capacitor keeps its class or betters it, a fuse keeps rating and type, no rating falls. The other bounds are common
practice, no published source.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import isfinite, log

from dustcap.errors import InputError
from dustcap.quantities import show

MORE_CAPACITANCE = 1.5  # an electrolytic may be half as large again: rectifier and inrush stand that
LESS_CAPACITANCE = 0.9
SAME_VALUE = 0.011  # of resistors and small capacitors: one per cent, and a rounding of the marking
PITCH_M = 1e-3  # leads can be bent by so much
HIGH_VOLTS = 2.0  # an electrolytic rated at more than this over the old one is needlessly large: noted only
STABLE = ("film", "c0g")
_CLASSES = ("X2", "X1", "Y2", "Y1")
"""Classes of mains capacitors (IEC 60384-14, from memory): within a letter, the lower number stands more."""
_UNITS = {"electrolytic": "F", "capacitor": "F", "resistor": "ohm", "fuse": "A"}


@dataclass(frozen=True, slots=True)
class Item:
    """A part wanted or in stock, base units; nan: not known.

    `safety`: "", "flameproof", "fusible" (resistors), "X1", "X2", "Y1", "Y2" (capacitors), or a fuse's type as it is
    marked. `value` of a fuse is its rated current.
    """

    name: str
    kind: str  # electrolytic, capacitor, resistor, fuse
    value: float
    rated_v: float = float("nan")
    watt: float = float("nan")
    tolerance: float = float("nan")
    safety: str = ""
    dielectric: str = ""
    rated_c: float = float("nan")
    life_h: float = float("nan")
    ripple_a: float = float("nan")
    esr_ohm: float = float("nan")
    diameter_m: float = float("nan")
    height_m: float = float("nan")
    pitch_m: float = float("nan")

    def __post_init__(self) -> None:
        if self.kind not in _UNITS or not (isfinite(self.value) and self.value > 0):
            raise InputError(
                f"{self.name!r} is a {self.kind!r} of {self.value!r}.",
                where="substitution",
                mend=f"Kinds are {', '.join(_UNITS)}; the value is above zero.",
            )


@dataclass(frozen=True, slots=True)
class Fit:
    """One stock part held against the wanted one: what speaks against it (empty: it fits) and what to know."""

    item: Item
    against: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def fits(self) -> bool:
        """Whether it may be used."""
        return not self.against


def substitutes(wanted: Item, stock: Iterable[Item]) -> tuple[Fit, ...]:
    """Stock parts of the wanted kind, those that fit first, each group from the closest value on.

    Ratings that are known of the old part and not of the new one count against the new one.
    """
    same_kind = [item for item in stock if item.kind == wanted.kind]
    fits = [Fit(item, tuple(_against(wanted, item)), tuple(_notes(wanted, item))) for item in same_kind]
    return tuple(sorted(fits, key=lambda fit: (len(fit.against), _distance(wanted, fit.item), fit.item.name)))


def _distance(wanted: Item, item: Item) -> float:
    return abs(log(item.value / wanted.value)) + (0.0 if item.life_h != item.life_h else -1e-9 * item.life_h)


def _against(wanted: Item, item: Item) -> Iterator[str]:
    yield from _value(wanted, item)
    yield from _safety(wanted, item)
    yield from _least("rated voltage", "V", wanted.rated_v, item.rated_v)
    yield from _least("rated power", "W", wanted.watt, item.watt)
    yield from _least("rated temperature", "degC", wanted.rated_c, item.rated_c)
    yield from _least("ripple current", "A", wanted.ripple_a, item.ripple_a)
    yield from _most("series resistance", "ohm", wanted.esr_ohm, item.esr_ohm)
    yield from _most("tolerance", "%", wanted.tolerance, item.tolerance)
    yield from _most("diameter", "m", wanted.diameter_m, item.diameter_m)
    yield from _most("height", "m", wanted.height_m, item.height_m)
    if abs(wanted.pitch_m - item.pitch_m) > PITCH_M:
        yield f"lead spacing {show(item.pitch_m, 'm')}, {show(wanted.pitch_m, 'm')} in the board"
    if wanted.dielectric in STABLE and item.dielectric not in STABLE:
        yield f"dielectric {item.dielectric or 'not known'}, {wanted.dielectric} before"


def _value(wanted: Item, item: Item) -> Iterator[str]:
    low, high = 1 - SAME_VALUE, 1 + SAME_VALUE
    if wanted.kind == "electrolytic":
        low, high = LESS_CAPACITANCE, MORE_CAPACITANCE
    if wanted.kind == "fuse":
        low, high = 1 - 1e-9, 1 + 1e-9
    if not low <= item.value / wanted.value <= high:
        unit = _UNITS[wanted.kind]
        yield f"value {show(item.value, unit)}, {show(wanted.value, unit)} wanted"


def _safety(wanted: Item, item: Item) -> Iterator[str]:
    """Same mark or a better one; an unmarked old part asks for nothing."""
    if not wanted.safety or item.safety == wanted.safety:
        return
    old, new = wanted.safety, item.safety
    if old in _CLASSES and new in _CLASSES and old[0] == new[0] and _CLASSES.index(new) > _CLASSES.index(old):
        return
    yield f"{new or 'no safety mark'}, {old} must stay"


def _least(what: str, unit: str, old: float, new: float) -> Iterator[str]:
    if old == old and not new >= old * (1 - 1e-9):
        yield f"{what} {show(new, unit)}, at least {show(old, unit)} wanted"


def _most(what: str, unit: str, old: float, new: float) -> Iterator[str]:
    if old == old and not new <= old * (1 + 1e-9):
        yield f"{what} {show(new, unit)}, at most {show(old, unit)} wanted"


def _notes(wanted: Item, item: Item) -> Iterator[str]:
    if item.life_h < wanted.life_h:
        yield f"lasts {show(item.life_h, 'h')} at its rating, the old one {show(wanted.life_h, 'h')}"
    if wanted.kind == "electrolytic" and item.rated_v > HIGH_VOLTS * wanted.rated_v:
        yield "rated far above the old one: larger, not better"
    if item.esr_ohm < 0.3 * wanted.esr_ohm:
        yield "a much lower series resistance can make a regulator oscillate: check its output"
