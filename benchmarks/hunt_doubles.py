"""Games of the hunt against units with two faults, told step by step, and where each lost one was lost.

A game costs some seconds once its unit is drawn (kept in `--keep`). Lost means that a fault is left which is heard or
which the proof shows: volts of the rails and at the outputs, level and hum there (`hunt_unit.Unit.fails`). A fault that
neither shows is counted apart.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from pathlib import Path

import numpy as np
from hunt_boards import SMALL, board_of
from hunt_games import share
from hunt_players import MOST_CHECKS, MOST_MINUTES, Score, hunt_plays
from hunt_unit import Unit, kept_unit

from dustcap.faults.suspects import PartFault, Suspect
from dustcap.hunt.evidence import Complaint, Sighting, Work
from dustcap.job.hunt import Hunter, suspect_words


def main() -> None:
    """Play, print each game and count what became of them."""
    words = argparse.ArgumentParser(description=main.__doc__)
    words.add_argument("--boards", nargs="*", default=[*SMALL])
    words.add_argument("--games", type=int, default=20, help="on each board")
    words.add_argument("--first", type=int, default=0)
    words.add_argument("--seed", type=int, default=11)
    words.add_argument("--kind", default="double", help="part, leak or double")
    words.add_argument("--minutes", type=float, default=20.0, help="begin no game after so many minutes")
    words.add_argument("--faults", nargs="*", help="part and mode of each fault, as in 'C40 short' 'U9 supply short'")
    words.add_argument("--brief", action="store_true", help="one line a game")
    words.add_argument("--keep", type=Path, default=Path("build/predictions"))
    told = words.parse_args()
    until = time.monotonic() + 60 * told.minutes
    ends: Counter[str] = Counter()
    for named in told.boards:
        hunter = Hunter(board_of(named), told.keep / Path(named).name)
        for number in range(told.first, told.first + told.games):
            if time.monotonic() > until:
                break
            if told.faults:
                hidden = Suspect(tuple(PartFault(*named.split(" ", 1)) for named in told.faults))
                unit: Unit | None = Unit(hunter.board, hidden, np.random.default_rng([told.seed, number]))
            else:
                unit = kept_unit(told.keep / "units", hunter.board, told.kind, [told.seed, number])
            if unit is not None:
                ends[_play(hunter, unit, f"{named} {told.kind} {told.seed} {number}", told.brief)] += 1
    print(f"\n{sum(ends.values())} games: {', '.join(f'{end} {count}' for end, count in ends.most_common())}")
    every = [end for end, count in ends.items() for _ in range(count)]
    print(f"both mended {share(end == BOTH for end in every)}")
    print(f"nothing left that is heard or that the proof shows {share(end in (BOTH, SILENT) for end in every)}")


BOTH, SILENT = "both mended", "one left that nothing shows"


def _play(hunter: Hunter, unit: Unit, title: str, brief: bool) -> str:
    start = time.perf_counter()

    def tell(said: dict, game: Score) -> None:
        if not brief:
            print(f"    {_step(said, unit, game)}", flush=True)

    game = hunt_plays(hunter, unit, tell)
    end = _end(unit, game)
    took = f"{game.checks} checks, {game.works} repairs, {game.minutes:.0f} min, {time.perf_counter() - start:.0f} s"
    left = f"; left {unit.left.words()}: {', '.join(unit.fails())}" if unit.left.faults else ""
    print(f"{title}: {unit.hidden.words()}: {end}; {took}{left}", flush=True)
    if not brief:
        print("    " + "; ".join(_entry_words(entry) for entry in game.entries), flush=True)
    return end


def _end(unit: Unit, game: Score) -> str:
    if not unit.left.faults:
        return BOTH
    heard = unit.complaints()
    failed = unit.fails()
    if not heard and not failed:
        return SILENT
    left = f"left {len(unit.left.faults)}"
    shown = "heard" if heard else "proof"
    if game.checks >= MOST_CHECKS or game.minutes >= MOST_MINUTES:
        return f"{left} {shown}: no end"
    return f"{left} {shown}: {game.ended}"


def _step(said: dict, unit: Unit, game: Score) -> str:
    best = "; ".join(f"{suspect_words(row)} {100 * row['probability']:.0f}" for row in said["suspects"][:3])
    mine = [
        (place, row["probability"])
        for place, row in enumerate(said["suspects"], 1)
        if suspect_words(row) == _words(unit.left)
    ]
    truth = f"truth {mine[0][0]}: {100 * mine[0][1]:.1f}" if mine else "truth unlisted"
    advice = said["advice"]
    does = advice["do"]
    if does == "check":
        one = said["next"][0]
        does += f" {one['check']} {one.get('at') or one.get('part') or one.get('area') or one.get('driver')} "
        does += one.get("word", "")
    else:
        does += f" {' '.join(advice['parts'])}{advice['area']}{' '.join(advice['between'])}"
    known = f"healthy {100 * said['healthy']:.0f}, unexplained {100 * said['unexplained']:.0f}"
    return f"{len(game.entries)}: {best} | {truth} | {known} -> {does}"


def _words(suspect) -> str:
    return " and ".join(f"leak {f.a} to {f.b}" if hasattr(f, "a") else f"{f.part} {f.mode}" for f in suspect.faults)


def _entry_words(entry) -> str:
    said = entry.words()
    if isinstance(entry, Complaint | Sighting | Work):
        return said
    return f"{said} (withdrawn)" if entry.withdrawn else said


if __name__ == "__main__":
    main()
