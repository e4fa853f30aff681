"""The cases that a board is computed in: every suspect, each with the same set of tolerance samples.

Particle p of one suspect and particle p of another are the same board but for the fault, and that is as severe in its
own range: a difference between two suspects is never a difference between two draws. Samples are scrambled Sobol
points, so that a few dozen cover tolerances and severities evenly; the seed is part of the result.

References
----------
Sobol points: A. B. Owen, "Scrambled net variance for integrals of smooth functions", Ann. Statist. 25 (1997) 1541,
as implemented in `scipy.stats.qmc`.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping, MutableMapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dustcap.board.model import Board
from dustcap.board.tolerances import Tolerance, groups_of, tolerances, values_at
from dustcap.circuit.elements import LAWS, Circuit, Values
from dustcap.faults.severity import overrides
from dustcap.faults.suspects import Suspect

Floats = NDArray[np.float64]

EDGE = 1e-7  # points keep so far from 0 and 1, in single precision too
MAX_FAULTS = 3
"""Severity draws kept for each case: joint faults of up to three parts."""


def unit_points(particles: int, dimensions: int, seed: int) -> Floats:
    """Points in the unit cube, shape (particles, dimensions), each strictly between 0 and 1."""
    from scipy.stats import qmc

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # a number of points that is no power of two is fine here
        points = qmc.Sobol(dimensions, scramble=True, rng=np.random.default_rng(seed)).random(particles)
    return np.asarray(np.clip(points, 1e-9, 1 - 1e-9), dtype=float)


@dataclass(frozen=True)
class Cases:
    """Suspects times particles, as overrides of element values.

    `points` has shape (particles, groups of tolerances); `severity` has shape (suspects, MAX_FAULTS, particles).
    """

    board: Board
    circuit: Circuit
    suspects: tuple[Suspect, ...]
    spread: tuple[Tolerance, ...]
    points: Floats
    severity: Floats
    own: Mapping[tuple[str, str], float]  # every element's nominal value

    @property
    def particles(self) -> int:
        """Tolerance samples for each suspect."""
        return int(self.points.shape[0])

    def coarse(self, particles: int) -> Cases:
        """The same suspects with the first few samples only."""
        return replace(self, points=self.points[:particles], severity=self.severity[:, :, :particles])

    def of(self, which: Sequence[int], severity: Floats) -> Cases:
        """Some of the suspects with the same samples of the tolerances but severities of their own."""
        return replace(self, suspects=tuple(self.suspects[index] for index in which), severity=severity)

    @cached_property
    def base(self) -> dict[tuple[str, str], Floats]:
        """Values of the board without a fault, shape (particles,)."""
        return {key: np.asarray(value) for key, value in values_at(self.spread, self.points.T).items()}

    def of_suspect(self, index: int, base: Mapping[tuple[str, str], Floats]) -> dict[tuple[str, str], Floats]:
        """What the fault of one suspect overrides, shape (particles,)."""
        suspect = self.suspects[index]
        if not suspect.faults:
            return {}

        def nominal(element: str, value: str) -> float | Floats:
            return base.get((element, value), self.own[element, value])

        changed = overrides(self.board, suspect, self.severity[index, : len(suspect.faults)], nominal)
        return {key: np.broadcast_to(np.asarray(v, dtype=float), (self.particles,)) for key, v in changed.items()}

    def values(self, which: Sequence[int], extra: Values | None = None) -> dict[tuple[str, str], Floats]:
        """Overrides for the cases of some suspects, shape (len(which) x particles,), one suspect after the other."""
        base, p = self.base, self.particles
        stacked = {key: np.tile(value, len(which)) for key, value in base.items()}
        for row, index in enumerate(which):
            for key, value in self.of_suspect(index, base).items():
                if key not in stacked:
                    stacked[key] = np.full(len(which) * p, self.own[key])
                stacked[key][row * p : (row + 1) * p] = value
        for key, number in (extra or {}).items():
            stacked[key] = np.broadcast_to(np.asarray(number, dtype=float), (len(which) * p,)).copy()
        return stacked


def make_cases(
    board: Board,
    circuit: Circuit,
    suspects: Sequence[Suspect],
    *,
    particles: int,
    seed: int,
    store: MutableMapping[str, NDArray[Any]] | None = None,
) -> Cases:
    """The cases of a board: suspects times `particles` tolerance samples, the same for the same seed.

    `store` keeps the points, for the library that draws them is slow to load; it may keep them in single precision.
    """
    spread = tolerances(board)
    groups = len(groups_of(spread))
    kept = {} if store is None else store

    def drawn(columns: int, number: int) -> Floats:
        label = f"points {particles} {columns} {number}"
        if label not in kept:
            kept[label] = unit_points(particles, columns, number)
        points: Floats = np.clip(np.asarray(kept[label], dtype=float), EDGE, 1 - EDGE)
        return points

    # in an order of their own, so that severity and tolerance are unrelated
    severity = drawn(MAX_FAULTS, seed)[np.random.default_rng(seed).permutation(particles)].T
    own = {
        (element.name, value): element.value(value)
        for element in circuit.elements
        for value in LAWS[element.law].values
    }
    severities = np.repeat(severity[None], len(suspects), axis=0)
    return Cases(board, circuit, tuple(suspects), spread, drawn(groups, seed), severities, own)
