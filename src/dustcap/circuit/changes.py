r"""Impedance between pairs of nets of a linear network when a few of its branches change, without solving it anew.

====================  ===========  ============================================================
symbol in the source  name here    meaning
====================  ===========  ============================================================
Y                     `healthy`    admittances of the unchanged branches, a matrix between nets
Z                     `inverse`    inverse of Y for each sample
U                     columns      +1 / -1 at the two nets of each changed branch
D                     `delta`      change of the changed branches' admittances
====================  ===========  ============================================================

.. math:: Z' = Z - Z U (I + D\,U^T Z U)^{-1} D\,U^T Z

so that one inverse a sample serves every failure (Householder's form of the modified inverse).

References
----------
A. S. Householder, "A survey of some closed methods for inverting matrices", J. SIAM 5 (1957) 155; the identity is the
Sherman-Morrison-Woodbury formula (from memory; checked against the plain solution in the tests).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

GROUND_S = 1e-12
"""Tiny admittance from every net to common, so that a net without any path is not singular: 1 Tohm, far over range."""
LOW_S = 0.01
OPENED = 0.01
"""A branch of less than 100 ohm that falls to less than a hundredth of its admittance is opened."""
MOST_NUMBERS = 4_000_000
"""Numbers held at once in one block of the work."""

Ends = NDArray[np.intp]
Numbers = NDArray[Any]


def inverse_of(ends: Ends, admittance: Numbers, nets: int) -> Numbers:
    """Inverse nodal matrices, shape (cases, nets + 1, nets + 1); the last row and column are the common net, zero.

    `ends` (branches, 2) holds net indices, `nets` for the common one; `admittance` (cases, branches) in siemens.
    """
    cases = admittance.shape[0]
    matrix = np.zeros((cases, nets + 1, nets + 1), dtype=admittance.dtype)
    flat = matrix.reshape(cases, -1)
    width = nets + 1
    a, b = ends[:, 0], ends[:, 1]
    for rows, columns, sign in ((a, a, 1.0), (b, b, 1.0), (a, b, -1.0), (b, a, -1.0)):
        np.add.at(flat.T, rows * width + columns, sign * admittance.T)
    diagonal = np.arange(nets)
    matrix[:, diagonal, diagonal] += GROUND_S
    inverse = np.zeros_like(matrix)
    inverse[:, :nets, :nets] = np.linalg.inv(matrix[:, :nets, :nets])
    return inverse


def pair_impedance(inverse: Numbers, pairs: Ends) -> Numbers:
    """Impedance between pairs of nets, shape (cases, pairs), from inverse nodal matrices."""
    a, b = pairs[:, 0], pairs[:, 1]
    return np.asarray(inverse[:, a, a] + inverse[:, b, b] - inverse[:, a, b] - inverse[:, b, a])


def changed_pair_impedance(ends: Ends, healthy: Numbers, changed: Numbers, pairs: Ends, nets: int) -> Numbers:
    """Impedance between pairs of nets in every case of every failure.

    Parameters
    ----------
    ends : shape (branches, 2)
        Net indices of each branch; `nets` stands for the common net.
    healthy : shape (samples, branches)
        Admittances of the unchanged network, siemens, real or complex.
    changed : shape (failures, samples, branches)
        Admittances with each failure; most branches equal the healthy ones.
    pairs : shape (pairs, 2)
        Net indices of the two leads.
    nets : int
        Number of nets, the common one left out.

    Returns
    -------
    shape (failures, samples, pairs), ohms.
    """
    inverse = inverse_of(ends, healthy, nets)
    lead = inverse[:, :, pairs[:, 0]] - inverse[:, :, pairs[:, 1]]  # Z e, (samples, nets + 1, pairs)
    plain = pair_impedance(inverse, pairs)
    result = np.broadcast_to(plain, (changed.shape[0], *plain.shape)).copy()
    for failures, branches in _groups(healthy, changed):
        for block in _blocks(failures, branches, plain.size):
            result[block[0]] = plain - _drop(ends, healthy, changed, inverse, lead, pairs, block)
    return result


def opens_low(healthy: Numbers, changed: Numbers) -> NDArray[np.bool_]:
    """Which failures take away a branch of low resistance, shape (failures,).

    What such a branch held together is then known only as the small difference of large numbers: solve those anew.
    """
    low = np.abs(healthy) > LOW_S
    return np.asarray(np.any(low & (np.abs(changed) < OPENED * np.abs(healthy)), axis=(1, 2)))


def _groups(healthy: Numbers, changed: Numbers) -> Iterator[tuple[NDArray[np.intp], NDArray[np.intp]]]:
    """Failures that change equally many branches, with the branches that each changes."""
    differs = np.any(changed != healthy, axis=1)
    count = differs.sum(axis=1)
    for size in np.unique(count[count > 0]):
        failures = np.flatnonzero(count == size)
        yield failures, np.nonzero(differs[failures])[1].reshape(len(failures), size)


def _blocks(failures: NDArray[np.intp], branches: NDArray[np.intp], numbers: int) -> Iterator[tuple[Any, Any]]:
    step = max(1, MOST_NUMBERS // max(1, numbers * branches.shape[1]))
    for start in range(0, len(failures), step):
        yield failures[start : start + step], branches[start : start + step]


def _drop(
    ends: Ends, healthy: Numbers, changed: Numbers, inverse: Numbers, lead: Numbers, pairs: Ends, block: tuple[Any, Any]
) -> Numbers:
    failures, branches = block
    i, j = ends[branches, 0], ends[branches, 1]  # (failures, k)
    delta = (
        np.take_along_axis(changed[failures], branches[:, None, :], axis=2)
        - healthy[np.arange(healthy.shape[0])[None, :, None], branches[:, None, :]]
    )  # (failures, samples, k)
    seen = np.moveaxis(lead[:, i, :] - lead[:, j, :], 0, 1)  # U^T Z e, (failures, samples, k, pairs)
    rows_i, rows_j = i[:, :, None], j[:, :, None]
    columns_i, columns_j = i[:, None, :], j[:, None, :]
    inner = (
        inverse[:, rows_i, columns_i]
        - inverse[:, rows_i, columns_j]
        - inverse[:, rows_j, columns_i]
        + inverse[:, rows_j, columns_j]
    )  # U^T Z U, (samples, failures, k, k)
    inner = np.moveaxis(inner, 0, 1)
    system = np.eye(branches.shape[1]) + delta[..., :, None] * inner
    solved = np.linalg.solve(system, delta[..., :, None] * seen)
    return np.asarray(np.sum(seen * solved, axis=2))
