"""Limits: read from a text that names the source of each one, checked, and put in the units of the results."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from math import isfinite
from typing import Any

from dustcap.errors import InputError

LAYOUT = 1
BELOW, ABOVE, WITHIN = "below", "above", "within"


@dataclass(frozen=True, slots=True)
class Quantity:
    """What can be limited: its unit, on which side of the limit good lies, and whether a band has to stand with it."""

    unit: str
    better: str
    banded: bool = False


QUANTITIES: Mapping[str, Quantity] = {
    "response": Quantity("dB", WITHIN, banded=True),
    "distortion below 250 Hz": Quantity("dB", ABOVE, banded=True),
    "distortion from 250 Hz": Quantity("dB", ABOVE, banded=True),
    "rub and buzz": Quantity("dB", BELOW),
    "hum": Quantity("dB", BELOW),
    "noise": Quantity("dB", BELOW),
    "crackle": Quantity("1/min", BELOW),
    "dip at the crossover": Quantity("dB", BELOW),
    "pair level": Quantity("dB", WITHIN, banded=True),
    "pair response": Quantity("dB", WITHIN, banded=True),
    "unmute delay": Quantity("s", ABOVE),
    "dc at driver": Quantity("V", WITHIN),
}


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit; `low_hz` and `high_hz` bound where it holds, zero and infinity without a band."""

    what: str
    value: float
    unit: str
    better: str
    low_hz: float
    high_hz: float
    source: str
    note: str


Limits = Mapping[str, Limit]

_KEYS = {"value", "unit", "low_hz", "high_hz", "source", "note"}


def read_limits(text: str, where: str = "limits") -> Limits:
    """Limits from TOML text, by name.

    Parameters
    ----------
    text : str
        ``layout = 1`` and a table ``[limits.NAME]`` for each limit, with ``value``, ``unit`` and ``source``, for those
        over frequency also ``low_hz`` and ``high_hz``, and perhaps a ``note``.
    where : str
        What to call the text in an error: its file name.

    Raises
    ------
    InputError
        If the text is no TOML, or a limit is unknown, incomplete, in another unit, or without a source.
    """
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"this is not TOML: {error}.", where=where, mend="Mend that line.") from error
    if content.get("layout") != LAYOUT:
        raise InputError(
            f"the layout is {content.get('layout')!r}.", where=f"{where}: layout", mend=f"Write layout = {LAYOUT}."
        )
    tables = content.get("limits")
    if not isinstance(tables, dict) or content.keys() - {"layout", "limits"}:
        raise InputError(
            "there is something else than limits in it.", where=where, mend="Put each limit in a table [limits.NAME]."
        )
    return {name: _limit(name, table, f"{where}: limits.{name!r}") for name, table in tables.items()}


def default_limits() -> Limits:
    """The limits that come with the program."""
    return read_limits(resources.files("dustcap.proof").joinpath("limits.toml").read_text("utf-8"), "limits.toml")


def _limit(name: str, table: Any, where: str) -> Limit:
    quantity = QUANTITIES.get(name)
    if quantity is None:
        raise InputError(f"nothing called {name!r} is judged.", where=where, mend=f"Judged are: {_list(QUANTITIES)}.")
    if not isinstance(table, dict):
        raise InputError("this is no table.", where=where, mend=f"Write [limits.{name!r}] and the keys below it.")
    unknown = sorted(table.keys() - _KEYS)
    if unknown:
        raise InputError(f"there is no key {unknown[0]!r}.", where=where, mend=f"Keys are: {_list(sorted(_KEYS))}.")
    if table.get("unit") != quantity.unit:
        raise InputError(
            f"the unit is {table.get('unit')!r}.", where=f"{where} unit", mend=f'Write unit = "{quantity.unit}".'
        )
    source = table.get("source")
    if not isinstance(source, str) or not source.strip():
        raise InputError(
            "the limit has no source.", where=f"{where} source", mend='Say where it comes from; "ours" will do.'
        )
    low_hz = _number(table, "low_hz", where) if quantity.banded or "low_hz" in table else 0.0
    high_hz = _number(table, "high_hz", where) if quantity.banded or "high_hz" in table else float("inf")
    if not 0 <= low_hz < high_hz:
        raise InputError(
            f"the band runs from {low_hz:g} to {high_hz:g} Hz.", where=where, mend="Put the lower one first."
        )
    value = _number(table, "value", where)
    if quantity.better == WITHIN and not value > 0:
        raise InputError(
            f"{value:g} leaves nothing between minus and plus.", where=f"{where} value", mend="Give a value above zero."
        )
    return Limit(name, value, quantity.unit, quantity.better, low_hz, high_hz, source, str(table.get("note", "")))


def _number(table: Mapping[str, Any], key: str, where: str) -> float:
    value = table.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        raise InputError(f"{value!r} is no number.", where=f"{where} {key}", mend="Write a number, like 0.5.")
    return float(value)


def _list(names: Any) -> str:
    return ", ".join(names)
