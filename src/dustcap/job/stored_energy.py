"""What a board's reservoirs hold after the plug is out, and how to get rid of it."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from functools import lru_cache
from math import inf, isfinite

from dustcap.board.circuit import to_circuit
from dustcap.board.model import Board, Part
from dustcap.board.read import parse_board
from dustcap.circuit.operating import operating_point
from dustcap.errors import SolveError
from dustcap.hunt.board_names import RESERVOIR_FROM_F
from dustcap.parts.energy import DISCHARGE_TAU_S, SAFE_TO_WORK_V, stored

HOLD_TAUS = 5.0
"""A resistor is held across for so many time constants: less than 1 % is left."""


@dataclass(frozen=True, slots=True)
class Reservoir:
    """The large capacitors between two nets, taken together.

    `volts` is what the nominal board holds there, or what they are rated for when that cannot be computed. `alone_s`:
    seconds until it is below 5 V by its own bleeder; inf without one. `resistor_ohm` is to be held across it for
    `hold_s` seconds; inf: not needed.
    """

    nets: tuple[str, str]
    parts: tuple[str, ...]
    farad: float
    volts: float
    joule: float
    alone_s: float
    resistor_ohm: float
    resistor_w: float
    hold_s: float


@lru_cache(maxsize=16)
def reservoirs(board_text: str) -> tuple[Reservoir, ...]:
    """The reservoirs of a board, the one with most energy first; empty when it has none.

    Raises
    ------
    BoardError
        If the description is wrong.
    """
    board = parse_board(board_text)
    groups: dict[tuple[str, str], list[Part]] = defaultdict(list)
    for part in board.of_kind("electrolytic"):
        if float(part.values.get("value", 0.0)) >= RESERVOIR_FROM_F:
            groups[part.pins["plus"], part.pins["minus"]].append(part)
    volts = _volts(board, tuple(groups))
    found = (_reservoir(board, nets, parts, volts.get(nets)) for nets, parts in groups.items())
    return tuple(sorted(found, key=lambda one: -one.joule))


def _volts(board: Board, pairs: tuple[tuple[str, str], ...]) -> dict[tuple[str, str], float]:
    """Volts across each pair on the nominal board; nothing where there is no operating point."""
    try:
        point = operating_point(to_circuit(board))
    except SolveError:
        return {}
    found = {(a, b): float(point.volt(a)[0] - point.volt(b)[0]) for a, b in pairs}
    return {pair: volts for pair, volts in found.items() if isfinite(volts)}


def _reservoir(board: Board, nets: tuple[str, str], parts: list[Part], volts: float | None) -> Reservoir:
    farad = sum(float(part.values["value"]) for part in parts)
    if volts is None:
        volts = max((float(part.values["voltage"]) for part in parts if "voltage" in part.values), default=100.0)
    bleeders = [float(part.values["value"]) for part in board.of_kind("resistor") if set(part.nets) == set(nets)]
    conductance = sum(1.0 / ohm for ohm in bleeders if ohm > 0)
    one = stored(volts, farad, 1.0 / conductance if conductance else inf)
    return Reservoir(
        nets=nets,
        parts=tuple(part.name for part in parts),
        farad=farad,
        volts=abs(volts),
        joule=one.joule,
        alone_s=one.work_after_s,
        resistor_ohm=one.resistor_ohm,
        resistor_w=one.resistor_peak_w,
        hold_s=HOLD_TAUS * min(DISCHARGE_TAU_S, one.resistor_ohm * farad) if abs(volts) > SAFE_TO_WORK_V else 0.0,
    )
