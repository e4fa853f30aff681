r"""A local linear picture of what a suspect reads, so that few samples stand for all its tolerances and severities.

Each sample of a suspect is the middle of a small normal distribution of predictions whose covariance is that of its
nearest samples: what one unknown (a severity, a reservoir's leakage) does to several readings at once is kept together.
The readings are gone through one by one; each multiplies the sample's weight by its likelihood under the sample's
distribution, and moves and narrows that distribution as in a Kalman filter. Redundant readings then count once, however
few samples there are. A reading that looks odd moves it by the share in which it is not odd.

Predictions are held on the scale of `meter.positions`, in sigmas of the model's error.

References
----------
R. E. Kalman, "A new approach to linear filtering and prediction problems", J. Basic Eng. 82 (1960) 35: the update.
J. L. Anderson, S. L. Anderson, "A Monte Carlo implementation of the nonlinear filtering problem", Mon. Weather Rev. 127
(1999) 2741: samples as kernels whose covariance is that of the samples (from memory); here of the nearest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dustcap.hunt.evidence import Reading
from dustcap.hunt.likelihoods import of_reading
from dustcap.hunt.meter import READING, Spread, anything, positions, spread_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NEAREST = 6  # least log loss over simulated games with 16 to 64 samples: 4 and 8 are nearly as good
FAR = 1e4


@dataclass(frozen=True)
class Given:
    """One reading to go through: what each row predicts, shape (rows, samples), its share of oddity and its power.

    `beside`: variance beside the model's error, shape (rows, samples).
    `without`: how surely each row's fault shows, shape (rows,), and the likelihood when it does not, (rows, samples).
    """

    reading: Reading
    values: Floats
    odd: Floats  # shape (rows,)
    power: float = 1.0
    without: tuple[Floats, Floats] | None = None
    beside: Floats | float = 0.0

    @property
    def spread(self) -> Spread:
        """Spread of the reading's kind."""
        return spread_of(self.reading.check, self.reading.unit)


@dataclass(frozen=True)
class _Step:
    """What one reading did: covariance of all readings with it, shape (rows, samples, readings), and so on."""

    covariance: Floats
    variance: Floats
    moved: Floats  # how far it lay off, by the share in which it counts
    counts: Floats


class Kernel:
    """The picture of some suspects (rows) through a sequence of readings.

    `likelihoods` holds one array (rows, samples) for each reading.
    """

    def __init__(self, given: Sequence[Given]) -> None:
        self.steps: list[_Step] = []
        self.likelihoods: list[Floats] = []
        self.empty = not given
        if self.empty:
            return
        place = np.stack([positions(one.values, one.spread) for one in given], axis=-1)
        shown = np.isfinite(place)
        middle = np.where(shown, place, 0.0)
        self.near = _nearest(middle, shown)
        self.apart = _apart(middle, shown, self.near)
        covariance = np.einsum("spki,spkj->spij", self.apart, self.apart) / self.apart.shape[2]
        for number, one in enumerate(given):
            here = np.where(shown[..., number], middle[..., number], place[..., number])
            self._go_through(number, one, here, middle, covariance)

    def predicted(self, place: Floats, rows: NDArray[np.bool_], *, centred: bool = False) -> tuple[Floats, Floats]:
        """Middle and variance of what a further check reads after all readings, for some of the rows.

        `centred`: the middle is that of the sample and its nearest together, the variance about it. What no reading
        bears on then varies as widely as the samples do, and not twice as widely.
        """
        near, far = self.near[rows], self.apart[rows]
        shown = np.isfinite(place)
        middle = np.where(shown, place, 0.0)
        apart = _apart(middle[..., None], shown[..., None], near)[..., 0]
        variance = np.einsum("spk,spk->sp", apart, apart) / apart.shape[2]
        row = np.einsum("spk,spki->spi", apart, far) / apart.shape[2]
        if centred:
            share = apart.shape[2] / (apart.shape[2] + 1.0)  # the sample itself lies off by nothing
            off, offs = apart.mean(axis=2) * share, far.mean(axis=2) * share
        for number, step in enumerate(self.steps):
            gain, counts = row[..., number] / step.variance[rows], step.counts[rows]
            if centred:
                here = (offs[..., number] * counts / step.variance[rows])[..., None]
                off = off - gain * counts * offs[..., number]
                offs = offs - step.covariance[rows] * here
            middle = middle + gain * step.moved[rows]
            variance = variance - gain * row[..., number] * counts
            row = row - (gain * counts)[..., None] * step.covariance[rows]
        if centred:
            middle, variance = middle + off, variance * share - off**2
        return np.where(shown, middle, place), np.where(shown, np.maximum(variance, 0.0), 0.0)

    def _go_through(self, number: int, one: Given, here: Floats, middle: Floats, covariance: Floats) -> None:
        own = np.maximum(covariance[..., number, number], 0.0)
        reading, odd = one.reading, one.odd[:, None]
        blurred = own + one.beside
        shown = of_reading(reading, here, blurred, odd)
        share = 1.0 if one.without is None else one.without[0][:, None]
        like = shown if one.without is None else share * shown + (1.0 - share) * one.without[1]
        self.likelihoods.append(like)
        if reading.over or reading.under:
            self._keep(number, covariance, own + 1.0, np.zeros_like(like), np.zeros_like(like))
            return
        sure = share * (shown - odd * anything(one.spread, reading.low, reading.high)) / like
        counts = np.where(np.isfinite(here), np.clip(sure, 0.0, 1.0), 0.0)
        low, high = positions([reading.low, reading.high], one.spread)
        variance = blurred + (READING + (high - low) ** 2 / 12.0) / one.power
        moved = np.where(np.isfinite(here), (0.5 * (low + high) - middle[..., number]) * counts, 0.0)
        column = covariance[..., number].copy()
        self._keep(number, covariance, variance, moved, counts)
        middle += column * (moved / variance)[..., None]
        covariance -= column[..., :, None] * column[..., None, :] * (counts / variance)[..., None, None]

    def _keep(self, number: int, covariance: Floats, variance: Floats, moved: Floats, counts: Floats) -> None:
        self.steps.append(_Step(covariance[..., number].copy(), variance, moved, counts))


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
