r"""Net voltages at d.c. of a circuit with junctions under many faults in every tolerance sample.

Each sample's healthy point is found once and the junctions are made linear there. Their ports, the faults and the nets
that are read are all that is left of the network then:

.. math:: v = a' - M' r(v),\qquad r(v) = j(v) - j_0 - G_0 (v - v_0)

with a' and M' the linear answer at the ports and the ports' own impedances under the fault (`low_rank.py`), and r what
the junctions carry beside their linear part. It is repeated as it stands for all cases at once; where that does not
settle soon, Newton's method at the ports goes on; a case that this does not solve, or whose numbers rounding spoils, is
solved anew by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from dustcap.circuit.elements import Circuit, Element, Values
from dustcap.circuit.layout import Flags, Index, Real, layout_of
from dustcap.circuit.linear_faults import LINEAR, Fault, Leak, faulty, forces, position_of
from dustcap.circuit.low_rank import LowRank
from dustcap.circuit.operating import operating_point
from dustcap.circuit.port_network import FaultyPorts, PortNetwork
from dustcap.circuit.ports import Ports
from dustcap.circuit.stamps import Numbers, Stamps
from dustcap.circuit.values import FLOOR_S, Table, table_of
from dustcap.errors import SolveError

JUNCTIONS = ("diode", "zener", "bipolar", "mosfet", "jfet")
SETTLED_V = 1e-9
"""Largest last move of a port."""
REPEATED = 12
NEWTON_STEPS = 40
BLOCK = 60_000
"""Port voltages worked on together."""


def junction_fault_volts(circuit: Circuit, values: Values, faults: Sequence[Fault], nets: Sequence[str]) -> Real:
    """Volts of some nets under every fault in every sample, (faults, samples, nets).

    Parameters
    ----------
    values : the tolerance samples, overrides of shape (samples,) or one number
    faults : overrides of each fault, one number or (samples,) each, or a leak
    nets : what is read

    Raises
    ------
    SolveError
        An element is neither linear nor a junction, a name names nothing, or a healthy sample has no operating point.
    """
    layout = layout_of(circuit)
    if foreign := sorted(set(layout.elements) - {*LINEAR, *JUNCTIONS}):
        raise SolveError(
            f"a circuit with {foreign[0]!r} elements cannot be reduced to junctions.",
            where="junction faults",
            mend="Take the operating point of each case.",
        )
    healthy = operating_point(circuit, values)
    if not healthy.converged.all():
        raise SolveError("a healthy sample has no operating point.", where="junction faults")
    table = table_of(layout, values)
    ports = Ports.of(layout)
    work = _Work(circuit, table, values, faults, ports, healthy.unknowns, [position_of(layout, net) for net in nets])
    return work.run()


class _Work:
    """All that stays the same from one block of faults to the next."""

    def __init__(
        self,
        circuit: Circuit,
        table: Table,
        values: Values,
        faults: Sequence[Fault],
        ports: Ports,
        healthy: Real,
        nets: list[int],
    ) -> None:
        self.circuit, self.table, self.values, self.faults, self.ports = circuit, table, values, faults, ports
        layout = layout_of(circuit)
        self.layout, size = layout, len(layout.nets)
        volts = np.zeros((table.cases, size + 1))
        volts[:, :size] = healthy[:, :size]
        self.v0: Real = volts[:, ports.plus] - volts[:, ports.minus]
        self.j0, self.g0 = ports.currents(self.v0, table, slopes=True)
        stamps, y, changes = faulty(layout, table, faults)
        pairs = np.nonzero((self.g0 != 0).any(axis=0))
        to, across = pairs
        ends = (ports.plus[to], ports.minus[to], ports.plus[across], ports.minus[across])
        own = (stamps.to, stamps.back, stamps.plus, stamps.minus)
        whole = Stamps(size, *(np.concatenate(both) for both in zip(own, ends, strict=True)))
        admittance = np.concatenate([y, self.g0[:, pairs[0], pairs[1]].T])
        force = forces(layout, table, len(y), 0.0, "")
        force = np.concatenate([force, np.zeros((len(pairs[0]), force.shape[1]))])
        self.network = LowRank(whole, admittance, changes, FLOOR_S, force)
        self.reads = np.array([*zip(ports.plus, ports.minus, strict=True), *((net, size) for net in nets)])
        self.special = self._special()

    def _special(self) -> dict[int, list[tuple[tuple[str, str], int, Real]]]:
        """Faults that change a junction's own law: values (law, name), number, and what it becomes."""
        found: dict[int, list[tuple[tuple[str, str], int, Real]]] = {}
        for place, fault in enumerate(self.faults):
            for (name, value), given in ({} if isinstance(fault, Leak) else fault).items():
                law, number = self.layout.place[name]
                if law in JUNCTIONS:
                    one = np.broadcast_to(np.asarray(given, dtype=float), (self.table.cases,))
                    found.setdefault(place, []).append(((law, value), number, one))
        return found

    def run(self) -> Real:
        """Volts (faults, samples, nets)."""
        k, faults, samples = len(self.ports.plus), len(self.faults), self.table.cases
        found = np.empty((faults, samples, len(self.reads) - k))
        poor = np.zeros((faults, samples), dtype=bool)
        offset = np.einsum("sij,sj->si", self.g0, self.v0) - self.j0
        with np.errstate(all="ignore"):
            for chunk in self.network.chunks:
                current = np.zeros((self.network.stamps.size + 1, chunk.y.shape[1]))
                np.add.at(current, self.ports.plus, offset[chunk.samples].T)
                np.add.at(current, self.ports.minus, -offset[chunk.samples].T)
                assert self.network.emf is not None
                emf = self.network.emf
                base = chunk.base(current[:-1], emf[:, chunk.samples] if emf.shape[1] > 1 else emf, self.reads)
                linear = PortNetwork(chunk, base, self.ports)
                for alike in self.network.ranks:
                    for some in alike.parts(max(1, BLOCK // (k * chunk.y.shape[1]))):
                        values = self.network.changes.picked(some.rows, chunk.samples)
                        volts, off = self._block(linear, some.faults, some.stamps, values)
                        found[some.faults, chunk.samples], poor[some.faults, chunk.samples] = volts, off
        for fault in np.flatnonzero(poor.any(axis=1)):
            found[fault, poor[fault]] = self._plain(int(fault), np.flatnonzero(poor[fault]))
        return found

    def _block(self, linear: PortNetwork, rows: Index, stamps: Index, values: Numbers) -> tuple[Real, Flags]:
        """Volts (f, samples, nets) of some faults, and which are to be solved anew."""
        k, samples = len(self.ports.plus), linear.chunk.y.shape[1]
        case = linear.faulty(stamps, values)
        chosen = np.arange(self.table.cases)[linear.chunk.samples]
        sample = np.tile(chosen, len(rows))
        table = self._tables(rows, sample)
        a, off = case.answer.reshape(-1, len(self.reads)), case.off.ravel()
        v, shift = a[:, :k].copy(), np.zeros_like(a)
        going, was = np.flatnonzero(~off), np.full(len(a), np.inf)
        some, solved = table.take(going), np.zeros(len(a), dtype=bool)
        for _ in range(REPEATED):
            rest = self._rest(v[going], some, sample[going])
            shift[going] = case.shift(rest, going, samples)
            new = a[going, :k] - shift[going, :k]
            move = np.abs(new - v[going]).max(axis=1)
            v[going] = new
            settled = (move <= SETTLED_V) & (move <= 0.5 * was[going] + 1e-13)
            solved[going[settled]] = True
            stay = ~settled & (move < 0.9 * was[going]) & (move < 10.0)
            was[going] = move
            if not stay.any():
                break
            if stay.mean() < 0.9:
                some = some.take(np.flatnonzero(stay))
                going = going[stay]
        left = np.flatnonzero(~solved & ~off)
        if len(left):
            solved[left], shift[left] = self._newton(case, a[left], left, sample[left], table.take(left), samples)
        volts = (a - shift)[:, k:].reshape(len(rows), samples, -1)
        return volts, ~solved.reshape(len(rows), samples) | ~np.isfinite(volts).all(axis=2)

    def _rest(self, v: Real, table: Table, sample: Index) -> Real:
        """What the junctions carry beside their linear part, (cases, k)."""
        j, _ = self.ports.currents(v, table, slopes=False)
        beside = v - self.v0[sample]
        diagonal = np.diagonal(self.g0, axis1=1, axis2=2)
        linear = beside * diagonal[sample]
        for i, k in zip(*np.nonzero((self.g0 != 0).any(axis=0)), strict=True):
            if i != k:
                linear[:, i] += self.g0[sample, i, k] * beside[:, k]
        return j - self.j0[sample] - linear

    def _newton(
        self, case: FaultyPorts, a: Real, which: Index, sample: Index, table: Table, samples: int
    ) -> tuple[Flags, Real]:
        """Newton's method at the ports from the healthy point; which are solved, and the shift of all reads."""
        k = len(self.ports.plus)
        solved, shift = np.zeros(len(a), dtype=bool), np.zeros_like(a)
        own = case.own(which, samples)  # (cases, reads, k)
        v, going = self.v0[sample].copy(), np.arange(len(a))
        for _ in range(NEWTON_STEPS):
            some = table.take(going)
            j, g = self.ports.currents(v[going], some, slopes=True)
            more = g - self.g0[sample[going]]
            rest = j - self.j0[sample[going]]
            rest -= np.einsum("cij,cj->ci", self.g0[sample[going]], v[going] - self.v0[sample[going]])
            m = own[going, :k]
            constant = rest - np.einsum("cij,cj->ci", more, v[going])
            right = a[going, :k] - np.einsum("cij,cj->ci", m, constant)
            matrix = m @ more + np.eye(k)
            fine = np.isfinite(matrix).all(axis=(1, 2)) & np.isfinite(right).all(axis=1)
            matrix[~fine], right[~fine] = np.eye(k), 0.0
            proposed = np.linalg.solve(matrix, right[..., None])[..., 0]
            new = self.ports.limited(proposed, v[going], some)
            done = fine & (np.abs(proposed - v[going]).max(axis=1) <= SETTLED_V)
            at = going[done]
            carried = constant[done] + np.einsum("cij,cj->ci", more[done], proposed[done])
            shift[at] = np.einsum("cij,cj->ci", own[at], carried)
            solved[at] = True
            v[going] = new
            going = going[~done & fine]
            if not len(going):
                break
        return solved, shift

    def _tables(self, rows: Index, sample: Index) -> Table:
        """Element values of every case of a block, with what its fault makes of the junctions."""
        keep = {key: column for key, column in self.table.columns.items() if key[0] in JUNCTIONS}
        table = Table(self.table.cases, keep).take(sample)
        changed = [(at, *entry) for at, row in enumerate(rows) for entry in self.special.get(int(row), ())]
        columns, each = dict(table.columns), len(sample) // len(rows)
        for at, key, number, one in changed:
            if len(columns[key]) == 1 or columns[key] is table.columns[key]:
                columns[key] = np.repeat(columns[key], len(sample) // len(columns[key]), axis=0)
            columns[key][at * each : (at + 1) * each, number] = one[sample[:each]]
        return replace(table, columns=columns)

    def _plain(self, fault: int, samples: Index) -> Real:
        """Some samples of one fault by the general solver, (samples, nets)."""
        what, size = self.faults[fault], len(self.layout.nets)
        circuit, values = self.circuit, {**self.values}
        if isinstance(what, Leak):
            leak = Element(" leak", "resistor", (what.a, what.b), {"ohm": what.ohm})
            circuit = Circuit((*circuit.elements, leak), circuit.common, circuit.mains_hz)
        else:
            values |= what
        picked = {key: np.broadcast_to(given, (self.table.cases,))[samples] for key, given in values.items()}
        point = operating_point(circuit, picked, batch=len(samples))
        volts = np.zeros((len(samples), size + 1))
        volts[:, :size] = np.where(point.converged[:, None], point.volts, np.nan)
        return volts[:, self.reads[len(self.ports.plus) :, 0]]
