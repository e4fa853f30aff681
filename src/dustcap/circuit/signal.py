"""Small signals about an operating point."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dustcap.circuit.branches import Complex
from dustcap.circuit.elements import Circuit
from dustcap.circuit.frozen import solutions
from dustcap.circuit.layout import Real
from dustcap.circuit.linearised import ac_matrix, dc_matrix, injection
from dustcap.circuit.point import OperatingPoint
from dustcap.errors import SolveError


@dataclass(frozen=True, eq=False)
class Response:
    """Complex volts of every net for one volt r.m.s. at a source: `volts` (cases, nets, hz)."""

    circuit: Circuit
    hz: Real
    volts: Complex

    def volt(self, net: str) -> Complex:
        """One net, (cases, hz)."""
        if net == self.circuit.common:
            return np.zeros((len(self.volts), len(self.hz)), dtype=complex)
        if net not in self.circuit.nets:
            raise SolveError(f"there is no net {net!r}.", where="response")
        return self.volts[:, self.circuit.nets.index(net)]


def small_signal(
    circuit: Circuit, point: OperatingPoint, hz: Sequence[float] | Real | float, *, source: str
) -> Response:
    """Response of every net to a source, linear about the operating point.

    Parameters
    ----------
    hz : frequencies, (n,), above zero
    source : name of a source element; it gives 1 V r.m.s., every other source nothing

    Notes
    -----
    Saturated amplifiers pass nothing; rectifiers count with their mean conductance over the mains cycle.

    Raises
    ------
    SolveError
        There is no such source, or a frequency is not positive.
    """
    if circuit is not point.circuit:
        raise SolveError("the operating point is of another circuit.", where="small signal")
    law, number = point.layout.place.get(source, ("", 0))
    if law != "source":
        raise SolveError(f"there is no source {source!r}.", where="small signal")
    grid = np.atleast_1d(np.asarray(hz, dtype=float))
    if not (np.isfinite(grid).all() and (grid > 0).all()):
        raise SolveError("a response is asked for at a frequency that is not positive.", where="small signal")
    nets = len(circuit.nets)
    found = np.zeros((len(point.unknowns), nets, len(grid)), dtype=complex)
    for rows, solved in point.solved.pieces():
        dc, right = dc_matrix(solved), injection(solved, number)
        for column, one in enumerate(grid):
            x = solutions(solved.layout, ac_matrix(solved, dc, float(one)), right[..., None])
            found[rows, :, column] = x[:, :nets, 0]
    return Response(circuit, grid, found)
