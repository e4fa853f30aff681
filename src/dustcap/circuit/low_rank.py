r"""Solutions of a linear network under many faults, in every tolerance sample, from one elimination a sample.

====================  =============  ================================================================
symbol                name here      meaning
====================  =============  ================================================================
Y                     `stamps`       sum of y_k u_k v_k^T: a conductance, or a controlled current
Z                     `inverse`      inverse of Y, only where a fault or a reading needs it
x                     `volts`        solution without a fault
U, V, D               `Changes`      u_k, v_k and the change of y_k of the stamps that a fault changes
c                     `reads`        what is read, as a difference between two nets
====================  =============  ================================================================

.. math:: c^T x' = c^T x - c^T Z U (D^{-1} + V^T Z U)^{-1} V^T x

With a = 1, s = d for a small change d and a = 1/d, s = 1 for a large one, D^{-1} + W is (a + s W) / s: an absent part
(d = -y) and an exact short (d infinite, a = 0) need no case of their own.

Every result carries an estimate of what rounding did to it. Where that is beyond `TOLERANCE`, or a sample's own
solution does not answer to its equations, the case is solved anew by itself.

References
----------
A. S. Householder, "A survey of some closed methods for inverting matrices", J. SIAM 5 (1957) 155; the identity is the
Sherman-Morrison-Woodbury formula (from memory; checked against the plain solution in the tests).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dustcap.circuit.elimination import Elimination, Factors
from dustcap.circuit.stamps import Changes, Stamps, add_at, dense, driven, entries, solved_anew

Numbers = NDArray[Any]
Index = NDArray[np.intp]
Flags = NDArray[np.bool_]

TOLERANCE = 2e-11
"""Largest estimated error of a fast result, as a share of the largest voltage that is read in its case."""
ROUNDING = 1e-15
BACKWARD = 1e-12
"""Largest residual of a sample's own solution, as a share of the currents that meet in a net."""
AT_ONCE = 256
"""Samples eliminated together."""
BLOCK = 100_000
"""Numbers of the result worked on together, few enough to stay near the processor."""
PLAIN_NUMBERS = 2_000_000


@dataclass(frozen=True, eq=False)
class LowRank:
    """A network with its faults, ready to be asked.

    Parameters
    ----------
    stamps : the network's structure
    admittance : (k, samples), siemens, real or complex
    changes : the faults
    floor : admittance of every net to common, siemens
    emf : electromotive force in each stamp, (k, 1 or samples), V
    """

    stamps: Stamps
    admittance: Numbers
    changes: Changes
    floor: float
    emf: Numbers | None = None

    def voltages(self, current: Numbers, reads: Index) -> Numbers:
        """Voltage differences under every fault in every sample.

        Parameters
        ----------
        current : into each net, (nets,) or (nets, samples)
        reads : pairs of nets, (m, 2); the number of nets stands for the common one

        Returns
        -------
        (faults, samples, m)
        """
        right = current[:, None] if current.ndim == 1 else current
        found, poor = self.attempt(right, reads)
        faults, samples = np.nonzero(poor)
        if len(faults):
            found[faults, samples] = self._plain(faults, samples, right, reads)
        return found

    def attempt(self, right: Numbers, reads: Index) -> tuple[Numbers, Flags]:
        """As `voltages` for `right` (nets, 1 or samples), with what is to be solved anew (faults, samples)."""
        samples = self.admittance.shape[1]
        emf = np.zeros((len(self.admittance), 1)) if self.emf is None else self.emf
        kind = np.result_type(self.admittance, right, emf, self.changes.values)
        found = np.empty((len(self.changes.stamps), len(reads), samples), dtype=kind)
        poor = np.zeros((len(found), samples), dtype=bool)
        with np.errstate(all="ignore"):
            for chunk in self.chunks:
                some = chunk.samples
                base = chunk.base(_some(right, some), _some(emf, some), reads)
                self._fill(chunk, base, found, poor)
        return found.transpose(0, 2, 1), poor

    @cached_property
    def chunks(self) -> list[Chunk]:
        """The samples in pieces of which each fits the memory."""
        with np.errstate(all="ignore"):
            return [
                Chunk(self, self._plan, slice(first, first + AT_ONCE))
                for first in range(0, self.admittance.shape[1], AT_ONCE)
            ]

    @cached_property
    def _plan(self) -> Elimination:
        stamps, size = self.stamps, self.stamps.size
        terminals = np.stack([stamps.to, stamps.back, stamps.plus, stamps.minus], axis=1)
        cliques = [terminals]
        wide = self.changes.stamps[(self.changes.stamps >= 0).sum(axis=1) > 1]
        if len(wide):
            every = terminals[wide].reshape(len(wide), -1)
            cliques.append(np.where(np.repeat(wide < 0, 4, axis=1), size, every))
        there = np.zeros((size + 1, size + 1), dtype=bool)
        for nets in cliques:
            there[nets[:, :, None], nets[:, None, :]] = True
        return Elimination(there[:size, :size], dense(stamps, self.admittance[:, :1], self.floor)[0, :size, :size])

    @cached_property
    def ranks(self) -> list[tuple[Index, Index]]:
        """Faults of equal number of changed stamps in the order of the first, and those stamps."""
        order = np.argsort(self.changes.stamps.max(axis=1, initial=-1), kind="stable")
        there = self.changes.stamps[order] >= 0
        ranks = []
        for rank in np.unique(there.sum(axis=1)):
            faults = order[there.sum(axis=1) == rank]
            chosen = self.changes.stamps[faults]
            ranks.append((faults, chosen[chosen >= 0].reshape(len(faults), rank)))
        return ranks

    def _fill(self, chunk: Chunk, base: Base, found: Numbers, poor: Flags) -> None:
        for faults, stamps in self.ranks:
            rank = stamps.shape[1]
            if not rank:
                found[faults, :, chunk.samples], poor[faults, chunk.samples] = base.read, base.off
                continue
            step = max(1, BLOCK // (rank * base.read.size))
            for first in range(0, len(faults), step):
                some = faults[first : first + step]
                values = self.changed(some, rank, chunk.samples)
                _update(chunk, base, stamps[first : first + step], values, some, found, poor)

    def changed(self, faults: Index, rank: int, samples: slice) -> Numbers:
        """By how much the stamps of these faults change, shape (faults, rank, samples)."""
        values = self.changes.values[faults]
        if values.shape[1] != rank:
            there = self.changes.stamps[faults] >= 0
            values = values[there].reshape(len(faults), rank, values.shape[2])
        return values[..., samples] if values.shape[2] > 1 else values

    def _plain(self, faults: Index, cases: Index, right: Numbers, reads: Index) -> Numbers:
        """The same for some cases, each solved by itself, (cases, m)."""
        size, parts = self.stamps.size, []
        emf = np.zeros((len(self.admittance), len(cases))) if self.emf is None else self.emf
        step = max(1, PLAIN_NUMBERS // size**2)
        for first in range(0, len(faults), step):
            fault, case = faults[first : first + step], cases[first : first + step]
            values = self.changes.values[fault]
            values = values[np.arange(len(case)), :, case if values.shape[2] > 1 else 0]
            y, chosen = self.admittance[:, case], self.changes.stamps[fault]
            x = solved_anew(self.stamps, y, chosen, values, _some(emf, case), _some(right, case), self.floor)
            parts.append(x[:, reads[:, 0]] - x[:, reads[:, 1]])
        return np.concatenate(parts)


@dataclass(frozen=True, eq=False)
class Base:
    """The solution without a fault in some samples."""

    drop: Numbers  # over each stamp, (k, samples)
    most_drop: Numbers  # the size of what it is the difference of
    left: Numbers  # rows of the inverse for the reads, (nets + 1, m, samples)
    most_left: Numbers  # (nets + 1, samples)
    read: Numbers  # (m, samples)
    most: Numbers  # (samples,)
    off: Flags  # samples that do not answer to their equations


class Chunk:
    """Some samples of a network, eliminated."""

    def __init__(self, network: LowRank, plan: Elimination, samples: slice) -> None:
        self.stamps, self.samples, self.floor = network.stamps, samples, network.floor
        self.y, self.slot = np.ascontiguousarray(network.admittance[:, samples]), plan.slot
        numbers = np.zeros((plan.slots, self.y.shape[1]), dtype=self.y.dtype)
        numbers[np.diagonal(plan.slot)[:-1]] = self.floor
        add_at(numbers, *entries(self.stamps, plan.slot), self.y)
        self.factors = Factors(plan, numbers)
        self.inverse = self.factors.inverse()
        every = np.arange(len(self.y))
        self.own, self.own_size = self.between(every, every)
        self.off = self._off_trace()

    def between(self, stamps: Index, others: Index) -> tuple[Numbers, Numbers]:
        """v^T Z u for v of `stamps` and u of `others`, (..., samples), and the size of what it is the difference of."""
        plus, minus = self.stamps.plus[stamps], self.stamps.minus[stamps]
        to, back = self.stamps.to[others], self.stamps.back[others]
        a, b = self.inverse[self.slot[plus, to]], self.inverse[self.slot[plus, back]]
        c, d = self.inverse[self.slot[minus, to]], self.inverse[self.slot[minus, back]]
        return a - b - c + d, np.abs(a) + np.abs(b) + np.abs(c) + np.abs(d)

    def base(self, current: Numbers, emf: Numbers, reads: Index) -> Base:
        """The solution for these currents, and the rows of the inverse for these reads."""
        size, samples = self.stamps.size, self.y.shape[1]
        current = current + driven(self.stamps, self.y, emf)
        volts = np.zeros((size + 1, samples), dtype=np.result_type(self.y, current))
        volts[:size] = self.factors.solve(current[:, None])[:, 0]
        plus, minus = volts[self.stamps.plus], volts[self.stamps.minus]
        drop, most_drop = plus - minus - emf, np.abs(plus) + np.abs(minus) + np.abs(emf)
        unit = np.zeros((size + 1, len(reads), 1))
        unit[reads[:, 0], np.arange(len(reads)), 0] += 1.0
        unit[reads[:, 1], np.arange(len(reads)), 0] -= 1.0
        left = np.zeros((size + 1, len(reads), samples), dtype=self.y.dtype)
        left[:size] = self.factors.solve(unit[:size], transposed=True)
        weight = np.cos(np.arange(len(reads)))  # any mixture shows a row that is off
        off = self._off_residual(volts, current, self.stamps)
        turned = Stamps(size, self.stamps.plus, self.stamps.minus, self.stamps.to, self.stamps.back)
        off |= self._off_residual(np.tensordot(weight, left, (0, 1)), np.tensordot(weight, unit[:size], (0, 1)), turned)
        read = volts[reads[:, 0]] - volts[reads[:, 1]]
        most_left = np.abs(left).max(axis=1)
        return Base(drop, most_drop, left, most_left, read, np.abs(read).max(axis=0), off | self.off)

    def _off_trace(self) -> Flags:
        """Samples in which the trace of Z Y is not the number of nets."""
        diagonal = self.inverse[np.diagonal(self.slot)[:-1]].sum(axis=0)
        trace = np.einsum("ks,ks->s", self.y, self.own) + self.floor * diagonal
        rounding = ROUNDING * np.einsum("ks,ks->s", np.abs(self.y), self.own_size)
        return np.asarray(~(np.abs(trace - self.stamps.size) <= 1e-9 * self.stamps.size + 10.0 * rounding))

    def _off_residual(self, volts: Numbers, current: Numbers, stamps: Stamps) -> Flags:
        flows = self.y * (volts[stamps.plus] - volts[stamps.minus])
        sizes = np.abs(self.y) * (np.abs(volts[stamps.plus]) + np.abs(volts[stamps.minus]))
        size = self.stamps.size
        residual = np.zeros((size, volts.shape[1]), dtype=volts.dtype)
        total = np.zeros((size, volts.shape[1]))
        residual += current - self.floor * volts[:size]
        total += np.abs(current)
        ends, way = np.concatenate([stamps.to, stamps.back]), np.repeat((-1.0, 1.0), len(flows))
        add_at(residual, ends, way, flows)
        add_at(total, ends, np.abs(way), sizes)
        return np.asarray(~(np.abs(residual) <= BACKWARD * total + ROUNDING * np.abs(current).max()).all(axis=0))


def _update(
    chunk: Chunk, base: Base, stamps: Index, values: Numbers, faults: Index, found: Numbers, poor: Flags
) -> None:
    """Results of faults (f,) that change the stamps (f, r) to values (f, r, samples)."""
    if stamps.shape[1] == 1:
        drawn, taken, estimate = _one(chunk, base, stamps[:, 0], values[:, 0])
    else:
        drawn, taken, estimate = _several(chunk, base, stamps, values)
    regular = len(faults) == faults[-1] - faults[0] + 1 and (np.diff(faults) == 1).all()
    rows = slice(faults[0], faults[-1] + 1) if regular else faults
    result = np.subtract(base.read, drawn, out=found[rows, :, chunk.samples] if regular else None)
    if not regular:
        found[rows, :, chunk.samples] = result
    doubt = ~(estimate <= TOLERANCE * (base.most - taken))  # the largest read is no less than that difference
    fault, sample = np.nonzero(doubt)
    if len(fault):
        size = np.abs(result[fault, :, sample]).max(axis=1)
        doubt[fault, sample] = ~(estimate[fault, sample] <= TOLERANCE * size)
    poor[rows, chunk.samples] = doubt | base.off


def _one(chunk: Chunk, base: Base, stamps: Index, values: Numbers) -> tuple[Numbers, Numbers, Numbers]:
    """What faults of one changed stamp take off the reads (f, m, samples), at most and with what error (f, samples)."""
    some, which = np.unique(stamps, return_inverse=True)
    to, back = chunk.stamps.to[some], chunk.stamps.back[some]
    left, drop = base.left[to] - base.left[back], base.drop[some]
    size_left, size_drop = base.most_left[to] + base.most_left[back], base.most_drop[some]
    own, own_size, y = chunk.own[some], chunk.own_size[some], chunk.y[some]
    each = len(stamps) // len(some)
    if np.array_equal(which, np.repeat(np.arange(len(some)), each)):
        spread: Any = np.s_[:, None]
        change = values.reshape(len(some), each, -1) - y[:, None]
    else:
        spread, change = which, values - y[which]
    kept: Any = 1.0
    if np.isinf(change).any():
        short = np.isinf(change)
        kept, change = np.where(short, 0.0, 1.0), np.where(short, 1.0, change)
    inner = kept + change * own[spread]
    pull = np.abs(change) / np.abs(inner)
    flow = pull * np.abs(drop)[spread]
    spoilt = (kept + np.abs(change) * own_size[spread]) / np.abs(inner)
    most_left = np.abs(left).max(axis=1)
    estimate = most_left[spread] * (spoilt * flow + pull * size_drop[spread])
    estimate += flow * size_left[spread]
    taken, flat = most_left[spread] * flow, (len(stamps), -1)
    drawn = (change / inner * drop[spread])[..., None, :] * left[spread]
    return drawn.reshape(len(stamps), *left.shape[1:]), taken.reshape(flat), ROUNDING * estimate.reshape(flat)


def _several(chunk: Chunk, base: Base, stamps: Index, values: Numbers) -> tuple[Numbers, Numbers, Numbers]:
    """The same for several changed stamps a fault, (f, r)."""
    left = base.left[chunk.stamps.to[stamps]] - base.left[chunk.stamps.back[stamps]]  # (f, r, m, samples)
    size_left = base.most_left[chunk.stamps.to[stamps]] + base.most_left[chunk.stamps.back[stamps]]
    pull, spoilt = inverses(chunk, stamps, values)
    drop, size_drop = base.drop[stamps], base.most_drop[stamps]
    current = np.einsum("fijs,fjs->fis", pull, drop)
    doubt = np.einsum("fijs,fjs->fis", spoilt, np.abs(drop)) + np.einsum("fijs,fjs->fis", np.abs(pull), size_drop)
    most_left, flow = np.abs(left).max(axis=2), np.abs(current)
    estimate = (most_left * doubt + flow * size_left).sum(axis=1)
    return np.einsum("frs,frms->fms", current, left), (flow * most_left).sum(axis=1), ROUNDING * estimate


def inverses(chunk: Chunk, stamps: Index, values: Numbers) -> tuple[Numbers, Numbers]:
    """(D^-1 + V^T Z U)^-1 for stamps (f, r) changed to values (f, r, samples), and its error in units of rounding.

    Both (f, r, r, samples); not finite where there is none.
    """
    change = values - chunk.y[stamps]
    short = np.isinf(change)
    kept, change = np.where(short, 0.0, 1.0), np.where(short, 1.0, change)
    inner, inner_size = chunk.between(stamps[:, :, None], stamps[:, None, :])
    same = np.eye(stamps.shape[1])[..., None]
    system = same * kept[:, :, None] + change[:, :, None] * inner
    sizes = same * kept[:, :, None] + np.abs(change)[:, :, None] * inner_size
    inverse = _small_inverses(system)
    pull, size = inverse * change[:, None], np.abs(inverse)
    spoilt = np.einsum("fijs,fjks->fiks", np.einsum("fijs,fjks->fiks", size, sizes), np.abs(pull))
    return pull, spoilt


def _small_inverses(system: Numbers) -> Numbers:
    """Inverses of many small matrices (f, r, r, samples); not finite where there is none."""
    rank = system.shape[1]
    if rank == 1:
        return np.asarray(1.0 / system)
    if rank == 2:
        a, b, c, d = system[:, 0, 0], system[:, 0, 1], system[:, 1, 0], system[:, 1, 1]
        turned = np.stack([np.stack([d, -b], axis=1), np.stack([-c, a], axis=1)], axis=1)
        return np.asarray(turned / (a * d - b * c)[:, None, None])
    system = np.moveaxis(system, 3, 1)
    usable = np.isfinite(system).all(axis=(-2, -1)) & (np.abs(np.linalg.det(system)) > 0)
    safe = np.where(usable[..., None, None], system, np.eye(rank))
    return np.moveaxis(np.where(usable[..., None, None], np.linalg.inv(safe), np.nan), 1, 3)


def _some(numbers: Numbers, samples: slice | Index) -> Numbers:
    """Columns of some samples, where there is one for each."""
    return numbers[:, samples] if numbers.shape[1] > 1 else numbers
