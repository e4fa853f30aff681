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

Every result carries an estimate of what rounding did to it. Where that is beyond `updates.TOLERANCE`, or a sample's own
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

from dustcap.circuit.eliminated import Base, Chunk
from dustcap.circuit.elimination import Elimination
from dustcap.circuit.stamps import Changes, Stamps, dense, solved_anew
from dustcap.circuit.updates import BLOCK, Alike, update_one, update_several

Numbers = NDArray[Any]
Index = NDArray[np.intp]
Flags = NDArray[np.bool_]

AT_ONCE = 256
"""Samples eliminated together."""
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
        emf = self._emf
        kind = np.result_type(self.admittance, right, emf, self.changes.values)
        found = np.empty((len(self.changes.stamps), len(reads), samples), dtype=kind)
        poor = np.zeros((len(found), samples), dtype=bool)
        with np.errstate(all="ignore"):
            for chunk in self.chunks:
                some = chunk.samples
                base = chunk.base(_some(right, some), _some(emf, some), reads)
                self._fill(chunk, base, found, poor)
        return found.transpose(0, 2, 1), poor

    @property
    def _emf(self) -> Numbers:
        """In each stamp, (k, 1 or samples), V."""
        return np.zeros((len(self.admittance), 1)) if self.emf is None else self.emf

    @cached_property
    def chunks(self) -> list[Chunk]:
        """The samples in pieces of which each fits the memory."""
        with np.errstate(all="ignore"):
            return [
                Chunk(self.stamps, self.admittance, self.floor, self._plan, slice(first, first + AT_ONCE))
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
    def ranks(self) -> list[Alike]:
        """Faults of equal number of changed stamps, in the order of the first."""
        order = np.argsort(self.changes.stamps.max(axis=1, initial=-1), kind="stable")
        there = self.changes.stamps[order] >= 0
        ranks = []
        for rank in np.unique(there.sum(axis=1)):
            faults = order[there.sum(axis=1) == rank]
            inside = self.changes.stamps[faults] >= 0
            stamps, rows = (
                one[faults][inside].reshape(len(faults), rank) for one in (self.changes.stamps, self.changes.rows)
            )
            ranks.append(Alike(faults, stamps, rows))
        return ranks

    def _fill(self, chunk: Chunk, base: Base, found: Numbers, poor: Flags) -> None:
        for alike in self.ranks:
            rank = alike.stamps.shape[1]
            if not rank:
                found[alike.faults, :, chunk.samples], poor[alike.faults, chunk.samples] = base.read, base.off
            elif rank == 1:
                update_one(chunk, base, alike, self.changes, found, poor)
            else:
                for some in alike.parts(max(1, 4 * BLOCK // (rank * base.read.size))):
                    values = self.changes.picked(some.rows, chunk.samples)
                    update_several(chunk, base, some.stamps, values, some.faults, found, poor)

    def _plain(self, faults: Index, cases: Index, right: Numbers, reads: Index) -> Numbers:
        """The same for some cases, each solved by itself, (cases, m)."""
        size, parts = self.stamps.size, []
        step = max(1, PLAIN_NUMBERS // size**2)
        for first in range(0, len(faults), step):
            fault, case = faults[first : first + step], cases[first : first + step]
            rows = self.changes.rows[fault]
            values = self.changes.values[rows, case[:, None] if self.changes.values.shape[1] > 1 else 0]
            y, chosen = self.admittance[:, case], self.changes.stamps[fault]
            x = solved_anew(self.stamps, y, chosen, values, _some(self._emf, case), _some(right, case), self.floor)
            parts.append(x[:, reads[:, 0]] - x[:, reads[:, 1]])
        return np.concatenate(parts)


def _some(numbers: Numbers, samples: slice | Index) -> Numbers:
    """Columns of some samples, where there is one for each."""
    return numbers[:, samples] if numbers.shape[1] > 1 else numbers
