"""Junctions as two-terminal ports: their currents and derivatives by port voltage."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dustcap.circuit.assembly import device_groups
from dustcap.circuit.devices import Group
from dustcap.circuit.junctions import Diodes, Zeners
from dustcap.circuit.layout import COMMON, Index, Layout, Real
from dustcap.circuit.values import Table


@dataclass(frozen=True, eq=False)
class Ports:
    """The ports of every junction: one of a two-terminal part, two of a transistor (its middle terminal to the others).

    `plus` and `minus` are nets (k,), the number of nets standing for common; `first` is each group's first port.
    """

    groups: tuple[Group, ...]
    plus: Index
    minus: Index
    first: tuple[int, ...]

    @staticmethod
    def of(layout: Layout) -> Ports:
        """Of a circuit."""
        groups = tuple(device_groups(layout, list(range(layout.count("diode")))))
        plus: list[Index] = []
        minus: list[Index] = []
        first, count = [], 0
        for group in groups:
            first.append(count)
            ends = np.where(group.columns == COMMON, len(layout.nets), group.columns)
            pairs = ((0, 1),) if ends.shape[1] == 2 else ((1, 0), (1, 2))
            plus.append(np.concatenate(np.stack([ends[:, a] for a, _ in pairs], axis=1)))
            minus.append(np.concatenate(np.stack([ends[:, b] for _, b in pairs], axis=1)))
            count += len(plus[-1])
        none = np.zeros(0, dtype=np.intp)
        return Ports(groups, np.concatenate([none, *plus]), np.concatenate([none, *minus]), tuple(first))

    def currents(self, v: Real, table: Table, *, slopes: bool) -> tuple[Real, Real]:
        """Port currents (cases, k) and, if asked for, their derivatives (cases, k, k)."""
        j = np.empty_like(v)
        g = np.zeros((len(v), v.shape[1] if slopes else 0, v.shape[1]))
        for group, first in zip(self.groups, self.first, strict=True):
            m = len(group.columns)
            if isinstance(group, Diodes | Zeners):
                j[:, first : first + m], slope = group.branch(v[:, first : first + m], table)
                places = first + np.arange(m)
                if slopes:
                    g[:, places, places] = slope
                continue
            f, jacobian = group.evaluate(_terminals(group, first, v), table)
            outer = -f[..., [0, 2]]
            j[:, first : first + 2 * m] = outer.reshape(len(v), -1)
            if slopes:
                # port voltages enter the outer terminals with a minus, and outer currents count with a minus
                block = jacobian[..., [0, 2], :][..., [0, 2]]
                both: Index = first + np.arange(2 * m).reshape(m, 2)
                g[:, both[:, :, None], both[:, None, :]] = block
        return j, g

    def limited(self, new: Real, old: Real, table: Table) -> Real:
        """Port voltages to linearise at next."""
        found = np.empty_like(new)
        for group, first in zip(self.groups, self.first, strict=True):
            to, was = _terminals(group, first, new), _terminals(group, first, old)
            u, m = group.limit(to, was, table), len(group.columns)
            if group.columns.shape[1] == 2:
                found[:, first : first + m] = u[..., 0] - u[..., 1]
            else:
                both = np.stack([u[..., 1] - u[..., 0], u[..., 1] - u[..., 2]], axis=-1)
                found[:, first : first + 2 * m] = both.reshape(len(new), -1)
        return found


def _terminals(group: Group, first: int, v: Real) -> Real:
    """Terminal voltages of a group, (cases, elements, terminals), from port voltages (cases, k)."""
    m, p = group.columns.shape
    if p == 2:
        drop = v[:, first : first + m]
        return np.stack([drop, np.zeros_like(drop)], axis=-1)
    pair = v[:, first : first + 2 * m].reshape(len(v), m, 2)
    return np.stack([-pair[..., 0], np.zeros_like(pair[..., 0]), -pair[..., 1]], axis=-1)
