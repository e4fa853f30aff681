"""On which line of a TOML text each key stands; what is nested too deep; what is written twice.

The reader of the standard library gives values without lines, so the text is walked once more, in one pass of time
proportional to its length, before it is read. It need not be valid: the walk stops at what it does not understand and
leaves the complaint to the reader.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right
from dataclasses import dataclass, field

KeyPath = tuple[str, ...]

MOST_NESTED = 16
MOST_DOTS = 6

_TOKEN = re.compile(
    r'"""(?:[^\\]|\\.)*?"""'
    r"|'''.*?'''"
    r'|"(?:[^"\\\n]|\\[^\n])*"'
    r"|'[^'\n]*'"
    r"|#[^\n]*|[\[\]{},=.\n]|[^\s\[\]{},=.#\"']+|[\"']",
    re.DOTALL,
)


class TooDeep(ValueError):
    """Nested deeper than any description of this kind needs; carries the line."""

    def __init__(self, line: int) -> None:
        super().__init__(line)
        self.line = line


@dataclass(slots=True)
class LineIndex:
    """Key path -> line, 1 for the first; entries of an array count as ``"0"``, ``"1"`` ... in the path."""

    lines: dict[KeyPath, int] = field(default_factory=dict)
    twice: list[tuple[KeyPath, int, int]] = field(default_factory=list)

    def line(self, path: KeyPath) -> int:
        """The line of a path, or of the nearest thing that holds it; 1 when nothing does."""
        while path:
            if path in self.lines:
                return self.lines[path]
            path = path[:-1]
        return 1

    def note(self, path: KeyPath, line: int, *, key: bool = True) -> None:
        """Remember where a key stands; a key that stood somewhere already is written twice."""
        if path not in self.lines:
            self.lines[path] = line
        elif key:
            self.twice.append((path, self.lines[path], line))


@dataclass(slots=True)
class _Frame:
    """What the walk is inside of: the file or a ``[table]``, an inline table or an array."""

    kind: str
    path: KeyPath
    index: int = 0


@dataclass(slots=True)
class _Walk:
    found: LineIndex = field(default_factory=LineIndex)
    stack: list[_Frame] = field(default_factory=lambda: [_Frame("file", ())])
    parts: list[str] = field(default_factory=list)
    first_line: int = 0
    state: str = "key"  # key, header, value, after
    brackets: int = 0
    value_path: KeyPath = ()
    headers: dict[KeyPath, int] = field(default_factory=dict)

    def take(self, token: str, line: int) -> None:
        """One token, by what is expected now."""
        if token == "\n":
            self._line_end()
        elif self.state == "header":
            self._header(token, line)
        elif self.state == "value" and token not in "]}":
            self._value(token, line)
        elif token in ("]", "}"):
            self._close()
        elif token == ",":
            self._comma()
        elif self.state == "key":
            self._key(token, line)

    def _line_end(self) -> None:
        if self.stack[-1].kind == "file":
            self.state, self.parts, self.brackets = "key", [], 0

    def _key(self, token: str, line: int) -> None:
        if token == "[" and self.stack[-1].kind == "file" and not self.parts:
            self.state, self.brackets = "header", 1
        elif token == "=":
            self._name_value()
        elif token != ".":
            self._part(token, line)

    def _part(self, token: str, line: int) -> None:
        if not self.parts:
            self.first_line = line
        self.parts.append(_bare(token))
        if len(self.parts) > MOST_DOTS:
            raise TooDeep(line)

    def _name_value(self) -> None:
        frame = self.stack[-1]
        self.value_path = frame.path + tuple(self.parts)
        for size in range(1, len(self.parts)):
            self.found.note(frame.path + tuple(self.parts[:size]), self.first_line, key=False)
        self.found.note(self.value_path, self.first_line)
        self.parts, self.state = [], "value"

    def _header(self, token: str, line: int) -> None:
        if token == "[":
            self.brackets += 1
        elif token == "]":
            self._end_header(line)
        elif token != ".":
            self._part(token, line)

    def _end_header(self, line: int) -> None:
        path = tuple(self.parts)
        if self.brackets == 2:
            index = self.headers.get(path, 0)
            self.headers[path] = index + 1
            self.found.note(path, line, key=False)
            path = (*path, str(index))
        self.found.note(path, line)
        for size in range(1, len(path)):
            self.found.note(path[:size], line, key=False)
        self.stack = [_Frame("file", path)]
        self.parts, self.state, self.brackets = [], "after", 0

    def _value(self, token: str, line: int) -> None:
        if token in ("[", "{"):
            self._open(token, line)
        elif token == ",":
            self._comma()
        else:
            self._entry(line)
            self.state = "after"

    def _entry(self, line: int) -> None:
        if self.stack[-1].kind == "array":
            self.found.note(self.value_path, line, key=False)

    def _open(self, token: str, line: int) -> None:
        self._entry(line)
        if len(self.stack) > MOST_NESTED:
            raise TooDeep(line)
        if token == "[":
            self.stack.append(_Frame("array", self.value_path))
            self.value_path = (*self.value_path, "0")
        else:
            self.stack.append(_Frame("table", self.value_path))
            self.state, self.parts = "key", []

    def _close(self) -> None:
        if len(self.stack) > 1:
            self.stack.pop()
        self.state, self.parts = "after", []

    def _comma(self) -> None:
        frame = self.stack[-1]
        if frame.kind == "array":
            frame.index += 1
            self.value_path = (*frame.path, str(frame.index))
            self.state = "value"
        elif frame.kind == "table":
            self.state, self.parts = "key", []


def _bare(token: str) -> str:
    """A key as it reads: without its quotes."""
    if token[0] == "'":
        return token[1:-1]
    if token[0] != '"':
        return token
    if "\\" not in token:
        return token[1:-1]
    try:
        return str(tomllib.loads(f"key = {token}")["key"])
    except tomllib.TOMLDecodeError:
        return token


def line_index(text: str) -> LineIndex:
    """Walk a TOML text.

    Raises
    ------
    TooDeep
        If brackets nest deeper than `MOST_NESTED`, or a key has more than `MOST_DOTS` parts.

    Examples
    --------
    >>> line_index('[parts]\\nR1 = { value = "2k2" }').line(("parts", "R1", "value"))
    2
    """
    ends = [match.start() for match in re.finditer("\n", text)]
    walk = _Walk()
    for match in _TOKEN.finditer(text):
        token = match[0]
        if token in ('"', "'"):
            break
        if token[0] != "#":
            walk.take(token, bisect_right(ends, match.start() - 1) + 1)
    return walk.found
