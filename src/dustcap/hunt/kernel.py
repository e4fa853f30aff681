r"""A local linear picture of what a suspect reads, so that few samples stand for all its tolerances and severities.

Where a suspect's fault changes nothing that is read (*silent*), it foretells what the good board does: all samples
with a number are one normal distribution, and a reading tells the same of every suspect that is silent there, and
nothing of what a fault does elsewhere.

Elsewhere each sample of a suspect is the middle of a small normal distribution of predictions whose covariance is
that of its nearest samples: what one unknown (a severity, a reservoir's leakage) does to several readings at once is
kept together. The readings are gone through one by one; each multiplies the sample's weight by its likelihood under
the sample's distribution, and moves and narrows that distribution as in a Kalman filter. Redundant readings then count
once, however few samples there are. A reading that looks odd moves it by the share in which it is not odd.

Predictions are held on the scale of `meter.positions`, in sigmas of the model's error.

References
----------
R. E. Kalman, "A new approach to linear filtering and prediction problems", J. Basic Eng. 82 (1960) 35: the update.
J. L. Anderson, S. L. Anderson, "A Monte Carlo implementation of the nonlinear filtering problem", Mon. Weather Rev. 127
(1999) 2741: samples as kernels whose covariance is that of the samples (from memory); here of the nearest.
R. A. Fisher, "Frequency distribution of the values of the correlation coefficient", Biometrika 10 (1915) 507: how
surely few samples show a correlation (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dustcap.compiled import compiled_loops
from dustcap.hunt.evidence import Reading
from dustcap.hunt.likelihoods import of_reading
from dustcap.hunt.meter import READING, Spread, anything, positions, spread_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NEAREST = 6  # least log loss over simulated games with 16 to 64 samples: 4 and 8 are nearly as good
FAR = 1e4
SILENT = 0.25  # sigmas by which no sample of a silent suspect differs from the good board
BY_CHANCE, PLAIN = 2.0, 4.0  # standard errors of a correlation that is taken for chance, and for what it is
FEWEST = 10.0  # sigmas by which a middle may lie off a row of equal samples


@dataclass(frozen=True)
class Given:
    """One reading to go through: what each row predicts, shape (rows, samples), its share of oddity and its power.

    `beside`: variance beside the model's error, shape (rows, samples).
    `without`: how surely each row's fault shows, shape (rows,), and the likelihood when it does not, (rows, samples).
    `good`: what the good board reads on the same samples, shape (samples,); without it no row is silent.
    """

    reading: Reading
    values: Floats
    odd: Floats  # shape (rows,)
    power: float = 1.0
    without: tuple[Floats, Floats] | None = None
    beside: Floats | float = 0.0
    good: Floats | None = None

    @property
    def spread(self) -> Spread:
        """Spread of the reading's kind."""
        return spread_of(self.reading.check, self.reading.unit)


@dataclass(frozen=True)
class _Step:
    """What one reading did: covariance of all readings with it, shape (rows, samples, readings), and so on."""

    number: int
    covariance: Floats
    variance: Floats
    moved: Floats  # how far it lay off each sample, by the share in which it counts
    shifted: Floats  # how far off the mean of all samples
    counts: Floats


class Kernel:
    """The picture of some suspects (rows) through a sequence of readings.

    `likelihoods` holds one array (rows, samples) for each reading.
    """

    def __init__(self, given: Sequence[Given]) -> None:
        self.steps: list[_Step] = []
        self.likelihoods: list[Floats] = []
        self.empty = not given
        self.powers = [one.power for one in given]
        if self.empty:
            return
        place = np.stack([positions(one.values, one.spread) for one in given], axis=-1)
        good = np.stack([_good(one) for one in given], axis=-1)
        self.silent = _silent(place, good)
        self.place = place = np.where(self.silent[:, None], good, place)
        shown = np.isfinite(place)
        middle = np.where(shown, place, 0.0)
        self.near = _nearest(np.where(self.silent[:, None], 0.0, middle), shown | self.silent[:, None])
        self.apart = _apart(middle, shown, self.near)
        self.off = _off(good)
        covariance = _covariance(self.apart, self.off, self.silent)
        mean = np.repeat(_mean(place)[:, None], place.shape[1], axis=1)
        self.likelihoods = [np.ones(place.shape[:2])] * len(given)
        for silent in (True, False):
            for number, one in enumerate(given):
                rows = self.silent[:, number] == silent
                if rows.any():
                    self._go_through(number, one, rows, middle, mean, covariance, silent)

    def told_silently(self, first: int, last: int, even: Floats) -> Floats:
        """Logarithm of what the silent readings from `first` to before `last` tell of each row, shape (rows,).

        After those before them, over all samples, whose logarithms of weights `even` holds, (rows, samples).
        """
        logs = np.zeros((2, *even.shape))
        for number in range(last):
            silent = self.silent[:, number, None]
            told = np.where(silent, self.powers[number] * np.log(self.likelihoods[number]), 0.0)
            logs[int(number >= first)] += told
        before = np.logaddexp.reduce(even + logs[0], axis=1)
        return np.asarray(np.logaddexp.reduce(even + logs.sum(axis=0), axis=1) - before)

    def predicted(
        self, place: Floats, rows: NDArray[np.bool_], *, good: Floats | None = None, centred: bool = False
    ) -> tuple[Floats, Floats]:
        """Middle and variance of what a further check reads after all readings, for some of the rows.

        `good`: what the good board reads there, shape (samples,). `centred`: the middle is that of the sample and its
        nearest together, the variance about it. What no reading bears on then varies as widely as the samples do, and
        not twice as widely.
        """
        well = (np.full(place.shape[1], np.nan) if good is None else good)[:, None]
        silent = _silent(place[..., None], well)
        shared = np.concatenate([_off(well), self.off], axis=-1)
        if (loops := compiled_loops("hunt")) and not centred:
            network = np.flatnonzero(rows), self.near, self.apart, silent[:, 0], self.silent, _shared(shared)[0]
            middle, variance, before = loops.carried(place, *network, *self._stacked)
            middle, variance = _within(middle, place), np.minimum(variance, before)
        else:
            middle, variance = self._carried(place, rows, silent, shared, centred)
        shown = np.isfinite(place)
        return np.where(shown, middle, place), np.where(shown, np.maximum(variance, 0.0), 0.0)

    def _carried(
        self, place: Floats, rows: NDArray[np.bool_], silent: NDArray[np.bool_], shared: Floats, centred: bool
    ) -> tuple[Floats, Floats]:
        near, far, shown = self.near[rows], self.apart[rows], np.isfinite(place)
        middle = np.where(shown, place, 0.0)
        apart = _apart(middle[..., None], shown[..., None], near)
        both = np.concatenate([silent, self.silent[rows]], axis=1)
        whole = _covariance(np.concatenate([apart, far], axis=-1), shared, both, first=True)
        variance, row = whole[..., 0], whole[..., 1:]
        mean = np.repeat(_mean(place[..., None]), place.shape[1], axis=1)
        if centred:
            share = apart.shape[2] / (apart.shape[2] + 1.0)  # the sample itself lies off by nothing
            off, offs = apart[..., 0].mean(axis=2) * share, far.mean(axis=2) * share
        for step in self.steps:
            number = step.number
            gain, counts = row[..., number] / step.variance[rows], step.counts[rows]
            if centred:
                here = (offs[..., number] * counts / step.variance[rows])[..., None]
                off = off - gain * counts * offs[..., number]
                offs = offs - step.covariance[rows] * here
            middle = middle + gain * step.moved[rows]
            mean = mean + gain * step.shifted[rows]
            variance = variance - gain * row[..., number] * counts
            row = row - (gain * counts)[..., None] * step.covariance[rows]
        middle = _within(np.where(silent, mean, middle), place)
        variance = np.minimum(variance, whole[..., 0])
        return (middle + off, variance * share - off**2) if centred else (middle, variance)

    @cached_property
    def _stacked(self) -> tuple[Any, ...]:
        """The steps' numbers, and each of their arrays as one."""
        names = ("covariance", "variance", "moved", "shifted", "counts")
        shape = self.place.shape
        empty = {name: np.zeros((0, *(shape if name == "covariance" else shape[:2]))) for name in names}
        stacks = [np.stack([getattr(s, n) for s in self.steps]) if self.steps else empty[n] for n in names]
        return np.array([step.number for step in self.steps], dtype=np.int64), *stacks

    def _go_through(
        self,
        number: int,
        one: Given,
        rows: NDArray[np.bool_],
        middle: Floats,
        mean: Floats,
        covariance: Floats,
        silent: bool,
    ) -> None:
        shown = np.isfinite(self.place[..., number])
        here = np.where(shown, mean[..., number] if silent else middle[..., number], self.place[..., number])
        own = np.maximum(covariance[..., number, number], 0.0)
        reading, odd = one.reading, one.odd[:, None]
        blurred = own + one.beside
        told = of_reading(reading, here, blurred, odd)
        share = 1.0 if one.without is None or silent else one.without[0][:, None]
        like = told if one.without is None or silent else share * told + (1.0 - share) * one.without[1]
        self.likelihoods[number] = np.where(rows[:, None], like, self.likelihoods[number])
        if reading.over or reading.under:
            return
        sure = share * (told - odd * anything(one.spread, reading.low, reading.high)) / like
        counts = np.where(rows[:, None] & shown, np.clip(sure, 0.0, 1.0), 0.0)
        low, high = positions([reading.low, reading.high], one.spread)
        read = 0.5 * (low + high)
        variance = blurred + (READING + (high - low) ** 2 / 12.0) / one.power
        moved = np.where(shown, (read - middle[..., number]) * counts, 0.0)
        shifted = np.where(shown, (read - mean[..., number]) * counts, 0.0)
        column = covariance[..., number].copy()
        self.steps.append(_Step(number, column, variance, moved, shifted, counts))
        middle += column * (moved / variance)[..., None]
        mean += column * (shifted / variance)[..., None]
        covariance -= column[..., :, None] * column[..., None, :] * (counts / variance)[..., None, None]


def _good(one: Given) -> Floats:
    if one.good is None:
        return np.full(one.values.shape[1], np.nan)
    return positions(one.good, one.spread)


def _silent(place: Floats, good: Floats) -> NDArray[np.bool_]:
    """Rows whose every sample reads as the good board, shape (rows, readings); `good` has shape (samples, readings).

    Where no reading can be taken on any sample of the good board, none is silent.
    """
    with np.errstate(invalid="ignore"):
        same = np.abs(place - good) < SILENT
    return np.asarray((same | (np.isposinf(place) & np.isposinf(good))).all(axis=1))


def alike(place: NDArray[np.floating[Any]], good: NDArray[np.floating[Any]]) -> NDArray[np.bool_]:
    """Rows whose every sample reads as it does on the good board, shape (rows,); `place` (rows, samples), `good`
    (samples,)."""
    with np.errstate(invalid="ignore"):
        same = (np.abs(place - good) < SILENT) | (place == good) | (np.isnan(place) & np.isnan(good))
    return np.asarray(same.all(axis=1))


def _within(middle: Floats, place: Floats) -> Floats:
    """No further out than the samples of the row lie, and as far again: what was moved on few samples may run away."""
    shown = np.isfinite(place)
    low = np.where(shown, place, np.inf).min(axis=1, keepdims=True)
    high = np.where(shown, place, -np.inf).max(axis=1, keepdims=True)
    wide = np.where(high >= low, high - low, 0.0) + FEWEST
    return np.asarray(np.where(shown, np.clip(middle, low - wide, high + wide), middle))


def _off(good: Floats) -> Floats:
    """How far each sample of the good board lies off their mean, 0 where it is not finite; the shape of `good`."""
    shown = np.isfinite(good)
    middle = np.where(shown, good, 0.0).sum(axis=0) / np.maximum(shown.sum(axis=0), 1)
    return np.asarray(np.where(shown, good - middle, 0.0))


def _mean(place: Floats) -> Floats:
    """Mean of the samples that are finite, shape (rows, readings)."""
    shown = np.isfinite(place)
    return np.asarray(np.where(shown, place, 0.0).sum(axis=1) / np.maximum(shown.sum(axis=1), 1))


def _covariance(apart: Floats, off: Floats, silent: NDArray[np.bool_], *, first: bool = False) -> Floats:
    """Covariance of the readings about each sample, shape (rows, samples, readings, readings); of the first one with
    all of them, one axis less, if `first`.

    Of two readings that the fault changes it is that of the nearest samples. Of two silent ones it is what the
    tolerances do to both on the good board (`off`, shape (samples, readings)), only so far as so many samples show a
    correlation that is not chance. Of one of each there is none: among so few samples a tolerance goes with the
    severity by chance, and a reading that no fault changes would move the odds of all.
    """
    ours = slice(0, 1) if first else slice(None)
    whole = _shared(off, first=first)
    local = np.einsum("spki,spkj->spij", apart[..., ours], apart) / apart.shape[2]
    here, there = silent[:, ours, None], silent[:, None, :]
    found = np.where((here & there)[:, None], whole, np.where((here | there)[:, None], 0.0, local))
    return np.asarray(found[..., 0, :] if first else found)


def _shared(off: Floats, *, first: bool = True) -> Floats:
    """The same of silent readings, shape (1 or readings, readings)."""
    samples, ours = len(off), slice(0, 1) if first else slice(None)
    whole = off[:, ours].T @ off / max(samples - 1, 1)
    deviation = np.sqrt(np.square(off).sum(axis=0) / max(samples - 1, 1))
    scale = deviation[ours, None] * deviation
    like = np.clip(np.abs(whole) / np.where(scale > 0, scale, 1.0), 0.0, 1.0 - 1e-12)
    errors = np.arctanh(like) * np.sqrt(max(samples - 3, 1))
    return np.asarray(whole * np.clip((errors - BY_CHANCE) / (PLAIN - BY_CHANCE), 0.0, 1.0))


def _apart(place: Floats, shown: NDArray[np.bool_], near: Ints) -> Floats:
    """How far the nearest samples lie from each, shape (rows, samples, nearest, readings)."""
    rows = np.arange(place.shape[0])[:, None, None]
    both = shown[rows, near] & shown[:, :, None, :]
    return np.asarray(np.where(both, place[rows, near] - place[:, :, None, :], 0.0))


def _nearest(place: Floats, shown: NDArray[np.bool_]) -> Ints:
    """Numbers of the nearest other samples of the same row, shape (rows, samples, nearest).

    Distances grow with the logarithm, so that one reading of great range does not decide alone.
    """
    rows, samples, readings = place.shape
    distance = np.zeros((rows, samples, samples))
    for number in range(readings):
        x, there = place[..., number], shown[..., number]
        gap = np.log1p(np.square(x[:, :, None] - x[:, None, :]))
        distance += np.where(there[:, :, None] == there[:, None, :], gap, FAR)
    distance[:, np.arange(samples), np.arange(samples)] = np.inf
    return np.argsort(distance, axis=2, kind="stable")[:, :, : max(min(NEAREST, samples - 1), 1)]
