"""The linear part of the nodal equations, and its reduction to the unknowns that non-linear devices touch.

F(x) = A x - b + f(x) = 0, with A, b from linear elements and f the currents of the devices. With the linear unknowns
eliminated once a case, each Newton step solves only for the others (Schur complement; for circuits Householder 1957).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dustcap.circuit.amplifiers import FORCE_V, Amplifiers
from dustcap.circuit.branches import BranchList, dc_conductances
from dustcap.circuit.devices import Group
from dustcap.circuit.junctions import Bipolars, Diodes, FieldEffects, Zeners
from dustcap.circuit.layout import COMMON, Index, Layout, Real
from dustcap.circuit.pins import Pins
from dustcap.circuit.rectifier import Region, regions_of
from dustcap.circuit.scatter import Scatter, joined
from dustcap.circuit.supplies import Regulators, Sinks
from dustcap.circuit.values import FLOOR_S, Table, conductance


@dataclass(frozen=True, eq=False)
class Discrete:
    """What a case has switched: which contacts are closed, (cases, contacts)."""

    closed: Real

    def take(self, rows: Index) -> Discrete:
        """The same for some of the cases."""
        return Discrete(self.closed[rows])

    def put(self, rows: Index, other: Discrete) -> None:
        """Take over the state of some of the cases, in place."""
        self.closed[rows] = other.closed

    def spread(self, cases: int) -> Discrete:
        """One case's state for every case of a batch; a copy."""
        rows = np.zeros(cases, dtype=np.intp) if len(self.closed) == 1 else np.arange(cases)
        return self.take(rows)

    @staticmethod
    def joined(parts: list[Discrete]) -> Discrete:
        """The cases of several batches one after the other."""
        return Discrete(np.concatenate([part.closed for part in parts]))


class Problem:
    """Fixed index work of one circuit: device groups, stamps, kept (non-linear) and eliminated unknowns."""

    def __init__(
        self, layout: Layout, groups: list[Group], regions: tuple[Region, ...] = (), also_kept: Index | None = None
    ) -> None:
        self.layout, self.groups, self.regions = layout, groups, regions
        touched = [group.columns.ravel() for group in self.groups] + [group.rows.ravel() for group in self.groups]
        touched += [region.nets for region in self.regions] + ([] if also_kept is None else [also_kept])
        flat = np.unique(np.concatenate([*touched, np.zeros(0, dtype=np.intp)]))
        self.kept: Index = flat[flat >= 0]
        self.eliminated: Index = np.setdiff1d(np.arange(layout.size), self.kept)
        where = np.full(layout.size + 1, COMMON, dtype=np.intp)
        where[self.kept] = np.arange(len(self.kept))
        where[COMMON] = COMMON
        size = len(self.kept)
        self.columns = [where[group.columns] for group in self.groups]
        rows = [where[group.rows] for group in self.groups]
        self.vectors = Scatter(_flat(rows), None, size)
        pairs = list(zip(rows, self.columns, strict=True))
        self.matrices = Scatter(
            _flat([np.repeat(r[:, :, None], c.shape[1], axis=2) for r, c in pairs]),
            _flat([np.repeat(c[:, None, :], r.shape[1], axis=1) for r, c in pairs]),
            size,
        )
        self.region_nets = [where[region.nets] for region in self.regions]


@dataclass(frozen=True, eq=False)
class Powered:
    """A powered circuit's problem and its linear part."""

    problem: Problem
    linear: LinearStamps


def powered(layout: Layout) -> Powered:
    """The fixed index work of a powered circuit, made once."""
    known = layout.kept.get("powered")
    if not isinstance(known, Powered):
        regions = regions_of(layout)
        rectifying = {number for region in regions for number in region.diodes}
        diodes = [number for number in range(layout.count("diode")) if number not in rectifying]
        known = Powered(Problem(layout, device_groups(layout, diodes), regions), LinearStamps(layout))
        layout.kept["powered"] = known
    return known


def device_groups(layout: Layout, diodes: list[int]) -> list[Group]:
    """One group for every non-linear law there is; of the diodes only the ones named by number."""
    groups: list[Group] = []
    if diodes:
        groups.append(Diodes(layout, diodes))
    if layout.count("zener"):
        groups.append(Zeners(layout))
    if layout.count("bipolar"):
        groups.append(Bipolars(layout))
    groups += [FieldEffects(layout, law) for law in ("mosfet", "jfet") if layout.count(law)]
    if layout.count("amplifier"):
        groups += [Amplifiers(layout), Pins(layout)]
    if layout.count("regulator"):
        groups.append(Regulators(layout))
    if layout.count("sink"):
        groups.append(Sinks(layout))
    return groups


def _flat(parts: list[Index]) -> Index:
    return np.concatenate([part.ravel() for part in parts] + [np.zeros(0, dtype=np.intp)])


class LinearStamps:
    """Matrix and vector entries of the linear elements."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        branches = BranchList.of(layout)
        a, b = branches.a, branches.b
        rows, columns = [a, b, a, b], [a, b, b, a]
        right: list[Index] = []
        if layout.count("source"):
            right += [layout.at("source", "plus"), layout.at("source", "minus")]
        if layout.count("amplifier"):
            plus, minus = layout.at("amplifier", "plus"), layout.at("amplifier", "minus")
            rows += [layout.targets, layout.targets]
            columns += [plus, minus]
            right.append(layout.targets)
        if layout.count("gain"):
            out, ref = layout.at("gain", "out"), layout.at("gain", "ref")
            hot, cold = layout.at("gain", "hot"), layout.at("gain", "cold")
            rows += [out, out, out, out, ref, ref, ref, ref]
            columns += [out, ref, hot, cold] * 2
        self._matrix = Scatter(_flat(rows), _flat(columns), layout.size)
        self._vector = Scatter(_flat(right), None, layout.size)

    def assemble(self, table: Table, state: Discrete, scale: Real) -> tuple[Real, Real]:
        """A (cases, size, size) and b (cases, size); `scale` (cases,) multiplies every supply."""
        layout, cases = self.layout, table.cases
        g = joined(dc_conductances(layout, table, state.closed), cases)
        entries, right = [g, g, -g, -g], []
        if layout.count("source"):
            amperes = scale[:, None] * table.get("source", "volts") * conductance(table.get("source", "ohm"))
            right += [amperes, -amperes]
        if layout.count("amplifier"):
            force = np.clip(table.get("amplifier", "force"), -1.0, 1.0)
            sense = 1.0 - np.abs(force)
            entries += [sense, -sense]
            right.append(-(sense * table.get("amplifier", "offset_v") + force * FORCE_V))
        if layout.count("gain"):
            entries += gain_entries(table)
        matrix = np.zeros((cases, layout.size, layout.size))
        nets = np.arange(len(layout.nets))
        matrix[:, nets, nets] = FLOOR_S
        self._matrix.add(matrix, joined(entries, cases))
        vector = np.zeros((cases, layout.size))
        self._vector.add(vector, joined(right, cases))
        return matrix, vector


def gain_entries(table: Table) -> list[Real]:
    """Entries of the controlled sources in the order out, ref, hot, cold, for the rows out and ref."""
    g = conductance(table.get("gain", "out_ohm"))
    k = g * table.get("gain", "gain")
    return [g, -g, -k, k, -g, g, k, -k]


@dataclass(frozen=True, eq=False)
class Condensed:
    """Linear part reduced to the kept unknowns, and the way back to the eliminated ones."""

    matrix: Real  # (cases, kept, kept)
    right: Real  # (cases, kept)
    back: Real  # (cases, eliminated, kept + 1)
    local: tuple[Real, ...]  # linear conductances among the nets of each region, (cases, r, r)

    @staticmethod
    def of(problem: Problem, a: Real, b: Real) -> Condensed:
        """Eliminate the unknowns that only linear elements touch."""
        kept, gone = problem.kept, problem.eliminated
        local = tuple(a[:, region.nets[:, None], region.nets] for region in problem.regions)
        a_kk = a[:, kept[:, None], kept]
        if not len(gone):
            return Condensed(a_kk, b[:, kept], np.zeros((len(a), 0, len(kept) + 1)), local)
        right = np.concatenate([a[:, gone[:, None], kept], b[:, gone, None]], axis=2)
        back = np.linalg.solve(a[:, gone[:, None], gone], right)
        a_kg = a[:, kept[:, None], gone]
        product = a_kg @ back
        return Condensed(a_kk - product[:, :, :-1], b[:, kept] - product[:, :, -1], back, local)

    def expand(self, problem: Problem, kept: Real) -> Real:
        """Every unknown (cases, size) from the kept ones."""
        x = np.empty((len(kept), problem.layout.size))
        x[:, problem.kept] = kept
        if len(problem.eliminated):
            x[:, problem.eliminated] = self.back[:, :, -1] - np.einsum("cij,cj->ci", self.back[:, :, :-1], kept)
        return x

    def take(self, rows: Index) -> Condensed:
        """The same for some of the cases."""
        return Condensed(
            self.matrix[rows], self.right[rows], self.back[rows], tuple(local[rows] for local in self.local)
        )
