"""Net voltages of a linear circuit under many faults in every tolerance sample, at d.c. or at a frequency.

Linear: resistors, capacitors, inductors, sources, drivers, coils, contacts at rest and gain stages. A fault is a set
of overrides of element values or leaks; what it changes is found once for all samples.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dustcap.circuit.branches import BranchList, ac_admittances, dc_conductances
from dustcap.circuit.elements import LAWS, Circuit, Values
from dustcap.circuit.layout import Index, Layout, Real, layout_of
from dustcap.circuit.low_rank import LowRank
from dustcap.circuit.stamps import Changes, Stamps
from dustcap.circuit.switching import held
from dustcap.circuit.values import FLOOR_S, Table, conductance, table_of
from dustcap.errors import SolveError

Numbers = NDArray[Any]

LINEAR = ("resistor", "capacitor", "inductor", "source", "driver", "coil", "contact", "gain")


@dataclass(frozen=True, slots=True)
class Leak:
    """A leakage path between two nets that have no element of that kind between them."""

    a: str
    b: str
    ohm: float


Fault = Values | Leak


def fault_volts(
    circuit: Circuit,
    values: Values,
    faults: Sequence[Fault],
    nets: Sequence[str],
    *,
    hz: float = 0.0,
    source: str = "",
) -> Numbers:
    """Volts of some nets under every fault in every sample.

    Parameters
    ----------
    values : the tolerance samples, overrides of shape (samples,) or one number
    faults : overrides of each fault, one number or (samples,) each, or a leak
    nets : what is read
    hz : frequency; 0 is d.c.
    source : above 0 Hz the source that gives 1 V r.m.s., all others giving nothing

    Returns
    -------
    (faults, samples, nets), real at d.c., complex above

    Raises
    ------
    SolveError
        An element is not linear, or a name names nothing.
    """
    layout = layout_of(circuit)
    if foreign := sorted(set(layout.elements) - set(LINEAR)):
        raise SolveError(
            f"a circuit with {foreign[0]!r} elements is not linear.",
            where="linear faults",
            mend="Take the operating point of each case.",
        )
    table = table_of(layout, values)
    stamps, y, changes = faulty(layout, table, faults, hz)
    network = LowRank(stamps, y, changes, FLOOR_S, forces(layout, table, len(y), hz, source))
    reads = np.array([[position_of(layout, net), len(layout.nets)] for net in nets], dtype=np.intp).reshape(-1, 2)
    return network.voltages(np.zeros(len(layout.nets)), reads)


def faulty(layout: Layout, table: Table, faults: Sequence[Fault], hz: float = 0.0) -> tuple[Stamps, Numbers, Changes]:
    """The linear part's stamps, their admittances (k, samples), and what each fault changes of them."""
    leaks = [(place, fault) for place, fault in enumerate(faults) if isinstance(fault, Leak)]
    stamps = stamps_of(layout, [leak for _, leak in leaks])
    healthy = admittances(layout, table, hz)
    y = np.zeros((len(stamps.to), table.cases), dtype=healthy.dtype)
    y[: len(healthy)] = healthy
    found = changed_stamps(layout, table, faults, y, hz)
    for number, (place, leak) in enumerate(leaks):
        siemens = np.broadcast_to(conductance(np.array([leak.ohm])), (1, table.cases))
        found.append((np.array([place]), np.array([len(healthy) + number]), siemens))
    return stamps, y, joined_changes(found, len(faults), y)


Found = tuple[Index, Index, Numbers]
"""Faults (n,), the stamp that each changes (n,), and its admittance (n, samples)."""


def stamps_of(layout: Layout, leaks: Sequence[Leak]) -> Stamps:
    """The branches of `BranchList`, two stamps a gain stage, then the leaks."""
    branches, size = BranchList.of(layout), len(layout.nets)
    a = np.array([position_of(layout, leak.a) for leak in leaks], dtype=np.intp)
    b = np.array([position_of(layout, leak.b) for leak in leaks], dtype=np.intp)
    out, ref, hot, cold = (_gain_nets(layout, name) for name in ("out", "ref", "hot", "cold"))
    ends = (
        [branches.a, out, out, a],
        [branches.b, ref, ref, b],
        [branches.a, out, hot, a],
        [branches.b, ref, cold, b],
    )
    return Stamps(size, *(np.where(nets < 0, size, nets) for nets in map(np.concatenate, ends)))


def _gain_nets(layout: Layout, terminal: str) -> Index:
    return layout.at("gain", terminal) if layout.count("gain") else np.zeros(0, dtype=np.intp)


def _owners(layout: Layout) -> list[str]:
    """The law of each run of stamps."""
    return [law for law, _ in BranchList.of(layout).owners] + ["gain", "gain"] * bool(layout.count("gain"))


def _parts(layout: Layout, table: Table, hz: float) -> list[Numbers]:
    """Admittances of each run of stamps, (1 or cases, m), of the elements that the table has."""
    closed = held(table) if layout.count("contact") else np.zeros((1, 0))
    parts: list[Numbers] = list(
        ac_admittances(layout, table, closed, hz) if hz else dc_conductances(layout, table, closed)
    )
    if layout.count("gain"):
        g = conductance(table.get("gain", "out_ohm"))
        parts += [g, -g * table.get("gain", "gain")]
    return parts


def admittances(layout: Layout, table: Table, hz: float) -> Numbers:
    """Of every stamp but the leaks, (k, samples)."""
    parts = [np.broadcast_to(part, (table.cases, part.shape[1])).T for part in _parts(layout, table, hz)]
    return np.concatenate(parts)


def changed_stamps(layout: Layout, table: Table, faults: Sequence[Fault], y: Numbers, hz: float) -> list[Found]:
    """What the faults of elements change, one entry a run of stamps."""
    touched: dict[str, dict[tuple[int, int], int]] = {}
    given: dict[tuple[str, str], list[tuple[int, Any]]] = {}
    for place, fault in enumerate(faults):
        if isinstance(fault, Leak):
            continue
        for (name, value), new in fault.items():
            law, number = layout.place.get(name, ("", 0))
            if value not in LAWS[law].values if law else True:
                raise SolveError(
                    f"{name!r} has no value {value!r}, or there is no such element.", where="linear faults"
                )
            if law == "source" and value != "ohm":
                raise SolveError(f"{value!r} of the source {name!r} is no fault.", where="linear faults")
            entries = touched.setdefault(law, {})
            given.setdefault((law, value), []).append((entries.setdefault((place, number), len(entries)), new))
    columns = {key: column[:, :0] for key, column in table.columns.items()}
    where = {law: np.array(list(entries), dtype=np.intp) for law, entries in touched.items()}
    for law in where:
        for value in LAWS[law].values:
            columns[law, value] = _with_faults(
                table.get(law, value), table.cases, where[law][:, 1], given.get((law, value), [])
            )
    found, first = [], 0
    for law, part in zip(_owners(layout), _parts(layout, Table(table.cases, columns), hz), strict=True):
        if law in where:
            place, number = where[law].T
            new = np.broadcast_to(part.T, (len(place), table.cases))
            differs = new[:, 0] != y[first + number, 0]
            same = np.flatnonzero(~differs)
            differs[same] = (new[same] != y[first + number[same]]).any(axis=1)
            found.append(
                (place, first + number, new)
                if differs.all()
                else (place[differs], first + number[differs], new[differs])
            )
        first += layout.count(law)
    return found


def _with_faults(own: Real, cases: int, number: Index, given: list[tuple[int, Any]]) -> Real:
    """One value of the elements `number` (entries,) with what is `given` of (entry, value), (1 or samples, entries)."""
    if not given:
        return own[:, number]
    wide = [(row, one) for row, one in given if isinstance(one, np.ndarray) and one.size > 1]
    narrow = [(row, float(one)) for row, one in given if not isinstance(one, np.ndarray) or one.size == 1]
    if not wide and len(own) == 1:
        found = own[:, number]
        found[:, [row for row, _ in narrow]] = [one for _, one in narrow]
        return found
    turned, kept = np.empty((len(number), cases)), np.ones(len(number), dtype=bool)
    kept[[row for row, _ in given]] = False
    turned[kept] = own[:, number[kept]].T
    if wide:
        turned[[row for row, _ in wide]] = np.concatenate([one for _, one in wide]).reshape(len(wide), -1)
    if narrow:
        turned[[row for row, _ in narrow]] = np.array([one for _, one in narrow])[:, None]
    return turned.T


def joined_changes(found: list[Found], faults: int, y: Numbers) -> Changes:
    """All that is changed, fault by fault."""
    place = np.concatenate([np.zeros(0, dtype=np.intp), *(places for places, _, _ in found)])
    stamp = np.concatenate([np.zeros(0, dtype=np.intp), *(stamps for _, stamps, _ in found)])
    value = np.concatenate([np.zeros((0, y.shape[1]), dtype=y.dtype), *(values for _, _, values in found)])
    count = np.bincount(place, minlength=faults)
    order = np.argsort(place, kind="stable")
    column = np.arange(len(place)) - np.repeat(np.cumsum(count) - count, count)
    stamps = np.full((faults, max(1, count.max(initial=0))), -1, dtype=np.intp)
    rows = np.full_like(stamps, -1)
    stamps[place[order], column], rows[place[order], column] = stamp[order], order
    return Changes(stamps, rows, value)


def forces(layout: Layout, table: Table, stamps: int, hz: float, source: str) -> Real:
    """Volts of every source at d.c., one volt of one source at a frequency, (stamps, 1 or samples)."""
    found = np.zeros((stamps, table.cases if not hz else 1))
    if not layout.count("source"):
        return found
    first, before = 0, 0
    for law, count in BranchList.of(layout).owners:
        first = before if law == "source" else first
        before += count
    if not hz:
        found[first : first + layout.count("source")] = table.get("source", "volts").T
        return found
    law, number = layout.place.get(source, ("", 0))
    if law != "source":
        raise SolveError(f"there is no source {source!r}.", where="linear faults")
    found[first + number] = 1.0
    return found


def position_of(layout: Layout, net: str) -> int:
    """Place of a net among the equations; that of the common is the last one."""
    if net == layout.common:
        return len(layout.nets)
    if net not in layout.position:
        raise SolveError(f"there is no net {net!r}.", where="linear faults")
    return layout.position[net]
