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

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dustcap.compiled import compiled_loops

Numbers = NDArray[Any]
Index = NDArray[np.intp]

THRESHOLD = 0.1
"""Least share of the largest number in its column that a net's own number has to be eliminated by itself."""
DENSE = 13.0
"""A net is left to the dense core when it has more neighbours, squared, than this times what is left (measured)."""


@dataclass(frozen=True, eq=False)
class Steps:
    """The eliminated nets in their order, and the slots of what each of them meets, one after the other.

    Step k meets the nets `near[at[k]:at[k + 1]]`, d of them; the slots between those are the next d * d of `inner`.
    """

    net: Index
    own: Index
    at: Index
    near: Index
    right: Index
    below: Index
    square: Index  # where the slots of a step begin in `inner`
    inner: Index

    @staticmethod
    def of(slot: Index, net: Index, at: Index, near: Index) -> Steps:
        """From the slots (nets, nets), the order, and what each meets."""
        count = np.diff(at)
        square = np.concatenate([[0], np.cumsum(count**2)])
        step = np.repeat(np.arange(len(net)), count**2)
        place = np.arange(square[-1]) - square[step]
        row, column = at[step] + place // count[step], at[step] + place % count[step]
        each = np.repeat(net, count)
        return Steps(
            net, slot[net, net], at, near, slot[each, near], slot[near, each], square, slot[near[row], near[column]]
        )

    def each(self) -> Iterator[tuple[int, int, slice, Index]]:
        """Net, slot of its own number, the places of what it meets, and the slots between those (d, d)."""
        for k, (net, own) in enumerate(zip(self.net.tolist(), self.own.tolist(), strict=True)):
            some = slice(int(self.at[k]), int(self.at[k + 1]))
            count = some.stop - some.start
            yield net, own, some, self.inner[self.square[k] : self.square[k + 1]].reshape(count, count)


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
        net, at, near = _ordered(there, model)
        self.core = np.setdiff1d(np.arange(size), net)
        there[self.core[:, None], self.core] = True
        each = np.repeat(net, np.diff(at))
        there[each, near] = there[near, each] = True
        self.slot = np.full((size + 1, size + 1), -1, dtype=np.intp)
        rows, columns = np.nonzero(there)
        self.slot[rows, columns] = np.arange(len(rows))
        self.slots = len(rows)
        self.steps = Steps.of(self.slot, net, at, near)
        self.core_slots = self.slot[self.core[:, None], self.core]


class Factors:
    """The equations of every sample, eliminated.

    Parameters
    ----------
    plan : their pattern
    numbers : by slot, (slots, samples); overwritten
    """

    def __init__(self, plan: Elimination, numbers: Numbers) -> None:
        self.plan = plan
        w = self.numbers = np.ascontiguousarray(numbers)
        self.reciprocal = np.empty((plan.size, w.shape[1]), dtype=w.dtype)
        steps = plan.steps
        if loops := compiled_loops("circuit"):
            loops.eliminate(
                w, self.reciprocal, steps.net, steps.own, steps.at, steps.right, steps.below, steps.square, steps.inner
            )
        else:
            for net, own, some, inner in steps.each():
                one = np.divide(1.0, w[own], out=self.reciprocal[net])
                if inner.size:
                    lower = w[steps.below[some]] * one
                    w[steps.below[some]] = lower
                    w[inner] -= lower[:, None] * w[steps.right[some]]
        core = np.ascontiguousarray(np.moveaxis(w[plan.core_slots], 2, 0))
        self.core = np.linalg.inv(core) if core.size else core  # (samples, c, c)

    def inverse(self) -> Numbers:
        """Entries of the inverse by slot, (slots + 1, samples); the last is zero."""
        plan, steps, w = self.plan, self.plan.steps, self.numbers
        z = np.empty((plan.slots + 1, w.shape[1]), dtype=w.dtype)
        z[-1] = 0.0
        z[plan.core_slots.ravel()] = self.core.reshape(len(self.core), -1).T
        if loops := compiled_loops("circuit"):
            places = steps.net, steps.own, steps.at, steps.right, steps.below, steps.square, steps.inner
            loops.selected(w, z, self.reciprocal, *places)
            return z
        for net, own, some, inner in reversed(list(steps.each())):
            one = self.reciprocal[net]
            block, right, below = z[inner], steps.right[some], steps.below[some]
            upper = w[right] * one
            column = _contracted("ijs,js->is", block, w[below])
            z[below] = -column
            z[right] = -_contracted("ijs,is->js", block, upper)
            z[own] = one + (upper * column).sum(axis=0)
        return z

    def solve(self, right: Numbers, *, transposed: bool = False) -> Numbers:
        """Solutions (size, m, samples) of A x = right, or of its transpose; `right` broadcasts to that shape."""
        plan, steps, w, ones = self.plan, self.plan.steps, self.numbers, np.ones_like(self.reciprocal)
        y = np.array(np.broadcast_to(right, (*right.shape[:2], w.shape[1])), dtype=np.result_type(w, right), order="C")
        live = (right != 0).any(axis=(1, 2))
        down, across = (steps.right, steps.below) if transposed else (steps.below, steps.right)
        before, after = (self.reciprocal, ones) if transposed else (ones, self.reciprocal)
        loops = compiled_loops("circuit")
        if loops:
            loops.forwards(w, y, live, before, steps.net, steps.at, steps.near, down)
        else:
            for net, _, some, _ in steps.each():
                if live[net]:
                    near = steps.near[some]
                    live[near] = True
                    y[near] -= (w[down[some]] * before[net])[:, None] * y[net]
        core = np.moveaxis(y[plan.core], 2, 0)
        inverse = np.swapaxes(self.core, 1, 2) if transposed else self.core
        y[plan.core] = np.moveaxis(inverse @ core, 0, 2)
        if loops:
            loops.backwards(w, y, live, self.reciprocal, after, steps.net, steps.at, steps.near, across)
            return y
        for net, _, some, _ in reversed(list(steps.each())):
            if live[net]:
                y[net] *= self.reciprocal[net]
            y[net] -= _contracted("ds,dms->ms", w[across[some]] * after[net], y[steps.near[some]])
        return y


def _contracted(how: str, a: Numbers, b: Numbers) -> Numbers:
    return np.asarray(np.einsum(how, a, b))


def _ordered(there: NDArray[np.bool_], model: Numbers) -> tuple[Index, Index, Index]:
    """Nets to eliminate, fewest neighbours first, until the rest is nearly dense; what each meets, as in `Steps`."""
    if loops := compiled_loops("circuit"):
        pattern, numbers = there.copy(), np.where(there, model, 0.0)
        order = loops.ordered(pattern, numbers, np.diagonal(numbers).copy(), THRESHOLD, DENSE)
        step, near = np.nonzero(pattern[order])
        return order, np.concatenate([[0], np.cumsum(np.bincount(step, minlength=len(order)))]), near
    steps = _ordered_one_by_one(there, model)
    at = np.cumsum([0, *(len(near) for _, near in steps)])
    nets = np.array([net for net, _ in steps], dtype=np.intp)
    return nets, at, np.concatenate([np.zeros(0, dtype=np.intp), *(near for _, near in steps)])


def _ordered_one_by_one(there: NDArray[np.bool_], model: Numbers) -> list[tuple[int, Index]]:
    """Plain Python on rows of the model: arrays of so few numbers as a net meets cost more than they save."""
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
