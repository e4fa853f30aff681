"""Checks that would show a second fault which nobody hears and the proof does not read, before a mended unit goes back.

Of all checks the one is proposed that shows most of what may still be wrong for its minutes, as long as that is worth
more than they are: a unit that comes back is a second job. A part is lifted for it only where something that was read
already speaks of it: what nothing speaks of is not worth the unsoldering.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

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
SPOKEN_OF = 0.03  # probability from which a part is lifted for this: a choice of ours
UNREAD = ("look", "warmth")
"""Kinds that are not made for this."""


def that_would_show(
    found: Posterior,
    checks: Sequence[Check],
    proof: Sequence[Check],
    state: str,
    costs: Costs,
    harm: float,
    units: Mapping[str, str],
) -> list[Proposal]:
    """Checks worth their minutes, best first: each with what is left after those before it and the `proof` is made.

    `bits` of each is the probability of a fault that it shows; `units`: of lifted parts.
    """
    if not np.array_equal(found.masses.rows, np.arange(found.masses.rows.size)):
        return []  # a part is missing: what the good board would read is a guess
    left = found.mass[1:-1].copy()
    for check in proof:
        if check.kind not in UNREAD:
            left *= ~shows(found.predictions, check, units)[1:]
    ready = [check for check in checks if check.kind not in UNREAD]
    taken = [check.minutes + costs.reaching(check) + costs.change(state, check.state) for check in ready]
    minutes = np.array([one + _dislike(check, harm, costs) for one, check in zip(taken, ready, strict=True)])
    lifts = np.array([check.kind == "lifted" for check in ready], dtype=bool)
    chosen: list[Proposal] = []
    while ready and len(chosen) < len(ready):
        shown = np.array([float(left[shows(found.predictions, check, units)[1:]].sum()) for check in ready])
        shown[lifts & (shown < SPOKEN_OF)] = 0.0
        best = int(np.argmax(costs.come_back * shown - minutes))
        if costs.come_back * shown[best] <= minutes[best]:
            break
        check = ready[best]
        chosen.append(Proposal(check, float(shown[best]), taken[best], costs.risk(check, harm)))
        left *= ~shows(found.predictions, check, units)[1:]
    return chosen


def _dislike(check: Check, harm: float, costs: Costs) -> float:
    """What speaks against a check beside its minutes, in minutes: its risk, and to unsolder a part of a mended unit."""
    return costs.risk(check, harm) + (costs.wear if check.kind == "lifted" else 0.0)


def shows(predictions: Predictions, check: Check, units: Mapping[str, str]) -> Bools:
    """Samples that read or sound plainly otherwise than good boards do, shape (suspects, particles)."""

    def make() -> Bools:
        if check.kind == "listen":
            chance = heard(predictions, check.word, check.part)
            return np.asarray((chance > HEARD) & (chance[0].mean() < QUIET))
        place = positions(predictions.readings(check), spread_of(check, units.get(check.part, "")))
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
