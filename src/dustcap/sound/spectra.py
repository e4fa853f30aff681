"""Power spectra of noise, and averages over fractions of an octave."""

from __future__ import annotations

import numpy as np
import scipy.fft as fft

from dustcap.sound.stimulus import Samples

MOST_WINDOWS = 60  # spread over the stretch: an eighth of the power is their scatter
LEAST_POWER = (2.0**-23) ** 2 / 12  # of 24-bit rounding: no recording is taken to be quieter


def noise_density(
    noise: Samples, rate: float, window_s: float, rounding: float = LEAST_POWER
) -> tuple[Samples, Samples]:
    """Mean power spectrum of noise (n,), Hann windows of about `window_s`: frequencies, power per sample.

    White noise of variance v gives v at every frequency. The power of rounding is added: in a gap so quiet that the
    converter stands still it does not show, but in the sweep it is there.
    """
    size = fft.next_fast_len(max(round(window_s * rate), 64), real=True)
    size = min(size, max(noise.size // 4, 2))
    hz = np.arange(size // 2 + 1) * rate / size
    window = 0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(size) + 0.5) / size)
    starts = np.arange(0, noise.size - size + 1, max(size // 2, (noise.size - size) // MOST_WINDOWS, 1))
    level = float(noise.mean()) if noise.size else 0.0
    total = np.zeros(hz.size)
    for begin in starts:
        total += np.abs(fft.rfft((noise[begin : begin + size] - level) * window)) ** 2
    return hz, total / max(starts.size, 1) / np.sum(window**2) + rounding


def smoothed(hz: Samples, power: Samples, fraction: float, axis_hz: Samples) -> Samples:
    """Mean of a power spectrum over 1/`fraction` octave, equal weight to equal ratios, around each of `hz` (m,).

    `axis_hz` (n,) is the increasing axis of `power` (n,). Where it is coarser than the fraction, the value between its
    points is taken.
    """
    keep = axis_hz > 0
    log_hz = np.log(axis_hz[keep])
    steps = np.diff(log_hz)
    values = power[keep]
    area = np.concatenate([[0.0], np.cumsum(0.5 * (values[1:] + values[:-1]) * steps)])
    half = np.log(2) / (2 * fraction)
    low, high = np.log(hz) - half, np.log(hz) + half
    return np.asarray((_area(log_hz, values, area, high) - _area(log_hz, values, area, low)) / (high - low))


def _area(axis: Samples, values: Samples, area: Samples, at: Samples) -> Samples:
    """Integral up to `at` of the broken line through the values."""
    index = np.clip(np.searchsorted(axis, at, side="right") - 1, 0, axis.size - 2)
    span = axis[index + 1] - axis[index]
    past = np.clip(at - axis[index], 0.0, span)
    slope = (values[index + 1] - values[index]) / span
    return np.asarray(area[index] + past * (values[index] + 0.5 * slope * past))
