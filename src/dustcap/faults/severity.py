"""How severe a fault is: quantiles in 0..1 to values of circuit elements.

What each mode does to its part, and within which bounds, stands in `effects`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from dustcap.board.circuit import elements_of, leak_name
from dustcap.board.model import Board
from dustcap.circuit.elements import LAWS, Values
from dustcap.errors import InputError
from dustcap.faults.effects import LEAK_OHM, Changes, Draw, Floats, Nominal, effect_of, log_between
from dustcap.faults.suspects import Fault, Leak, Suspect


def overrides(board: Board, suspect: Suspect, u: ArrayLike, nominal: Nominal | None = None) -> Values:
    """Element values of a board with a suspect's faults.

    Parameters
    ----------
    board : Board
    suspect : Suspect
        As `suspects` made it, or several of its faults at once.
    u : array_like, shape (faults, cases)
        Quantiles of each fault's severity, 0 to 1. Where a mode has variants (which diode of a bridge, which winding)
        the quantile chooses the variant first.
    nominal : function of element and value name, optional
        The value without the fault, one number or shape (cases,); left out: the board's own.

    Returns
    -------
    mapping of (element, value) to one number or shape (cases,)
        Absolute values for `dustcap.circuit`; none where a fault changes nothing in a circuit (a rubbing coil).

    Raises
    ------
    InputError
        If `u` has another shape or leaves 0..1, or a part or mode is not of this board.
    """
    quantiles = np.asarray(u, dtype=float)
    rows = len(suspect.faults)
    if quantiles.ndim != 2 or quantiles.shape[0] != rows or not np.all((quantiles >= 0) & (quantiles <= 1)):
        raise InputError(
            f"severities of shape {quantiles.shape} for {rows} faults.",
            where="severity",
            mend="Give one row of numbers from 0 to 1 for each fault.",
        )
    look = nominal if nominal is not None else _own_values(board, suspect)
    changes: Changes = {}
    for fault, row in zip(suspect.faults, quantiles, strict=True):
        changes.update(_of_fault(board, fault, row, look))
    return changes


def leak_ohms(u: ArrayLike) -> Floats:
    """Ohms of a contamination path at quantiles of its severity: conductance log-uniform from 1 kohm to 100 Mohm."""
    return log_between(np.asarray(u, dtype=float), LEAK_OHM)


def _own_values(board: Board, suspect: Suspect) -> Nominal:
    own: dict[tuple[str, str], float] = {}
    for fault in suspect.faults:
        part = board.parts.get(getattr(fault, "part", ""))
        for element in elements_of(part, board.common) if part is not None else ():
            own.update({(element.name, value): element.value(value) for value in LAWS[element.law].values})
    return lambda element, value: own[element, value]


def _of_fault(board: Board, fault: Fault, u: Floats, nominal: Nominal) -> Changes:
    if isinstance(fault, Leak):
        return {(leak_name(fault.a, fault.b), "ohm"): leak_ohms(u)}
    part = board.part(fault.part)
    effect = effect_of(part, fault.mode)
    if effect is None:
        raise InputError(
            f"{part.name} is of the kind {part.kind!r}, which has no mode {fault.mode!r}.",
            where="severity",
            mend="Name a mode of its kind.",
        )
    return effect(Draw(board, part, u, nominal))
