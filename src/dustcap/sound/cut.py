"""Power of a gated impulse response, and of the noise that the gate lets through with it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft as fft

from dustcap.sound.spectra import smoothed
from dustcap.sound.stimulus import Samples
from dustcap.sound.sweep import SweepResponse
from dustcap.sound.tail import AHEAD_S, Tail, fit_tail, other_tail, run_on, same_tail

BEFORE_S = 0.16  # of the impulse responses ahead of time zero
SHORTER = 0.7


@dataclass(frozen=True, slots=True)
class Cut:
    """Power of the gated response and of the noise in it, at `hz` (n,); `seconds`: what the window leaves of time."""

    hz: Samples
    power: Samples
    noise: Samples
    seconds: float

    def smoothed(self, hz: Samples, fraction: float) -> tuple[Samples, Samples]:
        """Signal and noise power over a fraction of an octave."""
        noise = smoothed(hz, self.noise, fraction, self.hz)
        return np.maximum(smoothed(hz, self.power, fraction, self.hz) - noise, 1e-30), noise


def cut_out(
    sweep: SweepResponse,
    impulse: Samples,
    density: tuple[Samples, Samples],
    direct_s: float,
    length_s: float,
    tail: Tail | None = None,
) -> Cut:
    """Spectrum of the impulse response through a window from `direct_s` on, with its tail run on if there is one."""
    window, begin = _window(sweep.rate, direct_s, length_s, impulse.size)
    gated = impulse[begin : begin + window.size] * window
    if tail is not None:
        gated = run_on(_from_direct(sweep, impulse, direct_s, length_s), sweep.rate, length_s, tail)
    size = fft.next_fast_len(max(round(3.0 * sweep.rate), gated.size), real=True)
    hz = np.arange(size // 2 + 1) * sweep.rate / size
    hz = hz[: int(np.searchsorted(hz, sweep.band_hz[1] * 1.06))]
    weight = np.interp(hz, sweep.hz, sweep.weight)
    weight[hz < sweep.band_hz[0]] = 1.0  # filled
    power = np.abs(fft.rfft(gated, size)[: hz.size] / np.maximum(weight, 0.05)) ** 2
    noise = noise_power(sweep, density, hz) * np.sum(window**2)
    return Cut(hz, power, noise, float(np.sum(window**2) ** 2 / np.sum(window**4)) / sweep.rate)


def tail_of(sweep: SweepResponse, impulse: Samples, direct_s: float, length_s: float) -> Tail | None:
    """The loudspeaker's roll-off as the gate shows it, if it does."""
    return fit_tail(_from_direct(sweep, impulse, direct_s, length_s), sweep.rate, length_s)


def cut_otherwise(
    sweep: SweepResponse,
    impulse: Samples,
    density: tuple[Samples, Samples],
    direct_s: float,
    length_s: float,
    tail: Tail | None,
) -> Cut:
    """The same with a gate of `SHORTER` times the length, to see what the gate's end does to the curve.

    Where the shorter gate shows no such roll-off, the same gate with another number of poles is taken instead.
    """
    short_s = SHORTER * length_s
    if tail is not None:
        shorter = same_tail(_from_direct(sweep, impulse, direct_s, short_s), sweep.rate, short_s, tail)
        if shorter is not None:
            return cut_out(sweep, impulse, density, direct_s, short_s, shorter)
        other = other_tail(_from_direct(sweep, impulse, direct_s, length_s), sweep.rate, length_s, tail)
        if other is not None:
            return cut_out(sweep, impulse, density, direct_s, length_s, other)
    return cut_out(sweep, impulse, density, direct_s, short_s)


def _from_direct(sweep: SweepResponse, impulse: Samples, direct_s: float, length_s: float) -> Samples:
    """Samples from `AHEAD_S` before the direct sound to the end of the gate, faded in."""
    first = round((BEFORE_S + direct_s - AHEAD_S) * sweep.rate)
    gated = impulse[first : first + round((AHEAD_S + length_s) * sweep.rate)].copy()
    rise = round(0.0007 * sweep.rate)
    gated[:rise] *= 0.5 - 0.5 * np.cos(np.pi * (np.arange(rise) + 0.5) / rise)
    return gated


def _window(rate: float, direct_s: float, length_s: float, size: int) -> tuple[Samples, int]:
    """Half a Hann window ahead of the direct sound, flat, half a Hann window over the second half; where it begins."""
    ahead = round(min(max(0.25 * length_s, 0.001), 0.1) * rate)
    margin = round(0.0008 * rate)
    fall = max(round(0.5 * length_s * rate), 2)
    flat = max(round(length_s * rate) - fall, 1) + margin
    rise = 0.5 - 0.5 * np.cos(np.pi * (np.arange(ahead) + 0.5) / ahead)
    drop = 0.5 + 0.5 * np.cos(np.pi * (np.arange(fall) + 0.5) / fall)
    window = np.concatenate([rise, np.ones(flat), drop])
    begin = round((BEFORE_S + direct_s) * rate) - margin - ahead
    return window[: size - begin], begin


def noise_power(sweep: SweepResponse, density: tuple[Samples, Samples], hz: Samples) -> Samples:
    """Power spectrum of the quiet gap (its frequencies, its power per sample) after division by the sweep, at `hz`."""
    index = np.clip(np.round(hz * sweep.size / sweep.rate).astype(np.int64), 0, sweep.played.size - 1)
    played = np.maximum(sweep.played[index] ** 2, 1e-30)
    return np.asarray(np.where(sweep.weight[index] > 0.05, np.interp(hz, *density) / played, 0.0))
