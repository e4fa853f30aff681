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

from dustcap.circuit.cycle import PHASES, WEIGHT, Network
from dustcap.circuit.junctions import limited_diode
from dustcap.circuit.layout import Flags, Index, Real
from dustcap.circuit.rectifier import Region
from dustcap.circuit.values import Table

SETTLED_RELATIVE = 1e-6
SETTLED_A = 1e-9
LEAST_A = 1e-5
KEPT_RELATIVE = 1e-3
"""The error of keeping a linearisation is of second order in this."""


@dataclass(eq=False)
class Waves:
    """State of a cycle, one row a case; changed in place while it is being solved."""

    v: Real  # (cases, K, nets)
    drops: Real  # where the diodes are linearised, (cases, K, diodes)
    amps: Real  # their currents there
    slopes: Real  # their conductances there
    foretold: Real  # their currents as the last linearisation foretold them
    drawn: Real  # J, (cases, ports)
    fading: Real  # the share of J that devices draw, (cases, ports)
    mean: Real  # (cases, nets)
    by_drawn: Real  # derivative of v by J, (cases, K, nets, ports)
    slope: Real  # derivative of J by the mean of the ports, (cases, ports, ports)
    follow: Real  # derivative of the mean by the mean of the ports, (cases, nets, ports)
    built: Real  # the network that was linearised, (cases, numbers)
    limited: Flags  # (cases,)
    agreed: Flags  # (cases,)
    kept: Flags  # (cases,): the last linearisation still holds

    @staticmethod
    def at_rest(region: Region, cases: int) -> Waves:
        """Everything at zero, nothing known."""
        nets, ports = len(region.nets), len(region.ports)
        wide = np.zeros((cases, PHASES, len(region.diodes)))
        return Waves(
            v=np.zeros((cases, PHASES, nets)),
            drops=wide,
            amps=wide.copy(),
            slopes=wide.copy(),
            foretold=wide + np.inf,
            drawn=np.zeros((cases, ports)),
            fading=np.zeros((cases, ports)),
            mean=np.zeros((cases, nets)),
            by_drawn=np.zeros((cases, PHASES, nets, ports)),
            slope=np.zeros((cases, ports, ports)),
            follow=np.zeros((cases, nets, ports)),
            built=np.full((cases, Network.numbers(region)), np.nan),
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

    def __init__(self, region: Region, table: Table, mains_hz: float, scale: Real, waves: Waves) -> None:
        self.region, self.waves = region, waves
        self.network = Network.of(region, table, mains_hz, scale)
        self._network, self._rows = self.network, np.arange(table.cases)

    def _at(self, rows: Index) -> Network:
        if len(rows) != len(self._rows) or (rows != self._rows).any():
            self._network, self._rows = self.network.take(rows), rows
        return self._network

    def refine(self, rows: Index, local: Real) -> None:
        """One Newton step of the cycle at the present J; `local` is (cases, nets, nets), linear loads in siemens.

        A case whose network is the same and whose diodes hardly moved since its last step keeps that linearisation.
        """
        waves = self.waves
        built = np.concatenate([self.network.built[rows], local.reshape(len(rows), -1)], axis=1)
        moved = np.flatnonzero(~waves.kept[rows] | (built != waves.built[rows]).any(axis=1))
        if not len(moved):
            return
        rows, local = rows[moved], local[moved]
        waves.built[rows] = built[moved]
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
        slope = np.linalg.inv(mean[:, self.region.ports, 1:])
        waves.mean[rows], waves.slope[rows], waves.follow[rows] = mean[..., 0], slope, mean[..., 1:] @ slope

    def settled(self, rows: Index) -> Flags:
        """Whether the last step found the diodes where the step before had foretold them."""
        return self.waves.agreed[rows]

    def stamps(self, rows: Index) -> tuple[Real, Real]:
        """Rows of the circuit's matrix (cases, nets, nets) and right side (cases, nets) for the region's nets.

        At a port: what the rest draws is J = slope v + current. At any other net: it follows the ports.
        """
        waves, ports, size = self.waves, self.region.ports, len(self.region.nets)
        mean, slope, follow = waves.mean[rows], waves.slope[rows], waves.follow[rows]
        matrix = np.zeros((len(rows), size, size))
        matrix[:, :, ports] = -follow
        matrix[:, np.arange(size), np.arange(size)] += 1.0
        right = mean - np.einsum("cnp,cp->cn", follow, mean[:, ports])
        matrix[:, ports[:, None], ports] = -slope
        right[:, ports] = waves.drawn[rows] - np.einsum("cnm,cm->cn", slope, mean[:, ports])
        return matrix, right

    def accept(self, rows: Index, volts: Real, by_devices: Real) -> None:
        """Take over the mean voltages that the circuit found, and what its devices draw of J; both (cases, nets)."""
        waves, network, ports = self.waves, self._at(rows), self.region.ports
        drawn, step = waves.drawn[rows], volts[:, ports] - waves.mean[rows][:, ports]
        foretold = drawn + np.einsum("cnm,cm->cn", waves.slope[rows], step)
        accepted = _lessened(foretold, drawn)
        waves.drawn[rows], waves.fading[rows] = accepted, by_devices[:, ports]
        v = waves.v[rows] + np.einsum("cknp,cp->ckn", waves.by_drawn[rows], accepted - drawn)
        waves.v[rows], waves.mean[rows] = v, np.tensordot(WEIGHT, v, axes=(0, 1))
        old, proposed = waves.drops[rows], v @ network.diode_ends.T
        change = waves.slopes[rows] * (proposed - old)
        waves.foretold[rows] = waves.amps[rows] + change
        saturation, ideality, series, _ = network.diodes
        new = limited_diode(proposed, old, saturation[:, None], ideality[:, None], series[:, None])
        limited = (np.abs(new - proposed) > 1e-9 * (1.0 + np.abs(proposed))).any(axis=(1, 2))
        limited |= (accepted != foretold).any(axis=1)
        least = SETTLED_A + KEPT_RELATIVE * np.abs(waves.amps[rows]).max(axis=(1, 2), initial=0.0)
        kept = (np.abs(change).max(axis=(1, 2), initial=0.0) <= least) & ~limited
        waves.kept[rows], waves.limited[rows] = kept, limited
        waves.agreed[rows] |= kept
        waves.drops[rows] = np.where(kept[:, None, None], old, new)


def _lessened(new: Real, old: Real) -> Real:
    """A current drawn falls to a tenth at most in one step: a rectifier that carries nothing at all tells no slope."""
    sign = np.sign(old)
    least = np.where(np.abs(old) > LEAST_A, 0.1 * np.abs(old), -1e30)
    return np.where(sign * new < least, sign * least, new)
