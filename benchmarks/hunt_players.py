"""The players of the games: the hunt, "the signal path in order", "all electrolytics first". Costs are one table."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from hunt_unit import Unit

from dustcap.faults.suspects import Leak, PartFault, prior, suspects
from dustcap.hunt.actions import Action, Costs
from dustcap.hunt.evidence import Complaint, Entry, Evidence, Reading, Work
from dustcap.job.block_order import blocks_in_order
from dustcap.job.hunt import Hunter
from dustcap.job.rehearse import check_of
from dustcap.predict.checks import DISCONNECTED, UNPLUGGED, Check

COSTS = Costs()
MOST_CHECKS, MOST_MINUTES = 40, 400.0


@dataclass
class Score:
    """How one game went; `document` is the answer just before the first work, `at_once` the first of all."""

    minutes: float = 0.0
    checks: int = 0
    works: int = 0
    cured: bool = False
    passes: bool = False  # nothing is left that is heard or that the proof shows
    ended: str = ""
    document: dict | None = None
    entries: list[Entry] = field(default_factory=list)


def hunt_plays(
    hunter: Hunter, unit: Unit, tell: Callable[[dict, Score], None] = lambda said, game: None, *, short: bool = False
) -> Score:
    """Do what the hunt says until it says done or stop, or, if `short`, work; `tell` is told every answer."""
    game, told = Score(), unit.complaints()
    game.entries += told
    while game.checks < MOST_CHECKS and game.minutes < MOST_MINUTES:
        said = hunter.ask(Evidence(tuple(game.entries)), 2).document
        advice = said["advice"]
        tell(said, game)
        game.ended = advice["do"]
        if advice["do"] == "check":
            check = _area(said["next"][0])
            game.entries.append(unit.answer(check))
            game.minutes, game.checks = game.minutes + said["next"][0]["minutes"], game.checks + 1
        elif advice["do"] in ("replace", "clean"):
            game.document = game.document or said
            if short:
                break
            works = [Work("replaced", part=part) for part in advice["parts"]]
            works += [Work("cleaned", area=advice["area"])] if advice["area"] else []
            works += [Work("cleaned", between=tuple(advice["between"]))] if advice["between"] and not works else []
            _work(game, unit, works, told)
        else:
            break
    game.document = game.document or said
    game.cured, game.passes = not unit.left.faults, not unit.fails()
    return game


def _area(proposed: dict) -> Check:
    return check_of({**proposed, "part": proposed.get("part") or proposed.get("area") or ""})


def _work(game: Score, unit: Unit, works: list[Work], told: tuple[Complaint, ...]) -> None:
    """Repair, switch on, prove: minutes of the whole, whether the complaints are gone, and what is heard anew."""
    parts = tuple(work.part for work in works if work.part)
    areas = tuple(work.area or str(work.between) for work in works if not work.part)
    game.minutes, game.works = game.minutes + COSTS.of(Action(parts, areas)), game.works + 1
    for work in works:
        unit.worked(work)
    again = [replace(one, seen=unit.does(one.word, one.driver)) for one in told]
    known = {(one.word, one.driver) for one in told}
    new = [one for one in unit.complaints() if (one.word, one.driver) not in known]
    game.entries += [*works, *again, *new]


def _proven(game: Score) -> bool:
    last = [entry for entry in game.entries if isinstance(entry, Complaint)]
    words = {(entry.word, entry.driver): entry.seen for entry in last}
    return not any(words.values())


def path_plays(hunter: Hunter, unit: Unit, game: Score | None = None) -> Score:
    """Volts at each way out of a block in the signal's order; in the blocks that are off, parts by how often they fail.

    "Off" is outside the range of the good board's samples, with five per cent or 20 mV to spare. Then the next blocks.
    """
    game = game or Score(entries=list(unit.complaints()))
    board, state = unit.board, UNPLUGGED
    told = tuple(entry for entry in game.entries if isinstance(entry, Complaint) and entry.seen)
    off, rest = [], []
    for block in blocks_in_order(board):
        bad = False
        for net in dict.fromkeys(outlet.net for outlet in block.outlets):
            check = Check("dc volts", net, board.common, state=DISCONNECTED)
            entry = unit.answer(check)
            game.minutes += check.minutes + COSTS.change(state, DISCONNECTED)
            game.checks, state = game.checks + 1, DISCONNECTED
            good = hunter.predictor.readings(check)[0]
            low, high = np.nanmin(good), np.nanmax(good)
            room = max(0.05 * max(abs(low), abs(high)), 0.02)
            bad |= isinstance(entry, Reading) and not low - room <= entry.low <= high + room
        (off if bad else rest).append(block)
    _change(game, unit, [name for block in [*off, *rest] for name in _often(board, [p for p, _ in block.parts])], told)
    return game


def caps_plays(hunter: Hunter, unit: Unit) -> Score:
    """All electrolytics are changed, the glue under them cleaned; then as the signal path in order."""
    game = Score(entries=list(unit.complaints()))
    told = tuple(game.entries)
    works = [Work("replaced", part=part.name) for part in unit.board.of_kind("electrolytic")]
    works += [Work("cleaned", area=area) for area in unit.board.areas]
    if works:
        _work(game, unit, works, told)
    game.cured, game.ended = not unit.left.faults, "done"
    return game if _proven(game) else path_plays(hunter, unit, game)


def _often(board, names: list[str]) -> list[str]:
    every = suspects(board)
    weight = dict.fromkeys(names, 0.0)
    for suspect, share in zip(every, prior(board, every), strict=True):
        for fault in suspect.faults:
            if isinstance(fault, PartFault) and fault.part in weight:
                weight[fault.part] += float(share)
    return sorted((name for name in weight if weight[name] > 0), key=lambda name: -weight[name])


def _change(game: Score, unit: Unit, names: list[str], told: tuple[Complaint, ...]) -> None:
    """One part after the other with a proof each, areas before the last third; until the complaints are gone."""
    works = [Work("replaced", part=name) for name in names]
    works[2 * len(works) // 3 : 0] = [Work("cleaned", area=area) for area in unit.board.areas]
    for work in works:
        if game.minutes > MOST_MINUTES or _gone(unit):
            break
        _work(game, unit, [work], told)
    game.cured, game.ended = not unit.left.faults, "done" if not unit.left.faults else "stop"


def _gone(unit: Unit) -> bool:
    return not unit.left.faults or not unit.complaints()


def right_action(unit: Unit) -> set:
    """Parts and areas (or pairs) that have to be dealt with."""
    return {
        (fault.area or frozenset((fault.a, fault.b))) if isinstance(fault, Leak) else fault.part
        for fault in unit.hidden.faults
    }
