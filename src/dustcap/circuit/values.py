"""Values of every element, case by case, and the limits that keep the equations solvable.

The limits are choices of ours: a resistance below ``FLOOR_OHM`` counts as that, and every net has ``FLOOR_S`` to the
common net, so that no set of failures makes the equations singular.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from dustcap.circuit.elements import LAWS, Values
from dustcap.circuit.layout import Index, Layout, Real
from dustcap.errors import SolveError

FLOOR_OHM = 1e-3
FLOOR_S = 1e-12
THERMAL_V = 1.380649e-23 * 298.15 / 1.602176634e-19
"""kT/q at 25 degC (SI constants, exact since 2019)."""


@dataclass(frozen=True, eq=False)
class Table:
    """Values of every element: (law, value) -> shape (cases, m), or (1, m) where all cases agree."""

    cases: int
    columns: Mapping[tuple[str, str], Real]

    def get(self, law: str, name: str) -> Real:
        """One value of every element of a law."""
        return self.columns[law, name]

    def take(self, rows: Index) -> Table:
        """The same for some of the cases."""
        return Table(
            len(rows), {key: column if len(column) == 1 else column[rows] for key, column in self.columns.items()}
        )

    def one(self, law: str, number: int) -> Table:
        """The values of a single element of a law, as a table with one column each."""
        return Table(
            self.cases,
            {key: column[:, number : number + 1] for key, column in self.columns.items() if key[0] == law},
        )


def table_of(layout: Layout, values: Values, batch: int | None = None) -> Table:
    """Element values with the overrides put in.

    Parameters
    ----------
    values : overrides, each one number or shape (cases,)
    batch : number of cases when no override says it

    Raises
    ------
    SolveError
        An override names no element or value, is not a number, or two have different numbers of cases.
    """
    cases = _cases(values, batch)
    columns: dict[tuple[str, str], Real] = {}
    nominal = _nominal(layout)
    changed: dict[tuple[str, str], list[tuple[int, Real]]] = {}
    for (name, value), given in values.items():
        law, number = _find(layout, name, value)
        changed.setdefault((law, value), []).append((number, np.asarray(given, dtype=float)))
    for key, row in nominal.items():
        if key not in changed:
            columns[key] = row
            continue
        many = cases if any(array.size > 1 for _, array in changed[key]) else 1
        column = np.repeat(row, many, axis=0)
        for number, array in changed[key]:
            column[:, number] = array
        if np.isnan(column).any():
            number = int(np.flatnonzero(np.isnan(column).any(axis=0))[0])
            name = layout.elements[key[0]][number].name
            raise SolveError(f"{key[1]!r} of {name!r} is not a number.", where="circuit values")
        columns[key] = column
    return Table(cases, columns)


def _nominal(layout: Layout) -> Mapping[tuple[str, str], Real]:
    if "nominal" not in layout.kept:
        layout.kept["nominal"] = {
            (law, value): np.array([[element.value(value) for element in same]])
            for law, same in layout.elements.items()
            for value in LAWS[law].values
        }
    kept = layout.kept["nominal"]
    assert isinstance(kept, dict)
    return kept


def _cases(values: Values, batch: int | None) -> int:
    sizes = {np.asarray(given).size for given in values.values() if np.ndim(given)}
    sizes.discard(1)
    if len(sizes) > 1:
        raise SolveError(f"overrides have different numbers of cases: {sorted(sizes)}.", where="circuit values")
    if sizes:
        size = sizes.pop()
        if batch not in (None, size):
            raise SolveError(f"overrides have {size} cases, {batch} were announced.", where="circuit values")
        return size
    return 1 if batch is None else batch


def _find(layout: Layout, name: str, value: str) -> tuple[str, int]:
    if name not in layout.place:
        raise SolveError(f"there is no element {name!r}.", where="circuit values")
    law, number = layout.place[name]
    if value not in LAWS[law].values:
        raise SolveError(f"{name!r} ({law}) has no value {value!r}.", where="circuit values")
    return law, number


def conductance(ohm: Real) -> Real:
    """One over the resistance, floored; zero for inf."""
    return 1.0 / np.maximum(ohm, FLOOR_OHM)
