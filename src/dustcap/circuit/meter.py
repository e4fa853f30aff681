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
from dustcap.circuit.layout import COMMON, Layout, Real, layout_of
from dustcap.circuit.pair_impedance import CONNECTED_S, pair_impedances
from dustcap.circuit.probing import Probe
from dustcap.circuit.switching import rest
from dustcap.circuit.values import Table, table_of
from dustcap.errors import SolveError

Pairs = Sequence[tuple[str, str]]

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
        y = unpowered_admittances(layout, some, rest(layout, some).closed, hz)
        parts.append(pair_impedances(*unpowered_branches(layout), y, ends, len(layout.nets)))
    return np.concatenate(parts)


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
