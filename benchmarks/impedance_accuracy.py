"""How right impedance parameters are: random drivers and boxes, coils of every law, noise at 40 dB; prints a table.

    python benchmarks/impedance_accuracy.py [CASES] [SEED]

For each parameter: root mean square error, the worst, and how often its 95 % range held the truth. The recordings come
from the circuits of tests/sound/drivers.py, which share nothing with the package.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from sound.drivers import box_load, recorded, speaker, sweep

from dustcap.errors import DustcapError
from dustcap.sound.driver_figures import by_added_mass, one_resonance
from dustcap.sound.impedance import impedance_of
from dustcap.sound.vented_figures import vented_box

RATE, RESISTOR = 48000, 10.0
COILS = ("inductor", "power law", "shunted", "shunted half power", "two powers")
KINDS = ("free air", "added mass", "closed box", "vented box")


def case(number: int, seed: int) -> tuple[str, dict[str, tuple[float, object]]]:
    """One random case: its kind, and truth and answer of each parameter."""
    rng = np.random.default_rng([seed, number])
    kind = KINDS[number % len(KINDS)]
    fs, re = float(np.exp(rng.uniform(np.log(25), np.log(110)))), rng.uniform(3, 8)
    qms, qes, mms = rng.uniform(1.8, 9), rng.uniform(0.25, 1.2), rng.uniform(0.006, 0.05)
    coil, le = COILS[int(rng.integers(len(COILS)))], rng.uniform(0.1e-3, 1.2e-3)
    driver = speaker(re, fs, qms, qes, mms=mms, sd=0.0141, coil=coil, le=le)
    played = sweep(rng.uniform(4, 8), low=5.0)
    hum = 0.003 * float(rng.integers(2))

    def curve(ohm, n):
        return impedance_of(*recorded(ohm, played, seed=10 * number + n, hum=hum), RATE, RESISTOR)

    if kind == "vented box":
        alpha, fb, ql = rng.uniform(0.7, 3), fs * rng.uniform(0.75, 1.3), rng.uniform(2, 15)
        box = vented_box(curve(lambda hz: driver.impedance(hz, box_load(hz, driver.vas / alpha, fb=fb, ql=ql)), 0))
        found = {"re": (re, box.re), "alpha": (alpha, box.alpha), "fb": (fb, box.fb), "ql": (ql, box.ql)}
        return kind, found
    if kind == "closed box":
        alpha = rng.uniform(0.7, 4)
        rise = np.sqrt(1 + alpha)
        box = one_resonance(curve(lambda hz: driver.impedance(hz, box_load(hz, driver.vas / alpha)), 0), closed=True)
        qtc = rise / (1 / qms + 1 / qes)
        return kind, {"re": (re, box.re), "fc": (fs * rise, box.f0), "qtc": (qtc, box.qt)}
    free = one_resonance(curve(driver.impedance, 0))
    found = {"re": (re, free.re), "fs": (fs, free.f0), "qms": (qms, free.qm), "qes": (qes, free.qe)}
    if kind == "added mass":
        added = mms * rng.uniform(0.4, 1.2)
        heavy = type(driver)(re, mms + added, driver.cms, driver.rms, driver.bl, driver.sd, coil, le)
        moving = by_added_mass(free, one_resonance(curve(heavy.impedance, 1)), added, driver.sd)
        found = {"mms": (mms, moving.mms), "cms": (driver.cms, moving.cms), "bl": (driver.bl, moving.bl)}
    return kind, found


def main() -> None:
    """Run the cases and print the table."""
    cases, seed = (int(word) for word in [*sys.argv[1:], *("200", "1")[len(sys.argv) - 1 :]])
    begin = time.perf_counter()
    rows: dict[tuple[str, str], list[tuple[float, bool]]] = {}
    for number in range(cases):
        try:
            kind, found = case(number, seed)
        except DustcapError as error:
            print(f"case {number}: {error}", flush=True)
            continue
        for name, (truth, answer) in found.items():
            if answer is None:
                print(f"case {number}: no {name}", flush=True)
                continue
            error = answer.value / truth - 1
            held = answer.low <= truth <= answer.high
            if abs(error) > (0.1 if name == "ql" else 0.01):
                print(f"case {number}: {kind} {name} {100 * error:+.2f} %", flush=True)
            rows.setdefault((kind, name), []).append((error, held))
        if number % 20 == 19 and number + 1 < cases:
            _table(rows, number + 1, time.perf_counter() - begin)
    _table(rows, cases, time.perf_counter() - begin)


def _table(rows: dict[tuple[str, str], list[tuple[float, bool]]], cases: int, seconds: float) -> None:
    """Print what is known after so many cases."""
    print(f"| {'mount':<10} | {'figure':<6} | cases | rms error, % | worst, % | 95 % range held, % |")
    for (kind, name), answers in sorted(rows.items()):
        errors = 100 * np.array([error for error, _ in answers])
        held = 100 * np.mean([held for _, held in answers])
        rms, worst = np.sqrt(np.mean(errors**2)), np.abs(errors).max()
        print(f"| {kind:<10} | {name:<6} | {len(answers):>5} | {rms:>12.3f} | {worst:>8.3f} | {held:>18.1f} |")
    held = 100 * np.mean([held for answers in rows.values() for _, held in answers])
    print(f"{cases} cases: 95 % ranges held {held:.1f} % of the time; {seconds:.0f} s", flush=True)


if __name__ == "__main__":
    main()
