r"""Impedance between pairs of nets of a network of branches when a few of them change, without solving it anew.

.. math:: e^T Z' e = e^T Z e - e^T Z U (D^{-1} + U^T Z U)^{-1} U^T Z e

in the words of `low_rank.py`, e being +1 and -1 at the pair. A group of nets that hangs on nothing is tied to the
common net; a change that joins it to another group also takes the tie away. What a change cuts off, and what rounding
spoils, is solved anew.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from dustcap.circuit.eliminated import ROUNDING, Chunk, Flags, inverses
from dustcap.circuit.layout import COMMON
from dustcap.circuit.low_rank import LowRank
from dustcap.circuit.pair_impedance import CONNECTED_S, TIE_S, groups_of, pair_impedances
from dustcap.circuit.stamps import Changes, Index, Numbers, Stamps

LEAST_OHM = 100.0
"""Below it the error counts as a share of this: two millionths of a milliohm, which no meter shows."""
TOLERANCE = 2e-11
"""Largest estimated error of a fast result, as a share of that or of its own size."""
MOST_NUMBERS = 400_000
"""Numbers held at once in one block of the work."""
PLAIN_NUMBERS = 2_000_000


def changed_pair_impedance(ends: Index, healthy: Numbers, changed: Numbers, pairs: Index, nets: int) -> Numbers:
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
    shape (failures, samples, pairs), ohms; inf between groups of nets that nothing connects.
    """
    signed, leads = np.where(ends == nets, COMMON, ends), np.where(pairs == nets, COMMON, pairs)
    there = np.abs(healthy).max(axis=0) > CONNECTED_S
    label = groups_of(signed[:, 0], signed[:, 1], there[None], nets)[0]
    roots = np.setdiff1d(label, [COMMON])
    ties = np.stack([roots, np.full(len(roots), nets)], axis=1)
    tied = np.concatenate([healthy.T, np.full((len(roots), len(healthy)), TIE_S, dtype=healthy.dtype)])
    changes, labels = _changes(signed, healthy, changed, label, roots)
    network = LowRank(Stamps.branches(np.concatenate([ends, ties]), nets), tied, changes, 0.0)
    found, poor = _fast(network, pairs)
    apart = labels[:, leads[:, 0]] != labels[:, leads[:, 1]]
    found[np.broadcast_to(apart[:, None], found.shape)] = np.inf
    failures, samples = np.nonzero((poor & ~apart[:, None]).any(axis=2))
    step = max(1, PLAIN_NUMBERS // nets**2)
    for first in range(0, len(failures), step):
        some = failures[first : first + step], samples[first : first + step]
        found[some] = pair_impedances(signed[:, 0], signed[:, 1], changed[some], leads, nets)
    return found


def _changes(signed: Index, healthy: Numbers, changed: Numbers, label: Index, roots: Index) -> tuple[Changes, Index]:
    """The changed branches of every failure with the ties that they make needless, and its groups of nets."""
    differs = np.any(changed != healthy, axis=1)
    labels = np.repeat(label[None], len(changed), axis=0)
    failures, branches = np.nonzero(differs)
    joins = label[signed[branches, 0]] != label[signed[branches, 1]]
    loose: list[list[int]] = [[] for _ in range(len(changed))]
    for failure, branch in zip(failures[joins], branches[joins], strict=True):
        low, high = np.sort(labels[failure, signed[branch]])
        if low != high:
            labels[failure, labels[failure] == high] = low
            loose[failure].append(len(signed) + int(np.searchsorted(roots, high)))
    picked = [[*np.flatnonzero(row), *more] for row, more in zip(differs, loose, strict=True)]
    most = max([1, *map(len, picked)])
    stamps = np.array([[*row, *[-1] * (most - len(row))] for row in picked], dtype=np.intp).reshape(-1, most)
    values = np.zeros((*stamps.shape, healthy.shape[0]), dtype=np.result_type(healthy, changed))
    row, column = np.nonzero((stamps >= 0) & (stamps < len(signed)))
    values[row, column] = changed[row, :, stamps[row, column]]
    return Changes.of(stamps, values), labels


def _fast(network: LowRank, pairs: Index) -> tuple[Numbers, Flags]:
    """Impedances (failures, samples, pairs), and which of them are to be solved anew."""
    faults, samples = len(network.changes.stamps), network.admittance.shape[1]
    kind = np.result_type(network.admittance, network.changes.values)
    found = np.empty((faults, len(pairs), samples), dtype=kind)
    poor = np.zeros(found.shape, dtype=bool)
    with np.errstate(all="ignore"):
        for chunk in network.chunks:
            base = chunk.base(np.zeros((network.stamps.size, 1)), np.zeros((1, 1)), pairs)
            left, part = base.left, chunk.samples
            plain = np.take_along_axis(left, pairs[:, 0][None, :, None], axis=0)[0]
            plain = plain - np.take_along_axis(left, pairs[:, 1][None, :, None], axis=0)[0]
            for alike in network.ranks:
                for some in alike.parts(max(1, MOST_NUMBERS // max(1, alike.stamps.shape[1] * plain.size))):
                    values = network.changes.picked(some.rows, part)
                    drawn, off = _drawn(chunk, left, some.stamps, values)
                    result = plain - drawn
                    found[some.faults, :, part] = result
                    near = np.isfinite(off) & (off <= TOLERANCE * (np.abs(result) + LEAST_OHM))
                    poor[some.faults, :, part] = ~near | base.off
    return found.transpose(0, 2, 1), poor.transpose(0, 2, 1)


def _drawn(chunk: Chunk, left: Numbers, stamps: Index, values: Numbers) -> tuple[Numbers, Any]:
    """What failures that change the stamps (f, r) take off every pair, (f, pairs, samples), and its error."""
    rank = stamps.shape[1]
    if not rank:
        return np.zeros((len(stamps), 1, 1)), np.zeros((len(stamps), 1, 1))
    to, back = left[chunk.stamps.to[stamps]], left[chunk.stamps.back[stamps]]
    seen, size_seen = to - back, np.abs(to) + np.abs(back)  # (f, r, pairs, samples)
    pull, spoilt = inverses(chunk, stamps, values)  # (f, r, r, samples)
    most = np.abs(seen)
    drawn, off = np.zeros_like(seen[:, 0]), np.zeros_like(most[:, 0])
    for i in range(rank):
        for j in range(rank):
            drawn += seen[:, i] * pull[:, i, j, None] * seen[:, j]
            off += most[:, i] * (
                spoilt[:, i, j, None] * most[:, j] + 2.0 * np.abs(pull[:, i, j, None]) * size_seen[:, j]
            )
    return drawn, ROUNDING * off
