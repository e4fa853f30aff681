"""What a check can show, as a small table of action against outcome, counted on particles.

Predictions fall into bins about as wide as the check can resolve (meter and model together); each particle is shared
between the two bins it lies between, which is a kernel of about one sigma. Neighbouring bins of little mass are merged,
so that a check has a few dozen outcomes at most.

A table can be counted in two ways. The plain one is quick, and says too much where a suspect's samples lie further
apart than bins: two suspects that cannot be told apart then seem to differ by their draws. The careful one blurs each
prediction as the posterior does and takes off what is left of that error.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log

import numpy as np
from numpy.typing import NDArray

from dustcap.hunt.actions import Groups
from dustcap.hunt.entropy import entropy, information
from dustcap.hunt.evidence import SIGHTINGS
from dustcap.hunt.likelihoods import HALF_KNOWN, HEARD_UNEXPLAINED
from dustcap.hunt.meter import READING, positions, spread_of
from dustcap.hunt.posterior import Posterior
from dustcap.hunt.predictions import Predictions
from dustcap.predict.checks import Check

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

COARSE, FINE = 2048, 4096  # particles that planning can afford for every check, and for the best few
NEGLIGIBLE = 1e-6
QUICK_BIN, CAREFUL_BIN = 2.5, 0.8  # widths in sigma of model and meter together
MAX_OUTCOMES = 24
NODES = np.linspace(-2.4, 2.4, 9)  # of blur, model and meter together, in their sigma
SHARES = np.exp(-0.5 * NODES**2) / np.exp(-0.5 * NODES**2).sum()
PRETENDED = 0.44


@dataclass(frozen=True)
class Cloud:
    """Particles picked for planning: `mass` (n,), their `suspect` and `particle`, and the `group` they call for.

    What is not in the model is there partly as particles of the healthy board, in the last group; the other part,
    `anything`, is spread over all outcomes.
    """

    mass: Floats
    suspect: Ints
    particle: Ints
    group: Ints
    groups: Groups
    anything: float

    @property
    def count(self) -> int:
        """Number of groups."""
        return len(self.groups.actions)

    def of(self, table: Floats) -> Floats:
        """The particles' entries of a table (suspects, particles)."""
        return np.asarray(table[self.suspect, self.particle])


def cloud_of(found: Posterior, groups: Groups, size: int = FINE) -> Cloud:
    """About `size` particles, evenly many of every suspect that still counts, each standing for an even share of it."""
    chance, particles = found.probability, found.predictions.particles
    live = np.flatnonzero(chance > NEGLIGIBLE)
    each = int(np.clip(size // (live.size + 1), 4, max(particles, 4)))
    rows, picked = _pick(found.mass[live], each)
    healthy = found.mass[0] if chance[0] > 0 else np.ones(particles)
    _, odd = _pick(healthy[None], each)
    suspect = np.concatenate([live[rows], np.zeros(each, dtype=np.int64)])
    mass = np.concatenate([chance[live][rows] / each, np.full(each, (1 - HALF_KNOWN) * found.unexplained / each)])
    group = np.concatenate([groups.of[live][rows], np.full(each, groups.unexplained)])
    return Cloud(mass, suspect, np.concatenate([picked, odd]), group, groups, HALF_KNOWN * found.unexplained)


def _pick(mass: Floats, each: int) -> tuple[Ints, Ints]:
    """Systematic picks from each row by mass: row numbers and columns, both of shape (rows x each,)."""
    rising = np.cumsum(mass, axis=1) / mass.sum(axis=1, keepdims=True)
    steps = (np.arange(each) + 0.5) / each
    columns = (rising[:, None, :] < steps[None, :, None]).sum(axis=2)
    rows = np.repeat(np.arange(mass.shape[0]), each)
    return rows, np.minimum(columns.ravel(), mass.shape[1] - 1)


def joint_table(cloud: Cloud, found: Posterior, check: Check, unit: str = "", *, careful: bool = False) -> Floats:
    """Masses of group against outcome, shape (groups, outcomes)."""
    if check.kind in ("listen", "look"):
        return _words(cloud, chances(cloud, found.predictions, check), check.kind == "listen")
    if careful:
        joint = _carefully(cloud, *found.predicted(check, unit))
    else:
        place = positions(cloud.of(found.readings(check)), spread_of(check, unit)) / QUICK_BIN
        joint = _count(cloud, place, cloud.mass, cloud.group)
    joint[cloud.groups.unexplained] += cloud.anything / joint.shape[1]
    return joint


def pretended(cloud: Cloud, quick: Floats) -> float:
    """Bits that a careful table shows where there are none, because its particles are few; from the quick table.

    The textbook error of a histogram of k cells and n draws, (k - 1) / 2n natural units, is too large for blurred
    counts; the factor was fitted by us on tables of suspects with equal predictions, narrow and wide, of 6 to 64 draws,
    and leaves 0.05 bits at most on average. Two cells are what a single value falls into, and count as one.

    References
    ----------
    G. A. Miller, "Note on the bias of information estimates", in Information Theory in Psychology (1955) (from memory).
    """
    own = np.bincount(cloud.group, np.square(cloud.mass), minlength=cloud.count)
    mass = np.bincount(cloud.group, cloud.mass, minlength=cloud.count)
    draws = np.where(own > 0, mass**2 / np.where(own > 0, own, 1.0), 1.0)
    error = np.maximum(2.0 ** entropy(quick) - 2.0, 0.0) / (2.0 * draws * log(2.0))
    return PRETENDED * float(np.sum(mass * error) / max(quick.sum(), 1e-300))


def bits(cloud: Cloud, found: Posterior, check: Check, unit: str = "", *, careful: bool = True) -> float:
    """Information of a check about the action called for; without care an upper bound, quickly."""
    quick = joint_table(cloud, found, check, unit)
    if not careful or check.kind in ("listen", "look"):
        return float(information(quick))
    told = float(information(joint_table(cloud, found, check, unit, careful=True)))
    return max(told - pretended(cloud, quick), 0.0)


def chances(cloud: Cloud, predictions: Predictions, check: Check) -> Floats:
    """Probability of each outcome of a look or a listen for each particle, shape (outcomes, n)."""
    shape = (len(predictions.suspects), predictions.particles)
    if check.kind == "listen":
        yes = cloud.of(np.broadcast_to(predictions.heard(check.word, check.part or check.at), shape))
        return np.stack([yes, 1.0 - yes])
    words = (check.word,) if check.word else SIGHTINGS
    rows = [np.asarray(predictions.seen(check.part, word), dtype=float)[cloud.suspect] for word in words]
    rest = np.maximum(1.0 - np.sum(rows, axis=0), 0.0)
    table = np.stack([*rows, rest])
    return np.asarray(table / np.maximum(table.sum(axis=0), 1e-300))


def labels(place: Floats, mass: Floats, most: int) -> tuple[Ints, Ints, Floats]:
    """Outcome numbers of the two bins each particle lies between, and the share of the upper one.

    Outcomes 0 and 1 are "none can be taken" and "over range". Fine bins are merged, in order, until there are at most
    `most`, and only if there are more; a bin that holds much stays on its own.
    """
    shown = np.isfinite(place)
    safe = np.where(shown, place, 0.0)
    low = np.floor(safe)
    share = np.where(shown, safe - low, 0.0)
    first = low[shown].min() if shown.any() else 0.0
    fine = np.where(shown, low - first + 2.0, np.where(np.isnan(place), 0.0, 1.0)).astype(np.int64)
    upper = np.where(shown, fine + 1, fine)
    total = np.bincount(fine, mass * (1 - share), minlength=max(int(upper.max()) + 1, 2))
    total += np.bincount(upper, mass * share, minlength=total.size)
    if np.count_nonzero(total[2:]) <= most:
        step = np.concatenate([[-2, -1], np.cumsum(total[2:] > 0, dtype=np.int64)])
    else:
        middle = np.cumsum(total) - 0.5 * total
        step = np.floor(middle / max(total.sum(), 1e-300) * most * (1 - 1e-12)).astype(np.int64)
        step[:2] = (-2, -1)
    merged = np.cumsum(np.diff(step, prepend=-2) > 0, dtype=np.int64)
    return merged[fine], merged[upper], share


def _carefully(cloud: Cloud, place: Floats, variance: Floats) -> Floats:
    """Each particle spread over what it could read, by its own variance and that of model and meter."""
    sigma = np.sqrt(READING + cloud.of(variance))
    fine = (cloud.of(place)[:, None] + sigma[:, None] * NODES).ravel() / CAREFUL_BIN
    return _count(cloud, fine, (cloud.mass[:, None] * SHARES).ravel(), np.repeat(cloud.group, NODES.size))


def _count(cloud: Cloud, place: Floats, mass: Floats, group: Ints) -> Floats:
    lower, upper, share = labels(place, mass, MAX_OUTCOMES)
    width = int(upper.max()) + 1
    joint = np.bincount(group * width + lower, mass * (1 - share), minlength=cloud.count * width)
    joint += np.bincount(group * width + upper, mass * share, minlength=joint.size)
    return np.asarray(joint.reshape(cloud.count, width))


def _words(cloud: Cloud, chance: Floats, heard: bool) -> Floats:
    """Words of a look fall on an undescribed board as on the healthy one; complaints as the posterior has it."""
    rows = [np.bincount(cloud.group, cloud.mass * row, minlength=cloud.count) for row in chance]
    joint = np.stack(rows, axis=1).astype(np.float64)
    odd = joint[cloud.groups.unexplained]
    share = np.array([HEARD_UNEXPLAINED, 1 - HEARD_UNEXPLAINED]) if heard else odd / max(odd.sum(), 1e-300)
    joint[cloud.groups.unexplained] = (odd.sum() + cloud.anything) * share
    return joint
