"""The names that a board gives to entries: nets, parts with their lifted unit, areas, drivers, partners."""

from __future__ import annotations

from dustcap.board.model import Board, Part
from dustcap.board.outline import AMPLIFIERS, FOUND_AT, roles_of
from dustcap.hunt.known import Known
from dustcap.hunt.packages import halves_of
from dustcap.predict.checks import Check
from dustcap.predict.lifted import UNITS

RESERVOIR_FROM_F = 400e-6  # common practice, no published source: smaller ones are not bought in pairs


def known_of(board: Board) -> Known:
    """The names of a board."""
    drivers = {
        str(part.values["role"]): part.name for part in reversed(board.of_kind("driver")) if "role" in part.values
    }
    plain = {name: own for name, own in roles_of(board).items() if name not in board.nets and name not in board.parts}
    return Known(
        nets=frozenset(board.nets),
        parts={part.name: UNITS.get(part.kind, "") for part in board.parts.values()},
        areas=frozenset(board.areas),
        drivers=drivers | {part.name: part.name for part in board.of_kind("driver")},
        common=board.common,
        partners=_partners(board),
        plain=plain,
        unplaced=frozenset({*FOUND_AT, *AMPLIFIERS} - {*plain, *board.nets, *board.parts}),
        proof=_proof(board),
        halves=halves_of(board),
        covers={one: (c.name, c.minutes) for c in board.covers.values() for one in (*c.parts, *c.areas)},
    )


def _proof(board: Board) -> tuple[Check, ...]:
    """D.c. on every rail of an amplifier, d.c. and level at every driver."""
    supplied = [part.pins[pin] for part in board.of_kind("power amplifier", "op amp") for pin in ("high", "low")]
    outputs = [net for part in board.of_kind("driver") for net in part.nets]
    rails = (net for net in dict.fromkeys((*supplied, *outputs)) if net != board.common)
    found = [Check("dc volts", net, board.common) for net in rails]
    if board.of_kind("input"):
        found += [Check("ac volts", net, board.common) for net in dict.fromkeys(outputs) if net != board.common]
    return tuple(found)


def _partners(board: Board) -> dict[str, tuple[str, ...]]:
    """Reservoir capacitors of the same make-up: the partner of a failed one is replaced with it (common practice)."""
    big = [p for p in board.of_kind("electrolytic") if float(p.values.get("value", 0.0)) >= RESERVOIR_FROM_F]
    found = {part.name: tuple(o.name for o in big if o.name != part.name and _alike(part, o)) for part in big}
    return {name: others for name, others in found.items() if others}


def _alike(one: Part, other: Part) -> bool:
    return (
        all(one.values.get(key) == other.values.get(key) for key in ("value", "voltage")) and one.block == other.block
    )
