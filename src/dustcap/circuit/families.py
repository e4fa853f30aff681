"""Operating points of families of cases: the same failure on many samples of one board.

Most cases solve from the healthy sample that they differ from in one part. Where that fails (a shorted rail, a latched
amplifier), a case starts from another member of its family that was solved; where none was, one member is solved from
rest, and the others start from it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from dustcap.circuit.elements import Circuit
from dustcap.circuit.linearised import dc_matrix
from dustcap.circuit.operating import operating_point
from dustcap.circuit.point import OperatingPoint

Floats = NDArray[np.float64]
Overrides = Mapping[tuple[str, str], Floats]

LEADERS = 3
"""Members of one family that are solved from rest before the others are given up to the full search."""
RELATIVES = 3
"""Solved members of its family that a case is started from."""


def family_points(
    circuit: Circuit, values: Overrides, start: OperatingPoint, family: NDArray[np.intp]
) -> OperatingPoint:
    """Operating point of every case.

    Parameters
    ----------
    values : overrides, each of shape (cases,)
    start : a point to start each case from
    family : (cases,) which family a case belongs to

    Returns
    -------
    OperatingPoint
        As `operating_point` gives it.
    """
    point = operating_point(circuit, values, start=start, thorough=False)
    for turn in range(RELATIVES):
        left, relatives = _relatives(family, point.converged, turn)
        if len(left):
            begin = point.take(relatives)
            point = _put(point, left, operating_point(circuit, _picked(values, left), start=begin, thorough=False))
    for _ in range(LEADERS):
        left = np.flatnonzero(~point.converged)
        if not len(left):
            return point
        _, first = np.unique(family[left], return_index=True)
        leaders = left[first]
        point = _put(point, leaders, operating_point(circuit, _picked(values, leaders)))
        leader_of = dict(zip(family[leaders].tolist(), leaders.tolist(), strict=True))
        rest = np.array([case for case in left if point.converged[leader_of[family[case]]]], dtype=np.intp)
        rest = np.setdiff1d(rest, leaders)
        if len(rest):
            begin = point.take(np.array([leader_of[family[case]] for case in rest]))
            point = _put(point, rest, operating_point(circuit, _picked(values, rest), start=begin, thorough=False))
    left = np.flatnonzero(~point.converged)
    return _put(point, left, operating_point(circuit, _picked(values, left))) if len(left) else point


def _relatives(
    family: NDArray[np.intp], solved: NDArray[np.bool_], turn: int
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Cases that are left, (n,), and for each a solved one of its family, another one at each turn."""
    left, chosen = [], []
    for case in np.flatnonzero(~solved).tolist():
        others = np.flatnonzero((family == family[case]) & solved)
        if turn < len(others):
            left.append(case)
            chosen.append(int(others[np.argsort(np.abs(others - case), kind="stable")[turn]]))
    return np.array(left, dtype=np.intp), np.array(chosen, dtype=np.intp)


def source_resistance(point: OperatingPoint) -> Floats:
    """Resistance that each net shows against common at the operating point, (cases, nets), ohm.

    The diagonal of the inverse of the linearised nodal matrix: what a meter's input resistance divides with.
    """
    nets = len(point.layout.nets)
    found = np.empty((len(point.unknowns), nets))
    for rows, piece in point.solved.pieces():
        inverse = np.linalg.inv(dc_matrix(piece))
        found[rows] = np.abs(np.diagonal(inverse, axis1=1, axis2=2)[:, :nets])
    return found


def _picked(values: Overrides, rows: NDArray[np.intp]) -> dict[tuple[str, str], Floats]:
    return {key: value[rows] for key, value in values.items()}


def _put(point: OperatingPoint, rows: NDArray[np.intp], other: OperatingPoint) -> OperatingPoint:
    """The point with some of its cases replaced."""
    unknowns, converged = point.unknowns.copy(), point.converged.copy()
    unknowns[rows], converged[rows] = other.unknowns, other.converged
    point.state.put(rows, other.state)
    for mine, theirs in zip(point.waves, other.waves, strict=True):
        mine.put(rows, theirs)
    return replace(point, unknowns=unknowns, converged=converged)
