"""Two boards side by side: what the maker changed, and what a good one of each reads differently."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from math import isfinite
from pathlib import Path
from typing import Any

from dustcap.board.compare import ADDED, BLOCK, REMOVED, Difference, differences
from dustcap.board.model import Board
from dustcap.board.read import read_board
from dustcap.job.sheet import Figure, plain_range
from dustcap.predict.checks import DEFAULT_SIGNAL_HZ, DEFAULT_SIGNAL_V
from dustcap.predict.sheet import SAMPLES, Sheet, service_sheet

READ_AS = (
    ("dc volts", "dc_volts", "V", 1e-3),
    ("ohms", "ohms_red_here", "ohm", 0.1),
    ("ohms, leads swapped", "ohms_black_here", "ohm", 0.1),
    ("ripple", "ripple", "V", 1e-3),
    ("level", "level", "V", 1e-4),
)
"""What is compared, its unit, and the least difference that a handheld meter shows (common practice, no published
source)."""
PART_READ_AS = (
    ("volts", "volts", "V", 1e-3),
    ("watts", "watts", "W", 1e-3),
    ("watts with signal", "watts_signal", "W", 1e-3),
    ("share of rating", "share_of_rating", "%", 0.02),
)
"""The same for parts that are on both boards in the same kind: what a finger or a meter tells (common practice, no
published source)."""


@dataclass(frozen=True, slots=True)
class ReadingDifference:
    """One reading of a net or a part that is on both boards, whose spreads do not touch."""

    check: str
    at: str
    unit: str
    old: Figure
    new: Figure


@dataclass(frozen=True, slots=True)
class Comparison:
    """What differs from the older to the newer board."""

    old: str
    new: str
    differences: tuple[Difference, ...]
    readings: tuple[ReadingDifference, ...]
    nets_added: tuple[str, ...]
    nets_gone: tuple[str, ...]
    part_readings: tuple[ReadingDifference, ...] = ()

    @property
    def parts(self) -> tuple[Difference, ...]:
        """Parts added, gone, or changed in kind, value, rating or connection."""
        return tuple(one for one in self.differences if one.what != BLOCK)

    @property
    def blocks(self) -> tuple[Difference, ...]:
        """Blocks added, gone, or built otherwise."""
        return tuple(one for one in self.differences if one.what == BLOCK)

    @property
    def document(self) -> dict[str, Any]:
        """The answer for other programs, without its layout number."""
        kinds = {"added": ADDED, "gone": REMOVED}
        changed = [one for one in self.parts if one.what not in kinds.values()]
        return {
            "boards": [self.old, self.new],
            "parts": {
                **{said: [asdict(one) for one in self.parts if one.what == what] for said, what in kinds.items()},
                "changed": [asdict(one) for one in changed],
            },
            "blocks": [asdict(one) for one in self.blocks],
            "nets": {"added": self.nets_added, "gone": self.nets_gone},
            "readings": [_plain(one) for one in self.readings],
            "part_readings": [_plain(one) for one in self.part_readings],
        }


def _plain(one: ReadingDifference) -> dict[str, Any]:
    old, new = plain_range(one.old), plain_range(one.new)
    return {"check": one.check, "at": one.at, "unit": one.unit, "old": old, "new": new}


def compare_files(
    old: Path,
    new: Path,
    signal_hz: float = DEFAULT_SIGNAL_HZ,
    signal_v: float = DEFAULT_SIGNAL_V,
    *,
    samples: int = SAMPLES,
) -> Comparison:
    """What differs between two board descriptions, the older one first.

    Raises
    ------
    BoardError, InputError
        At the first mistake in either description, with file and line.
    SolveError
        If a circuit has no finite answer.
    """
    boards = read_board(old), read_board(new)
    sheets = [service_sheet(board, signal_hz, signal_v, samples=samples) for board in boards]
    mine, theirs = (set(board.nets) for board in boards)
    return Comparison(
        _named(boards[0]),
        _named(boards[1]),
        differences(*boards),
        tuple(_readings(sheets[0], sheets[1])),
        tuple(net for net in boards[1].nets if net not in mine),
        tuple(net for net in boards[0].nets if net not in theirs),
        tuple(_part_readings(*boards, *sheets)),
    )


def _named(board: Board) -> str:
    return f"{board.name}, revision {board.revision}" if board.revision else board.name


def _readings(old: Sheet, new: Sheet) -> Iterator[ReadingDifference]:
    """Readings whose 90 % ranges lie apart, by more than a meter shows, in the order of the newer board."""
    for net, now in new.nets.items():
        if net not in old.nets:
            continue
        for check, name, unit, least in READ_AS:
            before, after = getattr(old.nets[net], name), getattr(now, name)
            if apart(before, after, least) and not (check.endswith("swapped") and _same_both_ways(old, new, net)):
                yield ReadingDifference(check, net, unit, before, after)


def _part_readings(older: Board, newer: Board, old: Sheet, new: Sheet) -> Iterator[ReadingDifference]:
    """The same for what parts of both boards take."""
    for name, now in new.parts.items():
        before = older.parts.get(name)
        if before is None or before.kind != newer.parts[name].kind:
            continue
        for check, key, unit, least in PART_READ_AS:
            one, other = getattr(old.parts[name], key), getattr(now, key)
            if one is not None and other is not None and apart(one, other, least):
                yield ReadingDifference(check, name, unit, one, other)


def apart(one: Figure, other: Figure, least: float) -> bool:
    """Whether two ranges do not touch and lie more than `least` apart; over range lies above every number."""
    if one is None or other is None:
        return (one is None) != (other is None)
    gap = max(_gap(one.high, other.low), _gap(other.high, one.low))
    return gap > least


def _gap(high: float, low: float) -> float:
    return low - high if isfinite(high) else 0.0


def _same_both_ways(old: Sheet, new: Sheet, net: str) -> bool:
    return all(sheet.nets[net].ohms_red_here == sheet.nets[net].ohms_black_here for sheet in (old, new))
