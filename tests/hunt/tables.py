"""A source of predictions out of plain tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from dustcap.faults.suspects import Leak, PartFault, Suspect
from dustcap.predict.checks import Check

HEALTHY = Suspect(())


def part(name: str, mode: str = "open") -> Suspect:
    return Suspect((PartFault(name, mode),))


def leak(a: str, b: str, area: str = "glue") -> Suspect:
    return Suspect((Leak(a, b, area),))


@dataclass
class Tables:
    """`rows`: check -> (suspects, particles); `hears`: (complaint, driver) -> the same; `sees` -> (suspects,)."""

    suspects: Sequence[Suspect]
    prior: np.ndarray
    rows: Mapping[Check, np.ndarray]
    hears: Mapping[tuple[str, str], np.ndarray] = field(default_factory=dict)
    sees: Mapping[tuple[str, str], np.ndarray] = field(default_factory=dict)
    ohms: np.ndarray | None = None

    @property
    def particles(self) -> int:
        return next(iter(self.rows.values())).shape[1]

    def readings(self, check: Check) -> np.ndarray:
        return self.rows[check]

    def severities(self) -> np.ndarray:
        return np.full((len(self.suspects), self.particles), np.nan) if self.ohms is None else self.ohms

    def candidates(self) -> tuple[Check, ...]:
        return tuple(self.rows)

    def heard(self, complaint: str, driver: str) -> np.ndarray:
        return self.hears.get((complaint, driver), np.full((len(self.suspects), self.particles), 0.02))

    def seen(self, target: str, word: str) -> np.ndarray:
        return self.sees.get((target, word), np.full(len(self.suspects), 0.05))


def flat(*values: float, particles: int = 4) -> np.ndarray:
    """One value for every particle of each suspect."""
    return np.repeat(np.array(values, dtype=float)[:, None], particles, axis=1)
