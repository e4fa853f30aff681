"""One implicit step of a powered circuit in time.

Written in charges: dq/dt + A x + f(x) = b(t), and with dq/dt = rate q + past (backward Euler or second-order backward
differentiation) each step is a set of nodal equations for Newton's method.

| symbol | unit | meaning |
| --- | --- | --- |
| x | V, A | net voltages, targets of amplifiers, then what the energy stores add |
| q | C, Wb | charges and fluxes: the linear stores' D V' x, then an amplifier's y/wt (V s) |
| rate, past | 1/s | dq/dt = rate q + past at the end of the step |

An amplifier has its dominant pole here; its second pole acts within microseconds and is left out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from dustcap.circuit.amplifiers import LAG, LAGGED, Amplifiers
from dustcap.circuit.assembly import Condensed, Discrete, LinearStamps, Problem, device_groups
from dustcap.circuit.layout import Index, Layout, Real
from dustcap.circuit.linearised import amplifier_poles
from dustcap.circuit.newton import Answer, gathered, solve
from dustcap.circuit.scatter import Scatter
from dustcap.circuit.stores import Stores
from dustcap.circuit.values import Table, conductance

FORETOLD = 1e-5
"""Agreement of a device's current with what the last linearisation foretold; the answer's own error is its square."""


@dataclass(frozen=True, eq=False)
class Windings:
    """Every winding of every transformer: ends, conductance and peak volts."""

    ends: Index  # (windings, 2)
    owner: tuple[int, ...]  # number of the transformer
    siemens: Real  # (cases, windings)
    peak_v: Real

    @staticmethod
    def of(layout: Layout, table: Table) -> Windings:
        """The windings; the second half of a tapped one is in antiphase."""
        ends, owner, siemens, peaks = [], [], [], []
        for number in range(layout.count("transformer")):
            a, tap, b = layout.terminals["transformer"][number].tolist()
            tapped = bool(layout.elements["transformer"][number].nets[1])
            for side, sign, pair in (("a", 1.0, (a, tap if tapped else b)), ("b", -1.0, (b, tap)))[: 1 + tapped]:
                ends.append(pair)
                owner.append(number)
                siemens.append(conductance(table.get("transformer", f"ohm_{side}"))[:, number])
                scale = table.get("transformer", f"scale_{side}")[:, number]
                peaks.append(sign * np.sqrt(2.0) * scale * table.get("transformer", "volts_rms")[:, number])
        places = np.array(ends, dtype=np.intp).reshape(-1, 2)
        return Windings(places, tuple(owner), _columns(siemens, table.cases), _columns(peaks, table.cases))


def _columns(parts: list[Real], cases: int) -> Real:
    if not parts:
        return np.zeros((cases, 0))
    return np.stack([np.broadcast_to(part, (cases,)) for part in parts], axis=1)


class Motion:
    """A batch of cases in time.

    Attributes
    ----------
    stores : the linear energy stores
    size : number of unknowns
    """

    def __init__(self, layout: Layout, table: Table, ramp_s: float, phase: float) -> None:
        self.layout, self.table = layout, table
        self.ramp_s, self.phase = ramp_s, phase
        self.stores = Stores(layout, table)
        self.size = layout.size + self.stores.extra
        groups = device_groups(layout, list(range(layout.count("diode"))))
        self._amplifiers = next((group for group in groups if isinstance(group, Amplifiers)), None)
        wide = replace(layout, size=self.size, kept={})
        self._problem = Problem(wide, groups)
        self._linear = LinearStamps(layout)
        self.windings = Windings.of(layout, table)
        a, b = self.windings.ends.T
        self._wound = Scatter(np.concatenate([a, b, a, b]), np.concatenate([a, b, b, a]), layout.size)
        self._driven = Scatter(np.concatenate([a, b]), None, self.size)

    def connect(self, state: Discrete) -> None:
        """Take over which contacts are closed."""
        one, layout = np.ones(self.table.cases), self.layout
        dc, full = self._linear.assemble(self.table, state, one)
        g = self.windings.siemens
        self._wound.add(dc, np.concatenate([g, g, -g, -g], axis=1))
        _, still = self._linear.assemble(self.table, state, 0.0 * one)
        self._matrix, u, self._v, self._d = self.stores.matrices(dc)
        self._u = u
        self._store = (u * self._d[:, None, :]) @ self._v.T
        self._still, self._full = np.zeros((self.table.cases, self.size)), np.zeros((self.table.cases, self.size))
        self._still[:, : layout.size], self._full[:, : layout.size] = still, full

    def supply(self, t: float) -> float:
        """Share of their volts that direct sources have reached."""
        return min(1.0, t / self.ramp_s) if self.ramp_s > 0 else float(t > 0)

    def emf(self, t: float) -> Real:
        """Volts of every winding without load, (cases, windings)."""
        wave: Real = self.windings.peak_v * np.sin(2 * np.pi * self.layout.mains_hz * t + self.phase)
        return wave

    def charges(self, x: Real) -> Real:
        """q at the unknowns x (cases, size), (cases, stores + amplifiers)."""
        return self.levels(x) * self.weights

    def levels(self, x: Real) -> Real:
        """What the error is measured on: volts of capacitors, amperes of coils, volts of amplifiers."""
        held = x @ self._v
        if self._amplifiers is None:
            return held
        return np.concatenate(
            [held, self._amplifiers.target(gathered(x, self._amplifiers.columns), self.table).y], axis=1
        )

    @property
    def weights(self) -> Real:
        """Charges over levels, (cases, stores + amplifiers)."""
        if self._amplifiers is None:
            return self._d
        wt, _ = amplifier_poles(self.table)
        return np.concatenate([self._d, np.broadcast_to(1.0 / wt, (len(self._d), wt.shape[1]))], axis=1)

    def step(self, t: float, rate: float, past: Real, start: Real) -> Answer:
        """Every unknown at the time t, (cases, size), which cases are solved, and which turned.

        Parameters
        ----------
        past : what dq/dt is besides `rate` q, (cases, stores + amplifiers)
        start : unknowns to begin from, (cases, size)
        """
        count, share = self._d.shape[1], self.supply(t)
        right = self._still + share * (self._full - self._still) - past[:, :count] @ self._u.T
        pushed = self.windings.siemens * self.emf(t)
        self._driven.add(right, np.concatenate([pushed, -pushed], axis=1))
        linear = Condensed.of(self._problem, self._matrix + rate * self._store, right)
        table = self._lagged(rate, past[:, count:])
        begin = start[:, self._problem.kept]
        found = solve(self._problem, table, linear, begin, [], relative=FORETOLD, turned=True)
        return found._replace(kept=linear.expand(self._problem, found.kept))

    def _lagged(self, rate: float, past: Real) -> Table:
        if self._amplifiers is None:
            return self.table
        wt, _ = amplifier_poles(self.table)
        return Table(self.table.cases, {**self.table.columns, LAG: rate / wt, LAGGED: past})
