"""The blocks of a board in the order that the signal takes, and the nets that lead from one to the next.

The order is found, not described: from the block that holds the input, step by step over the nets that blocks share,
rails left out. What is not reached that way and feeds the others comes first, the rest last.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from dustcap.board.compare import shown_value
from dustcap.board.model import Board, Part

FEEDS = ("transformer", "bridge", "supply", "regulator")
SUPPLY_PINS: Mapping[str, tuple[str, ...]] = {
    "op amp": ("high", "low"),
    "power amplifier": ("high", "low"),
    "regulator": ("in", "out", "common"),
}
OTHERS = "other parts"
WHOLE = "the board"


@dataclass(frozen=True, slots=True)
class Outlet:
    """A net that leads out of a block, and the blocks or the driver that it leads to."""

    net: str
    to: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OrderedBlock:
    """A block with its step in the signal's order (-1: it feeds the others), its parts and where it leads."""

    name: str
    step: int
    parts: tuple[tuple[str, str], ...]  # name, value in words
    outlets: tuple[Outlet, ...]


def rails(board: Board) -> tuple[str, ...]:
    """Nets that feed a part: both rails of every amplifier, what goes into and out of every regulator."""
    found = [part.pins[pin] for part in board.parts.values() for pin in SUPPLY_PINS.get(part.kind, ())]
    return tuple(net for net in dict.fromkeys(found) if net != board.common)


def blocks_in_order(board: Board) -> tuple[OrderedBlock, ...]:
    """Every block, what feeds first, then as the signal goes; parts of no block are one of their own."""
    members = _members(board)
    nets = {name: _signal_nets(board, names) for name, names in members.items()}
    steps = _steps(board, members, nets)
    ordered = sorted(members, key=lambda name: steps[name])
    return tuple(
        OrderedBlock(
            name,
            steps[name],
            tuple((part, said(board.parts[part])) for part in members[name]),
            _outlets(board, name, members, nets, steps),
        )
        for name in ordered
    )


def said(part: Part) -> str:
    """The value of a part as it stands beside its name; its kind where it has none."""
    value = shown_value(part, "value") or (shown_value(part, "resistance") if part.kind == "driver" else "")
    if part.kind in ("resistor", "capacitor", "electrolytic", "inductor"):
        return value
    return f"{part.kind} {value}".strip()


def _members(board: Board) -> dict[str, tuple[str, ...]]:
    members = {name: tuple(part for part in block.parts if part in board.parts) for name, block in board.blocks.items()}
    taken = {part for parts in members.values() for part in parts}
    loose = tuple(name for name in board.parts if name not in taken)
    if loose:
        members[OTHERS if members else WHOLE] = loose
    return {name: parts for name, parts in members.items() if parts}


def _signal_nets(board: Board, names: tuple[str, ...]) -> set[str]:
    return {net for name in names for net in board.parts[name].nets} - _supply_nets(board)


def _supply_nets(board: Board) -> set[str]:
    found = {board.common, *rails(board)}
    for part in board.parts.values():
        if part.kind in FEEDS:
            found |= set(part.nets)
        found |= {*part.drives, *part.draws}
    return found


def _steps(board: Board, members: Mapping[str, tuple[str, ...]], nets: Mapping[str, set[str]]) -> dict[str, int]:
    kinds = {name: {board.parts[part].kind for part in parts} for name, parts in members.items()}
    steps = {name: 0 for name in members if "input" in kinds[name]}
    front = list(steps)
    while front:
        following = [name for name in members if name not in steps and any(nets[name] & nets[old] for old in front)]
        steps |= {name: steps[front[0]] + 1 for name in following}
        front = following
    last = max(steps.values(), default=0) + 1
    return steps | {name: -1 if kinds[name] & set(FEEDS) else last for name in members if name not in steps}


def _outlets(
    board: Board,
    name: str,
    members: Mapping[str, tuple[str, ...]],
    nets: Mapping[str, set[str]],
    steps: Mapping[str, int],
) -> tuple[Outlet, ...]:
    leads: dict[str, list[str]] = {}
    for other in members:
        if steps[other] == steps[name] + 1 and steps[name] >= 0:
            for net in nets[name] & nets[other]:
                leads.setdefault(net, []).append(other)
    for part in (board.parts[part] for part in members[name]):
        if part.kind == "driver":
            leads.setdefault(part.pins["plus"], []).append(str(part.values.get("role", part.name)))
    order = {net: place for place, net in enumerate(board.nets)}
    return tuple(Outlet(net, tuple(leads[net])) for net in sorted(leads, key=lambda net: order[net]))
