"""The circuit made linear about an operating point, at a frequency.

| symbol | unit | meaning |
| --- | --- | --- |
| s | rad/s | complex frequency |
| wt | rad/s | an amplifier's gain-bandwidth product |
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from dustcap.circuit.amplifiers import Amplifiers
from dustcap.circuit.assembly import Discrete, Powered, powered
from dustcap.circuit.branches import BranchList, Complex, ac_admittances, dc_conductances
from dustcap.circuit.cycle import WEIGHT, Network
from dustcap.circuit.devices import Group
from dustcap.circuit.layout import Index, Layout, Real
from dustcap.circuit.mains import Waves
from dustcap.circuit.newton import gathered
from dustcap.circuit.scatter import Scatter, joined
from dustcap.circuit.values import Table, conductance

CHUNK_NUMBERS = 1_500_000
SECOND_POLE = 3.0
"""An amplifier's second pole, as a multiple of its bandwidth (physics: at 3 x bandwidth)."""


@dataclass(frozen=True, eq=False)
class Solved:
    """What a linearisation needs of an operating point, one row a case."""

    layout: Layout
    table: Table
    unknowns: Real
    state: Discrete
    waves: list[Waves]

    @property
    def work(self) -> Powered:
        """The circuit's index work."""
        return powered(self.layout)

    @cached_property
    def devices(self) -> list[tuple[Group, tuple[Real, Real]]]:
        """Every device group with its currents and derivatives at the operating point."""
        groups = self.work.problem.groups
        return [(group, group.evaluate(gathered(self.unknowns, group.columns), self.table)) for group in groups]

    @cached_property
    def networks(self) -> list[Network]:
        """The network of every mains cycle."""
        share = np.ones(self.table.cases)
        return [Network.of(region, self.table, self.layout.mains_hz, share) for region in self.work.problem.regions]

    def take(self, rows: Index) -> Solved:
        """The same for some of the cases."""
        waves = [wave.pick(rows) for wave in self.waves]
        return Solved(self.layout, self.table.take(rows), self.unknowns[rows], self.state.take(rows), waves)

    def pieces(self) -> Iterator[tuple[Index, Solved]]:
        """The cases in pieces that fit the memory, with their rows."""
        size = max(1, CHUNK_NUMBERS // self.layout.size**2)
        for first in range(0, self.table.cases, size):
            rows = np.arange(first, min(first + size, self.table.cases))
            yield rows, self.take(rows)


class Stamps:
    """Fixed places of the device derivatives, branches and windings among all unknowns."""

    def __init__(self, layout: Layout) -> None:
        work = powered(layout)
        rows, columns = [], []
        for group in work.problem.groups:
            m, q, p = group.rows.shape[0], group.rows.shape[1], group.columns.shape[1]
            rows.append(np.broadcast_to(group.rows[:, :, None], (m, q, p)).ravel())
            columns.append(np.broadcast_to(group.columns[:, None, :], (m, q, p)).ravel())
        none = np.zeros(0, dtype=np.intp)
        self.devices = Scatter(np.concatenate([*rows, none]), np.concatenate([*columns, none]), layout.size)
        branches = BranchList.of(layout)
        a, b = branches.a, branches.b
        self.branches = Scatter(np.concatenate([a, b, a, b]), np.concatenate([a, b, b, a]), layout.size)

    @staticmethod
    def of(layout: Layout) -> Stamps:
        """The stamps of a circuit, made once."""
        known = layout.kept.get("stamps")
        if not isinstance(known, Stamps):
            known = layout.kept["stamps"] = Stamps(layout)
        return known


def dc_matrix(solved: Solved) -> Real:
    """Derivatives of the nodal equations at the operating point, (cases, size, size)."""
    matrix, _ = solved.work.linear.assemble(solved.table, solved.state, np.ones(solved.table.cases))
    slopes = [jacobian.reshape(len(jacobian), -1) for _, (_, jacobian) in solved.devices]
    if slopes:
        Stamps.of(solved.layout).devices.add(matrix, np.concatenate(slopes, axis=1))
    for region, network, waves in zip(solved.work.problem.regions, solved.networks, solved.waves, strict=True):
        # the rectifiers count with their mean conductance over the cycle
        mean = np.tensordot(WEIGHT, waves.slopes, axes=(0, 1)) @ network.diode_outer
        matrix[:, region.nets[:, None], region.nets] += network.windings + mean.reshape(network.windings.shape)
    return matrix


def ac_matrix(solved: Solved, dc: Real, hz: float) -> Complex:
    """The linear circuit at a frequency, (cases, size, size); `dc` is `dc_matrix`."""
    layout, table = solved.layout, solved.table
    matrix = dc.astype(complex)
    closed = solved.state.closed
    still = dc_conductances(layout, table, closed)
    moving = ac_admittances(layout, table, closed, hz)
    more = [y - g for y, g in zip(moving, still, strict=True)]
    added = np.concatenate([np.broadcast_to(part, (table.cases, part.shape[1])) for part in more], axis=1)
    Stamps.of(layout).branches.add(matrix, np.concatenate([added, added, -added, -added], axis=1))
    for group, (_, jacobian) in solved.devices:
        if isinstance(group, Amplifiers):
            matrix[:, layout.targets, layout.targets] += amplifier_lag(solved, group, -jacobian[..., 0, 0], hz)
    return matrix


def amplifier_lag(solved: Solved, group: Amplifiers, difference_z: Real, hz: float) -> Complex:
    """What the target's own coefficient gains at a frequency.

    Notes
    -----
    v_plus - v_minus = (1/gain + s/wt) (1 + s/p2) z inside the limits; `difference_z` is 1/gain there and 1 beyond them.
    """
    s = 2j * np.pi * hz
    wt, p2 = amplifier_poles(solved.table)
    inside = group.target(gathered(solved.unknowns, group.columns), solved.table).y_z
    lag: Complex = difference_z - (difference_z + inside * s / wt) * (1.0 + s / p2)
    return lag


def amplifier_poles(table: Table) -> tuple[Real, Real]:
    """Gain-bandwidth product and second pole of every amplifier, rad/s."""
    wt = 2 * np.pi * np.maximum(table.get("amplifier", "bandwidth_hz"), 1.0)
    return wt, SECOND_POLE * wt


def injection(solved: Solved, source: int) -> Real:
    """Currents into the unknowns for one volt at a source, (cases, size)."""
    right = np.zeros((solved.table.cases, solved.layout.size))
    g = joined([conductance(solved.table.get("source", "ohm"))], solved.table.cases)[:, source]
    plus, minus = solved.layout.terminals["source"][source]
    for net, way in ((plus, 1.0), (minus, -1.0)):
        if net >= 0:
            right[:, net] += way * g
    return right
