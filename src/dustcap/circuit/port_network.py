"""A linear network with its faults as the ports of its junctions and the nets that are read see it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dustcap.circuit.eliminated import ROUNDING, Base, Chunk, inverses
from dustcap.circuit.layout import Flags, Index, Real
from dustcap.circuit.ports import Ports
from dustcap.circuit.stamps import Numbers

NEAR = 1e-8
"""Largest estimated error of a linear answer, as a share of the largest voltage in its case."""


class PortNetwork:
    """Some samples' linear network as the ports and reads see it."""

    def __init__(self, chunk: Chunk, base: Base, ports: Ports) -> None:
        self.chunk, self.base = chunk, base
        size, k = chunk.stamps.size, len(ports.plus)
        unit = np.zeros((size + 1, k, 1))
        unit[ports.plus, np.arange(k), 0] += 1.0
        unit[ports.minus, np.arange(k), 0] -= 1.0
        self.columns = np.zeros((size + 1, k, chunk.y.shape[1]))
        self.columns[:size] = chunk.factors.solve(unit[:size])
        # impedance of each port as every read sees it, (samples, reads, k)
        self.own = np.ascontiguousarray(
            np.moveaxis(base.left[ports.plus] - base.left[ports.minus], 0, 1).transpose(2, 0, 1)
        )

    def faulty(self, stamps: Index, values: Numbers) -> FaultyPorts:
        """Under faults that change the stamps (f, r) to values (f, r, samples)."""
        chunk, base, count = self.chunk, self.base, len(stamps)
        samples = chunk.y.shape[1]
        if not stamps.shape[1]:
            answer = np.broadcast_to(base.read.T, (count, samples, len(base.read)))
            return FaultyPorts(self.own, answer, np.broadcast_to(base.off, (count, samples)), None, None)
        left = base.left[chunk.stamps.to[stamps]] - base.left[chunk.stamps.back[stamps]]  # (f, r, reads, samples)
        right = self.columns[chunk.stamps.plus[stamps]] - self.columns[chunk.stamps.minus[stamps]]
        pull, spoilt = inverses(chunk, stamps, values)
        drawn = np.einsum("fijs,fjs->fis", pull, base.drop[stamps])
        answer = (base.read - np.einsum("fims,fis->fms", left, drawn)).transpose(0, 2, 1)
        doubt = np.einsum("fijs,fjs->fis", spoilt, np.abs(base.drop[stamps]))
        doubt += np.einsum("fijs,fjs->fis", np.abs(pull), base.most_drop[stamps])
        estimate = ROUNDING * (np.abs(left).max(axis=2) * doubt).sum(axis=1)
        size = np.abs(answer).max(axis=2)
        off = ~(estimate <= NEAR * size) | base.off
        pulled = np.einsum("fijs,fjks->fiks", pull, right)
        return FaultyPorts(self.own, answer, off, left.transpose(0, 3, 1, 2), pulled.transpose(0, 3, 1, 2))


@dataclass(frozen=True, eq=False)
class FaultyPorts:
    """The linear network under some faults: M' = own - left pulled, the answer a' and what rounding spoils."""

    healthy: Real  # (samples, reads, k)
    answer: Real  # (f, samples, reads)
    off: Flags  # (f, samples)
    left: Real | None  # (f, samples, r, reads)
    pulled: Real | None  # (f, samples, r, k)

    def shift(self, rest: Real, which: Index, samples: int) -> Real:
        """M' rest of cases (n,) of the block, (n, reads)."""
        whole = np.zeros((self.answer.shape[0], samples, rest.shape[1]))
        whole.reshape(-1, rest.shape[1])[which] = rest
        found = np.matmul(whole.transpose(1, 0, 2), self.healthy.transpose(0, 2, 1)).transpose(1, 0, 2)
        found = found.reshape(-1, found.shape[2])[which]
        if self.left is None or self.pulled is None:
            return np.asarray(found)
        fault, sample = np.divmod(which, samples)
        pulled = self.pulled[fault, sample]
        carried = (pulled * rest[:, None]).sum(axis=2)
        return np.asarray(found - (carried[..., None] * self.left[fault, sample]).sum(axis=1))

    def own(self, which: Index, samples: int) -> Real:
        """M' of cases (n,) of the block, (n, reads, k)."""
        fault, sample = np.divmod(which, samples)
        found: Real = self.healthy[sample]
        if self.left is None or self.pulled is None:
            return found
        return np.asarray(found - np.einsum("crm,crk->cmk", self.left[fault, sample], self.pulled[fault, sample]))
