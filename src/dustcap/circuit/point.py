"""What an operating point holds and what can be read from it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from dustcap.circuit.assembly import Discrete
from dustcap.circuit.branches import Complex
from dustcap.circuit.elements import LAWS, Circuit
from dustcap.circuit.heat import terminal_amps, watts
from dustcap.circuit.layout import Index, Layout, Real, layout_of
from dustcap.circuit.linearised import Solved
from dustcap.circuit.mains import Waves
from dustcap.circuit.ripple import oscillation, overtones, ripple
from dustcap.circuit.values import Table
from dustcap.errors import SolveError


@dataclass(frozen=True, eq=False)
class OperatingPoint:
    """A solved circuit, one row a case.

    Attributes
    ----------
    unknowns : net voltages, then target outputs of the amplifiers, (cases, size), V
    converged : (cases,); where false the numbers are the last attempt's, not an answer
    state : contacts closed
    waves : the mains cycle of each rectifier
    """

    circuit: Circuit
    table: Table
    unknowns: Real
    converged: NDArray[np.bool_]
    state: Discrete
    waves: list[Waves]

    @property
    def layout(self) -> Layout:
        """The circuit's layout."""
        return layout_of(self.circuit)

    @property
    def volts(self) -> Real:
        """Mean volts of every net in the order of `circuit.nets`, (cases, nets)."""
        return self.unknowns[:, : len(self.layout.nets)]

    def volt(self, net: str) -> Real:
        """Mean volts of one net, (cases,)."""
        if net == self.circuit.common:
            return np.zeros(len(self.unknowns))
        if net not in self.layout.position:
            raise SolveError(f"there is no net {net!r}.", where="operating point")
        return self.unknowns[:, self.layout.position[net]]

    def amps(self, element: str, terminal: str) -> Real:
        """Mean current into a terminal of an element, (cases,), A."""
        law, number = self._place(element)
        names = LAWS[law].nets
        if terminal not in names:
            raise SolveError(f"{element!r} has no terminal {terminal!r}, only {names}.", where="operating point")
        return terminal_amps(self.solved, law, number)[:, names.index(terminal)]

    def watts(self, element: str) -> Real:
        """Mean heat in an element, (cases,), W; without any signal but the supplies."""
        return watts(self.solved, *self._place(element))

    def _place(self, element: str) -> tuple[str, int]:
        if element not in self.layout.place:
            raise SolveError(f"there is no element {element!r}.", where="operating point")
        return self.layout.place[element]

    @cached_property
    def ripple(self) -> Complex:
        """R.m.s. phasors of every net at twice the mains frequency, (cases, nets)."""
        return ripple(self.solved, 2)

    @cached_property
    def ripple_mains(self) -> Complex:
        """R.m.s. phasors of every net at the mains frequency, (cases, nets): what an unbalanced rectifier leaves."""
        return ripple(self.solved, 1)

    @cached_property
    def overtones(self) -> Real:
        """R.m.s. volts of every net above twice the mains frequency, (cases, nets): what a ripple's edges add."""
        return overtones(self.solved)

    @cached_property
    def oscillation(self) -> Real:
        """R.m.s. volts of every net from regulators that oscillate, (cases, nets)."""
        return oscillation(self.solved)

    @cached_property
    def solved(self) -> Solved:
        """What a linearisation needs."""
        return Solved(self.layout, self.table, self.unknowns, self.state, self.waves)

    def take(self, rows: Index) -> OperatingPoint:
        """The point of some of the cases, in that order; rows may repeat."""
        return OperatingPoint(
            self.circuit,
            self.table.take(np.asarray(rows)),
            self.unknowns[rows],
            self.converged[rows],
            self.state.take(rows),
            [waves.pick(rows) for waves in self.waves],
        )
