"""Time from a new finding to the answer on the demo board, in a program that keeps running, predictions at hand.

Units with a hidden fault (`rehearse`) are played for a few checks each; every answer is timed, wall and processor.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

import numpy as np

from dustcap.demo.boards import model_27
from dustcap.faults.suspects import Leak
from dustcap.hunt.evidence import Complaint, Evidence, Reading, Sighting
from dustcap.job.hunt import Hunter
from dustcap.job.rehearse import check_of, rehearse
from dustcap.predict.readings import reading


def main() -> None:
    """Print middle and 95th hundredth of the answers, and the first answer of this process."""
    words = argparse.ArgumentParser(description=main.__doc__)
    words.add_argument("--units", type=int, default=8)
    words.add_argument("--checks", type=int, default=6)
    words.add_argument("--keep", type=Path, default=Path("build/predictions"))
    told = words.parse_args()
    start = time.perf_counter()
    hunter = Hunter(model_27("C"), told.keep)
    hunter.ask(Evidence((Complaint("hum", "LS1"),)))
    print(f"first answer of this process: {time.perf_counter() - start:.1f} s")
    rng = np.random.default_rng(27)
    wall, processor = [], []
    for suspect in rng.choice(len(hunter.predictor.suspects) - 1, told.units, replace=False) + 1:
        for seconds, cpu in _play(hunter, int(suspect), told.checks, rng):
            wall.append(seconds)
            processor.append(cpu)
    for name, some in (("wall", wall), ("processor", processor)):
        middle, high = np.percentile(some, [50, 95])
        print(f"{len(some)} answers, {name}: p50 {1e3 * middle:.0f} ms, p95 {1e3 * high:.0f} ms")


def _play(hunter: Hunter, number: int, checks: int, rng: np.random.Generator) -> list[tuple[float, float]]:
    suspect = hunter.predictor.suspects[number]
    named = [
        {"leak": [f.a, f.b], "area": f.area} if isinstance(f, Leak) else {"part": f.part, "mode": f.mode}
        for f in suspect.faults
    ]
    unit = rehearse(hunter.board, named, [float(rng.uniform(0.2, 0.8))], seed=number)
    entries: list = [Complaint(str(rng.choice(["hum", "weak output", "no output"])), "LS1")]
    took = []
    for _ in range(checks):
        start, cpu = time.perf_counter(), time.process_time()
        said = hunter.ask(Evidence(tuple(entries))).document
        took.append((time.perf_counter() - start, time.process_time() - cpu))
        if not said["next"]:
            break
        first = said["next"][0]
        check = check_of({**first, "part": first.get("part") or first.get("area") or ""})
        if check.kind == "listen":
            entries.append(Complaint(check.word, check.part, seen=unit.complains(check.word, check.part)))
        elif check.kind == "look":
            entries.append(Sighting(check.part, check.word if unit.looks(check.part, check.word) else "clean"))
        else:
            value = float(reading(unit.analyses, check)[-1, 0])
            known = hunter.known.parts.get(check.part, "")
            shown = np.isfinite(value)
            entries.append(Reading(check, value, value, unit=known) if shown else Reading(check, over=True, unit=known))
    return took


if __name__ == "__main__":
    main()
