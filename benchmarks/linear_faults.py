"""Linear faults of random networks: every part in five modes on 200 tolerance samples, ten nets read.

The fast time is that of one call with everything in it: drawing the samples, their matrices, the faults. References
in the same run, extrapolated from drawn cases: one numpy.linalg.solve of a ready matrix a fault, and one factorisation
and solution by SuperLU of a ready sparse matrix a fault. Each time is the best of several rounds.
Run on one core: OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 .venv/bin/python benchmarks/linear_faults.py
"""

from __future__ import annotations

import time
from typing import Any

import numpy as np
from scipy.sparse import csc_array
from scipy.sparse.linalg import splu
from scipy.stats import qmc

from dustcap.circuit.elements import Circuit, Element
from dustcap.circuit.layout import layout_of
from dustcap.circuit.linear_faults import fault_volts
from dustcap.circuit.linearised import ac_matrix, dc_matrix, injection
from dustcap.circuit.operating import operating_point

SIZES = (40, 80, 150, 300)
WANTED = {40: 150, 80: 400, 150: 1000, 300: 4000}
WANTED_SPARSE = 300
SAMPLES = 200
READ = 10
DRAWN = 60
ROUNDS = 3
HZ = 1e3
SEED = 7
Fault = dict[tuple[str, str], Any]


def random_board(nets: int, rng: np.random.Generator) -> Circuit:
    """A network in which every net has two ways to others: resistors, capacitors (four in ten nets), gain stages."""
    name = [f"n{k}" for k in range(nets)] + ["0V"]
    pairs = [(k, int(rng.integers(k + 1, nets + 1))) for k in range(nets)]
    count = np.bincount(np.ravel(pairs), minlength=nets + 1)
    pairs += [(int(k), int(rng.choice(np.delete(np.arange(nets + 1), k)))) for k in np.flatnonzero(count[:nets] < 2)]
    while len(pairs) < 2 * nets:
        pairs.append(tuple(int(net) for net in rng.choice(nets + 1, 2, replace=False)))
    elements = [Element("IN", "source", ("n0", "0V"), {"volts": 1.0, "ohm": 600.0})]
    elements += [
        Element(f"R{k}", "resistor", (name[a], name[b]), {"ohm": 10.0 ** rng.uniform(2, 5)})
        for k, (a, b) in enumerate(pairs)
    ]
    for k in range(int(0.4 * nets)):
        a, b = rng.choice(nets + 1, 2, replace=False)
        elements.append(
            Element(f"C{k}", "capacitor", (name[a], name[b]), {"farad": 10.0 ** rng.uniform(-9, -5), "leak_ohm": 1e8})
        )
    for k in range(max(1, nets // 12)):
        out, hot, cold = rng.choice(nets, 3, replace=False)
        elements.append(
            Element(f"G{k}", "gain", (name[out], "0V", name[hot], name[cold]), {"gain": 10.0, "out_ohm": 1e4})
        )
    return Circuit(tuple(elements))


def tolerance_samples(circuit: Circuit, count: int, seed: int) -> Fault:
    """Scrambled Sobol points: resistors within 5 %, capacitors within 10 %."""
    parts = [element for element in circuit.elements if element.law in ("resistor", "capacitor")]
    shares = qmc.Sobol(len(parts), rng=seed, bits=16).random(256)[:count]  # as fine as 65,536 points need
    found: Fault = {}
    for element, share in zip(parts, shares.T, strict=True):
        value, spread = ("ohm", 0.05) if element.law == "resistor" else ("farad", 0.1)
        found[element.name, value] = element.value(value) * (1.0 + spread * (2.0 * share - 1.0))
    return found


def part_faults(circuit: Circuit, samples: Fault) -> list[Fault]:
    """Every part open, shorted, low, high and leaky."""
    faults: list[Fault] = []
    for element in circuit.elements:
        name = element.name
        if element.law == "resistor":
            ohm = samples[name, "ohm"]
            faults += [{(name, "ohm"): other} for other in (np.inf, 0.0, 0.5 * ohm, 2.0 * ohm, 10.0 * ohm)]
        elif element.law == "capacitor":
            farad = samples[name, "farad"]
            faults += [{(name, "farad"): other} for other in (0.0, 0.5 * farad, 0.1 * farad)]
            faults += [{(name, "leak_ohm"): 0.0}, {(name, "leak_ohm"): 1e4}]
        elif element.law == "gain":
            faults += [{(name, "gain"): other} for other in (0.0, 5.0, 20.0)]
            faults += [{(name, "out_ohm"): other} for other in (np.inf, 1e5)]
    return faults


def main() -> None:
    """One line for each size, at d.c. and at 1 kHz."""
    fault_volts(random_board(10, np.random.default_rng(0)), {}, [{}], ["n0"])  # what the first call loads
    costs = []
    for nets in SIZES:
        for hz in (0.0, HZ):
            costs.append((nets, hz, measure(nets, hz)))
    for hz in (0.0, HZ):
        (n, _, first), *_, (m, _, last) = [cost for cost in costs if cost[1] == hz]
        print(f"cost a fault from n = {n} to n = {m} at {hz:g} Hz: {last / first:.2f} x, n itself {m / n:.1f} x")


def measure(nets: int, hz: float) -> float:
    """Print one line; seconds a fault of the fast way."""
    rng = np.random.default_rng(SEED)
    circuit = random_board(nets, rng)
    read = [f"n{k}" for k in rng.choice(nets, READ, replace=False)]
    best = np.inf
    for seed in range(5 * ROUNDS):
        begin = time.process_time()
        samples = tolerance_samples(circuit, SAMPLES, seed)
        faults = part_faults(circuit, samples)
        volts = fault_volts(circuit, samples, faults, read, hz=hz, source="IN" if hz else "")
        best = min(best, (time.process_time() - begin) / (len(faults) * SAMPLES))
    matrices, rights = equations(circuit, samples, faults, hz, rng)
    dense = timed(lambda a, b: np.linalg.solve(a, b), matrices[0], rights)
    sparse = timed(lambda a, b: splu(a).solve(b), [csc_array(a) for a in matrices[0]], rights)
    places = [layout_of(circuit).position[net] for net in read]
    plain = [np.linalg.solve(a, b) for a, b in zip(matrices[0], rights, strict=True)]
    off = max(
        np.abs(x[places] - volts[fault, sample]).max() / np.abs(x).max()
        for x, (fault, sample) in zip(plain, matrices[1], strict=True)
    )
    print(
        f"n {nets:3d} {'d.c.' if not hz else 'a.c.'} {len(faults) * SAMPLES:7d} faults {1e9 * best:5.0f} ns each;"
        f" dense {1e6 * dense:6.0f} us, ratio {dense / best:5.0f} (wanted {WANTED[nets]});"
        f" sparse {1e6 * sparse:6.0f} us, ratio {sparse / best:5.0f} (wanted {WANTED_SPARSE}); off {off:.0e}",
        flush=True,
    )
    return float(best)


def equations(circuit: Circuit, samples: Fault, faults: list[Fault], hz: float, rng: np.random.Generator) -> Any:
    """Matrices and right sides of drawn cases by the general solver's assembly."""
    matrices, rights, drawn = [], [], []
    source = layout_of(circuit).place["IN"][1]
    for _ in range(DRAWN):
        fault, sample = int(rng.integers(len(faults))), int(rng.integers(SAMPLES))
        both = {key: np.asarray(value).ravel() for key, value in {**samples, **faults[fault]}.items()}
        point = operating_point(circuit, {key: value[min(sample, len(value) - 1)] for key, value in both.items()})
        matrix = dc_matrix(point.solved)
        matrices.append((ac_matrix(point.solved, matrix, hz) if hz else matrix)[0])
        rights.append(injection(point.solved, source)[0].astype(matrices[-1].dtype))
        drawn.append((fault, sample))
    return (matrices, drawn), rights


def timed(solve: Any, matrices: list[Any], rights: list[Any]) -> float:
    """Seconds a case, the shortest of some rounds."""
    best = np.inf
    for _ in range(3 * ROUNDS):
        begin = time.process_time()
        for matrix, right in zip(matrices, rights, strict=True):
            solve(matrix, right)
        best = min(best, (time.process_time() - begin) / len(matrices))
    return best


if __name__ == "__main__":
    main()
