"""What is left of a recorded sweep above its harmonics: a high-pass that follows the excitation, block by block."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import scipy.fft as fft

from dustcap.sound.align import Alignment
from dustcap.sound.health import Ranges, outside
from dustcap.sound.spectra import noise_density
from dustcap.sound.stimulus import START_HZ, Samples

BLOCKS_PER_OCTAVE = 6
FIRST_HZ = 25.0
PASS_FROM, STOP_BELOW = 8.5, 7.1  # times the highest excitation frequency of the block
PAD_CYCLES = 5.0  # of the lowest excitation frequency: where the high-pass settles
TOP_HZ = 20_000.0
LEAST_BAND_OCTAVES = 0.7
NOTCH_HZ = 6.0  # half width of what is taken out around a mains line


@dataclass(frozen=True, slots=True)
class Block:
    """What is left above the harmonics in one block: samples, time of the first, excitation frequency at its ends.

    `noise` is the quiet gap's sigma in the same band, `band_share` the share of independent samples that its spectrum
    leaves.
    """

    left: Samples
    begin_s: float
    rate: float
    low_hz: float
    high_hz: float
    noise: float
    band_share: float

    @property
    def centre_hz(self) -> float:
        return float(np.sqrt(self.low_hz * self.high_hz))

    @property
    def peak(self) -> float:
        return float(np.abs(self.left).max())

    @property
    def sigma(self) -> float:
        """Robust: 1.4826 times the median of the magnitude."""
        return 1.4826 * float(np.median(np.abs(self.left)))


@dataclass(frozen=True, slots=True)
class Tracking:
    """What the high-pass keeps: below `top_hz`, without the mains lines `lines_hz`."""

    top_hz: float
    lines_hz: tuple[float, ...] = ()

    def gain(self, hz: Samples, excitation_hz: float) -> Samples:
        """Zero up to the seventh harmonic, one from `PASS_FROM` times the excitation on, (n,) at `hz`."""
        rise = np.clip((hz / excitation_hz - STOP_BELOW) / (PASS_FROM - STOP_BELOW), 0, 1)
        fall = np.clip((self.top_hz - hz) / (0.05 * self.top_hz), 0, 1)
        gain = 0.25 * (1 - np.cos(np.pi * rise)) * (1 - np.cos(np.pi * fall))
        for line_hz in self.lines_hz:
            near = np.abs(hz - line_hz) < 3 * NOTCH_HZ
            gain[near] *= -np.expm1(-(((hz[near] - line_hz) / NOTCH_HZ) ** 4))
        return np.asarray(gain)


def tracking(rate: float, lines_hz: tuple[float, ...] = ()) -> Tracking:
    """Tracking at one sample rate."""
    return Tracking(min(TOP_HZ, 0.45 * rate), lines_hz)


def tracked_blocks(
    samples: Samples,
    rate: float,
    alignment: Alignment,
    rest: Samples,
    track: Tracking,
    *,
    rounding: float,
    spoiled_hz: Ranges = (),
) -> list[Block]:
    """Sixths of an octave of the sweep from 25 Hz up to where a band above the harmonics is left.

    `rest` (m,) is the quiet gap, `rounding` the power of the recorder's rounding; blocks that touch `spoiled_hz` are
    left out.
    """
    count = int(np.log2(track.top_hz / PASS_FROM / 2**LEAST_BAND_OCTAVES / FIRST_HZ) * BLOCKS_PER_OCTAVE)
    edges_hz = FIRST_HZ * 2 ** (np.arange(count + 1) / BLOCKS_PER_OCTAVE)
    density = noise_density(rest, rate, 0.1, rounding)
    return [
        _block(samples, rate, alignment, density, (low_hz, high_hz), track)
        for low_hz, high_hz in pairwise(edges_hz.tolist())
        if outside(np.array([low_hz, np.sqrt(low_hz * high_hz), high_hz]), spoiled_hz).all()
    ]


def _block(
    samples: Samples,
    rate: float,
    alignment: Alignment,
    density: tuple[Samples, Samples],
    range_hz: tuple[float, float],
    track: Tracking,
) -> Block:
    low_hz, high_hz = range_hz
    first, last = (round(passes(alignment, hz) * rate) for hz in range_hz)
    pad = round(PAD_CYCLES / low_hz * rate)
    piece = samples[max(first - pad, 0) : last + pad]
    size = fft.next_fast_len(piece.size, real=True)
    gain = track.gain(np.arange(size // 2 + 1) * rate / size, high_hz)
    left = fft.irfft(fft.rfft(piece * _taper(piece.size, pad), size) * gain, size)[pad : pad + last - first]
    axis_hz, power = density
    kept = power * track.gain(axis_hz, high_hz) ** 2
    noise = float(np.sqrt(np.mean(kept)))
    share = noise**4 / max(float(np.mean(kept**2)), 1e-300)
    return Block(left, first / rate, rate, low_hz, high_hz, noise, share)


def passes(alignment: Alignment, hz: float) -> float:
    """Time in the recording at which the sweep passes a frequency."""
    layout = alignment.layout
    return alignment.heard(layout.sweep.start_s + layout.rate_s * float(np.log(hz / START_HZ)))


def excitation_hz(alignment: Alignment, time_s: float) -> float:
    """Frequency of the sweep, in the recorder's clock, at a time in the recording."""
    layout = alignment.layout
    since_s = (time_s - alignment.heard(layout.sweep.start_s)) / alignment.stretch
    return START_HZ * float(np.exp(since_s / layout.rate_s)) / alignment.stretch


def phase_of(alignment: Alignment, block: Block) -> Samples:
    """Phase of the excitation, in cycles, at each sample of a block."""
    layout = alignment.layout
    times_s = block.begin_s + np.arange(block.left.size) / block.rate
    since_s = (times_s - alignment.start_s) / alignment.stretch - layout.sweep.start_s
    return np.asarray(START_HZ * layout.rate_s * np.exp(since_s / layout.rate_s))


def _taper(count: int, pad: int) -> Samples:
    gain = np.ones(count)
    ramp = 0.5 - 0.5 * np.cos(np.pi * (np.arange(pad // 2) + 0.5) / (pad // 2))
    gain[: ramp.size] = ramp
    gain[count - ramp.size :] = ramp[::-1]
    return gain
