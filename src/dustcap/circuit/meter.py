"""The meter in the unpowered circuit: ohms, diode test, impedance.

Reservoirs are discharged, switches and relays at rest, integrated circuits open; windings and drivers count with their
resistance, a capacitor with its leakage.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dustcap.circuit.branches import Complex, unpowered_admittances, unpowered_branches
from dustcap.circuit.elements import Circuit, Element, Values
from dustcap.circuit.junctions import diode_voltage
from dustcap.circuit.layout import COMMON, Index, Layout, Real, layout_of
from dustcap.circuit.probing import Probe
from dustcap.circuit.scatter import Scatter
from dustcap.circuit.switching import rest
from dustcap.circuit.values import Table, table_of
from dustcap.errors import SolveError

Pairs = Sequence[tuple[str, str]]

CONNECTED_S = 1e-12
"""An admittance below this is no connection."""
TIE_S = 1.0
"""Holds a group of nets that is connected to nothing else; it carries no current."""
OHMS_TEST_V = 0.3
LOW_DROP_V = 0.35
"""A diode whose forward voltage at 1 mA is below this also conducts at the ohms range's test voltage."""
SEEN_SHARE = 0.01
CHUNK_NUMBERS = 3_000_000


def resistance(
    circuit: Circuit,
    pairs: Pairs,
    values: Values | None = None,
    *,
    batch: int | None = None,
    test_v: float = OHMS_TEST_V,
) -> Real:
    """Resistance between pairs of nets as a meter on its ohms range shows it after settling, (cases, pairs), ohm.

    Parameters
    ----------
    pairs : (red lead, black lead)
    test_v : the range's test voltage; silicon junctions do not conduct there, a diode of low drop may

    Returns
    -------
    Resistance; inf above 1e12 ohm.

    Raises
    ------
    SolveError
        A net or an override names nothing.
    """
    layout = layout_of(circuit)
    table = table_of(layout, values or {}, batch)
    ohm: Real = np.abs(_pair_impedance(layout, table, pairs, 0.0))
    low_drop = _low_drop_diodes(layout)
    if low_drop:
        probe = Probe(layout, low_drop, only_diodes=True)
        amps = np.stack([probe.current(table, pair, test_v) for pair in _indices(layout, pairs)], axis=1)
        shown = np.divide(test_v, amps, out=np.full_like(amps, inf), where=amps > test_v * CONNECTED_S)
        ohm = np.where(shown < (1.0 - SEEN_SHARE) * ohm, shown, ohm)
    return ohm


def junction_volts(
    circuit: Circuit,
    pairs: Pairs,
    values: Values | None = None,
    *,
    batch: int | None = None,
    amps: float = 1e-3,
    open_v: float = 2.0,
) -> Real:
    """Volts of the diode test between pairs of nets, red lead first, (cases, pairs); inf above `open_v`.

    Raises
    ------
    SolveError
        A net or an override names nothing.
    """
    layout = layout_of(circuit)
    table = table_of(layout, values or {}, batch)
    probe = Probe(layout, list(range(layout.count("diode"))))
    volts = np.stack([probe.volts(table, pair, amps, open_v) for pair in _indices(layout, pairs)], axis=1)
    return np.where(volts > open_v, inf, volts)


def impedance(
    circuit: Circuit,
    pairs: Pairs,
    hz: Sequence[float] | Real | float,
    values: Values | None = None,
    *,
    batch: int | None = None,
) -> Complex:
    """Complex impedance between pairs of nets of the unpowered circuit, (cases, pairs, hz), ohm; inf when unconnected.

    Raises
    ------
    SolveError
        A net or an override names nothing, or a frequency is not positive.
    """
    layout = layout_of(circuit)
    table = table_of(layout, values or {}, batch)
    found = []
    for one in np.atleast_1d(np.asarray(hz, dtype=float)):
        if not 0 < one < inf:
            raise SolveError(
                f"an impedance is asked for at {one} Hz.", where="meter", mend="Give a positive frequency."
            )
        found.append(_pair_impedance(layout, table, pairs, float(one)))
    return np.stack(found, axis=-1).astype(complex)


def _indices(layout: Layout, pairs: Pairs) -> list[tuple[int, int]]:
    found = []
    for pair in pairs:
        for net in pair:
            if net != layout.common and net not in layout.position:
                raise SolveError(f"there is no net {net!r}.", where="meter")
        found.append((layout.position.get(pair[0], COMMON), layout.position.get(pair[1], COMMON)))
    return found


def _pair_impedance(layout: Layout, table: Table, pairs: Pairs, hz: float) -> NDArray[Any]:
    ends = np.array(_indices(layout, pairs), dtype=np.intp).reshape(-1, 2)
    size = max(1, CHUNK_NUMBERS // max(1, len(layout.nets) ** 2))
    parts = []
    for first in range(0, table.cases, size):
        some = table.take(np.arange(first, min(first + size, table.cases)))
        parts.append(_impedances(layout, some, ends, hz))
    return np.concatenate(parts)


def _impedances(layout: Layout, table: Table, ends: Index, hz: float) -> NDArray[Any]:
    """Potentials for a current into each wanted net give every pair's impedance; separate groups give inf."""
    a, b = unpowered_branches(layout)
    y = unpowered_admittances(layout, table, rest(layout, table).closed, hz)
    nets = len(layout.nets)
    label = _groups(a, b, np.asarray(np.abs(y) > CONNECTED_S, dtype=bool), nets)
    matrix = np.zeros((table.cases, nets, nets), dtype=y.dtype)
    stamp = Scatter(np.concatenate([a, b, a, b]), np.concatenate([a, b, b, a]), nets)
    stamp.add(matrix, np.concatenate([y, y, -y, -y], axis=1))
    diagonal = np.arange(nets)
    matrix[:, diagonal, diagonal] += TIE_S * (label[:, :nets] == diagonal)
    wanted = np.unique(ends[ends >= 0])
    current = np.zeros((nets, len(wanted)))
    current[wanted, np.arange(len(wanted))] = 1.0
    z = np.zeros((table.cases, nets + 1, len(wanted) + 1), dtype=y.dtype)
    z[:, :nets, :-1] = np.linalg.solve(matrix, np.broadcast_to(current, (table.cases, *current.shape)))
    place = np.full(nets + 1, len(wanted), dtype=np.intp)
    place[wanted] = np.arange(len(wanted))
    red, black = ends[:, 0], ends[:, 1]
    seen = z[:, red, place[red]] + z[:, black, place[black]] - z[:, red, place[black]] - z[:, black, place[red]]
    apart = label[:, red] != label[:, black]
    return np.where(apart | (np.abs(seen) > 1.0 / CONNECTED_S), inf, seen)


def _groups(a: Index, b: Index, joined: NDArray[np.bool_], nets: int) -> Index:
    """Smallest net of the group that each net is connected with, (cases, nets + 1); common is the smallest of all.

    The label of common, in the last column, is -1.
    """
    label = np.broadcast_to(np.append(np.arange(nets), COMMON), (len(joined), nets + 1)).copy()
    always = [(int(p), int(q), joined[:, k]) for k, (p, q) in enumerate(zip(a, b, strict=True)) if p != q]
    always = [edge for edge in always if edge[2].any()]
    while True:
        before = label.copy()
        for p, q, there in always:
            least = np.minimum(label[:, p], label[:, q])
            label[:, p] = np.where(there, least, label[:, p])
            label[:, q] = np.where(there, least, label[:, q])
        if (label == before).all():
            return label


def low_drop_diodes(circuit: Circuit) -> tuple[Element, ...]:
    """The diodes that also conduct at the ohms range's test voltage."""
    layout = layout_of(circuit)
    return tuple(layout.elements["diode"][number] for number in _low_drop_diodes(layout))


def _low_drop_diodes(layout: Layout) -> list[int]:
    if not layout.count("diode"):
        return []
    table = table_of(layout, {})
    names = ("saturation_a", "ideality", "series_ohm")
    drop = diode_voltage(np.full((1, 1), 1e-3), *(table.get("diode", name) for name in names))
    return [int(number) for number in np.flatnonzero(drop[0] < LOW_DROP_V)]
