"""What checks can show: particles picked for planning, and the outcomes that they fall into.

Predictions fall into bins about as wide as the check can resolve (meter and model together); each particle is shared
between the two bins it lies between, which is a kernel of about one sigma. Neighbouring bins of little mass are merged,
so that a check has a few dozen outcomes at most.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dustcap.hunt.actions import Groups
from dustcap.hunt.evidence import SIGHTINGS
from dustcap.hunt.likelihoods import HALF_KNOWN
from dustcap.hunt.memory import heard
from dustcap.hunt.posterior import Posterior
from dustcap.hunt.predictions import Predictions
from dustcap.predict.checks import Check

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

COARSE, FINE = 640, 2048  # particles that planning can afford for every check, and for the best few
TAIL, QUICK_TAIL = (
    0.02,
    0.05,
)  # shares of the faults' mass, of the least likely ones, that no plan and no first look see
FARTHEST = 1 << 14  # bins from the lowest reading, all beyond in one: no part of a decision, but of the memory
FEWEST = 2  # particles of a suspect where there are many suspects


@dataclass(frozen=True)
class Cloud:
    """Particles picked for planning: `mass` (n,), their `suspect` and `particle`, and the `group` they call for.

    What is not in the model is there partly as particles of the healthy board, in the last group; the other part,
    `anything`, is spread over all outcomes. `present` are the groups that have particles, and `local` is the place of
    each particle's group among them; the last one is what is not in the model.
    """

    mass: Floats
    suspect: Ints
    particle: Ints
    group: Ints
    groups: Groups
    anything: float
    present: Ints
    local: Ints

    @property
    def count(self) -> int:
        """Number of groups."""
        return len(self.groups.actions)

    def of(self, table: Floats) -> Floats:
        """The particles' entries of a table (suspects, particles)."""
        return np.asarray(table[self.suspect, self.particle])


def cloud_of(found: Posterior, groups: Groups, size: int = FINE, tail: float = TAIL) -> Cloud:
    """About `size` particles, evenly many of every suspect that still counts, each standing for an even share of it.

    Faults count from the likeliest on until all but the `tail` of their mass is there.
    """
    chance, particles = found.probability, found.predictions.particles
    order = 1 + np.argsort(-chance[1:], kind="stable")
    rising = np.cumsum(chance[order])
    many = 1 + int(np.searchsorted(rising, (1.0 - tail) * rising[-1])) if order.size else 0
    live = np.sort([0, *order[:many]])
    live = live[chance[live] > 0]
    each = int(np.clip(size // (live.size + 1), FEWEST, max(particles, 4)))
    rows, picked = _pick(found.mass[live], each)
    healthy = found.mass[0] if chance[0] > 0 else np.ones(particles)
    _, odd = _pick(healthy[None], each)
    suspect = np.concatenate([live[rows], np.zeros(each, dtype=np.int64)])
    mass = np.concatenate([chance[live][rows] / each, np.full(each, (1 - HALF_KNOWN) * found.unexplained / each)])
    group = np.concatenate([groups.of[live][rows], np.full(each, groups.unexplained)])
    present, local = np.unique(group, return_inverse=True)
    anything = HALF_KNOWN * found.unexplained
    return Cloud(mass, suspect, np.concatenate([picked, odd]), group, groups, anything, present, local)


def only_faults(cloud: Cloud) -> Cloud:
    """The same with nothing in the first group and in the last: what a check tells of the others among themselves."""
    others = (cloud.group > 0) & (cloud.group < cloud.groups.unexplained)
    return replace(cloud, mass=np.where(others, cloud.mass, 0.0), anything=0.0)


def _pick(mass: Floats, each: int) -> tuple[Ints, Ints]:
    """Systematic picks from each row by mass: row numbers and columns, both of shape (rows x each,)."""
    rising = np.cumsum(mass, axis=1) / mass.sum(axis=1, keepdims=True)
    steps = (np.arange(each) + 0.5) / each
    columns = (rising[:, None, :] < steps[None, :, None]).sum(axis=2)
    rows = np.repeat(np.arange(mass.shape[0]), each)
    return rows, np.minimum(columns.ravel(), mass.shape[1] - 1)


def chances(cloud: Cloud, predictions: Predictions, check: Check) -> Floats:
    """Probability of each outcome of a look or a listen for each particle, shape (outcomes, n)."""
    if check.kind == "listen":
        yes = cloud.of(heard(predictions, check.word, check.part or check.at))
        return np.stack([yes, 1.0 - yes])
    words = (check.word,) if check.word else SIGHTINGS
    rows = [np.asarray(predictions.seen(check.part, word), dtype=float)[cloud.suspect] for word in words]
    rest = np.maximum(1.0 - np.sum(rows, axis=0), 0.0)
    table = np.stack([*rows, rest])
    return np.asarray(table / np.maximum(table.sum(axis=0), 1e-300))


def labels(
    place: NDArray[np.floating[Any]], mass: Floats, most: int, *, shared: bool = True
) -> tuple[Ints, Ints, Floats]:
    """Outcome numbers of the two bins each particle lies between and the share of the upper one, each (checks, n).

    `place` (checks, n) counts in bins; `mass` (n,). Outcomes 0 and 1 are "none can be taken" and "over range". Fine
    bins are merged, in order, until there are at most `most`, and only if there are more; a bin that holds much stays
    on its own. Without `shared` every particle falls into the one bin below it.
    """
    shown = np.isfinite(place)
    low = np.floor(np.where(shown, place, 0.0))
    first = np.where(shown, low, np.inf).min(axis=1, keepdims=True)
    first = np.where(np.isfinite(first), first, 0.0)
    fine = np.where(shown, np.minimum(low - first, FARTHEST) + 2.0, np.where(np.isnan(place), 0.0, 1.0)).astype(
        np.int64
    )
    share = np.where(shown, place - low, 0.0) if shared else np.zeros(1)
    upper = np.where(shown, fine + 1, fine) if shared else fine
    width = max(int(upper.max()) + 1, 2)
    total = per_row(fine, width, mass * (1.0 - share))
    if shared:
        total += per_row(upper, width, mass * share)
    middle = np.cumsum(total, axis=1) - 0.5 * total
    step = np.floor(middle / np.maximum(total.sum(axis=1, keepdims=True), 1e-300) * most * (1 - 1e-12)).astype(np.int64)
    there = total[:, 2:] > 0
    few = there.sum(axis=1) <= most
    step[few, 2:] = np.cumsum(there[few], axis=1, dtype=np.int64)
    step[:, :2] = (-2, -1)
    merged = np.cumsum(np.diff(step, prepend=-2, axis=1) > 0, axis=1, dtype=np.int64)
    lower = np.take_along_axis(merged, fine, axis=1)
    return lower, np.take_along_axis(merged, upper, axis=1) if shared else lower, np.broadcast_to(share, fine.shape)


def per_row(number: Ints, width: int, mass: Floats) -> Floats:
    """Mass on each number below `width`, row by row: (rows, n) -> (rows, width)."""
    rows = number.shape[0]
    flat = (number + width * np.arange(rows)[:, None]).ravel()
    weights = np.broadcast_to(mass, number.shape).ravel()
    return np.bincount(flat, weights, minlength=rows * width).astype(np.float64).reshape(rows, width)
