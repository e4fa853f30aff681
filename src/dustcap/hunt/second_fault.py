"""Checks that would show a second fault which nobody hears and the proof does not read, before a mended unit goes back.

Of all checks the one is proposed that shows most of what may still be wrong for its minutes, as long as that is worth
more than they are: a unit that comes back is a second job.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from dustcap.hunt.actions import Costs
from dustcap.hunt.memory import heard, remembered
from dustcap.hunt.meter import READING, positions, spread_of
from dustcap.hunt.posterior import Posterior
from dustcap.hunt.predictions import Predictions
from dustcap.hunt.proposal import Proposal
from dustcap.predict.checks import Check

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]

PLAINLY = 4.0  # sigmas of reading, model and tolerances together from which a fault shows plainly: ours
HEARD, QUIET = 0.5, 0.1
"""Chances of a sound from which a fault is plainly heard, and below which a good board is quiet; choices of ours."""
UNREAD = ("look", "lifted", "warmth")
"""Kinds that are not made for this: nothing is unsoldered once all seems well."""


def that_would_show(
    found: Posterior,
    checks: Sequence[Check],
    proof: Sequence[Check],
    state: str,
    costs: Costs,
    harm: float,
) -> list[Proposal]:
    """Checks worth their minutes, best first: each with what is left after those before it and the `proof` is made.

    `bits` of each is the probability of a fault that it shows.
    """
    if not np.array_equal(found.masses.rows, np.arange(found.masses.rows.size)):
        return []  # a part is missing: what the good board would read is a guess
    left = found.mass[1:-1].copy()
    for check in proof:
        if check.kind not in UNREAD:
            left *= ~shows(found.predictions, check)[1:]
    ready = [check for check in checks if check.kind not in UNREAD]
    minutes = np.array([check.minutes + costs.change(state, check.state) + costs.risk(check, harm) for check in ready])
    chosen: list[Proposal] = []
    while ready and len(chosen) < len(ready):
        shown = np.array([float(left[shows(found.predictions, check)[1:]].sum()) for check in ready])
        best = int(np.argmax(costs.come_back * shown - minutes))
        if costs.come_back * shown[best] <= minutes[best]:
            break
        check = ready[best]
        taken = check.minutes + costs.change(state, check.state)
        chosen.append(Proposal(check, float(shown[best]), taken, costs.risk(check, harm)))
        left *= ~shows(found.predictions, check)[1:]
    return chosen


def shows(predictions: Predictions, check: Check) -> Bools:
    """Samples that read or sound plainly otherwise than good boards do, shape (suspects, particles)."""

    def make() -> Bools:
        if check.kind == "listen":
            chance = heard(predictions, check.word, check.part)
            return np.asarray((chance > HEARD) & (chance[0].mean() < QUIET))
        place = positions(predictions.readings(check), spread_of(check))
        return plainly(place, place[0])

    found: Bools = remembered(predictions, ("shows", check), make)
    return found


def plainly(place: Floats, good: Floats) -> Bools:
    """Which places, on the scale of `meter.positions`, lie plainly off those of good boards."""
    if np.isposinf(good).all():
        return np.isfinite(place)
    if not np.isfinite(good).all():
        return np.zeros(place.shape, dtype=bool)
    sigma = np.sqrt(1.0 + READING + good.var())
    with np.errstate(invalid="ignore"):
        return np.asarray(np.abs(place - good.mean()) > PLAINLY * sigma)
