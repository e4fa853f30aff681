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


class Elimination:
    """The order and the slots for one pattern.

    Parameters
    ----------
    pattern : where a sample may have a number or an entry of the inverse is wanted, (size, size)
    model : a representative matrix, (size, size)
    """

    def __init__(self, pattern: NDArray[np.bool_], model: Numbers) -> None:
        size = self.size = len(pattern)
        there = pattern | pattern.T | np.eye(size, dtype=bool)
        order = _ordered(there, model.copy())
        self.core = np.setdiff1d(np.arange(size), [net for net, _ in order])
        there[self.core[:, None], self.core] = True
        for net, near in order:
            there[near[:, None], near] = there[net, near] = there[near, net] = True
        self.slot = np.full((size + 1, size + 1), -1, dtype=np.intp)
        self.places = np.flatnonzero(there)
        rows, columns = np.divmod(self.places, size)
        self.slot[rows, columns] = np.arange(len(self.places))
        slot = self.slot
        self.steps = [
            Step(net, near, int(slot[net, net]), slot[net, near], slot[near, net], slot[near[:, None], near])
            for net, near in order
        ]
        self.core_slots = slot[self.core[:, None], self.core]

    @property
    def slots(self) -> int:
        """How many numbers the filled pattern has; the slot after the last is the common net's zero."""
        return len(self.places)


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
        z = np.zeros((plan.slots + 1, w.shape[1]), dtype=w.dtype)
        z[plan.core_slots.ravel()] = self.core.reshape(len(self.core), -1).T
        for step in reversed(plan.steps):
            one = self.reciprocal[step.net]
            if not len(step.near):
                z[step.own] = one
                continue
            block = z[step.inner]
            upper = w[step.right] * one
            column = (block * w[step.below]).sum(axis=1)
            z[step.below] = -column
            z[step.right] = -(block * upper[:, None]).sum(axis=0)
            z[step.own] = one + (upper * column).sum(axis=0)
        return z

    def solve(self, right: Numbers, *, transposed: bool = False) -> Numbers:
        """Solutions (size, m, samples) of A x = right, or of its transpose; `right` broadcasts to that shape."""
        plan, w = self.plan, self.numbers
        y = np.array(np.broadcast_to(right, (*right.shape[:2], w.shape[1])), dtype=np.result_type(w, right))
        live = (right != 0).any(axis=(1, 2))
        for step in plan.steps:
            if live[step.net] and len(step.near):
                live[step.near] = True
                if transposed:
                    y[step.near] -= (w[step.right] * self.reciprocal[step.net])[:, None] * y[step.net]
                else:
                    y[step.near] -= w[step.below][:, None] * y[step.net]
        core = np.moveaxis(y[plan.core], 2, 0)
        inverse = np.swapaxes(self.core, 1, 2) if transposed else self.core
        y[plan.core] = np.moveaxis(inverse @ core, 0, 2)
        for step in reversed(plan.steps):
            one = self.reciprocal[step.net]
            if live[step.net]:
                y[step.net] *= one
            if len(step.near):
                factor = w[step.below] if transposed else w[step.right] * one
                y[step.net] -= (factor[:, None] * y[step.near]).sum(axis=0)
        return y


def _ordered(there: NDArray[np.bool_], a: Numbers) -> list[tuple[int, Index]]:
    """Nets to eliminate, fewest neighbours first, each with its neighbours; stops where the rest is nearly dense."""
    there, left = there.copy(), np.ones(len(there), dtype=bool)
    np.fill_diagonal(there, False)
    degree = there.sum(axis=1)
    order: list[tuple[int, Index]] = []
    for remaining in range(len(there), 0, -1):
        waiting = np.where(left, degree, len(there))
        while True:
            net = int(np.argmin(waiting))
            if waiting[net] ** 2 > DENSE * remaining or waiting[net] == len(there):
                return order
            near = np.flatnonzero(there[net])
            if abs(a[net, net]) >= THRESHOLD * np.abs(a[near, net]).max(initial=1e-300):
                break
            waiting[net] = len(there)
        order.append((net, near))
        left[net] = False
        there[near[:, None], near] = True
        there[near, near] = False
        there[near, net] = there[net, near] = False
        degree[near] = there[near].sum(axis=1)
        a[near[:, None], near] -= a[near, net][:, None] * a[net, near] / a[net, net]
    return order
