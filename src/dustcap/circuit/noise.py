"""Noise at a net: its spectral density, each part's share of it and its sum over a band.

One adjoint solution a frequency gives the transfer from every place in the circuit to the net (Rohrer, Nagel, Meyer &
Weber 1971, from memory), so that the cost does not grow with the number of noisy parts.

| symbol | unit | meaning |
| --- | --- | --- |
| 4 kT Re Y | A^2/Hz | current noise of a passive two-terminal at temperature T (Nyquist 1928, from memory) |
| en, in | V/rtHz, A/rtHz | an amplifier's voltage noise and the current noise of each of its inputs |
| w | ohm, 1 | adjoint solution: volts at the net for one ampere into each unknown's row |

Noisy are amplifiers, and resistances at 25 degC wherever they are: leakage, series resistance of capacitors and coils,
drivers, supplies, contacts. Shot noise of junctions and the noise of regulators, zener diodes and modules are not in
the model, nor are windings, whose noise the rectifier chops.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dustcap.circuit.branches import BranchList, Complex, ac_admittances
from dustcap.circuit.elements import Circuit
from dustcap.circuit.frozen import solutions
from dustcap.circuit.layout import Index, Layout, Real
from dustcap.circuit.linearised import Solved, ac_matrix, dc_matrix
from dustcap.circuit.point import OperatingPoint
from dustcap.circuit.values import THERMAL_V
from dustcap.errors import SolveError

FOUR_KT = 4.0 * THERMAL_V * 1.602176634e-19
"""4 k T at 25 degC, W/Hz (SI constants, exact since 2019)."""


@dataclass(frozen=True, eq=False)
class Noise:
    """Noise of one net.

    Attributes
    ----------
    hz : frequencies, (n,)
    total : spectral density, (cases, n), V/rtHz
    parts : names of the parts that make noise; an element that belongs to no part goes by its own name
    shares : what each part adds to the square of `total`, (cases, parts, n), V^2/Hz
    """

    hz: Real
    total: Real
    parts: tuple[str, ...]
    shares: Real

    def share(self, part: str) -> Real:
        """What one part adds to the square of `total`, (cases, n), V^2/Hz."""
        if part not in self.parts:
            raise SolveError(f"{part!r} makes no noise.", where="noise")
        return self.shares[:, self.parts.index(part)]

    def volts(self, low_hz: float, high_hz: float) -> Real:
        """R.m.s. volts in a band within the frequencies that were asked for, (cases,).

        Between two frequencies the density counts as a power of the frequency.

        Raises
        ------
        SolveError
            The band is empty or reaches beyond the frequencies.
        """
        if not self.hz[0] <= low_hz < high_hz <= self.hz[-1]:
            raise SolveError(
                f"the band {low_hz:g} to {high_hz:g} Hz is not within {self.hz[0]:g} to {self.hz[-1]:g} Hz.",
                where="noise",
            )
        inside = self.hz[(self.hz > low_hz) & (self.hz < high_hz)]
        x = np.log(np.concatenate([[low_hz], inside, [high_hz]]))
        tiny = np.finfo(float).tiny
        y = np.stack([np.interp(x, np.log(self.hz), np.log(np.maximum(row, tiny))) for row in self.total**2]) + x
        step, rise = np.diff(x), np.diff(y, axis=1)
        # integral of exp(y) over x where y is straight: exp(y0) (exp(rise) - 1) / rise
        flat = np.abs(rise) < 1e-9
        mean = np.where(flat, 1.0, np.expm1(rise) / np.where(flat, 1.0, rise))
        return np.asarray(np.sqrt((np.exp(y[:, :-1]) * mean * step).sum(axis=1)))


def noise(circuit: Circuit, point: OperatingPoint, hz: Sequence[float] | Real | float, net: str) -> Noise:
    """Noise of a net against common about an operating point.

    Parameters
    ----------
    hz : frequencies, (n,), above zero and rising

    Raises
    ------
    SolveError
        The point is of another circuit, there is no such net, or the frequencies are not positive and rising.
    """
    return noise_of_nets(circuit, point, hz, (net,))[net]


def noise_of_nets(
    circuit: Circuit, point: OperatingPoint, hz: Sequence[float] | Real | float, nets: Sequence[str]
) -> dict[str, Noise]:
    """The same for several nets, whose equations are solved together."""
    grid = np.atleast_1d(np.asarray(hz, dtype=float))
    for net in nets:
        _check(circuit, point, grid, net)
    layout = point.layout
    sources = _Sources(layout)
    shares = np.zeros((len(nets), len(point.unknowns), len(sources.parts), len(grid)))
    for rows, solved in point.solved.pieces():
        dc = dc_matrix(solved)
        right = np.zeros((len(rows), layout.size, len(nets)))
        right[:, [layout.position[net] for net in nets], np.arange(len(nets))] = 1.0
        for column, one in enumerate(grid):
            matrix = ac_matrix(solved, dc, float(one))
            w: Complex = solutions(layout, matrix.transpose(0, 2, 1), right)
            for number in range(len(nets)):
                shares[number, rows, :, column] = sources.shares(solved, w[..., number], float(one))
    return {
        net: Noise(grid, np.sqrt(its.sum(axis=1)), sources.parts, its) for net, its in zip(nets, shares, strict=True)
    }


def _check(circuit: Circuit, point: OperatingPoint, grid: Real, net: str) -> None:
    if circuit is not point.circuit:
        raise SolveError("the operating point is of another circuit.", where="noise")
    if net not in point.layout.position:
        raise SolveError(f"there is no net {net!r}.", where="noise")
    if not (np.isfinite(grid).all() and (grid > 0).all() and (np.diff(grid) > 0).all()):
        raise SolveError("noise is asked for at frequencies that are not positive and rising.", where="noise")


class _Sources:
    """Every noise source of a circuit: first the branches, then voltage noise and both current noises of amplifiers."""

    def __init__(self, layout: Layout) -> None:
        self._branches = BranchList.of(layout)
        owners = [*self._branches.owners, *([("amplifier", layout.count("amplifier"))] * 3)]
        names = [element.part or element.name for law, _ in owners for element in layout.elements.get(law, ())]
        self.parts = tuple(dict.fromkeys(names))
        place = {part: number for number, part in enumerate(self.parts)}
        self._belongs = np.zeros((len(names), len(self.parts)))
        self._belongs[np.arange(len(names)), [place[name] for name in names]] = 1.0

    def shares(self, solved: Solved, w: Complex, hz: float) -> Real:
        """Each part's share of the noise power, (cases, parts), from the adjoint solution w (cases, size)."""
        layout, table = solved.layout, solved.table
        y = ac_admittances(layout, table, solved.state.closed, hz)
        across = _at(w, self._branches.a) - _at(w, self._branches.b)
        thermal = FOUR_KT * np.concatenate([np.broadcast_to(part.real, (len(w), part.shape[1])) for part in y], axis=1)
        power = [thermal * np.abs(across) ** 2]
        if layout.count("amplifier"):
            sense = 1.0 - np.abs(np.clip(table.get("amplifier", "force"), -1.0, 1.0))
            power.append(np.abs(w[:, layout.targets] * sense * table.get("amplifier", "noise_v")) ** 2)
            for pin in ("plus", "minus"):
                reached = _at(w, layout.at("amplifier", pin))
                power.append(np.abs(reached * table.get("amplifier", "noise_a")) ** 2)
        return np.concatenate(power, axis=1) @ self._belongs


def _at(w: Complex, places: Index) -> Complex:
    picked: Complex = np.where(places >= 0, w[:, places], 0.0)
    return picked
