"""Energy stores of the linear elements: capacitors, coils, and the coil and cone of drivers.

Each store is a rank-one term of C = U D V' in (G + s C) x = 0: one column of U and V and one entry of D. Coils and
capacitors with series resistance bring unknowns of their own, and drivers their motional branch.
"""

from __future__ import annotations

import numpy as np

from dustcap.circuit.layout import Layout, Real
from dustcap.circuit.values import FLOOR_OHM, Table, conductance

DRIVER_VALUES = ("ohm", "henry", "fs_hz", "qms", "qes", "present")
HELD_S = 1e-15
"""From the inside of a capacitor with series resistance to common: only against a singular matrix."""
COMPLIANCE_OHM = 1e-6


class Stores:
    """Collects energy stores as rank-one terms, and the extra unknowns that they need.

    Attributes
    ----------
    entries : row, column and value (1 or cases,) of what the extra unknowns add to the d.c. matrix
    extra : how many unknowns follow those of the layout
    motion : unknown that is the current in the compliance of each driver's motional branch; -1 where there is none
    """

    def __init__(self, layout: Layout, table: Table) -> None:
        self.layout, self.table = layout, table
        self.size = layout.size
        self.entries: list[tuple[int, int, Real]] = []
        self.extra = 0
        self.motion: list[int] = []
        self._u: list[Real] = []
        self._v: list[Real] = []
        self._d: list[Real] = []
        self._capacitors()
        self._inductors()
        self._drivers()

    def matrices(self, dc: Real) -> tuple[Real, Real, Real, Real]:
        """G (cases, n, n) out of the circuit's `dc` matrix, U and V (n, stores), D (cases, stores)."""
        cases, total = len(dc), self.size + self.extra
        g = np.zeros((cases, total, total))
        g[:, : self.size, : self.size] = dc
        for row, column, value in self.entries:
            if row >= 0 and column >= 0:
                g[:, row, column] += value
        u, v = np.zeros((total, len(self._d))), np.zeros((total, len(self._d)))
        for number, (left, right) in enumerate(zip(self._u, self._v, strict=True)):
            u[: len(left), number] = left
            v[: len(right), number] = right
        d = np.stack([np.broadcast_to(one, (cases,)) for one in self._d], axis=1) if self._d else np.zeros((cases, 0))
        return g, u, v, d

    def unknown(self) -> int:
        """One more unknown."""
        self.extra += 1
        return self.size + self.extra - 1

    def store(self, row: Real, column: Real, amount: Real) -> None:
        """One more store: a column of U and of V and its entry of D, (1 or cases,)."""
        self._u.append(row)
        self._v.append(column)
        self._d.append(amount)

    def at(self, *places: tuple[int, float]) -> Real:
        """A column of U or V with the given numbers at the given unknowns."""
        column = np.zeros(self.size + self.extra)
        for place, amount in places:
            if place >= 0:
                column[place] += amount
        return column

    def _conduct(self, a: int, b: int, g: Real) -> None:
        self.entries += [(a, a, g), (b, b, g), (a, b, -g), (b, a, -g)]

    def _capacitors(self) -> None:
        for number in range(self.layout.count("capacitor")):
            a, b = self.layout.terminals["capacitor"][number].tolist()
            if a == b:
                continue
            farad = self.table.get("capacitor", "farad")[:, number]
            esr = self.table.get("capacitor", "esr_ohm")[:, number]
            if (esr > 0).any():
                inner = self.unknown()
                self._conduct(a, inner, 1.0 / np.maximum(esr, FLOOR_OHM))
                self.entries.append((inner, inner, np.full(1, HELD_S)))
                a = inner
            ends = self.at((a, 1.0), (b, -1.0))
            self.store(ends, ends, farad)

    def _coil(self, a: int, b: int, ohm: Real, henry: Real, present: Real) -> int:
        """A branch current j with v_a - v_b - R j - s L j = 0, absent where `present` is 0."""
        j = self.unknown()
        one = np.ones(1)
        self.entries += [
            (a, j, one),
            (b, j, -one),
            (j, a, present),
            (j, b, -present),
            (j, j, -np.where(present > 0, ohm, 1.0)),
        ]
        own = self.at((j, 1.0))
        self.store(own, own, -henry * (present > 0))
        return j

    def _inductors(self) -> None:
        for number in range(self.layout.count("inductor")):
            a, b = self.layout.terminals["inductor"][number].tolist()
            if a == b:
                continue
            ohm = self.table.get("inductor", "ohm")[:, number]
            # the d.c. matrix holds its resistance already: take that out again
            self._conduct(a, b, -conductance(ohm))
            there = np.isfinite(ohm).astype(float)
            henry = self.table.get("inductor", "henry")[:, number]
            self._coil(a, b, np.where(there > 0, np.maximum(ohm, FLOOR_OHM), 1.0), henry, there)

    def _drivers(self) -> None:
        for number in range(self.layout.count("driver")):
            a, b = self.layout.terminals["driver"][number].tolist()
            if a == b:
                self.motion.append(-1)
                continue
            get = {name: self.table.get("driver", name)[:, number] for name in DRIVER_VALUES}
            ohm = np.maximum(get["ohm"], FLOOR_OHM)
            self._conduct(a, b, -get["present"] * conductance(get["ohm"]))
            there = get["present"] * np.isfinite(ohm)
            inner = self.unknown()
            self._coil(a, inner, np.where(there > 0, ohm, 1.0), get["henry"], there)
            # motional branch: R = Re Qms/Qes, L = R / (w0 Qms), C = Qms / (w0 R), in parallel
            w0 = 2 * np.pi * get["fs_hz"]
            loss = np.where(np.isfinite(ohm), ohm, 1.0) * get["qms"] / get["qes"]
            self._conduct(inner, b, 1.0 / loss)
            moved = self._coil(inner, b, np.full(1, COMPLIANCE_OHM), loss / (w0 * get["qms"]), np.ones(1))
            self.motion.append(moved)
            ends = self.at((inner, 1.0), (b, -1.0))
            self.store(ends, ends, get["qms"] / (w0 * loss))
