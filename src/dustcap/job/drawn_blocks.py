"""What a drawing of one block needs: its parts with their words, and what each of its nets is and reads."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import isfinite

from dustcap.board.compare import shown_value
from dustcap.board.library.load import Template, built_in
from dustcap.board.model import Board, Part
from dustcap.board.read import parse_board
from dustcap.job.block_order import FEEDS, SUPPLY_PINS, blocks_in_order, rails
from dustcap.predict.sheet import Range, Sheet

COMMON, HIGH, LOW, WINDING, SIGNAL = "common", "high", "low", "winding", "signal"
"""What a net is to a block: the common net, a rail above it or below it, an end of a winding, all else."""
SUPPLY_PORTS: Mapping[str, str] = {"high": HIGH, "plus": HIGH, "low": LOW, "minus": LOW}

INWARD_PORTS = ("in", "amplifier", "hot", "cold", "wake", "high", "low")
"""Ports of the library's blocks at which something comes in."""


@dataclass(frozen=True, slots=True)
class DrawnPart:
    """A part as it is drawn: its name within the block, its kind and sort (``led``), its nets by pin, its value."""

    name: str
    kind: str
    sort: str
    pins: Mapping[str, str]
    value: str
    inputs: tuple[str, ...] = ()
    outputs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DrawnNet:
    """A net as it is drawn: its name within the block, its role, what it reads, and the blocks on its other ends."""

    name: str
    label: str
    role: str
    volts: Range | None = None
    level: Range | None = None
    before: tuple[str, ...] = ()
    after: tuple[str, ...] = ()
    rank: int = 0  # place in the signal's order of the first other block that has it

    @property
    def outside(self) -> bool:
        """Whether it leads to other blocks."""
        return bool(self.before or self.after)


@dataclass(frozen=True, slots=True)
class DrawnBlock:
    """One block of a board."""

    name: str
    parts: tuple[DrawnPart, ...]
    nets: Mapping[str, DrawnNet] = field(default_factory=dict)
    origin: str = ""


def drawn_blocks(board: Board, sheet: Sheet | None = None) -> tuple[DrawnBlock, ...]:
    """Every block of a board in the order of the signal; with what its nets read, where a sheet is given."""
    ordered = blocks_in_order(board)
    roles = _roles(board, sheet)
    homes: dict[str, list[str]] = {}
    for block in ordered:
        for name, _ in block.parts:
            for net in board.parts[name].nets:
                if block.name not in homes.setdefault(net, []):
                    homes[net].append(block.name)
    place = {block.name: number for number, block in enumerate(ordered)}
    found = []
    for block in ordered:
        prefix = f"{block.name}-"
        parts = tuple(_drawn(board.parts[name], prefix) for name, _ in block.parts)
        nets = {}
        for net in dict.fromkeys(net for part in parts for net in part.pins.values()):
            others = [name for name in homes[net] if name != block.name]
            before, after = ([n for n in others if (place[n] < place[block.name]) is first] for first in (True, False))
            one = sheet.nets.get(net) if sheet is not None else None
            nets[net] = DrawnNet(
                net,
                net.removeprefix(prefix),
                roles.get(net, SIGNAL),
                one.dc_volts if one is not None else None,
                one.level if one is not None else None,
                tuple(before),
                tuple(after),
                min((place[n] for n in others), default=len(place)),
            )
        origin = board.blocks[block.name].origin if block.name in board.blocks else ""
        found.append(DrawnBlock(block.name, parts, nets, origin))
    return tuple(found)


def drawn_library() -> tuple[DrawnBlock, ...]:
    """Every block of the library."""
    return tuple(drawn_template(template) for template in built_in().values())


def drawn_template(template: Template) -> DrawnBlock:
    """A block of the library with its own settings, as it is drawn alone: its ports lead outside."""
    ports = ", ".join(f'"{port}" = "{port}"' for port in template.ports)
    text = (
        f'layout = 1\n[board]\nname = "{template.name}"\n[blocks.b]\nfrom = "{template.name}"\nwith = {{ {ports} }}\n'
    )
    board = parse_board(text, template.name)
    (block,) = drawn_blocks(board)
    nets = {}
    for name, net in block.nets.items():
        role = net.role
        if role == SIGNAL and name in template.ports:
            role = SUPPLY_PORTS.get(name, role)
        outward = () if name not in template.ports or name == board.common else ("",)
        into = name in INWARD_PORTS
        nets[name] = DrawnNet(
            name, net.label, role, before=outward if into else (), after=() if into else outward, rank=int(not into)
        )
    return DrawnBlock(template.name, block.parts, nets, template.name)


def _drawn(part: Part, prefix: str) -> DrawnPart:
    words = _value(part)
    inputs = tuple(dict.fromkeys(pin for gain in part.gains for pin, net in part.pins.items() if net == gain.source))
    outputs = tuple(dict.fromkeys(pin for gain in part.gains for pin, net in part.pins.items() if net == gain.to))
    driven = tuple(pin for pin, net in part.pins.items() if net in part.drives)
    sort = str(part.values.get("type", part.values.get("role", "")))
    if part.kind == "switch":
        sort = "closed" if part.values.get("closed") is True else "open"
    if part.kind == "link" and "rating" in part.values:
        sort = "fuse"
    return DrawnPart(part.name.removeprefix(prefix), part.kind, sort, part.pins, words, inputs, outputs + driven)


def _value(part: Part) -> str:
    """The value that stands beside a symbol; the symbol says the kind."""
    match part.kind:
        case "driver":
            return f"{part.values.get('role', '')} {shown_value(part, 'resistance')}".strip()
        case "transformer":
            return shown_value(part, "volts")
        case "link":
            return shown_value(part, "rating")
        case "relay coil":
            return shown_value(part, "resistance")
        case "switch":
            return (
                f"by {part.values['driven_by']}".replace(f"{part.block}-", "") if part.values.get("driven_by") else ""
            )
    return shown_value(part, "value")


def _roles(board: Board, sheet: Sheet | None) -> dict[str, str]:
    roles = {net: _polarity(board, net, sheet) for net in rails(board)}
    for part in board.parts.values():
        if part.kind == "bridge":
            roles |= {part.pins["plus"]: HIGH, part.pins["minus"]: LOW}
        if part.kind == "supply":
            plus, minus = part.pins.values()
            roles |= {plus: HIGH, minus: LOW}
        for net, volts in part.drives.items():
            roles[net] = HIGH if volts > 0 else LOW
        for net in part.draws:
            roles.setdefault(net, _polarity(board, net, sheet))
    for part in board.parts.values():
        if part.kind in FEEDS and part.kind in ("transformer", "bridge"):
            for net in part.nets:
                roles.setdefault(net, WINDING)
    for part in board.of_kind("link"):
        ends = part.nets
        if len(ends) == 2 and {roles.get(net) for net in ends} == {WINDING, None}:
            roles |= dict.fromkeys(ends, WINDING)
    return roles | {board.common: COMMON}


def _polarity(board: Board, net: str, sheet: Sheet | None) -> str:
    one = sheet.nets.get(net) if sheet is not None else None
    if one is not None and one.dc_volts is not None and isfinite(one.dc_volts.median):
        return HIGH if one.dc_volts.median >= 0 else LOW
    for part in board.parts.values():
        for pin in SUPPLY_PINS.get(part.kind, ()):
            if part.pins.get(pin) == net and pin != "common":
                below = pin == "low" or (part.kind == "regulator" and part.number("value") < 0)
                return LOW if below else HIGH
    return LOW if net in ("low", "minus") or "-" in (net[:1], net[-1:]) else HIGH
