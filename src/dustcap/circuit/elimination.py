r"""Sparse elimination of many equations of one pattern at once, and the entries of their inverses on that pattern.

Nets that touch few others are eliminated one after the other, every step for all samples together; what is left, dense
by then, goes to LAPACK, which also has every net whose own number is too small to divide by. Walking back gives each
entry of the inverse where the pattern has a number (Takahashi, Fagan & Chin 1973, from memory).

====================  ===========  ==========================================================
symbol                name here    meaning
====================  ===========  ==========================================================
A = L D U             `numbers`    L below, D on and D U above the diagonal, by slot
Z                     `inverse`    inverse of A on the filled pattern, by slot
N                     `near`       nets that a net meets when it is eliminated
====================  ===========  ==========================================================

.. math:: Z_{iN} = -U_{iN} Z_{NN},\quad Z_{Ni} = -Z_{NN} L_{Ni},\quad Z_{ii} = 1/d_i - U_{iN} Z_{Ni}
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[Any]
Index = NDArray[np.intp]

THRESHOLD = 0.1
"""Least share of the largest number in its column that a net's own number has to be eliminated by itself."""
DENSE = 13.0
"""A net is left to the dense core when it has more neighbours, squared, than this times what is left (measured)."""


@dataclass(frozen=True, eq=False)
class Step:
    """One eliminated net: the slots of its own number and of what it meets."""

    net: int
    near: Index  # (d,)
    own: int
    right: Index  # (d,)
    below: Index  # (d,)
    inner: Index  # (d, d)
    earlier: Index  # nets that met it


class Elimination:
    """The order and the slots for one pattern.

    Parameters
    ----------
    pattern : where a sample may have a number or an entry of the inverse is wanted, (size, size)
    model : a representative matrix, (size, size)

    Attributes
    ----------
    slots : how many numbers the filled pattern has; the slot after the last is the common net's zero
    """

    def __init__(self, pattern: NDArray[np.bool_], model: Numbers) -> None:
        size = self.size = len(pattern)
        there = pattern | pattern.T | np.eye(size, dtype=bool)
        order = _ordered(there, model)
        self.core = np.setdiff1d(np.arange(size), [net for net, _ in order])
        there[self.core[:, None], self.core] = True
        for net, near in order:
            there[net, near] = there[near, net] = True
        self.slot = np.full((size + 1, size + 1), -1, dtype=np.intp)
        rows, columns = np.nonzero(there)
        self.slot[rows, columns] = np.arange(len(rows))
        self.slots = len(rows)
        slot = self.slot
        earlier: list[list[int]] = [[] for _ in range(size)]
        self.steps = []
        for net, near in order:
            self.steps.append(
                Step(
                    net,
                    near,
                    int(slot[net, net]),
                    slot[net, near],
                    slot[near, net],
                    slot[near[:, None], near],
                    np.array(earlier[net], dtype=np.intp),
                )
            )
            for later in near:
                earlier[later].append(net)
        self.core_slots = slot[self.core[:, None], self.core]
        self.core_earlier = [np.array(earlier[net], dtype=np.intp) for net in self.core]


class Factors:
    """The equations of every sample, eliminated.

    Parameters
    ----------
    plan : their pattern
    numbers : by slot, (slots, samples); overwritten
    """

    def __init__(self, plan: Elimination, numbers: Numbers) -> None:
        self.plan = plan
        w = self.numbers = numbers
        self.reciprocal = np.empty((plan.size, w.shape[1]), dtype=w.dtype)
        for step in plan.steps:
            one = np.divide(1.0, w[step.own], out=self.reciprocal[step.net])
            if len(step.near):
                lower = w[step.below] * one
                w[step.below] = lower
                w[step.inner] -= lower[:, None] * w[step.right]
        core = np.ascontiguousarray(np.moveaxis(w[plan.core_slots], 2, 0))
        self.core = np.linalg.inv(core) if core.size else core  # (samples, c, c)

    def inverse(self) -> Numbers:
        """Entries of the inverse by slot, (slots + 1, samples); the last is zero."""
        plan, w = self.plan, self.numbers
        z = np.empty((plan.slots + 1, w.shape[1]), dtype=w.dtype)
        z[-1] = 0.0
        z[plan.core_slots.ravel()] = self.core.reshape(len(self.core), -1).T
        for step in reversed(plan.steps):
            one = self.reciprocal[step.net]
            if not len(step.near):
                z[step.own] = one
                continue
            block = z[step.inner]
            upper = w[step.right] * one
            column = _contracted("ijs,js->is", block, w[step.below])
            z[step.below] = -column
            z[step.right] = -_contracted("ijs,is->js", block, upper)
            z[step.own] = one + (upper * column).sum(axis=0)
        return z

    def solve(self, right: Numbers, *, transposed: bool = False) -> Numbers:
        """Solutions (size, m, samples) of A x = right, or of its transpose; `right` broadcasts to that shape."""
        plan, w = self.plan, self.numbers
        y = np.array(np.broadcast_to(right, (*right.shape[:2], w.shape[1])), dtype=np.result_type(w, right))
        live = (right != 0).any(axis=(1, 2))
        todo = [(step.net, step.earlier) for step in plan.steps] + list(zip(plan.core, plan.core_earlier, strict=True))
        for net, earlier in todo:
            met = earlier[live[earlier]]
            if len(met):
                live[net] = True
                factor = w[plan.slot[met, net]] * self.reciprocal[met] if transposed else w[plan.slot[net, met]]
                y[net] -= _contracted("ds,dms->ms", factor, y[met])
        core = np.moveaxis(y[plan.core], 2, 0)
        inverse = np.swapaxes(self.core, 1, 2) if transposed else self.core
        y[plan.core] = np.moveaxis(inverse @ core, 0, 2)
        for step in reversed(plan.steps):
            one = self.reciprocal[step.net]
            if live[step.net]:
                y[step.net] *= one
            if len(step.near):
                factor = w[step.below] if transposed else w[step.right] * one
                y[step.net] -= _contracted("ds,dms->ms", factor, y[step.near])
        return y


def _contracted(how: str, a: Numbers, b: Numbers) -> Numbers:
    return np.asarray(np.einsum(how, a, b))


def _ordered(there: NDArray[np.bool_], model: Numbers) -> list[tuple[int, Index]]:
    """Nets to eliminate, fewest neighbours first, each with its neighbours; stops where the rest is nearly dense.

    Plain Python on rows of the model: a net has few neighbours, and arrays of so few numbers cost more than they save.
    """
    near = [set(np.flatnonzero(row).tolist()) - {net} for net, row in enumerate(there)]
    a = [dict(zip(others, model[net, list(others)].tolist(), strict=True)) for net, others in enumerate(near)]
    own = np.diagonal(model).tolist()
    waiting = dict(enumerate(map(len, near)))  # of every net that may go by itself, how many it meets
    refused: set[int] = set()
    order: list[tuple[int, Index]] = []
    while waiting:
        net = min(waiting, key=waiting.__getitem__)
        others, pivot = near[net], own[net]
        if len(others) ** 2 > DENSE * (len(waiting) + len(refused)):
            break
        del waiting[net]
        if abs(pivot) < THRESHOLD * max([1e-300, *(abs(a[other][net]) for other in others)]):
            refused.add(net)
            continue
        waiting.update((other, len(near[other])) for other in refused)
        refused.clear()
        order.append((net, np.array(sorted(others), dtype=np.intp)))
        row = a[net]
        for other in others:
            mine = a[other]
            share = mine.pop(net) / pivot
            near[other] |= others
            near[other] -= {other, net}
            waiting[other] = len(near[other])
            if share:
                own[other] -= share * row[other]
                for column in others:
                    mine[column] = mine.get(column, 0.0) - share * row[column]
            else:
                for column in others:
                    mine.setdefault(column, 0.0)
            del mine[other]
    return order
