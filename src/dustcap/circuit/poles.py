"""Natural frequencies of the circuit about an operating point.

| symbol | unit | meaning |
| --- | --- | --- |
| (G + s C) x = 0 | | the linearised circuit, with a current for each inductor and two states for each amplifier |
| C = U D V' | | one column of U and V and one entry of D for each energy store |
| m | s | eigenvalues of V' G^-1 U D; each is -1/s |

The eigenvalue problem is then as large as the number of energy stores, not of nets. A pole with a positive real part
is an oscillation.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from dustcap.circuit.amplifiers import Amplifiers
from dustcap.circuit.branches import Complex
from dustcap.circuit.elements import Circuit
from dustcap.circuit.layout import Real
from dustcap.circuit.linearised import Solved, amplifier_poles, dc_matrix
from dustcap.circuit.newton import gathered
from dustcap.circuit.point import OperatingPoint
from dustcap.circuit.stores import Stores
from dustcap.errors import SolveError

FASTEST = 1e13
"""rad/s; what is faster belongs to no part and is given as -inf."""
LEAST_DAMPING = 1e-5
"""A pole counts as unstable when its real part is above this share of its size: rounding is far below."""


def poles(circuit: Circuit, point: OperatingPoint) -> Complex:
    """Natural frequencies, complex, (cases, n), rad/s; -inf where an energy store has none.

    Raises
    ------
    SolveError
        The operating point is of another circuit.
    """
    if circuit is not point.circuit:
        raise SolveError("the operating point is of another circuit.", where="poles")
    found = [_poles(solved) for _, solved in point.solved.pieces()]
    return np.concatenate(found)


def unstable_hz(natural: Complex) -> Real:
    """Frequency of the fastest growing oscillation of each case, (cases,); nan where every pole is damped.

    A pole that grows without oscillating is a latch, not a squeal, and is left out.
    """
    size = np.abs(natural)
    with np.errstate(invalid="ignore"):
        grows = np.isfinite(size) & (natural.real > LEAST_DAMPING * size) & (np.abs(natural.imag) > 0)
    growth = np.where(grows, natural.real, -np.inf)
    worst = np.argmax(growth, axis=1) if natural.shape[1] else np.zeros(len(natural), dtype=np.intp)
    if not natural.shape[1]:
        return np.full(len(natural), np.nan)
    hz = np.abs(np.take_along_axis(natural, worst[:, None], axis=1)[:, 0].imag) / (2 * np.pi)
    return np.where(grows.any(axis=1), hz, np.nan)


def oscillates(natural: Complex) -> NDArray[np.bool_]:
    """Whether a circuit of these poles oscillates, (cases,): at least two of them grow.

    A complex pair is the onset of an oscillation; two real ones, far beyond the onset, belong to a relaxation
    oscillation. A single one is a latch, which goes to another rest.
    """
    size = np.abs(natural)
    grows = np.isfinite(size) & (np.where(np.isfinite(size), natural.real, 0.0) > LEAST_DAMPING * size)
    return np.asarray(grows.sum(axis=1) >= 2)


def _poles(solved: Solved) -> Complex:
    stores = Stores(solved.layout, solved.table)
    _add_amplifiers(stores, solved)
    g, u, v, d = stores.matrices(dc_matrix(solved))
    if not d.shape[1]:
        return np.zeros((len(g), 0), dtype=complex)
    inner = v.T @ np.linalg.solve(g, np.broadcast_to(u, (len(g), *u.shape))) * d[:, None, :]
    m = np.linalg.eigvals(inner)
    tiny = np.abs(m) < 1.0 / FASTEST
    natural = -1.0 / np.where(tiny, 1.0, m)
    return np.where(tiny, complex(-np.inf, 0.0), natural)


def _add_amplifiers(stores: Stores, solved: Solved) -> None:
    """Input difference = (1/gain + s/wt) q with q = (1 + s/p2) z."""
    if not solved.layout.count("amplifier"):
        return
    group = next(group for group in solved.work.problem.groups if isinstance(group, Amplifiers))
    target = group.target(gathered(solved.unknowns, group.columns), solved.table)
    wt, p2 = (np.broadcast_to(one, target.y_z.shape) for one in amplifier_poles(solved.table))
    one = np.ones(1)
    for number, z in enumerate(solved.layout.targets.tolist()):
        q = stores.unknown()
        share = target.difference_z[:, number]
        stores.entries += [(z, z, share), (z, q, -share), (q, q, one), (q, z, -one)]
        stores.store(stores.at((z, 1.0)), stores.at((q, 1.0)), -target.y_z[:, number] / wt[:, number])
        stores.store(stores.at((q, 1.0)), stores.at((z, 1.0)), -1.0 / p2[:, number])
