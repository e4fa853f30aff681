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
from dustcap.circuit.values import FLOOR_OHM, conductance
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


def _poles(solved: Solved) -> Complex:
    stores = _Stores(solved)
    g, u, v, d = stores.matrices()
    if not d.shape[1]:
        return np.zeros((len(g), 0), dtype=complex)
    inner = v.T @ np.linalg.solve(g, np.broadcast_to(u, (len(g), *u.shape))) * d[:, None, :]
    m = np.linalg.eigvals(inner)
    tiny = np.abs(m) < 1.0 / FASTEST
    natural = -1.0 / np.where(tiny, 1.0, m)
    return np.where(tiny, complex(-np.inf, 0.0), natural)


class _Stores:
    """Collects energy stores as rank-one terms, and the extra unknowns that they need."""

    def __init__(self, solved: Solved) -> None:
        self.solved = solved
        self.size = solved.layout.size
        self.u: list[NDArray[np.float64]] = []
        self.v: list[NDArray[np.float64]] = []
        self.d: list[Real] = []
        self.entries: list[tuple[int, int, Real]] = []
        self.extra = 0
        self._capacitors()
        self._inductors()
        self._drivers()
        self._amplifiers()

    def matrices(self) -> tuple[Real, Real, Real, Real]:
        """G (cases, n, n), U and V (n, stores), D (cases, stores)."""
        solved, cases = self.solved, self.solved.table.cases
        total = self.size + self.extra
        g = np.zeros((cases, total, total))
        g[:, : self.size, : self.size] = dc_matrix(solved)
        for row, column, value in self.entries:
            if row >= 0 and column >= 0:
                g[:, row, column] += value
        u = np.zeros((total, len(self.d)))
        v = np.zeros((total, len(self.d)))
        for number, (left, right) in enumerate(zip(self.u, self.v, strict=True)):
            u[: len(left), number] = left
            v[: len(right), number] = right
        d = np.stack([np.broadcast_to(one, (cases,)) for one in self.d], axis=1) if self.d else np.zeros((cases, 0))
        return g, u, v, d

    def _unknown(self) -> int:
        self.extra += 1
        return self.size + self.extra - 1

    def _pair(self, a: int, b: int) -> NDArray[np.float64]:
        ends = np.zeros(self.size + self.extra)
        if a >= 0:
            ends[a] += 1.0
        if b >= 0:
            ends[b] -= 1.0
        return ends

    def _store(self, left: NDArray[np.float64], right: NDArray[np.float64], amount: Real) -> None:
        self.u.append(left)
        self.v.append(right)
        self.d.append(amount)

    def _conduct(self, a: int, b: int, g: Real) -> None:
        self.entries += [(a, a, g), (b, b, g), (a, b, -g), (b, a, -g)]

    def _capacitors(self) -> None:
        layout, table = self.solved.layout, self.solved.table
        for number in range(layout.count("capacitor")):
            a, b = layout.terminals["capacitor"][number].tolist()
            if a == b:
                continue
            farad = table.get("capacitor", "farad")[:, number]
            esr = table.get("capacitor", "esr_ohm")[:, number]
            if (esr > 0).any():
                inner = self._unknown()
                self._conduct(a, inner, 1.0 / np.maximum(esr, FLOOR_OHM))
                self.entries.append((inner, inner, np.full(1, 1e-15)))
                a = inner
            ends = self._pair(a, b)
            self._store(ends, ends, farad)

    def _coil(self, a: int, b: int, ohm: Real, henry: Real, present: Real) -> None:
        """A branch current j with v_a - v_b - R j - s L j = 0, absent where `present` is 0."""
        j = self._unknown()
        one = np.ones(1)
        self.entries += [
            (a, j, one),
            (b, j, -one),
            (j, a, present),
            (j, b, -present),
            (j, j, -np.where(present > 0, ohm, 1.0)),
        ]
        own = np.zeros(self.size + self.extra)
        own[j] = 1.0
        self._store(own, own, -henry * (present > 0))

    def _inductors(self) -> None:
        layout, get = self.solved.layout, self.solved.table.get
        for number in range(layout.count("inductor")):
            a, b = layout.terminals["inductor"][number].tolist()
            if a == b:
                continue
            ohm = get("inductor", "ohm")[:, number]
            # the d.c. matrix holds its resistance already: take that out again
            self._conduct(a, b, -conductance(ohm))
            there = np.isfinite(ohm).astype(float)
            self._coil(
                a, b, np.where(there > 0, np.maximum(ohm, FLOOR_OHM), 1.0), get("inductor", "henry")[:, number], there
            )

    def _drivers(self) -> None:
        layout, table = self.solved.layout, self.solved.table
        for number in range(layout.count("driver")):
            a, b = layout.terminals["driver"][number].tolist()
            if a == b:
                continue
            get = {
                name: table.get("driver", name)[:, number]
                for name in ("ohm", "henry", "fs_hz", "qms", "qes", "present")
            }
            ohm = np.maximum(get["ohm"], FLOOR_OHM)
            self._conduct(a, b, -get["present"] * conductance(get["ohm"]))
            there = get["present"] * np.isfinite(ohm)
            inner = self._unknown()
            self._coil(a, inner, np.where(there > 0, ohm, 1.0), get["henry"], there)
            # motional branch: R = Re Qms/Qes, L = R / (w0 Qms), C = Qms / (w0 R), in parallel
            w0 = 2 * np.pi * get["fs_hz"]
            loss = np.where(np.isfinite(ohm), ohm, 1.0) * get["qms"] / get["qes"]
            self._conduct(inner, b, 1.0 / loss)
            self._coil(inner, b, np.full(1, FLOOR_OHM * 1e-3), loss / (w0 * get["qms"]), np.ones(1))
            ends = self._pair(inner, b)
            self._store(ends, ends, get["qms"] / (w0 * loss))

    def _amplifiers(self) -> None:
        """Input difference = (1/gain + s/wt) q with q = (1 + s/p2) z."""
        solved = self.solved
        if not solved.layout.count("amplifier"):
            return
        group = next(group for group in solved.work.problem.groups if isinstance(group, Amplifiers))
        target = group.target(gathered(solved.unknowns, group.columns), solved.table)
        wt, p2 = amplifier_poles(solved.table)
        for number, z in enumerate(solved.layout.targets.tolist()):
            q = self._unknown()
            one = np.ones(1)
            share = target.difference_z[:, number]
            self.entries += [(z, z, share), (z, q, -share), (q, q, one), (q, z, -one)]
            left, right = np.zeros(self.size + self.extra), np.zeros(self.size + self.extra)
            left[z], right[q] = 1.0, 1.0
            self._store(left, right, -target.y_z[:, number] / np.broadcast_to(wt, target.y_z.shape)[:, number])
            left, right = np.zeros(self.size + self.extra), np.zeros(self.size + self.extra)
            left[q], right[z] = 1.0, 1.0
            self._store(left, right, -1.0 / np.broadcast_to(p2, target.y_z.shape)[:, number])
