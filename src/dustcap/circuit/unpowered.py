"""The unpowered circuit as a list of two-terminal branches, for reading many failures from one inverse."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from dustcap.circuit.branches import unpowered_admittances, unpowered_branches
from dustcap.circuit.elements import Circuit, Values
from dustcap.circuit.layout import layout_of
from dustcap.circuit.switching import rest
from dustcap.circuit.values import table_of


def branches_of(circuit: Circuit, values: Values, hz: float = 0.0) -> tuple[NDArray[np.intp], NDArray[Any]]:
    """Ends and admittances of every branch of the unpowered circuit.

    Returns
    -------
    ends : shape (branches, 2)
        Positions in `circuit.nets`; the number of nets stands for the common one.
    admittance : shape (cases, branches)
        Siemens; real at 0 Hz, complex above.
    """
    layout = layout_of(circuit)
    table = table_of(layout, values)
    ends = np.stack(unpowered_branches(layout), axis=1)
    admittance = unpowered_admittances(layout, table, rest(layout, table).closed, hz)
    return np.where(ends < 0, len(layout.nets), ends), admittance
