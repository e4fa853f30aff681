"""What the rest of a repair costs after each of the best checks: plans over a few hundred particles."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from dustcap.hunt.actions import Costs
from dustcap.hunt.outcomes import Cloud, chances, labels
from dustcap.hunt.planning import Leftover, Table, best_first_tests, first_tests, make_table
from dustcap.hunt.posterior import Posterior
from dustcap.hunt.proposal import Proposal
from dustcap.hunt.stop import repair_cost
from dustcap.hunt.telling import QUICK_BIN
from dustcap.predict.checks import STATES, Check

Floats = NDArray[np.float64]

HEADS, POOL = 6, 14
PLAN_PARTICLES = 400
PLAN_OUTCOMES = 6
PLAN_DEPTH = 2
FEW_SUSPECTS = 12  # the best plan is looked for up to here
SURE = 0.9  # share of a suspect's particles that read alike where its reading counts as certain


def leftover_of(minutes: Floats, unexplained: int, service: float) -> Leftover:
    """Cost of stopping the tests here: repairing by probability over cost, or giving the unit up."""

    def leftover(mass: Floats) -> float:
        return repair_cost(mass[:unexplained], minutes[:unexplained], service, float(mass[unexplained]))

    return leftover


class Ahead:
    """The best few proposals against each other and against acting at once, on a few hundred particles.

    Where few suspects are left and every one of them reads surely enough in every check, the plan is the best there is;
    else greedy from the second check on. The way of the bench from state to state is counted along the whole plan.
    """

    def __init__(
        self,
        cloud: Cloud,
        found: Posterior,
        proposals: Sequence[Proposal],
        units: Mapping[str, str],
        minutes: Floats,
        costs: Costs,
        state: str,
    ) -> None:
        telling = sorted(proposals, key=lambda p: (-p.bits, p.check))
        self.proposals = proposals
        self.pool = list(dict.fromkeys([*proposals[: POOL // 2], *telling[:POOL]]))[:POOL]
        self.heads = np.arange(min(HEADS, len(proposals)))
        picks, mass = _plan_picks(cloud)
        codes = [_code(cloud, found, p.check, units.get(p.check.part, ""), picks, i) for i, p in enumerate(self.pool)]
        self.present, classes = cloud.present, cloud.local[picks]
        prices = np.array([p.check.minutes + costs.reaching(p.check) + p.risk for p in self.pool])
        states = np.array([STATES.index(p.check.state) for p in self.pool])
        moves = np.array([[costs.change(now, then) for then in STATES] for now in STATES])
        weights, self.now = np.full(picks.size, mass / picks.size), STATES.index(state)
        self.table = make_table(weights, np.stack(codes), prices, classes, states, moves)
        suspects = np.where(cloud.group[picks] == cloud.groups.unexplained, -1, cloud.suspect[picks])
        self.certain = _certain(self.table, suspects)
        self.leftover = leftover_of(minutes[self.present], self.present.size - 1, costs.service)

    def ordered(self) -> list[Proposal]:
        """The heads by expected minutes of the whole repair, then the others as they were."""
        if self.certain is not None:
            ahead = best_first_tests(self.certain, self.heads, self.ending, now=self.now)
        else:
            ahead = first_tests(self.table, self.heads, self.ending, PLAN_DEPTH - 1, now=self.now)
        looked = [replace(p, repair=float(a)) for p, a in zip(self.pool, ahead, strict=False)]
        looked.sort(key=lambda p: (p.repair, -p.score))
        return [*looked, *(p for p in self.proposals if p.check not in {q.check for q in looked})]

    def acting(self, lead: int, minutes: float) -> float:
        """Expected minutes when the leading action is taken now, and checks are made only if it was the wrong one."""
        table = self.table
        others = np.flatnonzero(self.present[table.classes] != lead)
        if not others.size:
            return minutes * float(table.mass.sum())
        masses = np.bincount(table.classes[others], table.mass[others], minlength=table.class_count)
        checking = first_tests(table, self.heads, self.ending, PLAN_DEPTH - 1, others, self.now)
        return minutes * float(table.mass.sum()) + min(self.ending(masses.astype(np.float64)), float(checking.min()))

    def ending(self, masses: Floats) -> float:
        """Cost of making no further check."""
        whole = np.zeros(self.present.size)
        whole[: masses.size] = masses
        return self.leftover(whole)


def _certain(table: Table, suspects: NDArray[np.int64]) -> Table | None:
    """The table with one hypothesis a suspect, if there are few and each has one outcome in every check."""
    who, row = np.unique(suspects, return_inverse=True)
    if who.size > FEW_SUSPECTS:
        return None
    width = int(table.outcomes.max()) + 1
    counts = np.stack(
        [np.bincount(row * width + codes, table.mass, who.size * width).reshape(-1, width) for codes in table.outcomes]
    )
    mass = np.bincount(row, table.mass, who.size)
    if np.any(counts.max(axis=2) < SURE * mass):
        return None
    classes = table.classes[np.unique(row, return_index=True)[1]]
    return make_table(mass, counts.argmax(axis=2), table.costs, classes, table.states, table.moves)


def _plan_picks(cloud: Cloud) -> tuple[NDArray[np.int64], float]:
    """A few hundred particles, as many of each suspect as it has mass, and the mass of all.

    What is not in the model is all taken to look healthy: no plan counts on its showing itself and being given up.
    """
    unknown = cloud.group == cloud.groups.unexplained
    mass = np.where(unknown, cloud.mass * (1.0 + cloud.anything / max(cloud.mass[unknown].sum(), 1e-300)), cloud.mass)
    rising = np.cumsum(mass) / mass.sum()
    steps = (np.arange(PLAN_PARTICLES) + 0.5) / PLAN_PARTICLES
    return np.minimum(np.searchsorted(rising, steps), mass.size - 1), float(mass.sum())


def _code(
    cloud: Cloud, found: Posterior, check: Check, unit: str, picks: NDArray[np.int64], number: int
) -> NDArray[np.int64]:
    """One outcome for each picked particle; its blur, and words, fall as a fixed, evenly spread draw decides."""
    draw = np.mod((np.arange(picks.size) + 0.5) * 0.6180339887498949 + number * 0.7548776662466927, 1.0)
    if check.kind in ("listen", "look"):
        rising = np.cumsum(chances(cloud, found.predictions, check)[:, picks], axis=0)
        return np.asarray(np.minimum((rising < draw).sum(axis=0), rising.shape[0] - 1), dtype=np.int64)
    place, variance = (cloud.of(table)[picks] for table in found.predicted(check, unit))
    place = (place + np.sqrt(variance) * ndtri(np.clip(draw, 1e-6, 1 - 1e-6))) / QUICK_BIN
    return np.asarray(labels(np.round(place)[None], np.ones(picks.size), PLAN_OUTCOMES)[0][0])
