r"""What the healthy other unit of a pair, or an earlier healthy unit, says of the description itself.

A description errs: a value read off wrongly, a part left out. That error is the same for every unit of the revision,
while the tolerances of two units have nothing to do with each other. At a check that was also made on the healthy twin,
the error d of the description, on the scale of `meter.positions`, is told by

.. math:: y_{twin} - m = d + t + e

with m the middle of the healthy predictions, t the twin's own tolerances (the spread of those predictions) and e its
meter. Before, d is what `meter` says of the model's error (one sigma, now and then four), or, for one check in ten,
anything; afterwards it is the posterior of this mixture, told by its mean and variance. The mean moves the predictions,
the variance takes the place of the model's error. Where the twin lies within the tolerances nothing moves; where it
lies far off, the predictions move to it, and two units then differ by the square root of two of the tolerances.

A suspect that reads much unlike the healthy board there (an output at its rail) may not share the error: its prediction
moves by less, and what is left of the move is counted as doubt. Shares and limits are choices of ours.

References
----------
The posterior of a normal mixture under a normal reading, by Bayes' rule: A. Gelman et al., Bayesian Data Analysis,
3rd edition, chapter 22 (from memory).
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dustcap.faults.suspects import Suspect
from dustcap.hunt.evidence import Evidence, Reading, same_check
from dustcap.hunt.memory import remembered
from dustcap.hunt.meter import BLUNDER, POOR, POOR_WIDTH, half_width, positions, spread_of, values_at
from dustcap.hunt.predictions import Growing, ManyLeaks, Predictions
from dustcap.predict.checks import Check

Floats = NDArray[np.float64]

WRONG = 0.1  # checks at which the description is simply wrong
WRONG_WIDTH = 100.0  # one sigma of it there: a factor of about five
UNIT_TO_UNIT = 0.25  # variance left between two units beside tolerances and meters: temperature, leads, age
TOLD_FROM = 3.0  # sigmas of the model's error from which a difference is worth a note
WRONG_WAY = ("dc volts", "diode test")
"""Checks whose leads may not be swapped."""


@dataclass(frozen=True, slots=True)
class Shift:
    """How far the predictions of one check move, on the scale of `meter.positions`, and the variance of that.

    `middle`: where the healthy predictions lay; `reads`: the twin's value in words.
    """

    middle: float
    by: float
    variance: float
    reads: str


def shift_of(healthy: Floats, readings: Sequence[Reading]) -> Shift | None:
    """The error of the description at one check.

    Parameters
    ----------
    healthy : ndarray, shape (particles,)
        What the healthy board reads there, base units.
    readings : sequence of Reading
        The same check on healthy units; those that are no number say nothing here.

    Returns
    -------
    Shift, or None where nothing can be told.
    """
    told = [one for one in readings if not (one.over or one.under)]
    if not told:
        return None
    spread = spread_of(told[0].check, told[0].unit)
    place = positions(healthy, spread)
    place = place[np.isfinite(place)]
    if 2 * place.size <= healthy.size or place.size < 2:
        return None
    read = np.array([0.5 * float(positions([one.low, one.high], spread).sum()) for one in told])
    meter = float(np.mean([_meter_variance(one) for one in told]))
    noise = float(place.var(ddof=1)) / len(told) + meter
    by, variance = _error(float(read.mean() - place.mean()), noise)
    return Shift(float(place.mean()), by, variance, " and ".join(one.value_words() for one in told))


def _meter_variance(one: Reading) -> float:
    """Variance of a meter's limits, rectangular, on the scale of `meter.positions`."""
    spread = spread_of(one.check, one.unit)
    half = 0.0 if one.is_range else half_width(one.meter, spread, one.low) + one.rounding
    low, high = positions([one.low - half, one.high + half], spread)
    return float(high - low) ** 2 / 12.0


def _error(off: float, noise: float) -> tuple[float, float]:
    """Mean and variance of the description's error, when the twin lies off by so much."""
    widths = np.array([1.0, POOR_WIDTH**2, WRONG_WIDTH**2])
    shares = np.array([(1.0 - WRONG) * (1.0 - POOR), (1.0 - WRONG) * POOR, WRONG])
    total = widths + noise
    log = np.log((1.0 - BLUNDER) * shares) - 0.5 * (off**2 / total + np.log(total))
    slip = np.log(BLUNDER) - np.log(10.0 * WRONG_WIDTH)  # the twin's own reading is odd, and tells nothing
    weight = np.exp(np.append(log, slip) - max(log.max(), slip))
    weight /= weight.sum()
    gain = widths / total
    means = np.append(gain * off, 0.0)
    mean = float(weight @ means)
    within = np.append(widths * noise / total, 1.0)
    return mean, float(weight @ (within + means**2) - mean**2)


class Twinned:
    """A source of predictions corrected by what a healthy twin reads; everything else is the source's own."""

    def __init__(self, source: Predictions, twin: Sequence[Reading]) -> None:
        self._source, self._twin = source, tuple(twin)
        self.suspects, self.prior, self.particles = source.suspects, source.prior, source.particles
        self.memory: dict[Hashable, Any] = {}
        self._moved: dict[Check, tuple[Floats, Floats]] = {}
        self._by_check: dict[Check, list[Reading]] = {}
        for one in twin:
            self._by_check.setdefault(_key(one.check), []).append(one)

    @property
    def plain(self) -> Predictions:
        """The source that all comes from."""
        return self._source

    @property
    def twin(self) -> tuple[Reading, ...]:
        """What was read on healthy units."""
        return self._twin

    def shift(self, check: Check) -> Shift | None:
        """How far the predictions of a check move; None where the twin says nothing of it."""
        told = self._by_check.get(_key(check))
        return shift_of(self._source.readings(check)[0], told) if told else None

    def readings(self, check: Check) -> Floats:
        """Shape (suspects, particles), base units."""
        return self._of(check)[0]

    def unsure(self, check: Check) -> Floats:
        """Variance beside the model's error on the scale of `meter.positions`, shape (suspects, particles); below zero
        where the twin tells more than the model knows."""
        return self._of(check)[1]

    def _of(self, check: Check) -> tuple[Floats, Floats]:
        if check not in self._moved:
            values, shift = self._source.readings(check), self.shift(check)
            unit = self._by_check[_key(check)][0].unit if shift else ""
            self._moved[check] = moved(values, shift, check, unit) if shift else (values, np.zeros((1, 1)))
        return self._moved[check]

    def severities(self) -> Floats:
        """Shape (suspects, particles): ohms of a leak; nan where there is none."""
        return self._source.severities()

    def candidates(self) -> Sequence[Check]:
        """Checks worth considering."""
        return self._source.candidates()

    def heard(self, complaint: str, driver: str) -> Floats:
        """Shape (suspects, particles): probability that the complaint is observed."""
        return self._source.heard(complaint, driver)

    def seen(self, target: str, word: str) -> Floats:
        """Shape (suspects,): probability of the sighting on a part or area."""
        return self._source.seen(target, word)


class TwinnedGrowing(Twinned):
    """The same of a source that grows."""

    def __init__(self, source: Growing, twin: Sequence[Reading]) -> None:
        super().__init__(source, twin)
        self._growing = source

    def grown(self, extra: Sequence[Suspect]) -> Predictions:
        """The same source with these suspects too."""
        return remembered(self, ("grown", tuple(extra)), lambda: twinned(self._growing.grown(extra), self.twin))

    def prior_with(self, extra: Sequence[Suspect]) -> Floats:
        """The priors that the grown source would have."""
        return self._growing.prior_with(extra)

    def severities_of(self, suspect: int) -> Floats:
        """Shape (faults, particles): ohms of each fault of one suspect that is a leak; nan where it is none."""
        source = self._growing
        return source.severities_of(suspect) if isinstance(source, ManyLeaks) else self.severities()[suspect][None]


def moved(values: Floats, shift: Shift, check: Check, unit: str) -> tuple[Floats, Floats]:
    """Predictions moved by a shift, and the variance to count beside the model's error, both (suspects, particles).

    A value with a sign moves by so many volts, any other by a factor.
    """
    spread = spread_of(check, unit)
    place = positions(values, spread)
    finite = np.isfinite(place)
    safe = np.where(finite, place, 0.0)
    if spread.signed:
        volts = values_at(shift.middle + shift.by, spread) - values_at(shift.middle, spread)
        by = positions(np.where(finite, values, 0.0) + volts, spread) - safe
    else:
        by = np.full_like(safe, shift.by)
    gap = np.where(finite[:1], np.abs(safe - safe[:1]), np.inf)
    doubt = np.where(np.isfinite(gap), gap / (gap + np.abs(shift.by) + 1.0), 1.0)
    out = values_at(safe + (1.0 - 0.5 * doubt) * by, spread)
    left = max(shift.variance, UNIT_TO_UNIT) - 1.0
    variance = left * (1.0 - doubt) if left < 0 else left
    return np.where(finite, out, values), np.asarray(variance + np.square(0.5 * doubt * by))


def twinned(source: Predictions, twin: Sequence[Reading]) -> Predictions:
    """A source corrected by a healthy twin's readings; the source itself where there are none."""
    told = tuple(one for one in twin if not (one.doubtful or one.withdrawn))
    if not told:
        return source
    if isinstance(source, Growing):
        return remembered(source, ("twin", told), lambda: TwinnedGrowing(source, told))
    return remembered(source, ("twin", told), lambda: Twinned(source, told))


def twin_said(predictions: object, check: Check) -> str:
    """What the twin reads at a check, to stand behind an entry: `` (the twin reads 6.2 V)``."""
    shift = predictions.shift(check) if isinstance(predictions, Twinned) else None
    return f" (the twin reads {shift.reads})" if shift else ""


def twin_notes(predictions: object, evidence: Evidence) -> tuple[str, ...]:
    """Where the twin corrects the description, and which of its readings say nothing."""
    if not isinstance(predictions, Twinned):
        return ()
    notes = []
    for check in dict.fromkeys(one.check for one in evidence.twin):
        shift = predictions.shift(check)
        if shift is None:
            notes.append(f"twin, {check.words()}: kept but not counted, the description foretells no number to compare")
        elif abs(shift.by) > max(TOLD_FROM, sqrt(shift.variance)):
            notes.append(f"twin, {check.words()}: it reads {shift.reads}, so the description is corrected there")
    return tuple(notes)


def _key(check: Check) -> Check:
    return check if check.kind in WRONG_WAY else same_check(check)
