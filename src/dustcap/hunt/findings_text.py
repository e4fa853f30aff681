"""The text of a findings file: its tables in the order written, with the line of each key.

TOML keeps arrays of tables apart by name; here their common order matters, because what stands after ``[[work]]``
speaks of the changed board. So the values come from the TOML reader, and order and lines from the headers in the text.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from dustcap.errors import InputError, nearest
from dustcap.quantities import read

LAYOUT = 1
MOST_BYTES = 1_000_000

_HEADER = re.compile(r"^\s*\[\[\s*(?P<name>[A-Za-z_-]+)\s*\]\]\s*(#.*)?$")
_KEY = re.compile(r"""^\s*(?P<quote>["']?)(?P<key>[A-Za-z0-9_-]+)(?P=quote)\s*=""")
_DIGITS = re.compile(r"(?P<whole>[0-9]*)(?P<point>[.,])?(?P<part>[0-9]*)")
_LETTER = re.compile(r"^\s*[+−-]?\s*[0-9]*[A-Za-zµμΩ](?P<part>[0-9]+)")


@dataclass(frozen=True)
class Table:
    """One table: its name, its values, the file and line it starts on, and the line of each key."""

    name: str
    values: Mapping[str, object]
    where: str
    line: int
    lines: Mapping[str, int]

    def at(self, key: str) -> str:
        """File and line of a key, or of the table for a key that is not there."""
        return f"{self.where}:{self.lines.get(key, self.line)}"


def read_tables(text: str, where: str, keys: Mapping[str, Sequence[str]]) -> tuple[Table, ...]:
    """The tables of a findings file in the order written.

    Parameters
    ----------
    text, where : str
        The text and the name of its file.
    keys : mapping of table to its keys
        All others are refused, with the nearest known one.

    Raises
    ------
    InputError
        For text that is no TOML, a wrong layout, and unknown tables and keys.
    """
    document = _document(text, where)
    headers = _headers(text)
    _check_top(document, where, keys, headers)
    counts = dict.fromkeys(keys, 0)
    tables = []
    for name, line, lines in headers:
        if name in counts:
            values = document[name][counts[name]]  # type: ignore[index]
            counts[name] += 1
            tables.append(Table(name, values, where, line, lines))
    for table in tables:
        for key in table.values:
            if key not in keys[table.name]:
                raise _unknown(f"a {table.name} has no key {key!r}.", key, keys[table.name], table.at(key))
    return tuple(tables)


def rounding_of(value: object, unit: str) -> float:
    """Half of the last digit that was written down, in base units: 0.05 V for ``"-23.8 V"``, 50 ohm for ``"2k2"``.

    A quantity that does not read is `read`'s to refuse; there is no rounding of it.
    """
    text = repr(value) if isinstance(value, int | float) else str(value)
    text = re.sub(r"(?<=[0-9]) (?=[0-9]{3})", "", text.strip().lstrip("+-−± "))
    letter = _LETTER.match(text)
    if letter:
        one = re.sub(r"[0-9]+", lambda m: "1" if m.start() == 0 else "0", text, count=2)
        one = one if one[:1].isdigit() else f"1{one}"
        return 0.5 * _scale(one, unit) * 10.0 ** -len(letter["part"])
    digits = _DIGITS.match(text)
    if not digits or not digits.group():
        return 0.0
    return 0.5 * _scale(f"1{text[digits.end() :]}", unit) * 10.0 ** -len(digits["part"])


def _scale(one: str, unit: str) -> float:
    try:
        return abs(read(one, unit))
    except InputError:
        return 0.0


def _document(text: str, where: str) -> Mapping[str, object]:
    if len(text) > MOST_BYTES:
        raise InputError("the file is over 1 MB long.", where=where, mend="Findings of one unit fit in a few pages.")
    if not text.strip():
        raise InputError("the file is empty.", where=where, mend="Start it with the line: layout = 1.")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"\(at line (\d+), column \d+\)", str(error))
        place = f"{where}:{found[1]}" if found else f"{where}:{text.count(chr(10)) + 1}"
        what = re.sub(r"\s*\(at .*\)$", "", str(error))
        raise InputError(
            f"this is not TOML: {what}.", where=place, mend="Put texts in quotes and check the brackets."
        ) from error
    except RecursionError as error:
        raise InputError("the file is nested too deeply.", where=where, mend="Findings are flat tables.") from error


def _headers(text: str) -> list[tuple[str, int, dict[str, int]]]:
    """Name and line of each array-of-tables header, with the lines of the keys under it."""
    found: list[tuple[str, int, dict[str, int]]] = []
    inside = ""  # the quotes of a text over several lines
    for number, line in enumerate(text.splitlines(), start=1):
        if not inside:
            header, key = _HEADER.match(line), _KEY.match(line)
            if header:
                found.append((header["name"], number, {}))
            elif key and found:
                found[-1][2].setdefault(key["key"], number)
        for quotes in ('"""', "'''"):
            if line.count(quotes) % 2 and inside in ("", quotes):
                inside = "" if inside else quotes
    return found


def _check_top(
    document: Mapping[str, object],
    where: str,
    keys: Mapping[str, Sequence[str]],
    headers: Sequence[tuple[str, int, Mapping[str, int]]],
) -> None:
    lines = {name: line for name, line, _ in reversed(headers)}
    if document.get("layout") != LAYOUT or isinstance(document.get("layout"), bool):
        read_as = repr(document["layout"]) if "layout" in document else "nothing"
        raise InputError(
            f"the layout is 1, read {read_as}.", where=f"{where}:1", mend="Start the file with: layout = 1."
        )
    for name, value in document.items():
        if name == "layout":
            continue
        place = f"{where}:{lines.get(name, 1)}"
        if name not in keys:
            raise _unknown(f"findings have no {name!r}.", name, tuple(keys), place)
        written = sum(header[0] == name for header in headers)
        if not isinstance(value, list) or len(value) != written or not all(isinstance(v, dict) for v in value):
            raise InputError(
                f"{name!r} is not written as tables of its own.", where=place, mend=f"Head each one with [[{name}]]."
            )


def _unknown(what: str, name: str, names: Sequence[str], where: str) -> InputError:
    return InputError(what, where=where, mend=nearest(name, names, "Known here"))
