"""The words that a form can offer for one job: the contract's own words, and the names on the job's board."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from dustcap.board.read import parse_board
from dustcap.hunt.evidence import COMPLAINTS, SIGHTINGS, WORKS
from dustcap.hunt.known import Known
from dustcap.job.findings import COMMON, board_names
from dustcap.predict.checks import CONNECTED, DISCONNECTED, KINDS, STATES, UNPLUGGED

__all__ = ["COMPLAINTS", "CONNECTED", "DISCONNECTED", "METERS", "SIGHTINGS", "STATES", "UNPLUGGED", "WORKS"]

METERS = ("handheld", "bench")
BY_WORDS = ("look", "listen")
"""Checks whose answer is a sighting or a complaint instead of a reading."""


@dataclass(frozen=True, slots=True)
class CheckChoice:
    """One kind of check: its unit, its states (safest first) and whether it names a part instead of two nets."""

    name: str
    unit: str
    states: tuple[str, ...]
    at_part: bool


@dataclass(frozen=True, slots=True)
class Choices:
    """Names on the board, in its own order; all empty for a job without a description."""

    nets: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    areas: tuple[str, ...] = ()
    drivers: tuple[str, ...] = ()
    common: str = COMMON
    known: Known | None = None


CHECKS = tuple(
    CheckChoice(kind.name, kind.unit, kind.states, kind.names == "part")
    for kind in KINDS.values()
    if kind.name not in BY_WORDS
)


@lru_cache(maxsize=16)
def choices(board_text: str | None) -> Choices:
    """The names on a board; kept, since every page with a form asks for them."""
    known = board_names(board_text)
    if known is None or board_text is None:
        return Choices()
    board = parse_board(board_text)
    roles = tuple(name for name in known.drivers if name not in board.parts)
    return Choices(
        nets=tuple(board.nets),
        parts=tuple(board.parts),
        areas=tuple(board.areas),
        drivers=roles or tuple(known.drivers),
        common=board.common,
        known=known,
    )
