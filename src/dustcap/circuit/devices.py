"""What every non-linear device offers to the solver, and the smooth shapes that the device laws share.

A device group is every element of one law. At a point ``u`` (the voltages at its unknowns) it gives the currents that
leave its rows and their derivatives; ``limit`` moves a proposed point closer to the last one, so that steep laws are
approached from their flat side (junction limiting: Nagel 1975, from memory; the same idea for the clamps).
"""

from __future__ import annotations

import numpy as np

from dustcap.circuit.layout import Flags, Index, Real
from dustcap.circuit.values import Table


class Group:
    """Every element of one non-linear law.

    Attributes
    ----------
    law : its name
    columns : unknowns that its equations depend on, shape (m, p)
    rows : rows that its equations add to, shape (m, q)
    """

    law: str
    columns: Index
    rows: Index

    def evaluate(self, u: Real, table: Table) -> tuple[Real, Real]:
        """Currents (cases, m, q) and derivatives (cases, m, q, p) at u (cases, m, p)."""
        raise NotImplementedError

    def begin(self, u: Real, table: Table) -> Real:
        """The point to linearise at first, from that of a similar case."""
        return u

    def limit(self, new: Real, old: Real, table: Table) -> Real:
        """The point to linearise at next, instead of `new`."""
        return new

    def overdriven(self, new: Real, old: Real, table: Table) -> Flags:
        """Cases (cases,) in which an element is sent far beyond the range that it is linear in.

        What the linearisation told the other devices is nonsense there: they stay where they are for a step.
        """
        return np.zeros(len(new), dtype=bool)

    def saturated(self, new: Real, old: Real, table: Table) -> Real:
        """The old point, with what is overdriven moved to just beyond its range."""
        return old


def hinge(u: Real, width: float) -> tuple[Real, Real]:
    """Smooth max(u, 0) with its derivative; `width` at u = 0."""
    root = np.sqrt(u * u + 4.0 * width * width)
    return 0.5 * (u + root), 0.5 * (1.0 + u / root)


def clamped(u: Real, limit: Real, width: Real) -> tuple[Real, Real]:
    """Smooth clamp of u between -limit and limit, with its derivative."""
    low = np.sqrt((u + limit) ** 2 + width * width)
    high = np.sqrt((u - limit) ** 2 + width * width)
    return 0.5 * (low - high), 0.5 * ((u + limit) / low - (u - limit) / high)


def faded(u: Real, knee: Real | float) -> tuple[Real, Real]:
    """u / (u^4 + knee^4)^(1/4): an odd step from -1 to 1 about as wide as `knee`, with its derivative."""
    fourth = np.asarray(knee, dtype=float) ** 4
    base = u**4 + fourth
    step: Real = u * base**-0.25
    return step, fourth * base**-1.25


def load_share(v: Real, knee: float) -> tuple[Real, Real]:
    """Share of a constant-current load that flows at v: none below zero, all above about twice the knee."""
    fourth = (np.maximum(v, 0.0) / knee) ** 4
    share = fourth / (1.0 + fourth)
    return share, 4.0 * share * (1.0 - share) / np.maximum(v, 1e-12)


def within_corner(new: Real, old: Real, corner: Real, stop: Real) -> Real:
    """A point that comes back from above `corner` goes no further than `stop` below it."""
    return np.where((old > corner) & (new < stop), stop, new)
