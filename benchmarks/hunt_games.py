"""Games of the hunt against units that differ from its own model, and against two other ways to repair.

The boards are four small ones of library blocks unless others are named (`hunt_boards.py`). Before anything is read the
parts are printed of which a failure reads like the true one in every check; they count as right.

Each game draws a fault (a part, a leak or two faults), part values, a meter and a person who errs (`hunt_unit.py`); the
hunt, "signal path in order" and "all electrolytics first" then play the same unit (`hunt_players.py`). Minutes hold
every check, change of state, repair (8 min a part, 10 an area), powering up and proof (3 min). Shares come with the
interval of 95 % of Wilson (E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209), means with 1.96 standard errors.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Iterable
from itertools import pairwise
from pathlib import Path

import numpy as np
from hunt_boards import OTHERS, SMALL, board_of
from hunt_players import Score, caps_plays, hunt_plays, path_plays, right_action
from hunt_unit import Unit, kept_unit

from dustcap.faults.suspects import Leak, Suspect
from dustcap.hunt.meter import positions, spread_of
from dustcap.hunt.ohms import with_leak
from dustcap.hunt.planning import greedy_cost, make_table, optimal_cost, rollout_cost
from dustcap.hunt.second_fault import PLAINLY, plainly
from dustcap.job.hunt import Hunter
from dustcap.predict.readings import reading

KINDS = ("part", "leak", "double")
WORDS = ("look", "listen", "lifted", "warmth")  # kinds that are no reading between two nets
SAME = 1.0  # sigma by which the readings of two suspects may differ in every check and be called equivalent


def main() -> None:
    """Play and print the table."""
    words = argparse.ArgumentParser(description=main.__doc__)
    words.add_argument("--games", type=int, default=120)
    words.add_argument(
        "--boards", nargs="*", default=[*SMALL], help=f"{', '.join([*SMALL, *OTHERS])}, A or C of model 27, or a file"
    )
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--minutes", type=float, default=20.0, help="begin no game after so many minutes")
    words.add_argument("--first", type=int, default=0)
    words.add_argument("--kinds", nargs="*", default=[*KINDS])
    words.add_argument("--keep", type=Path, default=Path("build/predictions"))
    words.add_argument("--short", action="store_true", help="end each game before the first work, the hunt alone")
    words.add_argument("--rows", type=Path, help="a file of games played before, which this run adds to")
    told = words.parse_args()
    until = time.monotonic() + 60 * told.minutes
    hunters = [Hunter(board_of(named), told.keep / Path(named).name) for named in told.boards]
    rows = [json.loads(line) for line in told.rows.read_text().splitlines()] if told.rows and told.rows.exists() else []
    for number in range(told.first, told.first + told.games):
        if time.monotonic() > until:
            break
        kind, hunter = told.kinds[number % len(told.kinds)], hunters[(number // len(told.kinds)) % len(hunters)]
        start = time.perf_counter()
        row = _game(hunter, kind, [told.seed, number], told.keep, told.short)
        if row is not None:
            rows.append(row)
            print(f"{number}: {row['line']}, {time.perf_counter() - start:.0f} s", flush=True)
            if told.rows:
                with told.rows.open("a") as file:
                    file.write(json.dumps(row) + "\n")
    print(f"\n{len(rows)} games on {', '.join(dict.fromkeys(row['board'] for row in rows))}")
    for line in _table(rows):
        print(line)
    for line in planned():
        print(line)


def _game(hunter: Hunter, kind: str, seed: list[int], keep: Path, short: bool) -> dict | None:
    scores: dict[str, Score] = {}
    truth = kept_unit(keep / "units", hunter.board, kind, seed)
    if truth is None:
        print(f"{hunter.board.name}, {kind}: no such fault was drawn that plainly does something", flush=True)
        return None
    equals = _equivalent(hunter, truth)
    print(f"{hunter.board.name}, {kind}: reads like {', '.join(sorted(equals)) or 'nothing else'}", flush=True)
    if short:
        score = hunt_plays(hunter, truth.again(seed), short=True)
        row = {"kind": kind, "board": hunter.board.name, **_judged(hunter, truth, equals, score.document or {})}
        return {**row, "line": f"{kind}: {truth.hidden.words()}: rank {row['rank']}, {score.checks} checks"}
    for name, plays in (("hunt", hunt_plays), ("path", path_plays), ("caps", caps_plays)):
        scores[name] = plays(hunter, truth.again(seed))
    row = {"kind": kind, "board": hunter.board.name, **_judged(hunter, truth, equals, scores["hunt"].document or {})}
    row["shows"] = _each_shows(hunter, truth)
    for name, score in scores.items():
        row[name] = {one: getattr(score, one) for one in ("minutes", "checks", "works", "cured", "passes", "ended")}
    took = ", ".join(f"{name} {s.minutes:.0f} min{'' if s.cured else ' not cured'}" for name, s in scores.items())
    row["line"] = f"{kind}: {truth.hidden.words()}: rank {row['rank']}, {scores['hunt'].checks} checks, {took}"
    return row


def _judged(hunter: Hunter, unit: Unit, equals: set[str], document: dict) -> dict:
    """Where the truth, or a part that reads like it, stands in the answer just before the first work."""
    places: list[set] = []
    chances: list[float] = []
    for suspect in document["suspects"]:
        mine = {part.get("part") or part.get("area") or frozenset(part["leak"]) for part in suspect["parts"]}
        if mine not in places:
            places.append(mine)
            chances.append(0.0)
        chances[places.index(mine)] += suspect["probability"]
    order = sorted(range(len(places)), key=lambda i: -chances[i])
    good = [any(one & right_action(unit) or one <= equals for one in [places[i]]) for i in order]
    rank = good.index(True) + 1 if True in good else 99
    top = chances[order[0]] if order else 0.0
    return {"rank": rank, "top": top, "right": bool(order) and good[0], **_leak(hunter, unit, document)}


def _alike(hunter: Hunter, unit: Unit) -> set[frozenset[str]]:
    """The leaking pair, and pairs of its area that read within `SAME` of it in every reading of ohms at ohms of theirs.

    On one sample of the healthy board: a technician knows no more of the leak's ohms than the hunt does.
    """
    predictor, truth, ohms = hunter.predictor, unit.hidden.faults[0], unit.ohms(0)
    pairs = {frozenset((truth.a, truth.b))}
    area = {frozenset((f.a, f.b)) for s in predictor.suspects for f in s.faults if _area_of(s) == truth.area != ""}
    checks = [check for check in predictor.candidates() if check.kind == "ohms"]
    tried = ohms * np.exp(np.linspace(-1.5, 1.5, 601))
    mine = {check: predictor.beside_a_leak(check, truth.a, truth.b) for check in checks}
    for pair in area - pairs:
        far = np.zeros(tried.size)
        for check, own in mine.items():
            theirs = predictor.beside_a_leak(check, *sorted(pair))
            if own is not None and theirs is not None:
                here, there = (
                    positions(with_leak(tuple(part[:1] for part in one), at)[0], spread_of(check))
                    for one, at in ((own, np.array([ohms])), (theirs, tried))
                )
                with np.errstate(invalid="ignore"):
                    far = np.maximum(far, np.where(there == here, 0.0, np.abs(there - here)))
        if far.min() < SAME:
            pairs.add(pair)
    return pairs


def _area_of(suspect: Suspect) -> str:
    return getattr(suspect.faults[0], "area", "")


def _equivalent(hunter: Hunter, unit: Unit) -> set[str]:
    """Parts with a failure that no check tells from the true one, by the predictions alone, before any reading."""
    predictor = hunter.predictor
    if unit.hidden not in predictor.suspects or isinstance(unit.hidden.faults[0], Leak):
        return set()
    here, same = predictor.suspects.index(unit.hidden), np.arange(len(predictor.suspects))
    for check in predictor.candidates():
        if check.kind not in ("look", "listen", "lifted"):
            values, spread = predictor.readings(check), spread_of(check, "")
            place, own = positions(values[same], spread), positions(values[here], spread)
            shown = np.isfinite(place)
            off = np.where(shown & np.isfinite(own), place - np.where(np.isfinite(own), own, 0.0), 0.0)
            alike = (shown == np.isfinite(own)).all(axis=1) & (np.abs(off).mean(axis=1) < SAME)
            same = same[alike]
    return {getattr(fault, "part", "") for i in same for fault in predictor.suspects[i].faults} - right_action(unit)


def _each_shows(hunter: Hunter, unit: Unit) -> bool:
    """Whether every fault of the unit, alone on it, reads plainly otherwise than good boards do in some check."""
    predictor, rows = hunter.predictor, unit.analyses.cases.suspects
    plain = np.zeros(len(unit.hidden.faults), dtype=bool)
    for check in predictor.candidates():
        if check.kind not in WORDS:
            good, spread = positions(predictor.readings(check)[0], spread_of(check)), spread_of(check)
            place = positions(reading(unit.analyses, check)[:, 0], spread)
            for i, fault in enumerate(unit.hidden.faults):
                plain[i] |= bool(plainly(place[[rows.index(Suspect((fault,)))]], good)[0])
    return bool(plain.all())


def _leak(hunter: Hunter, unit: Unit, document: dict) -> dict:
    leaks = [(i, fault) for i, fault in enumerate(unit.hidden.faults) if isinstance(fault, Leak)]
    told = [(part, s) for s in document["suspects"] for part in s["parts"] if "leak" in part]
    if len(unit.hidden.faults) != 1 or not leaks or not told:
        return {}
    number, fault = leaks[0]
    first = frozenset(told[0][0]["leak"])
    mine = [part["ohms"] for part, _ in told if set(part["leak"]) == {fault.a, fault.b} and "ohms" in part]
    held = [one["low"] <= unit.ohms(number) <= one["high"] for one in mine[:1] if one["low"] and one["high"]]
    like = {
        "area": fault.area,
        "pair first": first == {fault.a, fault.b},
        "pair or alike": first in _alike(hunter, unit),
    }
    return {**like, **({"held": held[0]} if held else {})}


def _table(rows: list[dict]) -> Iterable[str]:
    for kind in ("part", "leak"):
        some = [row for row in rows if row["kind"] == kind]
        yield f"{kind}: true action first {share(r['rank'] == 1 for r in some)}"
        yield f"{kind}: among the first three {share(r['rank'] <= 3 for r in some)}"
    inside = [row for row in rows if row.get("area")]
    yield f"leak in an area: right pair first {share(r['pair first'] for r in inside)}"
    yield f"leak in an area: 90 % interval of the right pair holds {share(r['held'] for r in inside if 'held' in r)}"
    yield f"leak: right pair first {share(r['pair first'] for r in rows if 'pair first' in r)}"
    alike = share(r["pair or alike"] for r in rows if r.get("area") and "pair or alike" in r)
    yield f"leak in an area: right pair first, or one that reads like it wherever ohms are read {alike}"
    yield f"leak: 90 % interval of the right pair holds {share(r['held'] for r in rows if 'held' in r)}"
    yield f"expected calibration error {_calibration(rows):.3f}, Brier score {_brier(rows):.3f} of {len(rows)}"
    yield from _curve(rows)
    rows = [row for row in rows if "hunt" in row]  # played to the end
    yield f"played to the end: {len(rows)}"
    if not rows:
        return
    double = [row["hunt"] for row in rows if row["kind"] == "double"]
    yield f"double: both gone in the end {share(one['cured'] for one in double)}"
    plain = [row["hunt"]["cured"] for row in rows if row["kind"] == "double" and row.get("shows")]
    yield f"double: both gone in the end, where each alone reads {PLAINLY:g} sigma off in some check {share(plain)}"
    yield f"double: nothing left that is heard or that the proof shows {share(one['passes'] for one in double)}"
    for kind in KINDS:
        means = {}
        for name in ("hunt", "path", "caps"):
            some = [row[name] for row in rows if row["kind"] == kind]
            minutes = [one["minutes"] for one in some]
            means[name] = float(np.mean(minutes)) if minutes else float("nan")
            yield f"{kind}: {name} cured {share(one['cured'] for one in some)}, minutes {_mean(minutes)}"
        better = min(means["path"], means["caps"])
        yield f"{kind}: minutes of the hunt over the better other's {means['hunt'] / better:.2f}"
        some = [row["hunt"] for row in rows if row["kind"] == kind]
        checks, works = (_mean(one[what] for one in some) for what in ("checks", "works"))
        yield f"{kind}: hunt makes {checks} checks, {works} repairs"
        well = share(one["passes"] and one["ended"] == "done" for one in some)
        yield f"{kind}: hunt ends in done and nothing shows {well}"


def share(hits: Iterable[bool]) -> str:
    """Per cent of hits with the interval of 95 %."""
    told = list(hits)
    if not told:
        return "- (0)"
    n, p, z = len(told), sum(told) / len(told), 1.96
    middle, half = p + z * z / (2 * n), z * np.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    low, high = (middle - half) / (1 + z * z / n), (middle + half) / (1 + z * z / n)
    return f"{100 * p:.0f} % [{100 * low:.0f}, {100 * high:.0f}] of {n}"


def _mean(values: Iterable[float]) -> str:
    told = np.array(list(values), dtype=float)
    if not told.size:
        return "-"
    return f"{told.mean():.1f} +- {1.96 * told.std(ddof=min(1, told.size - 1)) / np.sqrt(told.size):.1f}"


def _brier(rows: list[dict]) -> float:
    return float(np.mean([(row["top"] - row["right"]) ** 2 for row in rows])) if rows else float("nan")


def _calibration(rows: list[dict]) -> float:
    """Mean gap of the leading action's probability and its hits, over five bins of equal count."""
    ranked = sorted(rows, key=lambda row: row["top"])
    bins = [some for some in np.array_split(np.array(ranked, dtype=object), 5) if len(some)]
    gaps = [abs(np.mean([r["top"] for r in b]) - np.mean([r["right"] for r in b])) * len(b) for b in bins]
    return float(np.sum(gaps) / max(len(rows), 1))


def _curve(rows: list[dict]) -> Iterable[str]:
    """The reliability curve: what the leading action was given, and how often it was the right one."""
    for low, high in pairwise((0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 0.99, 1.0)):
        some = [row for row in rows if low < row["top"] <= high]
        if some:
            mean = np.mean([row["top"] for row in some])
            yield f"given {low:g} to {high:g}, on average {mean:.3f}: right {share(row['right'] for row in some)}"


def planned(instances: int = 200, seed: int = 27) -> Iterable[str]:
    """Rollout and greedy against the optimum: ten faults, twelve tests, as in the plans' own test."""
    rng = np.random.default_rng(seed)
    ratios = []
    while len(ratios) < instances:
        tests = rng.integers(0, 2, (12, 10))
        if np.unique(tests, axis=1).shape[1] == 10:
            table = make_table(rng.dirichlet(np.ones(10)), tests, rng.choice([1, 2, 5, 10], 12))
            best = optimal_cost(table)
            ratios.append((rollout_cost(table) / best, greedy_cost(table) / best))
    for name, ratio in zip(("rollout", "greedy"), np.transpose(ratios), strict=True):
        yield f"{name} over the optimum, {instances} instances: mean {ratio.mean():.4f}, largest {ratio.max():.3f}"


if __name__ == "__main__":
    main()
