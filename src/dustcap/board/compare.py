"""What differs between two revisions of a board, as a maker would change it: parts, values, connections, blocks."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from dustcap.board.kinds import KINDS
from dustcap.board.model import Board, Part
from dustcap.board.source import base_unit
from dustcap.quantities import show

ADDED, REMOVED, KIND, VALUE, PINS, BLOCK = "added", "removed", "kind", "value", "pins", "block"


@dataclass(frozen=True, slots=True)
class Difference:
    """One difference: of which part or block, in what, and how it reads on the older and on the newer board."""

    name: str
    what: str
    old: str
    new: str
    key: str = ""

    def words(self) -> str:
        """As a technician says it: ``R12 value: 22 kΩ, now 33 kΩ``."""
        if self.what == ADDED:
            return f"{self.name} added: {self.new}"
        if self.what == REMOVED:
            return f"{self.name} gone: {self.old}"
        return f"{self.name} {self.key or self.what}: {self.old}, now {self.new}"


def differences(old: Board, new: Board) -> tuple[Difference, ...]:
    """What changed from one board to the other, in the order of the newer one, what is gone at the end.

    Values are compared where either description gave them; two defaults are no difference. Places are not compared.
    """
    found = [entry for name, part in new.parts.items() for entry in _of_part(old.parts.get(name), part)]
    found += [
        Difference(part.name, REMOVED, describe(part), "") for name, part in old.parts.items() if name not in new.parts
    ]
    return (*found, *_of_blocks(old, new))


def describe(part: Part) -> str:
    """A part in a few words: its kind, its value, its nets."""
    value = f" {shown_value(part, 'value')}" if "value" in part.values else ""
    return f"{part.kind}{value} at {', '.join(part.nets)}"


def shown_value(part: Part, key: str) -> str:
    """A value as a technician reads it; empty when the part has none."""
    value = part.values.get(key)
    if value is None:
        return ""
    if isinstance(value, str | bool):
        return str(value).lower() if isinstance(value, bool) else value
    return show(value, base_unit(KINDS[part.kind].keys[key].unit))


def _of_part(old: Part | None, new: Part) -> Iterator[Difference]:
    if old is None:
        yield Difference(new.name, ADDED, "", describe(new))
        return
    if old.kind != new.kind:
        yield Difference(new.name, KIND, describe(old), describe(new))
        return
    if old.pins != new.pins:
        yield Difference(new.name, PINS, _pins(old.pins), _pins(new.pins))
    for key in KINDS[new.kind].keys:
        told = key == "value" or key in old.given | new.given
        if told and old.values.get(key) != new.values.get(key):
            yield Difference(new.name, VALUE, shown_value(old, key), shown_value(new, key), key)


def _pins(pins: Mapping[str, str]) -> str:
    return ", ".join(f"{pin} {net}" for pin, net in pins.items())


def _of_blocks(old: Board, new: Board) -> Iterator[Difference]:
    for name in dict.fromkeys((*new.blocks, *old.blocks)):
        before, after = old.blocks.get(name), new.blocks.get(name)
        said = [(block.origin or "own parts") if block else "none" for block in (before, after)]
        if said[0] != said[1]:
            yield Difference(name, BLOCK, said[0], said[1])
