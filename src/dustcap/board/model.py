"""A board description once it is read: parts, blocks, places, areas. Values are in base units.

A `Board` always comes out of its text (`dustcap.board.read`) and carries it along, so that a change
(`dustcap.board.write`) is a change of that text and comments and order survive.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from dustcap.errors import BoardError

Place = tuple[float, float]
"""Millimetres on the component side, seen from above."""


@dataclass(frozen=True, slots=True)
class Gain:
    """A path through a module: `to` is `value` times `source`, both against the common net."""

    source: str
    to: str
    value: float


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a board.

    Attributes
    ----------
    pins : mapping of pin name to net
        In the order of the kind's pins; an absent optional pin is left out.
    values : mapping of key to number, word or truth value
        Base units; defaults are filled in, a key without a value and without a default is absent.
    given : frozenset of str
        The keys that the description gave. Every other value is an assumption.
    modes : mapping of failure mode to share
        Relative shares that override the kind's own; empty: the kind's own hold.
    sealed : bool
        True: this part cannot fail here.
    drives, draws : mapping of net to volts, and to amperes
        Modules only.
    gains : tuple of Gain
        Modules only.
    """

    name: str
    kind: str
    pins: Mapping[str, str]
    values: Mapping[str, float | str] = field(default_factory=dict)
    given: frozenset[str] = frozenset()
    block: str = ""
    modes: Mapping[str, float] = field(default_factory=dict)
    sealed: bool = False
    line: int = 0
    drives: Mapping[str, float] = field(default_factory=dict)
    draws: Mapping[str, float] = field(default_factory=dict)
    gains: tuple[Gain, ...] = ()

    @property
    def nets(self) -> tuple[str, ...]:
        """The nets that the part touches, each once, in the order of its pins."""
        return tuple(dict.fromkeys(self.pins.values()))

    def number(self, key: str) -> float:
        """The value of a key that is a number; BoardError when the part has none."""
        value = self.values.get(key)
        if value is None or isinstance(value, str):
            raise BoardError(f"part {self.name!r} has no number for {key!r}.", where="board")
        return float(value)

    def word(self, key: str) -> str:
        """The value of a key that is a word; BoardError when the part has none."""
        value = self.values.get(key)
        if not isinstance(value, str):
            raise BoardError(f"part {self.name!r} has no word for {key!r}.", where="board")
        return value


@dataclass(frozen=True, slots=True)
class Block:
    """Parts that do one job together; `origin` names the library block that they came from, or is empty."""

    name: str
    parts: tuple[str, ...]
    origin: str = ""
    ports: Mapping[str, str] = field(default_factory=dict)
    line: int = 0


@dataclass(frozen=True, slots=True)
class Area:
    """A marked outline on the board, in millimetres: residue, corrosion or scorching."""

    name: str
    kind: str
    outline: tuple[Place, ...]
    line: int = 0


@dataclass(frozen=True, slots=True)
class Cover:
    """What has to be opened, in so many minutes, before these parts and areas are reached."""

    name: str
    minutes: float
    parts: tuple[str, ...]
    areas: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Board:
    """A whole board description; `text` is what it was read from and `where` the name of that text."""

    name: str
    revision: str
    mains_v: float
    mains_hz: float
    common: str
    parts: Mapping[str, Part]
    blocks: Mapping[str, Block]
    places: Mapping[str, Place]
    areas: Mapping[str, Area]
    text: str
    where: str = "board"
    covers: Mapping[str, Cover] = field(default_factory=dict)

    @property
    def nets(self) -> tuple[str, ...]:
        """Every net in order of first mention, the common net first."""
        return tuple(dict.fromkeys((self.common, *(net for part in self.parts.values() for net in part.nets))))

    def part(self, name: str) -> Part:
        """The part of that name; BoardError when there is none."""
        if name not in self.parts:
            raise BoardError(f"there is no part {name!r}.", where=self.where)
        return self.parts[name]

    def parts_on(self, net: str) -> tuple[Part, ...]:
        """The parts that touch a net."""
        return tuple(part for part in self.parts.values() if net in part.pins.values())

    def of_kind(self, *kinds: str) -> tuple[Part, ...]:
        """The parts of these kinds, in the order of the description."""
        return tuple(part for part in self.parts.values() if part.kind in kinds)

    @property
    def loose_nets(self) -> tuple[str, ...]:
        """Nets that only one pin touches: often a slip of the pen, never an error."""
        count: dict[str, int] = {}
        for part in self.parts.values():
            for net in part.pins.values():
                count[net] = count.get(net, 0) + 1
        return tuple(net for net, pins in count.items() if pins == 1 and net != self.common)
