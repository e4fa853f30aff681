r"""How likely a reading is when the board would really give a certain value.

A reading differs from the prediction by what the meter does and by what the model does not know:

* the meter's accuracy, per cent of reading plus counts of the range's last digit, and the rounding of what was written
  down: rectangular limits [1]_;
* the model: a normal error, relative with a floor, by kind of check (`SPREADS`), convolved with the rectangle;
  One error in twelve is taken four times as wide, for a model is sometimes simply poor;
* in one of a hundred readings anything at all (a slipped lead, a decimal point, a part that the model describes
  badly): a broad density over every value that such a check can show, so that one odd reading never rules out the
  truth. Of a reading marked doubtful the share is three in ten. These shares are choices of ours.

The per cent part of a meter is mostly one gain error, the same for the whole job. It is counted here as if it were new
at each reading, which gives a little away (the consistency of several readings on one meter) and claims nothing that
is not known; beside the model error it is small. A check read twice is another matter: see `posterior`.

References
----------
.. [1] JCGM 100:2008 (GUM), 4.3.7: limits without further knowledge are a rectangular distribution. NIST TN 1297, 4.6.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf, log10

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from dustcap.errors import InputError
from dustcap.predict.checks import DIODE_OPEN_V, OHMS_OVER_RANGE, Check

Floats = NDArray[np.float64]

BLUNDER = 0.01
POOR, POOR_WIDTH = 1.0 / 12.0, 4.0
READING = 1.2  # variance of a reading, model and a handheld meter together, on the scale of `positions`
DOUBT = 0.3
NONE_THERE = 0.1  # share of the broad density where the model says that no reading can be taken (a limiter was in, ...)


@dataclass(frozen=True, slots=True)
class MeterClass:
    """An accuracy class: `share` of reading plus `counts` of the last digit of a range of `of` counts."""

    name: str
    share: float
    counts: float
    of: int


HANDHELD = MeterClass("handheld", 0.008, 3, 6000)
BENCH = MeterClass("bench", 0.0002, 2, 60000)
OWN = MeterClass("own", 0.02, 5, 2000)  # common practice, no published source: a cheap meter's small print
METERS: Mapping[str, MeterClass] = {meter.name: meter for meter in (HANDHELD, BENCH, OWN)}


@dataclass(frozen=True, slots=True)
class Spread:
    """One kind of quantity: the error of the model, the smallest range of meters, and what can be shown at all.

    `relative` and `floor` are one sigma. The broad density is even in ``asinh(value / fine)`` up to `top`, on both
    signs where `signed`. `over` is where meters go over range, `soft` how sharply (natural logarithm, one sigma).
    Figures are choices of ours: the floors cover contact and lead resistance (0.2 to 0.5 ohm a pair: common practice,
    no published source), stray pick-up and the junction's own spread.
    """

    relative: float
    floor: float
    least_range: float
    fine: float
    top: float
    signed: bool = False
    over: float = inf
    soft: float = 1.0
    over_share: float = 0.0
    under: float = 0.0


SPREADS: Mapping[str, Spread] = {
    "dc volts": Spread(0.015, 5e-3, 0.6, 0.05, 400.0, signed=True),
    "ac volts": Spread(0.04, 2e-3, 0.6, 5e-3, 400.0),
    "ripple": Spread(0.06, 1e-3, 0.6, 2e-3, 100.0),
    "ohms": Spread(
        0.015, 0.15, 600.0, 0.3, OHMS_OVER_RANGE, over=OHMS_OVER_RANGE, soft=0.03, over_share=0.3, under=0.1
    ),
    "diode test": Spread(0.02, 0.02, 6.0, 1.0, DIODE_OPEN_V, over=DIODE_OPEN_V, soft=0.03, over_share=0.4, under=1e-3),
    "leakage": Spread(0.03, 1.0, 600.0, 1e3, 1e10, over=1e9, soft=1.0, over_share=0.3, under=1e3),
    "esr": Spread(0.08, 0.05, 6.0, 0.02, 1e3, over=100.0, soft=1.0, over_share=0.2, under=5e-3),
    "capacitance": Spread(0.03, 2e-11, 6e-9, 1e-9, 0.1, over=0.02, soft=1.0, over_share=0.1, under=1e-11),
    "warmth": Spread(0.15, 2.0, 600.0, 3.0, 200.0),
}
_LIFTED = {"ohm": "ohms", "F": "capacitance", "V": "diode test"}


def spread_of(check: Check, unit: str = "") -> Spread:
    """The spread for a check; that of a lifted part goes by the part's `unit` (ohm, F or V)."""
    kind = check.kind
    if kind == "lifted":
        kind = "esr" if check.word == "esr" else _LIFTED.get(unit, "ohms")
    if kind not in SPREADS:
        raise InputError(
            f"{kind!r} has no number to read.", where="meter", mend="Enter what was seen or heard instead."
        )
    return SPREADS[kind]


def half_width(meter: MeterClass, spread: Spread, value: float) -> float:
    """Half width of the meter's limits about a reading, on the smallest range that shows it.

    Ranges go in decades of six (600 mV, 6 V, 60 V ... for 6000 counts).

    Examples
    --------
    >>> round(half_width(HANDHELD, SPREADS["dc volts"], 24.0), 6)
    0.222
    """
    size = abs(value)
    steps = 0 if size <= spread.least_range else int(np.ceil(log10(size / spread.least_range) - 1e-12))
    return meter.share * size + meter.counts * spread.least_range * 10.0**steps / meter.of


def positions(values: ArrayLike, spread: Spread) -> Floats:
    """Values on a scale where one is one sigma of the model's error at every value, from the floor to the per cent.

    It is the inverse hyperbolic sine of the value; inf and nan stay.

    See Also
    --------
    values_at : the inverse.
    """
    ratio = spread.relative / spread.floor
    return np.asarray(np.arcsinh(ratio * np.asarray(values, dtype=float)) / spread.relative)


def values_at(places: ArrayLike, spread: Spread) -> Floats:
    """The values, base units, at places on the scale; places beyond a thousand times the top are held there."""
    ratio = spread.relative / spread.floor
    most = np.arcsinh(1e3 * ratio * spread.top)
    place = np.asarray(places, dtype=float) * spread.relative
    return np.asarray(np.where(np.isfinite(place), np.sinh(np.clip(place, -most, most)) / ratio, place))


def likelihood(
    place: ArrayLike,
    spread: Spread,
    *,
    low: float = 0.0,
    high: float = 0.0,
    over: bool = False,
    under: bool = False,
    half: float = 0.0,
    variance: ArrayLike = 0.0,
    odd: ArrayLike = BLUNDER,
) -> Floats:
    """Density (one value) or probability (a range, over, under) of a reading for each prediction.

    Parameters
    ----------
    place : array_like, shape (...)
        The predicted value on the scale of `positions`; inf: over range; nan: no reading can be taken there.
    low, high : float
        The reading, base units; equal for one value.
    half : float
        Half width of the meter's limits, with the rounding of what was written down.
    variance : array_like, shape (...)
        What the prediction varies by beside the model's error, on that scale squared.
    odd : array_like, shape (...)
        Share of readings that say nothing.

    Returns
    -------
    ndarray, shape (...)
        Above zero everywhere.
    """
    place, odd = np.asarray(place, dtype=float), np.asarray(odd, dtype=float)
    shown = np.isfinite(place)
    safe = np.where(shown, place, 0.0)
    value = values_at(safe, spread)
    beyond = np.where(shown, _beyond(value, spread), 1.0)
    if over:
        core = beyond
    elif under:
        core = (1.0 - beyond) * np.where(shown, _below(value, spread), 0.0)
    else:
        core = (1.0 - beyond) * _seen(safe, spread, low, high, half, np.asarray(variance, dtype=float))
    broad = anything(spread, low, high, over, under)
    return np.asarray(np.where(np.isnan(place), NONE_THERE * broad, (1.0 - odd) * core + odd * broad))


def anything(spread: Spread, low: float, high: float, over: bool = False, under: bool = False) -> float:
    """Density of a value, or probability of a range, over or under, under "anything that such a check can show"."""
    if over or under:
        return max(spread.over_share if over else 0.05, 1e-300)
    whole = float(np.arcsinh(spread.top / spread.fine)) * (2.0 if spread.signed else 1.0)
    share = (1.0 - spread.over_share) / whole
    if low < high:
        return max(share * float(np.arcsinh(high / spread.fine) - np.arcsinh(low / spread.fine)), 1e-300)
    return max(share / float(np.hypot(low, spread.fine)), 1e-300)


def _seen(place: Floats, spread: Spread, low: float, high: float, half: float, variance: Floats) -> Floats:
    wide = max(half, 1e-6 * abs(low), 1e-15)
    first, last = positions([low - wide, high + wide], spread)
    inside = np.zeros(np.broadcast_shapes(place.shape, variance.shape))
    for share, width in ((1.0 - POOR, 1.0), (POOR, POOR_WIDTH)):
        sigma = np.sqrt(width**2 + variance)
        inside += share * (ndtr((last - place) / sigma) - ndtr((first - place) / sigma))
    return np.asarray(inside if low < high else inside / (2.0 * wide))


def _beyond(value: Floats, spread: Spread) -> Floats:
    """Probability that the meter goes over range."""
    if spread.over == inf:
        return np.zeros_like(value)
    return np.asarray(ndtr(np.log(np.maximum(np.abs(value), 1e-30) / spread.over) / spread.soft))


def _below(value: Floats, spread: Spread) -> Floats:
    """Probability that the meter shows nothing."""
    if spread.under <= 0:
        return np.zeros_like(value)
    return np.asarray(ndtr(np.log(spread.under / np.maximum(np.abs(value), 1e-30))))
