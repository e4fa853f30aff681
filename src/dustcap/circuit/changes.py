r"""Impedance between pairs of nets of a network of branches when a few of them change, without solving it anew.

.. math:: e^T Z' e = e^T Z e - e^T Z U (D^{-1} + U^T Z U)^{-1} U^T Z e

in the words of `low_rank.py`, e being +1 and -1 at the pair. A group of nets that hangs on nothing is tied to the
common net, for a single link carries no current between two nets on the same side of it. In the same way an open branch
that cuts off a group stays as its link, and the pairs across it read inf; a change that joins groups takes a tie away.
What rounding spoils is solved anew.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from dustcap.circuit.eliminated import Chunk, Flags, inverses
from dustcap.circuit.layout import COMMON
from dustcap.circuit.low_rank import LowRank
from dustcap.circuit.pair_impedance import CONNECTED_S, TIE_S, groups_of, pair_impedances
from dustcap.circuit.stamps import Changes, Index, Numbers, Stamps
from dustcap.circuit.updates import ROUNDING

TOLERANCE = 1e-9
"""Largest estimated error of a fast result, as a share of its size."""
LEAST_OHM = 2.0
"""Below it the error counts as a share of this: two millionths of a milliohm, which no meter shows."""
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
    changes, groups = _changes(np.concatenate([ends, ties]), healthy, changed, there, nets)
    network = LowRank(Stamps.branches(np.concatenate([ends, ties]), nets), tied, changes, 0.0)
    found, poor = _fast(network, pairs)
    apart = groups[:, pairs[:, 0]] != groups[:, pairs[:, 1]]
    found[np.broadcast_to(apart[:, None], found.shape)] = np.inf
    poor &= ~apart[:, None]
    failures, samples = np.nonzero(poor.any(axis=2))
    some = np.flatnonzero(poor.any(axis=(0, 1)))
    step = max(1, PLAIN_NUMBERS // nets**2)
    for first in range(0, len(failures), step):
        failure, sample = failures[first : first + step], samples[first : first + step]
        found[failure[:, None], sample[:, None], some] = pair_impedances(
            signed[:, 0], signed[:, 1], changed[failure, sample], leads[some], nets
        )
    return found


def _changes(ends: Index, healthy: Numbers, changed: Numbers, there: Flags, nets: int) -> tuple[Changes, Index]:
    """What is changed in every failure, with the needless ties, and its groups of nets (failures, nets + 1)."""
    differs = np.any(changed != healthy, axis=1)
    count, branches = differs.shape
    left = np.broadcast_to(there, differs.shape).copy()
    row, column = np.nonzero(differs)
    left[row, column] = np.abs(changed[row, :, column]).max(axis=1) > CONNECTED_S
    signed = np.where(ends == nets, COMMON, ends)[:branches]
    groups = groups_of(signed[:, 0], signed[:, 1], left, nets)
    picked = []
    for failure in range(count):
        chosen = np.flatnonzero(differs[failure])
        if (left[failure] == there).all():
            picked.append(chosen.tolist())
            continue
        opened = [branch for branch in chosen.tolist() if there[branch] and not left[failure, branch]]
        joins = bool((left[failure, chosen] & ~there[chosen]).any())
        needless = _needless(groups[failure], ends, [*range(branches, len(ends))] * joins + opened)
        kept = set(opened) - set(needless)
        picked.append([*(branch for branch in chosen.tolist() if branch not in kept), *(set(needless) - set(opened))])
    most = max([1, *map(len, picked)])
    stamps = np.array([[*row, *[-1] * (most - len(row))] for row in picked], dtype=np.intp).reshape(-1, most)
    values = np.zeros((*stamps.shape, healthy.shape[0]), dtype=np.result_type(healthy, changed))
    row, column = np.nonzero((stamps >= 0) & (stamps < branches))
    values[row, column] = changed[row, :, stamps[row, column]]
    return Changes.of(stamps, values), groups


def _needless(groups: Index, ends: Index, links: list[int]) -> list[int]:
    """Of the links between groups of nets those that join what is joined by earlier ones."""
    joined: dict[int, int] = {}

    def top(group: int) -> int:
        while group in joined:
            group = joined[group]
        return group

    needless = []
    for link in links:
        a, b = top(int(groups[ends[link, 0]])), top(int(groups[ends[link, 1]]))
        if a == b:
            needless.append(link)
        else:
            joined[a] = b
    return needless


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
                    if some.stamps.shape[1] == 1:
                        _across(chunk, some.stamps[:, 0], values[:, 0], pairs, result, off)
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


def _across(chunk: Chunk, stamps: Index, values: Numbers, pairs: Index, result: Numbers, off: Any) -> None:
    """What pairs read that lie at both ends of the one changed branch: no difference of large numbers."""
    ends = np.stack([chunk.stamps.to[stamps], chunk.stamps.back[stamps]], axis=1)
    f, pair = np.nonzero((np.sort(ends, axis=1)[:, None] == np.sort(pairs, axis=1)).all(axis=2))
    own, size = chunk.own[stamps[f]], chunk.own_size[stamps[f]]
    change = (values - chunk.y[stamps])[f]
    inner = 1.0 + change * own
    result[f, pair] = own / inner
    spoilt = size + np.abs(own) * (1.0 + np.abs(change * own))
    off[f, pair] = ROUNDING * spoilt / np.abs(inner) ** 2
