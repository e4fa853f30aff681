"""Time of the powered solutions against the number of parts, on boards stacked from the library's blocks.

Low-pass sections follow each other, with a power amplifier after every fourth; forty drawn suspects on four samples are
solved in one batch from their healthy samples, and one in ten of those cases alone from rest as the reference.
"""

from __future__ import annotations

import time

import numpy as np

from dustcap.board.circuit import to_circuit
from dustcap.board.model import Board
from dustcap.board.read import parse_board
from dustcap.circuit.families import family_points
from dustcap.circuit.operating import operating_point
from dustcap.faults.suspects import Suspect, suspects
from dustcap.predict.cases import make_cases

SIZES = (25, 50, 100, 200, 400)
DRAWN, PARTICLES, WHOLE = 40, 4, 256
EVERY = 10
HEAD = """
layout = 1

[board]
name = "stacked"
revision = "A"
mains = "230 V 50 Hz"

[parts]
VP = { kind = "supply", value = "27 V", resistance = 0.01, pins = ["high", "0V"] }
VN = { kind = "supply", value = "27 V", resistance = 0.01, pins = ["0V", "low"] }
VA = { kind = "supply", value = "15 V", resistance = 0.01, pins = ["plus", "0V"] }
VB = { kind = "supply", value = "15 V", resistance = 0.01, pins = ["0V", "minus"] }
RI = { kind = "resistor", value = "10k", pins = ["n0", "0V"] }
"""


def stacked(parts: int) -> Board:
    """A board of at least so many parts."""
    blocks, board, k = "", parse_board(HEAD, "stacked"), 0
    while len(board.parts) < parts:
        ports = 'plus = "plus", minus = "minus"'
        blocks += f'[blocks.s{k}]\nfrom = "low-pass section"\nwith = {{ in = "n{k}", out = "n{k + 1}", {ports} }}\n'
        if k % 4 == 3:
            ports = f'in = "n{k}", out = "out{k}", high = "high", low = "low"'
            blocks += f'[blocks.p{k}]\nfrom = "power amplifier stage"\nwith = {{ {ports} }}\n'
        k += 1
        board = parse_board(HEAD + blocks, "stacked")
    return board


def main() -> None:
    """One line for each size."""
    for parts in SIZES:
        board = stacked(parts)
        every = suspects(board)
        rng = np.random.default_rng(parts)
        some = (Suspect(()), *(every[k] for k in rng.choice(len(every), min(DRAWN, len(every)), replace=False)))
        leaks = sorted({(fault.a, fault.b) for one in some for fault in one.faults if hasattr(fault, "a")})
        cases = make_cases(board, to_circuit(board, leaks), some, particles=PARTICLES, seed=1)
        count = len(some)
        begin = time.process_time()
        healthy = operating_point(cases.circuit, cases.values([0]))
        values, start = cases.values(range(count)), healthy.take(np.tile(np.arange(PARTICLES), count))
        point = family_points(cases.circuit, values, start, np.repeat(np.arange(count), PARTICLES))
        each = (time.process_time() - begin) / (count * PARTICLES)
        alone = np.arange(0, count * PARTICLES, EVERY)
        begin = time.process_time()
        for case in alone:
            operating_point(cases.circuit, {key: float(value[case]) for key, value in values.items()})
        plain = (time.process_time() - begin) / len(alone)
        print(
            f"{len(board.parts):3d} parts, {len(cases.circuit.nets):3d} nets, {len(every):4d} suspects:"
            f" {1e3 * each:5.2f} ms a case ({point.converged.mean():.1%} solved), alone {1e3 * plain:6.1f} ms,"
            f" ratio {plain / each:4.0f};"
            f" all suspects x {WHOLE} samples {each * len(every) * WHOLE:6.0f} s (extrapolated)",
            flush=True,
        )


if __name__ == "__main__":
    main()
