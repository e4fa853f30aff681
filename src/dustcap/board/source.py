"""The text of a description with its lines: where mistakes are told from, and how single values are read."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import isfinite

from dustcap.board.kinds import NAME, NUMBER, TRUTH, Key
from dustcap.board.lines import KeyPath, LineIndex, TooDeep, line_index
from dustcap.errors import BoardError, UnitError, nearest
from dustcap.quantities import read, show

MOST_BYTES = 1_000_000
MOST_NAME = 64

_ABOUT_TWICE = re.compile(r"Cannot (overwrite|declare|mutate)|Duplicate")
_AT_LINE = re.compile(r" \(at (?:line (\d+), column \d+|end of document)\)$")


@dataclass(frozen=True, slots=True)
class Source:
    """A text that was read: its name, and where each key stands."""

    where: str
    index: LineIndex

    def error(self, path: KeyPath, what: str, mend: str) -> BoardError:
        """The mistake at a key path, ready to be raised."""
        return BoardError(what, where=f"{self.where}:{self.index.line(path)}", mend=mend)

    def line(self, path: KeyPath) -> int:
        """The line of a key path."""
        return self.index.line(path)


def read_toml(text: str, where: str) -> tuple[dict[str, object], Source]:
    """Values and lines of a TOML text; BoardError with the line when it is too large, too deep or not TOML."""
    if len(text.encode("utf-8", "surrogatepass")) > MOST_BYTES:
        raise BoardError(
            f"the text is larger than {MOST_BYTES // 1000} kB.", where=where, mend="Describe one board in one file."
        )
    text = text.removeprefix("\ufeff")
    if not text.strip():
        raise BoardError("the text is empty.", where=f"{where}:1", mend="Begin it with: layout = 1")
    try:
        index = line_index(text)
    except TooDeep as deep:
        raise BoardError(
            "brackets or dotted names are nested too deep.", where=f"{where}:{deep.line}", mend="Close the brackets."
        ) from deep
    try:
        return tomllib.loads(text), Source(where, index)
    except ValueError as error:  # TOMLDecodeError, or a number of thousands of digits
        raise (
            _twice(index, where)
            if index.twice and _ABOUT_TWICE.match(str(error))
            else _not_toml(str(error), text, where)
        ) from error


def _twice(index: LineIndex, where: str) -> BoardError:
    path, first, again = index.twice[0]
    return BoardError(
        f"{words_of(path)} is written twice, on line {first} and on line {again}.",
        where=f"{where}:{again}",
        mend="Keep one of the two, or give the other its own name.",
    )


def _not_toml(said: str, text: str, where: str) -> BoardError:
    match = _AT_LINE.search(said)
    line = int(match[1]) if match and match[1] else text.rstrip().count("\n") + 1
    what = said[: match.start()] if match else said
    shown = text.splitlines()[line - 1].strip()[:60] if line <= text.count("\n") + 1 and text.splitlines() else ""
    return BoardError(
        f"this is not valid TOML: {what[:1].lower()}{what[1:]}, in {shown!r}.",
        where=f"{where}:{line}",
        mend="Look for a missing quote, bracket or comma on this line or the one before.",
    )


def words_of(path: KeyPath) -> str:
    """A key path as a sentence names it: part 'R1', key 'value'."""
    singular = {"parts": "part", "blocks": "block", "places": "place of", "areas": "area"}
    if not path:
        return "the file"
    if len(path) == 1:
        return f"[{path[0]}]" if path[0] in singular or path[0] == "board" else repr(path[0])
    head = singular.get(path[0], path[0])
    rest = ", ".join(f"key {key!r}" for key in path[2:] if not key.isdigit())
    if head == "board":
        return f"[board], key {path[1]!r}"
    return f"{head} {path[1]!r}{', ' + rest if rest else ''}"


def table_at(source: Source, path: KeyPath, value: object) -> Mapping[str, object]:
    """A value that must be a table."""
    if not isinstance(value, dict):
        raise source.error(path, f"{words_of(path)} is {shown(value)}, not a table.", "Write it in braces: { ... }")
    return value


def check_keys(source: Source, path: KeyPath, given: Iterable[str], known: Iterable[str]) -> None:
    """Refuse the first key that is not known there, and suggest the nearest."""
    names = tuple(known)
    for key in given:
        if key not in names:
            raise source.error(
                (*path, key), f"{words_of(path)} has an unknown key {key!r}.", nearest(key, names, "Keys")
            )


def name_at(source: Source, path: KeyPath, value: object, what: str = "a name") -> str:
    """A value that must be a name: text of 1 to 64 characters without control characters."""
    if not isinstance(value, str) or not value.strip() or len(value) > MOST_NAME or not value.isprintable():
        raise source.error(
            path,
            f"{words_of(path)} is {shown(value)}, not {what}.",
            f"Write {what} in quotes, up to {MOST_NAME} letters.",
        )
    return value


def value_at(source: Source, path: KeyPath, value: object, key: Key) -> float | str:
    """One value by the table's entry for its key: read, in range, in base units."""
    if key.sort == TRUTH:
        if not isinstance(value, bool):
            raise source.error(path, f"{words_of(path)} is {shown(value)}.", "Write true or false.")
        return value
    if key.sort == NAME:
        return name_at(source, path, value)
    if key.sort == NUMBER:
        return number_at(source, path, value, key)
    if not isinstance(value, str) or value not in key.choices:
        advice = nearest(value if isinstance(value, str) else "", key.choices, "Write one of")
        raise source.error(path, f"{words_of(path)} is {shown(value)}.", advice)
    return value


def number_at(source: Source, path: KeyPath, value: object, key: Key) -> float:
    """A number with its unit, inside the range that makes sense for the key."""
    right = f"Write it as {key.example!r}." if key.example else "Write a number."
    try:
        number = read(value, key.unit)
    except UnitError as error:
        raise source.error(path, f"{words_of(path)}: {error.what}", right) from error
    if key.signed:
        good = number != 0 and abs(number) <= key.most
    else:
        good = key.above < number <= key.most or (key.zero and number == 0)
    if not (isfinite(number) and good):
        raise source.error(path, f"{words_of(path)} is {shown(value)}, {_needs(key)}.", right)
    return number


def as_written(value: float | str, unit: str) -> float | str:
    """A value in base units as it can stand in a description under a key of that unit.

    Examples
    --------
    >>> as_written(0.05, "%"), as_written(0.016, "mm"), as_written(2200.0, "ohm")
    ('5.0 %', '0.016 m', '2200.0 ohm')
    """
    if isinstance(value, str | bool) or not unit:
        return value
    return f"{value * 100!r} %" if unit == "%" else f"{value!r} {base_unit(unit)}"


def base_unit(unit: str) -> str:
    """The unit without a prefix that values of a key are held in."""
    return {"mm": "m", "nV/rtHz": "V/rtHz"}.get(unit, unit)


def _needs(key: Key) -> str:
    most = f" and at most {show(key.most, base_unit(key.unit))}" if isfinite(key.most) else ""
    if key.signed:
        return f"but must not be zero{most}"
    return f"but must be {'zero or more' if key.zero else f'more than {key.above:g}'}{most}"


def shown(value: object) -> str:
    """A value as it was written, cut short."""
    text = repr(value) if not isinstance(value, bool) else str(value).lower()
    return text if len(text) <= 48 else f"{text[:45]}..."
