"""Looking over a board description before it is used, and the library of blocks it can be built from."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from dustcap.board.circuit import to_circuit
from dustcap.board.library.load import built_in
from dustcap.board.model import Board
from dustcap.board.read import read_board
from dustcap.circuit.averaged import averaged_elements
from dustcap.circuit.elements import Circuit
from dustcap.circuit.floating import floating_nets

DRIVER = "driver"


@dataclass(frozen=True, slots=True)
class BoardSummary:
    """What a description holds, and what looks like a slip of the pen in it."""

    board: str
    revision: str
    parts: int
    kinds: dict[str, int]
    nets: int
    blocks: dict[str, int]
    drivers: tuple[str, ...]
    areas: tuple[str, ...]
    covers: dict[str, float]
    placed: int
    assumed: int
    loose_nets: tuple[str, ...]
    remarks: tuple[str, ...]


def look_over(path: Path) -> BoardSummary:
    """Read a description and say what is in it.

    Raises
    ------
    BoardError
        At the first mistake, with file and line.
    """
    return summary_of(read_board(path))


def summary_of(board: Board) -> BoardSummary:
    """What a board holds, in figures."""
    return BoardSummary(
        board=board.name,
        revision=board.revision,
        parts=len(board.parts),
        kinds=dict(Counter(part.kind for part in board.parts.values()).most_common()),
        nets=len(board.nets),
        blocks={name: len(block.parts) for name, block in board.blocks.items()},
        drivers=tuple(part.name for part in board.of_kind(DRIVER)),
        areas=tuple(board.areas),
        covers={name: cover.minutes for name, cover in board.covers.items()},
        placed=len(board.places),
        assumed=sum(len(set(part.values) - part.given) for part in board.parts.values()),
        loose_nets=board.loose_nets,
        remarks=_remarks(board),
    )


def _remarks(board: Board) -> tuple[str, ...]:
    remarks = [f"net {net!r} is touched by one pin only: a slip of the pen?" for net in board.loose_nets]
    if not board.of_kind(DRIVER):
        remarks.append("there is no driver on it, so that no complaint can be computed from it")
    if not board.of_kind("transformer", "supply", "module"):
        remarks.append("nothing feeds it: give a transformer, a supply or a module that drives a net")
    circuit = to_circuit(board)
    remarks += averaged_remarks(circuit)
    floating = floating_nets(circuit)
    remarks += [
        f"net {net!r} has no path for direct current: it touches only {parts}" for net, parts in floating.items()
    ]
    return tuple(remarks)


def averaged_remarks(circuit: Circuit) -> tuple[str, ...]:
    """Which parts follow the mains cycle and are computed from its mean; empty where there are none."""
    averaged = sorted({name.partition(".")[0] for name in averaged_elements(circuit)})
    if not averaged:
        return ()
    return (
        f"{', '.join(averaged)}: fed by a winding with no reservoir before it, and computed from the mean over the"
        " mains cycle: do not trust the readings around it",
    )


@dataclass(frozen=True, slots=True)
class BlockLine:
    """One block of the library: what it is, which nets it wants, what can be set (base units)."""

    name: str
    says: str
    source: str
    ports: dict[str, str]
    settings: dict[str, float | str]
    parts: int


def library() -> tuple[BlockLine, ...]:
    """Every block that a description can name with ``from``."""
    return tuple(
        BlockLine(
            template.name,
            template.says,
            template.source,
            {name: port.says + (" (optional)" if port.optional else "") for name, port in template.ports.items()},
            {name: setting.default for name, setting in template.settings.items()},
            len(template.parts),
        )
        for template in built_in().values()
    )
