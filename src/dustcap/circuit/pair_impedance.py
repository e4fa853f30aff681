"""Impedance between pairs of nets of networks of branches, each case solved by itself; separate groups give inf."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from dustcap.circuit.layout import COMMON, Index
from dustcap.circuit.scatter import Scatter

CONNECTED_S = 1e-12
"""An admittance below this is no connection."""
TIE_S = 1.0
"""Holds a group of nets that is connected to nothing else; it carries no current."""


def pair_impedances(a: Index, b: Index, y: NDArray[Any], ends: Index, nets: int) -> NDArray[Any]:
    """Impedance between pairs of nets, (cases, pairs), ohm.

    Parameters
    ----------
    a, b : nets at the ends of the branches, (branches,); -1 is the common net
    y : admittances, (cases, branches), siemens
    ends : the pairs, (pairs, 2)
    nets : number of nets, the common one left out

    Notes
    -----
    Potentials for a current into each wanted net give every pair's impedance.
    """
    label = groups_of(a, b, np.asarray(np.abs(y) > CONNECTED_S, dtype=bool), nets)
    matrix = np.zeros((len(y), nets, nets), dtype=y.dtype)
    stamp = Scatter(np.concatenate([a, b, a, b]), np.concatenate([a, b, b, a]), nets)
    stamp.add(matrix, np.concatenate([y, y, -y, -y], axis=1))
    diagonal = np.arange(nets)
    matrix[:, diagonal, diagonal] += TIE_S * (label[:, :nets] == diagonal)
    wanted = np.unique(ends[ends >= 0])
    current = np.zeros((nets, len(wanted)))
    current[wanted, np.arange(len(wanted))] = 1.0
    z = np.zeros((len(y), nets + 1, len(wanted) + 1), dtype=y.dtype)
    z[:, :nets, :-1] = np.linalg.solve(matrix, np.broadcast_to(current, (len(y), *current.shape)))
    place = np.full(nets + 1, len(wanted), dtype=np.intp)
    place[wanted] = np.arange(len(wanted))
    red, black = ends[:, 0], ends[:, 1]
    seen = z[:, red, place[red]] + z[:, black, place[black]] - z[:, red, place[black]] - z[:, black, place[red]]
    apart = label[:, red] != label[:, black]
    return np.where(apart | (np.abs(seen) > 1.0 / CONNECTED_S), np.inf, seen)


def groups_of(a: Index, b: Index, joined: NDArray[np.bool_], nets: int) -> Index:
    """Smallest net of the group that each net is connected with, (cases, nets + 1); common is the smallest of all.

    `joined` (cases, branches). The label of common, in the last column, is -1.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    case, branch = np.nonzero(joined)
    first, width = case * (nets + 1), nets + 1
    ends = first + a[branch] % width, first + b[branch] % width
    graph = coo_array((np.ones(len(case)), ends), shape=(len(joined) * width, len(joined) * width))
    count, group = connected_components(graph, directed=False)
    net = np.tile(np.append(np.arange(nets), COMMON), len(joined))
    least = np.full(count, nets)
    np.minimum.at(least, group, net)
    return np.asarray(least[group].reshape(-1, width))
