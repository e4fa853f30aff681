"""How likely one entry is under every suspect's samples, taken by itself.

Each prediction is blurred by the distance to its k-th nearest sample of the same suspect: a kernel estimate with the
neighbours' distance as width [1]_, so that a suspect with a wide range of severities is not ruled out because no sample
lies at the reading. The power of 0.6 (12 of 64) was chosen by us for the least log loss over simulated games on two
boards, with 24 to 256 samples.

References
----------
.. [1] D. O. Loftsgaarden, C. P. Quesenberry, "A nonparametric estimate of a multivariate density function", Ann. Math.
   Statist. 36 (1965) 1049.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from dustcap.hunt.circumstances import Showing, showing, told_so
from dustcap.hunt.evidence import Complaint, Reading, Sighting
from dustcap.hunt.memory import remembered
from dustcap.hunt.meter import BLUNDER, DOUBT, Spread, half_width, likelihood, positions, spread_of
from dustcap.hunt.predictions import Predictions, unsure_of

Floats = NDArray[np.float64]

HALF_KNOWN = 0.3  # share of odd readings on a board that the model does not describe: a choice of ours
HEARD_UNEXPLAINED = 0.3
SURE = 0.01  # no complaint or sighting is surer than this


def entry_likelihood(
    predictions: Predictions,
    entry: Complaint | Sighting | Reading,
    rows: NDArray[np.int64] | None = None,
    vague: NDArray[np.bool_] | None = None,
) -> Floats:
    """Likelihood of one entry, shape (suspects + 1, particles); `rows`: whose predictions to take for each suspect."""
    count = len(predictions.suspects)
    rows = np.arange(count) if rows is None else rows
    vague = np.zeros(count, dtype=bool) if vague is None else vague
    key = ("likelihood", entry, rows.tobytes(), vague.tobytes())
    return remembered(predictions, key, lambda: _likelihood(predictions, entry, rows, vague))


def _likelihood(
    predictions: Predictions, entry: Complaint | Sighting | Reading, rows: NDArray[np.int64], vague: NDArray[np.bool_]
) -> Floats:
    count, particles = len(predictions.suspects), predictions.particles
    out = np.empty((count + 1, particles))
    if isinstance(entry, Reading):
        values = predictions.readings(entry.check)
        beside = np.broadcast_to(unsure_of(predictions, entry.check), values.shape)
        out[:-1] = _reading(entry, values, beside)[rows]
        if vague.any():
            out[:-1][vague] = _reading(entry, values, beside, HALF_KNOWN)[rows][vague]
        out[:-1] = _now_and_then(out[:-1], showing(predictions))
        out[-1] = _reading(entry, values[:1], beside[:1], HALF_KNOWN)[0]
        return out
    if isinstance(entry, Complaint):
        table = np.broadcast_to(predictions.heard(entry.word, entry.driver), (count, particles))
        out[:-1], out[-1] = table[rows], HEARD_UNEXPLAINED
        if not entry.seen:
            out[:-1] = _now_and_then(out[:-1], showing(predictions))
            out = 1.0 - out
    else:
        chance = np.broadcast_to(np.asarray(predictions.seen(entry.target, entry.word), dtype=float), (count,))
        out[:-1], out[-1] = chance[rows][:, None], chance[0]
    low = SURE if isinstance(entry, Complaint) else 1e-4
    out = np.clip(out, low, 1.0 - low)
    if isinstance(entry, Complaint):
        chance, unknown = told_so(predictions, entry)
        out[:-1] *= chance[rows] if chance.shape[0] > 1 else chance
        out[-1] *= unknown
    return np.asarray(DOUBT * 0.5 + (1.0 - DOUBT) * out if entry.doubtful else out)


def _now_and_then(like: Floats, found: Showing) -> Floats:
    """The same where faults that come and go are met now and then as the board without them, (suspects, particles)."""
    if found.always:
        return like
    share = found.share[:, None]
    return np.asarray(share * like + (1.0 - share) * like[found.absent])


def without_it(predictions: Predictions, entry: Reading, suspects: NDArray[np.int64]) -> tuple[Floats, Floats] | None:
    """How surely some suspects show, shape (n,), and the likelihood of a reading when they do not, (n, particles).

    None where all of them always do.
    """
    found = showing(predictions)
    if np.all(found.share[suspects] >= 1.0):
        return None
    values, absent = predictions.readings(entry.check), found.absent[suspects]
    beside = np.broadcast_to(unsure_of(predictions, entry.check), values.shape)
    return found.share[suspects], _reading(entry, values[absent], beside[absent])


def _reading(entry: Reading, values: Floats, beside: Floats, odd: float | None = None) -> Floats:
    spread = spread_of(entry.check, entry.unit)
    place = positions(values, spread)
    usual = DOUBT if entry.doubtful else BLUNDER
    return of_reading(entry, place, np.square(blur(place)) + beside, np.array(usual if odd is None else odd))


def of_reading(entry: Reading, place: Floats, variance: Floats, odd: Floats, spread: Spread | None = None) -> Floats:
    """Likelihood of a reading for predictions on the scale of `meter.positions` that vary by `variance`.

    `spread`: in place of that of the check.
    """
    spread = spread or spread_of(entry.check, entry.unit)
    return likelihood(
        place,
        spread,
        low=entry.low,
        high=entry.high,
        over=entry.over,
        under=entry.under,
        half=0.0 if entry.is_range else half_width(entry.meter, spread, entry.low) + entry.rounding,
        variance=variance,
        odd=odd,
    )


def blur(values: Floats) -> Floats:
    """Distance to the k-th nearest sample of the same suspect, shape (suspects, particles); k = n to the power 0.6.

    On whatever scale the values are.

    Nearest by rank: the narrowest of the windows of k + 1 samples that end, begin or lie about it. Samples that are not
    finite have none and give none; of fewer than k + 1 finite ones it is the whole range.
    """
    count = values.shape[1]
    near = max(min(2, count - 1), round(count**0.6) if count > 3 else 0)
    finite = np.where(np.isfinite(values), values, np.nan)
    order = np.argsort(finite, axis=1)
    ranked = np.take_along_axis(finite, order, axis=1)
    width = np.fmin(
        np.fmin(_reach(ranked, near, 0), _reach(ranked, 0, near)), _reach(ranked, near // 2, near - near // 2)
    )
    last = np.maximum(np.isfinite(ranked).sum(axis=1) - 1, 0)
    whole = np.take_along_axis(ranked, last[:, None], axis=1) - ranked[:, :1]
    width = np.where(np.isnan(width) & np.isfinite(ranked), whole, np.where(np.isnan(width), 0.0, width))
    out = np.zeros_like(finite)
    np.put_along_axis(out, order, width, axis=1)
    return out


def _reach(ranked: Floats, below: int, above: int) -> Floats:
    """Farther of the distances to the samples so many ranks below and above; nan where there is none."""
    count = ranked.shape[1]
    low, high = np.full(ranked.shape, np.nan), np.full(ranked.shape, np.nan)
    low[:, below:] = ranked[:, : count - below]
    high[:, : count - above] = ranked[:, above:]
    return np.asarray(np.maximum(ranked - low, high - ranked))
