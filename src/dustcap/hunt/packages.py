"""Parts that share one package: whoever changes one half of a dual amplifier changes the other with it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from dustcap.board.model import Board
from dustcap.hunt.evidence import Entry, Evidence, Work

WHOLE = ("replaced", "removed", "resoldered")


def halves_of(board: Board) -> dict[str, tuple[str, ...]]:
    """For each op amp that shares its package: the other parts in it.

    By name and rails: ``U4A`` and ``U4B`` on the same two rails are one package (common practice on drawings).
    """
    together: dict[tuple[str, str, str], list[str]] = {}
    for part in board.of_kind("op amp"):
        if len(part.name) > 1 and part.name[-1].isalpha() and part.name[-2].isdigit():
            together.setdefault((part.name[:-1], part.pins["high"], part.pins["low"]), []).append(part.name)
    shared = [names for names in together.values() if len(names) > 1]
    return {name: tuple(one for one in names if one != name) for names in shared for name in names}


def with_halves(evidence: Evidence, halves: Mapping[str, tuple[str, ...]]) -> Evidence:
    """The evidence in which work on one part of a package is work on all of them, unless it says so itself."""
    if not halves or not evidence.work:
        return evidence
    entries: list[Entry] = []
    for number, entry in enumerate(evidence.entries):
        entries.append(entry)
        if isinstance(entry, Work) and entry.did in WHOLE and not entry.withdrawn:
            beside = {other.part for other in _run(evidence, number) if other.did == entry.did}
            entries += [replace(entry, part=half) for half in halves.get(entry.part, ()) if half not in beside]
    return replace(evidence, entries=tuple(entries))


def _run(evidence: Evidence, number: int) -> list[Work]:
    """The unbroken run of work that an entry stands in."""
    works: list[Work] = []
    for entry in evidence.entries[:number]:
        works = [*works, entry] if isinstance(entry, Work) else []
    for entry in evidence.entries[number:]:
        if not isinstance(entry, Work):
            break
        works.append(entry)
    return works
