"""Some samples of a linear network, eliminated: what every fault's change of the solution is made of.

The words are those of `low_rank.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dustcap.circuit.elimination import Elimination, Factors
from dustcap.circuit.stamps import Stamps, driven, matrix_entries
from dustcap.compiled import compiled_loops

Numbers = NDArray[Any]
Real = NDArray[np.float64]
Index = NDArray[np.intp]
Flags = NDArray[np.bool_]

ROUNDING = 1e-15
"""Of a sum of many numbers; `updates.ROUNDING` is that of one."""
BACKWARD = 1e-12
"""Largest residual of a sample's own solution, as a share of the currents that meet in a net."""


@dataclass(frozen=True, eq=False)
class Base:
    """The solution without a fault in some samples."""

    drop: Numbers  # over each stamp, (k, samples)
    most_drop: Real  # the size of what it is the difference of
    left: Numbers  # rows of the inverse for the reads, (nets + 1, m, samples)
    most_left: Real  # (nets + 1, samples)
    read: Numbers  # (m, samples)
    most: Real  # (samples,)
    off: Flags  # samples that do not answer to their equations


class Chunk:
    """Some samples of a network, eliminated."""

    def __init__(self, stamps: Stamps, admittance: Numbers, floor: float, plan: Elimination, samples: slice) -> None:
        self.stamps, self.samples, self.floor = stamps, samples, floor
        self.y, self.slot = np.ascontiguousarray(admittance[:, samples]), plan.slot
        numbers = matrix_entries(stamps, plan.slot, plan.slots, self.y)
        numbers[np.diagonal(plan.slot)[:-1]] += floor
        self.factors = Factors(plan, numbers)
        self.inverse = self.factors.inverse()
        every = np.arange(len(self.y))
        self.own, self.own_size = self.between(every, every)
        self.off = self._off_trace()

    def between(self, stamps: Index, others: Index) -> tuple[Numbers, Real]:
        """v^T Z u for v of `stamps` and u of `others`, (..., samples), and the size of what it is the difference of."""
        plus, minus = self.stamps.plus[stamps], self.stamps.minus[stamps]
        to, back = self.stamps.to[others], self.stamps.back[others]
        found = self.inverse[self.slot[plus, to]]
        total = size(found)
        for part, sign in ((self.slot[plus, back], -1.0), (self.slot[minus, to], -1.0), (self.slot[minus, back], 1.0)):
            entry = self.inverse[part]
            total += size(entry)
            found = np.add(found, entry, out=found) if sign > 0 else np.subtract(found, entry, out=found)
        return found, total

    def base(self, current: Numbers, emf: Numbers, reads: Index) -> Base:
        """The solution for these currents, and the rows of the inverse for these reads."""
        nets, samples = self.stamps.size, self.y.shape[1]
        current = current + driven(self.stamps, self.y, emf)
        volts = np.zeros((nets + 1, samples), dtype=np.result_type(self.y, current))
        volts[:nets] = self.factors.solve(current[:, None])[:, 0]
        plus, minus = volts[self.stamps.plus], volts[self.stamps.minus]
        drop, most_drop = plus - minus - emf, size(plus) + size(minus) + size(emf)
        unit = np.zeros((nets + 1, len(reads), 1))
        unit[reads[:, 0], np.arange(len(reads)), 0] += 1.0
        unit[reads[:, 1], np.arange(len(reads)), 0] -= 1.0
        left = np.zeros((nets + 1, len(reads), samples), dtype=self.y.dtype)
        left[:nets] = self.factors.solve(unit[:nets], transposed=True)
        weight = np.cos(np.arange(len(reads)))  # any mixture shows a row that is off
        off = self._off_residual(volts, current, self.stamps)
        mixture = np.einsum("m,nms->ns", weight, left), np.einsum("m,nms->ns", weight, unit[:nets])
        off |= self._off_residual(*mixture, self.stamps.turned)
        read = volts[reads[:, 0]] - volts[reads[:, 1]]
        most_left = size(left).max(axis=1, initial=0.0)
        return Base(drop, most_drop, left, most_left, read, np.abs(read).max(axis=0, initial=0.0), off | self.off)

    def _off_trace(self) -> Flags:
        """Samples in which the trace of Z Y is not the number of nets."""
        diagonal = self.inverse[np.diagonal(self.slot)[:-1]].sum(axis=0)
        trace = np.einsum("ks,ks->s", self.y, self.own) + self.floor * diagonal
        rounding = ROUNDING * np.einsum("ks,ks->s", size(self.y), self.own_size)
        return np.asarray(~(np.abs(trace - self.stamps.size) <= 1e-9 * self.stamps.size + 10.0 * rounding))

    def _off_residual(self, volts: Numbers, current: Numbers, stamps: Stamps) -> Flags:
        if loops := compiled_loops("circuit"):
            current = np.broadcast_to(current, volts[:-1].shape).astype(volts.dtype)
            least = ROUNDING * np.abs(current).max(axis=0, initial=0.0)
            ends = stamps.to, stamps.back, stamps.plus, stamps.minus
            return np.asarray(loops.unanswered(volts, current, self.y, *ends, self.floor, BACKWARD, least))
        nets, plus, minus = self.stamps.size, volts[stamps.plus], volts[stamps.minus]
        flows = plus - minus
        flows *= self.y
        sizes = size(plus)
        sizes += size(minus)
        sizes *= size(self.y)
        residual = current - self.floor * volts[:nets] - stamps.gathered(flows)
        total = np.abs(current) + stamps.gathered(sizes, signed=False)
        return np.asarray(~(size(residual) <= BACKWARD * total + ROUNDING * np.abs(current).max()).all(axis=0))


def size(numbers: Numbers) -> Real:
    """The sizes of real numbers; of complex ones at most 1.42 times as much, without a root."""
    return np.asarray(np.abs(numbers.real) + np.abs(numbers.imag) if np.iscomplexobj(numbers) else np.abs(numbers))


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
