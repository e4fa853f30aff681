"""The leak map of a board: which leakage between which nets matters, and how much of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import hypot
from pathlib import Path
from typing import Any

from dustcap.board.model import Board, Place
from dustcap.board.places import reach_mm
from dustcap.board.read import read_board
from dustcap.errors import InputError
from dustcap.job.cautions import LICENCE, for_states
from dustcap.predict.checks import UNPLUGGED
from dustcap.predict.leak_limits import DC_AT_DRIVER_V, Limit
from dustcap.predict.leak_map import Critical, PairMap, leak_map
from dustcap.quantities import read

LOWER_BOUND = (
    "A leakage measured at low voltage is a lower bound on what it does at working voltage: residue conducts better "
    "under volts and damp. Repeat a doubtful one with the leakage check at working voltage, unplugged."
)
NOT_MAPPED = (
    "Noise is that of the circuit with the leak as a plain resistance: the crackle and hiss that a film adds of its "
    "own are not computed. A film that measures at all is cleaned when the complaint is noise."
)

Spot = Critical
"""A limit with the resistance below which it is broken."""


@dataclass(frozen=True, slots=True)
class Shape:
    """An area or a gap to be shaded: its outline or its two ends in mm, and the pair that weighs most there."""

    name: str
    outline: tuple[Place, ...]
    nets: tuple[str, str] | None
    worst: Spot | None
    pairs: int


@dataclass(frozen=True, slots=True)
class BoardPlace:
    """A part on the board: where it lies and how far it reaches, mm."""

    name: str
    at: Place
    reach: float


@dataclass(frozen=True, slots=True)
class LeakMap:
    """Every pair, weighed, and where it lies on the board."""

    board: str
    revision: str
    pairs: tuple[PairMap, ...]
    areas: tuple[Shape, ...]
    gaps: tuple[Shape, ...]
    places: tuple[BoardPlace, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def document(self) -> dict[str, Any]:
        """The contract's document, without its layout number."""
        return {
            "board": self.board,
            "revision": self.revision,
            "pairs": [
                {
                    "nets": pair.nets,
                    "neighbours": pair.neighbours,
                    "areas": pair.areas,
                    "limits": [_plain(each) for each in pair.limits],
                }
                for pair in self.pairs
            ],
            "notes": self.notes,
            "cautions": self.cautions,
        }


def map_leaks(
    path: Path,
    pair: tuple[str, str] | None = None,
    dc_limit: str = "",
    *,
    progress: Callable[[float], None] = lambda share: None,
) -> LeakMap:
    """The leak map of a board description, or of one pair of its nets.

    Parameters
    ----------
    path : Path
    pair : two nets; left out: every neighbouring pair and every pair within an area
    dc_limit : d.c. that is too much at a driver, such as ``50 mV``; empty: that

    Raises
    ------
    BoardError, InputError
        If the description is wrong, a net is not on the board, or there is no pair to map.
    SolveError
        If the board has no operating point.
    """
    return map_board(read_board(path), pair, dc_limit, progress=progress)


def map_board(
    board: Board,
    pair: tuple[str, str] | None = None,
    dc_limit: str = "",
    *,
    progress: Callable[[float], None] = lambda share: None,
) -> LeakMap:
    """The leak map of a board that was read before; as `map_leaks`."""
    dc_v = read(dc_limit, "V", "--dc-limit") if dc_limit else DC_AT_DRIVER_V
    found = leak_map(board, None if pair is None else [pair], dc_v=dc_v, progress=progress)
    if not found:
        raise InputError(
            "no two nets of it are known to be neighbours.",
            where=board.where,
            mend="Give [places] or [areas], or name two nets with --pair.",
        )
    gaps = tuple(_gaps(board, found))
    return LeakMap(
        board.name,
        board.revision,
        found,
        tuple(_areas(board, found)),
        gaps,
        tuple(BoardPlace(name, at, reach_mm(board.parts[name])) for name, at in board.places.items()),
        (LOWER_BOUND, NOT_MAPPED),
        (*for_states((UNPLUGGED,)), LICENCE),
    )


def limit_said(limit: Limit) -> str:
    """What is broken, in words: ``d.c. at LS1``, ``R3 over its rating``."""
    match limit.what:
        case "dc at driver":
            return f"d.c. at {limit.driver}"
        case "hum at driver":
            return f"hum at {limit.driver}"
        case "noise at driver":
            return f"noise at {limit.driver}"
        case "part over rating":
            return f"{limit.part or 'a part'} over its rating"
        case "mute state" | "relay state":
            return f"{limit.what} of {limit.part}"
    return limit.what


def _plain(each: Spot) -> dict[str, Any]:
    limit = each.limit
    found: dict[str, Any] = {"what": limit.what}
    found |= {name: value for name, value in (("driver", limit.driver), ("part", limit.part)) if value}
    if limit.limit is not None:
        found |= {"limit": limit.limit, "unit": limit.unit}
    found["critical_ohms"] = each.ohms
    if each.method:
        found["method"] = each.method
    if each.already:
        found["already"] = True
    return found


def _areas(board: Board, found: tuple[PairMap, ...]) -> list[Shape]:
    return [
        _shape(name, area.outline, [pair for pair in found if name in pair.areas]) for name, area in board.areas.items()
    ]


def _gaps(board: Board, found: tuple[PairMap, ...]) -> list[Shape]:
    """The place of every neighbouring pair: between the two nearest parts of its nets."""
    by_ends: dict[tuple[Place, ...], list[PairMap]] = {}
    for pair in found:
        ends = _nearest(board, pair.nets) if pair.neighbours else None
        if ends is not None:
            by_ends.setdefault(ends, []).append(pair)
    return [_shape("", ends, pairs) for ends, pairs in by_ends.items()]


def _nearest(board: Board, nets: tuple[str, str]) -> tuple[Place, ...] | None:
    sides = [[at for part, at in board.places.items() if net in board.parts[part].nets] for net in nets]
    pairs = [tuple(sorted((a, b))) for a in sides[0] for b in sides[1]]
    return min(pairs, key=lambda ends: (hypot(ends[0][0] - ends[1][0], ends[0][1] - ends[1][1]), ends), default=None)


def _shape(name: str, outline: tuple[Place, ...], pairs: list[PairMap]) -> Shape:
    weighed = [(pair.worst.ohms or 0.0, pair) for pair in pairs if pair.worst is not None]
    if not weighed:
        return Shape(name, outline, None, None, len(pairs))
    worst = max(weighed, key=lambda entry: entry[0])[1]
    return Shape(name, outline, worst.nets, worst.worst, len(pairs))
