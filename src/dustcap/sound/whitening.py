"""Autoregressive whitening: turns a coloured background into white noise, so that clicks stand out of it.

=================  =================  =====  =====================================================
symbol             name here          unit   meaning
=================  =================  =====  =====================================================
a_k                model              --     x[n] + a_1 x[n-1] + ... + a_p x[n-p] = e[n], shape (p + 1,)
e                  error              FS     prediction error, the whitened signal
sigma              sigma              FS     spread of the whitened background, robust, follows time
q                  step               FS     step between the values that the recorder writes
=================  =================  =====  =====================================================

The noise of a quiet recorder takes few values. Its error takes few as well where the background is white already, and
no law for Gaussian noise holds for it: each error is spread over its step by a fixed sequence of even density.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, signal

Floats = NDArray[np.float64]
Booleans = NDArray[np.bool_]

ORDER = 30  # Godsill and Rayner, Digital Audio Restoration (1998), use 20 to 40 (from memory)
BLOCK_S = 1.0  # ours: the background may change from second to second
FRAME_S = 0.25  # ours: its level faster
MAD_TO_SIGMA = 1.482602218505602  # 1 / norm.ppf(3/4)
THINNED = 4  # ours: of the samples from which a block's spread is guessed before its outliers are out
OUTLIER = 4.5  # ours: what lies beyond does not count when the model is fitted again
RING_S = 0.25  # ours: how far a removed click is followed
STEP_FROM = 8192  # ours: samples from which the step is read
CUT = 3.0  # ours: errors beyond so many sigma have no say in it
INSIDE = 0.9733369246625415  # variance of the normal law between -3 and 3: 1 - 6 phi(3) / (2 Phi(3) - 1)
UNTHREADED = 8192  # samples: on longer rows the library starts threads, which cost more than they gain here
_FLOOR = 1e-10  # of the power: keeps the equations solvable for pure tones


@dataclass(frozen=True, slots=True)
class Whitened:
    """A whitened stretch: error and sigma in units of full scale, shape (n,), and the model of each block."""

    error: Floats
    sigma: Floats
    models: tuple[tuple[slice, Floats], ...]


def whiten(samples: Floats, rate: float, *, step: float = 0.0) -> Whitened:
    """Prediction error of a stretch, shape (n,), by models that clicks have no say in.

    Each second has its own model, fitted once to all samples and once more with the outliers of the first fit taken
    out. The first `ORDER` samples have no past and come out as zero. `step` is the recorder's: `step_of` the samples
    before anything was taken off them.
    """
    error = np.zeros(samples.size)
    models = []
    loose = step * (np.random.default_rng(0).random(samples.size, dtype=np.float32) - np.float32(0.5))
    for part in _blocks(samples.size, rate):
        model = fit(samples[part])
        first = _error(model, samples, part) + loose[part]
        beyond = np.abs(first) > OUTLIER * _spread(first[ORDER::THINNED])
        if beyond.any():
            loud = spans_beyond(beyond, before=2, after=ORDER)
            model = fit(samples[part] - removed(np.where(loud, first, 0.0), model))
            first = _error(model, samples, part) + loose[part]
        error[part] = first
        models.append((part, model))
    error[:ORDER] = 0.0
    return Whitened(error, _sigma(error, rate), tuple(models))


def _error(model: Floats, samples: Floats, part: slice) -> Floats:
    """Prediction error of a part of the samples, its past included, shape (part,)."""
    start = max(part.start - ORDER, 0)
    errors: Floats = np.convolve(samples[start : part.stop], model)
    return errors[part.start - start : part.stop - start]


def removed(outliers: Floats, model: Floats) -> Floats:
    """What errors, shape (n,), put into the signal by way of the model: their ringing, shape (n,)."""
    return np.asarray(signal.lfilter([1.0], model, outliers), dtype=float)


def ringing_of(whitened: Whitened, clicks: Booleans, rate: float) -> Floats:
    """What the errors under `clicks` put into the samples, their ringing included, shape (n,).

    Taken off the samples, it leaves a background without innovation in those places: its power is short by their share.
    """
    out = np.zeros(clicks.size)
    tail = int(RING_S * rate)
    for part, model in whitened.models:
        inside = np.flatnonzero(clicks[part])
        if inside.size:
            first, last = part.start + int(inside[0]), part.start + int(inside[-1]) + 1
            stop = min(last + tail, out.size)
            outliers = np.zeros(stop - first)
            outliers[: last - first] = np.where(clicks[first:last], whitened.error[first:last], 0.0)
            out[first:stop] += removed(outliers, model)
    return out


def spans_beyond(beyond: Booleans, *, before: int, after: int) -> Booleans:
    """The places that are true, each widened by so many samples before and after it, shape (n,)."""
    steps = np.zeros(beyond.size + 1, dtype=np.int64)
    at = np.flatnonzero(beyond)
    np.add.at(steps, np.maximum(at - before, 0), 1)
    np.add.at(steps, np.minimum(at + after + 1, beyond.size), -1)
    return np.asarray(np.cumsum(steps[:-1]) > 0)


def _blocks(size: int, rate: float) -> list[slice]:
    count = max(1, int(size / (BLOCK_S * rate)))
    edges = np.linspace(0, size, count + 1).astype(int).tolist()
    return [slice(start, stop) for start, stop in itertools.pairwise(edges)]


def fit(block: Floats, order: int = ORDER) -> Floats:
    """Model of a block, shape (order + 1,), by the autocorrelation method on the tapered block: always stable."""
    tapered = (block - block.mean()) * _taper(block.size)
    padded = np.concatenate([tapered, np.zeros(order)])
    lags = np.zeros(order + 1)
    for first in range(0, block.size, UNTHREADED):
        some = tapered[first : first + UNTHREADED]
        lags += np.correlate(padded[first : first + some.size + order], some, "valid")
    lags[0] = lags[0] * (1.0 + _FLOOR) + np.finfo(float).tiny
    model: Floats = np.concatenate([[1.0], linalg.solve_toeplitz(lags[:-1], -lags[1:])])
    return model


@lru_cache(maxsize=8)
def _taper(size: int) -> Floats:
    return np.asarray(signal.windows.hann(size, sym=False), dtype=float)


def step_of(samples: NDArray[np.floating]) -> float:
    """Least difference between the values of some of the samples, shape (n,): the recorder's step, if they are many."""
    values = np.unique(samples[:: max(1, samples.size // STEP_FROM)])
    return float(np.min(np.diff(values), initial=np.inf)) if values.size > 1 else 0.0


def _spread(error: Floats) -> float:
    return float(MAD_TO_SIGMA * np.median(np.abs(error)))


def _sigma(error: Floats, rate: float) -> Floats:
    """Spread of the background of each frame, joined by straight lines.

    The root mean square of the errors within three times itself, over that of the normal law; three steps from the
    median absolute error come to it within 0.2 %. No frame counts as quieter than a tenth of the middle one.
    """
    count = max(1, int(error.size / (FRAME_S * rate)))
    length = error.size // count
    frames = error[: count * length].reshape(count, length)
    power = frames**2
    spreads = MAD_TO_SIGMA * np.sqrt(np.median(power[:, ::THINNED], axis=1))
    for _ in range(3):
        inside = power <= (CUT * spreads[:, np.newaxis]) ** 2
        number = np.maximum(np.count_nonzero(inside, axis=1), 1)
        spreads = np.sqrt(np.einsum("ij,ij->i", power, inside) / number / INSIDE)
    spreads = np.maximum(spreads, 0.1 * np.median(spreads))
    sigma: Floats = np.interp(np.arange(error.size), (np.arange(count) + 0.5) * length, spreads)
    return sigma
