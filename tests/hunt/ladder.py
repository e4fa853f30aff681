"""A ladder of resistors with faults and a glued area, as a source of predictions: solved here, in a few lines.

24 V feed a chain of resistors with one resistor to the common net at each joint. The last net drives a loudspeaker
that pushes its cone out beyond 6 V. Nothing of the product's solver is in it.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
from scipy.stats import norm

from dustcap.faults.suspects import Leak, PartFault, Suspect
from dustcap.hunt.known import Known
from dustcap.predict.checks import Check

NETS = ("rail", "n1", "n2", "n3", "n4")
PARTS = {
    "R1": ("rail", "n1", 1e3),
    "R2": ("n1", "0V", 2.2e3),
    "R3": ("n1", "n2", 4.7e3),
    "R4": ("n2", "0V", 10e3),
    "R5": ("n2", "n3", 22e3),
    "R6": ("n3", "0V", 33e3),
    "R7": ("n3", "n4", 47e3),
    "R8": ("n4", "0V", 100e3),
}
LEAKS = tuple(combinations(("rail", "n2", "n4"), 2))
NAMES = (*PARTS, *LEAKS)
SUPPLY_OHM = 1.0
WIDTH = 0.05
KNOWN = Known(
    nets=frozenset((*NETS, "0V")),
    parts=dict.fromkeys(PARTS, "ohm"),
    areas=frozenset({"glue"}),
    drivers={"woofer": "LS1", "LS1": "LS1"},
)


def all_suspects() -> tuple[Suspect, ...]:
    """Healthy, every part in three modes, every leak of the area."""
    modes = ("open", "drifted high", "short")
    parts = [Suspect((PartFault(name, mode),)) for name in PARTS for mode in modes]
    return (Suspect(()), *parts, *(Suspect((Leak(a, b, "glue"),)) for a, b in LEAKS))


def tolerances(shape: tuple[int, ...], rng) -> np.ndarray:
    """Ohms of every part and (absent) leak of healthy units, shape (*shape, names)."""
    nominal = np.array([*(ohm for _, _, ohm in PARTS.values()), *([1e15] * len(LEAKS))])
    return nominal * (1.0 + rng.uniform(-0.05, 0.05, (*shape, len(NAMES))))


def failed(ohms: np.ndarray, suspect: Suspect, u: np.ndarray) -> np.ndarray:
    """The same with the suspect's faults, of severity `u` from 0 to 1, shape (*shape,)."""
    ohms = ohms.copy()
    for fault in suspect.faults:
        if isinstance(fault, Leak):
            ohms[..., NAMES.index((fault.a, fault.b))] = 1e3 * 1e5**u
            continue
        factor = {"open": 1e9, "short": 1e-5, "drifted high": 1.3 * (10 / 1.3) ** u}[fault.mode]
        ohms[..., NAMES.index(fault.part)] *= factor
    return ohms


def conductances(ohms: np.ndarray) -> np.ndarray:
    """Nodal matrices of the unpowered ladder, shape (..., nets, nets)."""
    matrix = np.zeros((*ohms.shape[:-1], len(NETS), len(NETS)))
    matrix += 1e-12 * np.eye(len(NETS))
    for column, name in enumerate(NAMES):
        a, b = PARTS[name][:2] if isinstance(name, str) else name
        g = 1.0 / ohms[..., column]
        for one, other in ((a, b), (b, a)):
            if one != "0V":
                i = NETS.index(one)
                matrix[..., i, i] += g
                if other != "0V":
                    matrix[..., i, NETS.index(other)] -= g
    return matrix


def read_all(ohms: np.ndarray, check: Check) -> np.ndarray:
    """What the check reads for each set of ohms, shape (...,)."""
    if check.kind == "lifted":
        value = ohms[..., NAMES.index(check.part)]
        return np.where(value > 50e6, np.inf, value)
    matrix = conductances(ohms)
    leads = np.array([float(net == check.at) - float(net == check.against) for net in NETS])
    if check.kind == "ohms":
        right = np.broadcast_to(leads[:, None], (*matrix.shape[:-1], 1))
        value = (np.linalg.solve(matrix, right)[..., 0] * leads).sum(axis=-1)
        return np.where(value > 50e6, np.inf, value)
    matrix = matrix.copy()
    matrix[..., 0, 0] += 1.0 / SUPPLY_OHM
    right = np.zeros((*matrix.shape[:-1], 1))
    right[..., 0, 0] = 24.0 / SUPPLY_OHM
    return (np.linalg.solve(matrix, right)[..., 0] * leads).sum(axis=-1)


@dataclass
class Ladder:
    """The source of predictions; `factor` multiplies the prior of suspects by their words."""

    particles: int = 64
    seed: int = 1
    unexplained: float = 0.02
    suspects: tuple[Suspect, ...] = field(default_factory=all_suspects)

    def __post_init__(self) -> None:
        rng = np.random.default_rng(self.seed)
        self.healthy = tolerances((self.particles,), rng)
        self.use(rng.random((len(self.suspects), self.particles)), np.ones((len(self.suspects), self.particles)))
        weights = np.array([5.0 if isinstance(s.faults[0], Leak) else 1.0 for s in self.suspects[1:]])
        self.prior = np.concatenate([[0.1], (0.9 - self.unexplained) * weights / weights.sum()])

    def use(self, u: np.ndarray, shares: np.ndarray) -> None:
        """Take these severities, shape (suspects, particles), and shares of the prior mass."""
        self.u, self.shares = u, shares
        self.ohms = np.stack([failed(self.healthy, s, row) for s, row in zip(self.suspects, u, strict=True)])
        self.kept: dict[Check, np.ndarray] = {}

    def renewed(self, which, weights, rng) -> Ladder:
        """Half of the new severities from near the survivors, half from anywhere; the shares undo that."""
        u, shares = self.u.copy(), self.shares.copy()
        for i in which:
            parents = self.u[i][rng.choice(self.particles, self.particles, p=weights[i])]
            near = 1 - np.abs(1 - np.abs(parents + WIDTH * rng.standard_normal(self.particles)) % 2)
            u[i] = np.where(rng.random(self.particles) < 0.5, near, rng.random(self.particles))
            images = (self.u[i], -self.u[i], 2 - self.u[i])
            density = sum(norm.pdf(u[i][:, None], image, WIDTH) @ weights[i] for image in images)
            shares[i] = 1 / (0.5 + 0.5 * density)
            shares[i] /= shares[i].mean()
        fresh = copy(self)
        fresh.use(u, shares)
        return fresh

    def readings(self, check: Check) -> np.ndarray:
        if check not in self.kept:
            self.kept[check] = read_all(self.ohms, check)
        return self.kept[check]

    def severities(self) -> np.ndarray:
        found = np.full(self.ohms.shape[:2], np.nan)
        for i, suspect in enumerate(self.suspects):
            for fault in suspect.faults:
                if isinstance(fault, Leak):
                    found[i] = self.ohms[i, :, NAMES.index((fault.a, fault.b))]
        return found

    def candidates(self) -> tuple[Check, ...]:
        volts = [Check("dc volts", net, "0V") for net in NETS]
        pairs = [Check("ohms", a, b) for a, b in combinations((*NETS, "0V"), 2)]
        return (*volts, *pairs, *(Check("lifted", part=name) for name in PARTS))

    def heard(self, complaint: str, driver: str) -> np.ndarray:
        if complaint != "cone pushed out":
            return np.full(self.ohms.shape[:2], 0.02)
        return cone(self.readings(Check("dc volts", "n4", "0V")))

    def seen(self, target: str, word: str) -> np.ndarray:
        chance = np.full(len(self.suspects), 0.02)
        for i, suspect in enumerate(self.suspects):
            if any(getattr(fault, "part", "") == target for fault in suspect.faults):
                chance[i] = 0.4
        return chance


def cone(volts: np.ndarray) -> np.ndarray:
    """Probability that the cone is reported as pushed out."""
    return 0.02 + 0.96 / (1.0 + np.exp(-(np.abs(volts) - 9.0) / 0.3))
