"""Faults of random networks with junctions at d.c.: every resistor in five modes on tolerance samples, ten nets read.

Reference in the same run: Newton's method on all nets for one fault at a time, from the healthy point of its sample,
with the junction limiting of the project's own solver, on a ready matrix; extrapolated from drawn cases. The fast time
is that of one call with everything in it, the healthy points too.
Run on one core: OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 .venv/bin/python benchmarks/junction_faults.py
"""

from __future__ import annotations

import time
from typing import Any

import numpy as np
from linear_faults import part_faults, random_board, tolerance_samples

from dustcap.circuit.elements import Circuit, Element
from dustcap.circuit.junction_faults import junction_fault_volts
from dustcap.circuit.layout import layout_of
from dustcap.circuit.linearised import dc_matrix
from dustcap.circuit.operating import operating_point
from dustcap.circuit.ports import Ports
from dustcap.circuit.values import table_of

SIZES = ((40, 8), (80, 12), (150, 20), (300, 40))
WANTED = 60
SAMPLES = 50
READ = 10
DRAWN = 40
SETTLED_V = 1e-9
SEED = 7


def with_diodes(circuit: Circuit, count: int, rng: np.random.Generator) -> Circuit:
    """The linear network without its gain stages, with diodes between drawn nets and six currents fed in."""
    kept = [element for element in circuit.elements if element.law != "gain"]
    nets = [*circuit.nets, circuit.common]
    values = {"saturation_a": 1e-12, "ideality": 1.6}
    for k in range(count):
        a, b = rng.choice(len(nets), 2, replace=False)
        kept.append(Element(f"D{k}", "diode", (nets[a], nets[b]), values))
    for k, net in enumerate(rng.choice(len(nets) - 1, 6, replace=False)):
        volts = float(rng.uniform(-20.0, 20.0))
        kept.append(Element(f"V{k}", "source", (nets[net], circuit.common), {"volts": volts, "ohm": 1e4}))
    return Circuit(tuple(kept))


def main() -> None:
    """One line for each size."""
    for nets, count in SIZES:
        measure(nets, count)


def measure(nets: int, count: int) -> None:
    """Print one line."""
    rng = np.random.default_rng(SEED)
    circuit = with_diodes(random_board(nets, rng), count, rng)
    read = [f"n{k}" for k in rng.choice(nets, READ, replace=False)]
    best = np.inf
    for seed in range(3):
        begin = time.process_time()
        samples = tolerance_samples(circuit, SAMPLES, seed)
        faults = part_faults(circuit, samples)
        volts = junction_fault_volts(circuit, samples, faults, read)
        best = min(best, (time.process_time() - begin) / (len(faults) * SAMPLES))
    healthy = operating_point(circuit, samples)
    conducting = int((np.abs(healthy.solved.devices[0][1][0][..., 0]) > 1e-6).sum(axis=1).mean())
    places = [layout_of(circuit).position[net] for net in read]
    spent, steps, off = 0.0, [], []
    for _ in range(DRAWN):
        fault, sample = int(rng.integers(len(faults))), int(rng.integers(SAMPLES))
        both = {key: np.asarray(value).ravel() for key, value in {**samples, **faults[fault]}.items()}
        one = {key: value[min(sample, len(value) - 1)] for key, value in both.items()}
        prepared = prepare(circuit, one, healthy.unknowns[sample])
        taken = np.inf
        for _ in range(2):
            begin = time.process_time()
            x, count_steps = newton(*prepared)
            taken = min(taken, time.process_time() - begin)
        spent += taken
        steps.append(count_steps)
        off.append(np.abs(x[places] - volts[fault, sample]).max() / np.abs(x).max())
    plain = spent / DRAWN
    print(
        f"n {nets:3d}, {count:2d} junctions ({conducting} conduct) {len(faults) * SAMPLES:6d} faults"
        f" {1e6 * best:5.1f} us each; Newton on all nets {1e6 * plain:6.0f} us, {np.mean(steps):.1f} steps;"
        f" ratio {plain / best:4.0f} (wanted {WANTED} at n = 150); off {max(off):.0e}",
        flush=True,
    )


def prepare(circuit: Circuit, values: Any, start: Any) -> tuple[Any, ...]:
    """The linear part, the junctions and the point to start from, for `newton`."""
    layout = layout_of(circuit)
    table, ports = table_of(layout, values), Ports.of(layout)
    point = operating_point(circuit, values, start=start[None, : len(layout.nets)])
    ends = np.zeros((len(layout.nets) + 1, len(ports.plus)))
    np.add.at(ends, (ports.plus, np.arange(len(ports.plus))), 1.0)
    np.add.at(ends, (ports.minus, np.arange(len(ports.plus))), -1.0)
    ends = ends[:-1]
    j, g = ports.currents((point.volts @ ends), table, slopes=True)
    matrix = dc_matrix(point.solved)[0] - ends @ g[0] @ ends.T
    right = matrix @ point.volts[0] + ends @ j[0]
    return matrix, right, ends, ports, table, (start[: len(layout.nets)] @ ends)[None]


def newton(matrix: Any, right: Any, ends: Any, ports: Ports, table: Any, v: Any) -> tuple[Any, int]:
    """Solution on all nets and the steps it took."""
    x = right
    for step in range(1, 60):
        j, g = ports.currents(v, table, slopes=True)
        g_diagonal = np.diagonal(g[0])
        x = np.linalg.solve(matrix + (ends * g_diagonal) @ ends.T, right - ends @ (j[0] - g_diagonal * v[0]))
        proposed = (x @ ends)[None]
        if np.abs(proposed - v).max() <= SETTLED_V:
            return x, step
        v = ports.limited(proposed, v, table)
    return x, step


if __name__ == "__main__":
    main()
