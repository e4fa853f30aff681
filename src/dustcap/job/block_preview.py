"""The service sheet of what is described so far: the whole board once it is fed, one block by itself before that.

What is not there yet has no rails and no signal. For its sheet they are stood in for: a stiff supply on each rail, of
the volts that the net's name says or that are usual, and a source at the way in. Every stand-in is told.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

import tomlkit

from dustcap.board.circuit import to_circuit
from dustcap.board.model import Board
from dustcap.board.read import parse_board
from dustcap.board.write import add_part
from dustcap.circuit.floating import floating_nets
from dustcap.errors import InputError
from dustcap.job.desk import Desk
from dustcap.job.drawer import open_board
from dustcap.job.sheet import ServiceSheet, sheet_of
from dustcap.predict.checks import DEFAULT_SIGNAL_HZ, DEFAULT_SIGNAL_V
from dustcap.predict.sheet import SAMPLES
from dustcap.quantities import show

SMALL_V, RAW_V = 15.0, 25.0
RAILS = {"high": RAW_V, "low": -RAW_V, "plus": SMALL_V, "minus": -SMALL_V}
COMES_IN = ("in", "hot", "cold")
SMALL_RAILS = ("plus", "minus")
TIE_OHM, LOAD_OHM = "100k", "1k"
_VOLTS = re.compile(r"[+-]?\d+(?:\.\d+)?")


@dataclass(frozen=True, slots=True)
class Extra:
    """A part that stands in."""

    name: str
    kind: str
    pins: tuple[str, str]
    values: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Preview:
    """What the sheet is made of: the board to compute, which of its nets are of the block, what stands in."""

    board: Board
    block: str
    nets: tuple[str, ...]
    stand_ins: tuple[str, ...]

    @property
    def text(self) -> str:
        """The description that is computed; the same text gives the same sheet."""
        return self.board.text

    def compute(self) -> ServiceSheet:
        """The sheet."""
        return sheet_of(self.board, DEFAULT_SIGNAL_HZ, DEFAULT_SIGNAL_V, samples=SAMPLES)


def preview_of(board: Board, block: str) -> Preview:
    """What to compute for a block of the library on that board.

    Raises
    ------
    InputError
        If there is no such block.
    """
    if block not in board.blocks:
        raise InputError(f"there is no block {block[:40]!r} on this board.", where="block")
    nets = tuple(dict.fromkeys(net for part in board.blocks[block].parts for net in board.parts[part].nets))
    if _complete(board):
        return Preview(board, block, nets, ())
    base = board if board.of_kind("transformer", "supply", "module") else _alone(board, block)
    stand_ins = []
    for name, ports in [(name, each.ports) for name, each in base.blocks.items()]:
        for port, net in ports.items():
            found = _stand_in(base, name, port, net)
            if found:
                base = _with(base, found[0])
                stand_ins.append(found[1])
    for net in floating_nets(to_circuit(base)):
        if net in base.nets:
            base = _with(base, Extra(f"TIE_{len(stand_ins)}", "resistor", (net, base.common), {"value": TIE_OHM}))
            stand_ins.append(f"{TIE_OHM} from {net} to {base.common}")
    return Preview(base, block, nets, tuple(stand_ins))


def preview_on(desk: Desk, stem: str, block: str) -> Preview:
    """What to compute for a block of that board."""
    return preview_of(open_board(desk, stem), block)


def _complete(board: Board) -> bool:
    """Whether the board feeds itself and no net hangs in the air."""
    fed = bool(board.of_kind("transformer", "supply", "module"))
    rails = {
        net for part in board.of_kind("op amp", "power amplifier") for net in (part.pins["high"], part.pins["low"])
    }
    driven = _driven(board)
    return fed and rails <= driven and not floating_nets(to_circuit(board))


def _driven(board: Board) -> set[str]:
    """The nets that a part of the board feeds."""
    found = {net for part in board.of_kind("transformer", "supply", "zener", "bridge") for net in part.nets}
    found |= {part.pins["out"] for part in board.of_kind("regulator")}
    return found | {net for part in board.of_kind("module") for net in part.drives}


def _alone(board: Board, block: str) -> Board:
    """The block by itself, with what was written of its parts; its own table of parts comes last, to be added to."""
    whole = tomlkit.parse(board.text).unwrap()
    document = tomlkit.document()
    document["layout"] = whole["layout"]
    document["board"] = whole.get("board", {})
    document["blocks"] = {block: whole["blocks"][block]}
    members = set(board.blocks[block].parts)
    document["parts"] = {name: part for name, part in whole.get("parts", {}).items() if name in members}
    if board.common not in {net for name in members for net in board.parts[name].nets}:
        document["parts"]["TIE"] = {
            "kind": "resistor",
            "value": TIE_OHM,
            "pins": [board.parts[board.blocks[block].parts[0]].nets[0], board.common],
        }
    return parse_board(tomlkit.dumps(document), board.where)


def _stand_in(board: Board, block: str, port: str, net: str) -> tuple[Extra, str] | None:
    """The part that stands in at a port of a block, and what it is in words; None where the board has its own."""
    name = f"STAND_IN_{len(board.parts)}"
    if port in RAILS and net not in _driven(board) and net != board.common:
        volts = _volts(net, RAILS[port])
        pins = (net, board.common) if volts > 0 else (board.common, net)
        return Extra(name, "supply", pins, {"value": f"{abs(volts):g} V"}), f"{show(volts, 'V')} on {net}"
    members = set(board.blocks[block].parts)
    alone = {part.name for part in board.parts_on(net)} <= members
    if port in SMALL_RAILS and net in _driven(board) and alone:
        load = Extra(name, "resistor", (net, board.common), {"value": LOAD_OHM, "power": "1 W"})
        return load, f"a load of {LOAD_OHM} on {net}"
    if port in COMES_IN and alone:
        return Extra(name, "input", (net, board.common), {}), f"a source of 50 Ω at {net}"
    return None


def _volts(net: str, usual: float) -> float:
    """Volts that the name of a net says, such as +15 or -12V; the usual ones where it says none."""
    found = _VOLTS.search(net)
    if found is None or not 1 <= abs(float(found[0])) <= 100:
        return usual
    volts = abs(float(found[0]))
    return volts if usual > 0 else -volts


def _with(board: Board, extra: Extra) -> Board:
    return add_part(board, extra.name, extra.kind, extra.pins, extra.values)
