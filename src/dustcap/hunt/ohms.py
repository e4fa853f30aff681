r"""How many ohms a leak has, after all that was read.

A leak is one branch more in an unplugged network that is linear. With what the healthy board reads between four nets,

.. math:: R'_{xy} = R_{xy} - T^2 / (R + R_{ab}), \quad T = (R_{xb} + R_{ya} - R_{xa} - R_{yb}) / 2

for leads on x and y and R between a and b (R in series, where nothing else joins them), so the likelihood of every
reading of ohms is known for any R on any sample of the tolerances. Where enough of those samples fit, the bounds are
those of R over all of them; what else was read hardly bears on R. Elsewhere they come out of the kernels of the
suspect's few particles, which are wider than need be.

References
----------
C. A. Desoer, E. S. Kuh, Basic Circuit Theory (1969): reciprocity and the equivalent seen from a port (from memory).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import log

import numpy as np
from numpy.typing import NDArray

from dustcap.faults.effects import LEAK_OHM
from dustcap.faults.suspects import Leak
from dustcap.hunt.circumstances import plain
from dustcap.hunt.evidence import Evidence, Reading
from dustcap.hunt.likelihoods import of_reading
from dustcap.hunt.meter import BLUNDER, DOUBT, SPREADS, positions
from dustcap.hunt.posterior import Posterior
from dustcap.hunt.predictions import ManyLeaks, Metering, Predictions

Floats = NDArray[np.float64]

NODES = np.linspace(-2.4, 2.4, 7)  # of blur, model and meter together, in their sigma
SHARES = np.exp(-0.5 * NODES**2) / np.exp(-0.5 * NODES**2).sum()
EXACTLY, LIKELY = 2, 0.02  # leaks looked at closely, and the probability that they have to have: choices of ours
STEPS, ROUNDS = 33, 6  # of the grid, and times that it is laid anew at most: choices of ours
CLOSE = replace(SPREADS["ohms"], relative=0.007)
"""The model's error where the samples are many and have the tolerances; chosen by us on simulated games (0034)."""
FEWEST = 4.0  # samples of the tolerances that have to count: a choice of ours
WIDE, BEYOND = 0.15, 1e-3  # share of the grid that the bounds fill, and of the weight on its ends: choices of ours


@dataclass(frozen=True, slots=True)
class Range:
    """Bounds of 90 % and the middle of a value; inf: over range."""

    low: float
    median: float
    high: float


def ohms_told(
    found: Posterior, listed: Sequence[int], evidence: Evidence | None = None
) -> dict[int, tuple[Range | None, ...]]:
    """For each suspect with a leak: the bounds of 90 % of each of its leaks' ohms, None for what is no leak.

    The logarithm of the ohms is taken through the readings as one more of them would be, so that a leak is told more
    finely than its particles lie apart; the likeliest leaks by themselves are looked at closely.
    """
    suspects = found.predictions.suspects
    leaky = [i for i in listed if any(isinstance(fault, Leak) for fault in suspects[i].faults)]
    rows = {i: np.log(_ohms(found.predictions, i)) for i in leaky}
    ranges: dict[int, list[Range | None]] = {i: [None] * len(suspects[i].faults) for i in leaky}
    for fault in range(max((len(row) for row in rows.values()), default=0)):
        table = np.full((len(suspects), found.predictions.particles), np.nan)
        for i in leaky:
            if fault < len(rows[i]):
                table[i] = rows[i][fault]
        middle, variance = found.told(table, centred=True)
        for i in leaky:
            if fault < len(rows[i]) and np.isfinite(rows[i][fault]).any():
                spread = middle[i][:, None] + np.sqrt(variance[i])[:, None] * NODES
                bounds = (
                    np.nanmin(rows[i][fault], initial=log(LEAK_OHM[0])),
                    np.nanmax(rows[i][fault], initial=log(LEAK_OHM[1])),
                )
                ranges[i][fault] = range_of(
                    np.exp(np.clip(spread, *bounds)).ravel(), (found.weights(i)[:, None] * SHARES).ravel()
                )
    likely = sorted((i for i in leaky if found.probability[i] > LIKELY), key=lambda i: -found.probability[i])
    if evidence is not None:
        for i in likely[:EXACTLY]:
            about = ranges[i][0]
            ranges[i][0] = (about and _exactly(found, i, evidence, about)) or about
    return {i: tuple(found_here) for i, found_here in ranges.items()}


def _ohms(predictions: Predictions, suspect: int) -> Floats:
    """Ohms of each fault of a suspect that is a leak, shape (faults, particles)."""
    if isinstance(predictions, ManyLeaks):
        return predictions.severities_of(suspect)
    row = predictions.severities()[suspect]
    return np.broadcast_to(row, (len(predictions.suspects[suspect].faults), row.size))


def _exactly(found: Posterior, suspect: int, evidence: Evidence, about: Range) -> Range | None:
    """The bounds out of what was read of ohms since the last work; None where that does not tell."""
    faults, source = found.predictions.suspects[suspect].faults, plain(found.predictions)
    leak = faults[0]
    if len(faults) != 1 or not isinstance(leak, Leak) or not isinstance(source, Metering) or evidence.twin:
        return None
    if any(work.did == "removed" for work in evidence.work):
        return None
    read = [e for e in evidence.since_work if isinstance(e, Reading) and e.check.kind == "ohms"]
    times = Counter(entry.key for entry in read)
    seen = [(entry, source.beside_a_leak(entry.check, leak.a, leak.b)) for entry in read]
    known = [(entry, 1.0 / times[entry.key], ohms) for entry, ohms in seen if ohms is not None]
    if not known:
        return None
    least, most = log(LEAK_OHM[0]), log(LEAK_OHM[1])
    low, high = log(about.low), log(about.high)
    for _ in range(ROUNDS):
        wide = max(high - low, 0.02)
        grid = np.linspace(max(low - wide, least), min(high + wide, most), STEPS)
        weight = _weights(known, grid)
        rising = np.cumsum(weight.sum(axis=0)) - 0.5 * weight.sum(axis=0)
        inner = np.interp([0.05, 0.5, 0.95], rising, grid)
        if inner[2] - inner[0] > WIDE * (grid[-1] - grid[0]) and _inside(weight, grid, least, most):
            each = weight.sum(axis=1)
            return Range(*np.exp(inner).tolist()) if 1.0 / np.square(each).sum() >= FEWEST else None
        low, high = float(inner[0]), float(inner[2])
    return None


def _inside(weight: Floats, grid: Floats, least: float, most: float) -> bool:
    """Whether hardly anything lies beyond the grid, if a leak may lie there."""
    ends = weight.sum(axis=0)[[0, -1]]
    return bool((ends[0] < BEYOND or grid[0] <= least) and (ends[1] < BEYOND or grid[-1] >= most))


def _weights(known: Sequence[tuple[Reading, float, tuple[Floats, ...]]], grid: Floats) -> Floats:
    """Weight of each logarithm of the ohms on each sample, shape (samples, grid), one in all.

    `known`: readings, their power, and what the healthy board reads.
    """
    logs = np.zeros((known[0][2][0].size, grid.size))
    for reading, power, beside in known:
        place = positions(np.maximum(with_leak(beside, np.exp(grid)), 0.0), CLOSE)
        odd = np.array(DOUBT if reading.doubtful else BLUNDER)
        logs += power * np.log(of_reading(reading, place, np.zeros(1), odd, CLOSE))
    weight = np.exp(logs - logs.max())
    return np.asarray(weight / weight.sum())


def with_leak(beside: tuple[Floats, ...], ohms: Floats) -> Floats:
    """What a check reads with leaks of these ohms, (samples, ohms), from what `Metering.beside_a_leak` gives."""
    base, share, transfer, across = (one[:, None] for one in beside)
    return np.asarray(base + share * ohms - np.square(transfer) / (ohms + across))


def range_of(values: Floats, weights: Floats) -> Range | None:
    """The values below which 5, 50 and 95 % of the weight lie."""
    told = ~np.isnan(values)
    if not weights[told].sum() > 0:
        return None
    order = np.argsort(values[told], kind="stable")
    ranked, rising = values[told][order], np.cumsum(weights[told][order])
    middle = rising - 0.5 * weights[told][order]
    at = np.minimum(np.searchsorted(middle, np.array([0.05, 0.5, 0.95]) * rising[-1]), ranked.size - 1)
    return Range(*(float(v) for v in ranked[at]))
