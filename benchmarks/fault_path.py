"""What the fast ways of computing many faults save against the plain ones, on the demo board, in one run.

Each line: the plain way's time a case, the fast way's, their ratio, and the largest difference between the two.
Run on one core: OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 .venv/bin/python benchmarks/fault_path.py
"""

from __future__ import annotations

import time
from collections.abc import Callable
from importlib.resources import files
from typing import Any

import numpy as np

from dustcap.board.circuit import to_circuit
from dustcap.board.read import parse_board
from dustcap.circuit.changes import changed_pair_impedance
from dustcap.circuit.families import family_points
from dustcap.circuit.frozen import solutions
from dustcap.circuit.linearised import ac_matrix, dc_matrix
from dustcap.circuit.meter import resistance
from dustcap.circuit.operating import operating_point
from dustcap.circuit.unpowered import branches_of
from dustcap.faults.suspects import Suspect, suspects
from dustcap.predict.cases import Cases, make_cases

PARTICLES = 8
SUSPECTS = 64
PLAIN_CASES = 48
SEED = 5
OVER_RANGE_OHM = 50e6


def main() -> None:
    """Measure and print every line."""
    cases = demo_cases()
    print(
        f"{len(cases.circuit.nets)} nets, {len(cases.suspects)} suspects x {PARTICLES} samples, process time, us a case"
    )
    operating(cases)
    small_signal(cases)
    unpowered(demo_cases(10_000))


def demo_cases(most: int = SUSPECTS) -> Cases:
    """Suspects of the demo board, evenly picked where there are more than `most`, with the healthy board first."""
    text = files("dustcap.demo.boards").joinpath("model_27_c.board.toml").read_text(encoding="utf-8")
    board = parse_board(text, "demo board")
    every = suspects(board)
    some = (
        Suspect(()),
        *[every[k] for k in np.unique(np.linspace(0, len(every) - 1, min(most - 1, len(every))).astype(int))],
    )
    leaks = sorted({(fault.a, fault.b) for one in some for fault in one.faults if hasattr(fault, "a")})
    return make_cases(board, to_circuit(board, leaks), some, particles=PARTICLES, seed=SEED)


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Process seconds and result."""
    begin = time.process_time()
    result = work()
    return time.process_time() - begin, result


def line(what: str, plain: float, fast: float, off: float) -> None:
    """One line of figures; times in seconds a case."""
    print(f"{what:<42} plain {1e6 * plain:9.1f}  fast {1e6 * fast:8.1f}  ratio {plain / fast:7.1f}  off {off:.1e}")


def operating(cases: Cases) -> None:
    """Every fault from the healthy sample in one batch, against each case by itself from the switched-off state."""
    count = len(cases.suspects)
    healthy = operating_point(cases.circuit, cases.values([0]))
    values, start = cases.values(range(count)), healthy.take(np.tile(np.arange(PARTICLES), count))
    family = np.repeat(np.arange(count), PARTICLES)
    fast, point = timed(lambda: family_points(cases.circuit, values, start, family))
    some = np.linspace(0, len(family) - 1, PLAIN_CASES).astype(int)
    plain, alone = timed(
        lambda: [operating_point(cases.circuit, {key: float(v[case]) for key, v in values.items()}) for case in some]
    )
    volts = np.concatenate([one.volts for one in alone])
    off = np.abs(volts - point.volts[some]).max(axis=1) / (1 + np.abs(volts).max(axis=1))
    line("operating point", plain / PLAIN_CASES, fast / len(family), float(np.median(off)))
    print(f"{'':<42} another state than from switch-on: {int((off > 1e-3).sum())} of {PLAIN_CASES}")


def small_signal(cases: Cases) -> None:
    """One frequency, all nets."""
    point = operating_point(cases.circuit, cases.values(range(len(cases.suspects))))
    solved, count = point.solved, len(point.volts)
    matrix = ac_matrix(solved, dc_matrix(solved), 1e3)
    right = np.zeros((count, matrix.shape[1], 1))
    right[:, 5] = 1e-3
    solutions(point.layout, matrix, right)  # the plan is made once
    plain, dense = timed(lambda: np.linalg.solve(matrix, right.astype(complex)))
    fast, frozen = timed(lambda: solutions(point.layout, matrix, right))
    off = np.abs(dense - frozen).max() / np.abs(dense).max()
    line("equations at one frequency", plain / count, fast / count, float(off))


def unpowered(cases: Cases) -> None:
    """Ohms of every net against common by changes of one inverse a sample, against a plain solution a fault.

    All suspects, as the product asks for them. Where they differ most the plain solution is the one that is off: at
    23 megohms 3e-8, against 1.5e-11 of the fast one, both beside a solution with 11 more binary digits.
    """
    nets, count = cases.circuit.nets, len(cases.suspects)
    pairs = np.array([[k, len(nets)] for k in range(len(nets))])
    values = cases.values(range(count))
    ends, healthy = branches_of(cases.circuit, cases.values([0]), 0.0)
    _, changed = branches_of(cases.circuit, values, 0.0)
    shaped = changed.reshape(count, PARTICLES, -1)
    fast, found = min(
        (timed(lambda: changed_pair_impedance(ends, healthy, shaped, pairs, len(nets))) for _ in range(3)),
        key=lambda one: one[0],
    )
    named = [(net, cases.circuit.common) for net in nets]
    plain, ohm = timed(lambda: resistance(cases.circuit, named, values))
    there = ohm < OVER_RANGE_OHM
    off = (np.abs(found.reshape(ohm.shape)[there] - ohm[there]) / (1.0 + ohm[there])).max()
    line("ohms at every net, unplugged", plain / len(ohm), fast / len(ohm), float(off))


if __name__ == "__main__":
    main()
