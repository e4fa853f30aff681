"""The mains cycle of a rectifier: its periodic steady state, as the rest of the circuit sees it in the mean.

The region's nets are solved at `PHASES` phases of the mains, the capacitors' charge is carried from phase to phase,
and the cycle closes on itself. The rest of the circuit draws a mean current J from each net (besides the region's own
linear loads, `local`); the answer is the mean voltage of each net and its derivative by J. One Newton step of the
cycle is made together with each Newton step of the circuit, so both settle at once.

| symbol | unit | meaning |
| --- | --- | --- |
| v | V | net voltages over the cycle |
| J | A | mean current that the rest draws |
| Z | ohm | derivative of the mean voltages by J |
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from dustcap.circuit.cycle import PHASES, WEIGHT, Network
from dustcap.circuit.junctions import limited_diode
from dustcap.circuit.layout import Index, Real
from dustcap.circuit.rectifier import Region
from dustcap.circuit.values import Table

SETTLED_RELATIVE = 1e-6
SETTLED_A = 1e-9
LEAST_A = 1e-5
KEPT_RELATIVE = 1e-4
"""The error of keeping a linearisation is of second order in this."""


@dataclass(eq=False)
class Waves:
    """State of a cycle, one row a case; changed in place while it is being solved."""

    v: Real  # (cases, K, nets)
    drops: Real  # where the diodes are linearised, (cases, K, diodes)
    amps: Real  # their currents there
    slopes: Real  # their conductances there
    foretold: Real  # their currents as the last linearisation foretold them
    drawn: Real  # J, (cases, nets)
    fading: Real  # the share of J that devices draw, (cases, nets)
    mean: Real  # (cases, nets)
    slope: Real  # the inverse of Z, (cases, nets, nets)
    by_drawn: Real  # derivative of v by J, (cases, K, nets, nets)
    limited: NDArray[np.bool_]  # (cases,)
    agreed: NDArray[np.bool_]  # (cases,)
    kept: NDArray[np.bool_]  # (cases,): the last linearisation still holds

    @staticmethod
    def at_rest(cases: int, nets: int, diodes: int) -> Waves:
        """Everything at zero, nothing known."""
        none, wide = np.zeros((cases, nets)), np.zeros((cases, PHASES, diodes))
        return Waves(
            v=np.zeros((cases, PHASES, nets)),
            drops=wide,
            amps=wide.copy(),
            slopes=wide.copy(),
            foretold=wide + np.inf,
            drawn=none,
            fading=none.copy(),
            mean=none.copy(),
            slope=np.zeros((cases, nets, nets)),
            by_drawn=np.zeros((cases, PHASES, nets, nets)),
            limited=np.zeros(cases, dtype=bool),
            agreed=np.zeros(cases, dtype=bool),
            kept=np.zeros(cases, dtype=bool),
        )

    def pick(self, rows: Index) -> Waves:
        """A copy of the state of some of the cases."""
        return Waves(**{field.name: getattr(self, field.name)[rows] for field in fields(self)})

    def put(self, rows: Index, other: Waves) -> None:
        """Take over the state of some of the cases."""
        for field in fields(self):
            getattr(self, field.name)[rows] = getattr(other, field.name)

    @staticmethod
    def joined(parts: list[Waves]) -> Waves:
        """The cases of several batches one after the other."""
        return Waves(
            **{field.name: np.concatenate([getattr(part, field.name) for part in parts]) for field in fields(Waves)}
        )


class Cycle:
    """The mains cycle of one region for a batch of cases."""

    def __init__(self, region: Region, table: Table, mains_hz: float, scale: Real, waves: Waves | None = None) -> None:
        self.network = Network.of(region, table, mains_hz, scale)
        self.waves = waves or Waves.at_rest(table.cases, len(region.nets), len(region.diodes))
        self.waves.kept[:] = False
        self._network, self._rows = self.network, np.arange(table.cases)

    def _at(self, rows: Index) -> Network:
        if len(rows) != len(self._rows) or (rows != self._rows).any():
            self._network, self._rows = self.network.take(rows), rows
        return self._network

    def refine(self, rows: Index, local: Real) -> None:
        """One Newton step of the cycle at the present J; `local` is (cases, nets, nets), linear loads in siemens.

        A case whose diodes hardly moved since its last step keeps the linearisation of that step.
        """
        waves = self.waves
        moved = np.flatnonzero(~waves.kept[rows])
        if not len(moved):
            return
        rows, local = rows[moved], local[moved]
        network = self._at(rows)
        drops = waves.drops[rows]
        i, g = network.diode_law(drops)
        off = np.abs(i - waves.foretold[rows])
        bound = SETTLED_A + SETTLED_RELATIVE * np.abs(i).max(axis=(1, 2), initial=0.0)
        waves.agreed[rows] = (off <= bound[:, None, None]).all(axis=(1, 2)) & ~waves.limited[rows]
        waves.amps[rows], waves.slopes[rows] = i, g
        v = network.cycle(local, i - g * drops, g, waves.drawn[rows], waves.fading[rows], waves.v[rows])
        waves.v[rows], waves.by_drawn[rows] = v[..., 0], v[..., 1:]
        mean = np.tensordot(WEIGHT, v, axes=(0, 1))
        waves.mean[rows], waves.slope[rows] = mean[..., 0], np.linalg.inv(mean[..., 1:])

    def settled(self, rows: Index) -> NDArray[np.bool_]:
        """Whether the last step found the diodes where the step before had foretold them."""
        return self.waves.agreed[rows]

    def stamps(self, rows: Index) -> tuple[Real, Real]:
        """Slope (cases, nets, nets) and current (cases, nets): J = slope v + current."""
        slope = self.waves.slope[rows]
        return slope, self.waves.drawn[rows] - np.einsum("cnm,cm->cn", slope, self.waves.mean[rows])

    def accept(self, rows: Index, volts: Real, by_devices: Real) -> None:
        """Take over the mean voltages that the circuit found, and what its devices draw of J."""
        waves, network = self.waves, self._at(rows)
        drawn = waves.drawn[rows]
        foretold = drawn + np.einsum("cnm,cm->cn", waves.slope[rows], volts - waves.mean[rows])
        accepted = _lessened(foretold, drawn)
        more = accepted - drawn
        waves.drawn[rows], waves.fading[rows] = accepted, by_devices
        v = waves.v[rows] + np.einsum("cknm,cm->ckn", waves.by_drawn[rows], more)
        waves.v[rows], waves.mean[rows] = v, np.tensordot(WEIGHT, v, axes=(0, 1))
        old, proposed = waves.drops[rows], v @ network.diode_ends.T
        change = waves.slopes[rows] * (proposed - old)
        waves.foretold[rows] = waves.amps[rows] + change
        saturation, ideality, series, _ = network.diodes
        new = limited_diode(proposed, old, saturation[:, None], ideality[:, None], series[:, None])
        limited = (np.abs(new - proposed) > 1e-9 * (1.0 + np.abs(proposed))).any(axis=(1, 2))
        limited |= (accepted != foretold).any(axis=1)
        waves.limited[rows] = limited
        least = SETTLED_A + KEPT_RELATIVE * np.abs(waves.amps[rows]).max(axis=(1, 2), initial=0.0)
        still = np.abs(change).max(axis=(1, 2), initial=0.0) <= least
        kept = still & ~limited & waves.agreed[rows]
        waves.kept[rows] = kept
        waves.drops[rows] = np.where(kept[:, None, None], old, new)


def _lessened(new: Real, old: Real) -> Real:
    """A current drawn falls to a tenth at most in one step: a rectifier that carries nothing at all tells no slope."""
    sign = np.sign(old)
    least = np.where(np.abs(old) > LEAST_A, 0.1 * np.abs(old), -1e30)
    return np.where(sign * new < least, sign * least, new)
