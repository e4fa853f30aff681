"""Irregular distortion: rub, buzz and loose parts, as what is left above the harmonics while the sweep passes.

The sweep is cut into sixths of an octave; each is high-passed above the seventh harmonic of its highest frequency. What
remains of a sound unit is noise and a little regular distortion; a rub leaves short peaks.

Two looks are taken at each block. A single peak is an event when it stands clear of the quiet gap's noise in the same
band and of the rest of its block. Weaker peaks that come back in every cycle are found by folding the block's power
over the phase of the excitation: a phase that stands out of noise and of regular distortion, which varies slowly with
phase, is an event too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammainccinv

from dustcap.errors import SignalError
from dustcap.sound.align import Alignment
from dustcap.sound.health import Ranges
from dustcap.sound.spectra import smoothed
from dustcap.sound.stimulus import LEVEL_DBFS, Samples
from dustcap.sound.sweep import SweepResponse
from dustcap.sound.tracked import (
    BLOCKS_PER_OCTAVE,
    Block,
    excitation_hz,
    phase_of,
    tracked_blocks,
    tracking,
)

NOISE_FACTOR = 6.0  # peak over sigma of the noise: one false event in about 1000 clean sweeps
BLOCK_FACTOR = 4.0  # peak over the block's own sigma, 12 dB: from memory, the usual limit for rub and buzz
PHASES = 24  # of a cycle
FOLDED_ALARMS = 1e-3  # false events of a clean sweep
REGULAR_FACTOR = 10.0  # excess power of a phase over that of the middle one: regular distortion stays below 4
SAME_EVENT_OCTAVES = 0.25
RESTLESS_FLOOR = 1.5  # the quieter two thirds of a rub's cycles, their power exponential, hold 0.45 of the mean power
LEAST_CYCLES = 5  # to tell a peak that comes back from one that does not
LEAST_DB = -80.0  # against the fundamental: nothing weaker is called an event, in however clean a recording


@dataclass(frozen=True, slots=True)
class Event:
    """A peak: excitation frequency, time in the recording, level against the fundamental at that frequency."""

    hz: float
    s: float
    db: float


@dataclass(frozen=True, slots=True)
class Irregular:
    """Crest factor against excitation frequency, and events.

    `floor_db` (n,): a rub 3 dB above it, back in every cycle, is seen in 95 % of takes; 0 where none could be told.
    """

    hz: Samples
    crest_db: Samples
    floor_db: Samples
    events: tuple[Event, ...]


def irregular_of(
    samples: Samples,
    rate: float,
    alignment: Alignment,
    sweep: SweepResponse,
    rest: Samples,
    *,
    restless: bool = False,
    lines_hz: tuple[float, ...] = (),
    spoiled_hz: Ranges = (),
) -> Irregular:
    """Crest factor and events above the tracked harmonics.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The recording.
    rate : float
        Its sample rate, Hz.
    alignment : Alignment
        Where the stimulus lies in it.
    sweep : SweepResponse
        Its transfer function: gives the fundamental.
    rest : ndarray, shape (m,)
        Noise at rest.
    restless : bool
        The quiet gap holds crackle: only peaks that come back in every cycle are events, for what crackles at rest
        crackles within the sweep too, now and then louder than in so short a gap.
    lines_hz : tuple of float
        Mains lines in the recording: kept out of the high-pass.
    spoiled_hz : tuple of ranges
        Excitation frequencies at which the recording itself is spoiled: left out.

    Raises
    ------
    SignalError
        If nothing of the sweep leaves room above its harmonics.

    Notes
    -----
    Such distortion comes from a process of its own that the motion triggers; total harmonic distortion fails to detect
    it reliably (Klippel and Werner, "Loudspeaker distortion, part 2: irregular distortion caused by defects").
    Crest factor: peak over r.m.s. of the block. Gaussian noise alone gives 12 to 14 dB.
    """
    track = tracking(rate, lines_hz)
    blocks = tracked_blocks(samples, rate, alignment, rest, track, rounding=sweep.rounding, spoiled_hz=spoiled_hz)
    if not blocks:
        raise SignalError(
            "no part of the sweep leaves a band above its harmonics.",
            where="sound.irregular",
            mend="Record at 48 kHz or more, without clipping.",
        )
    centres_hz = np.array([block.centre_hz for block in blocks])
    fundamental = _fundamental(sweep, centres_hz)
    least = fundamental * 10 ** (LEAST_DB / 20)
    limits = np.array([max(NOISE_FACTOR * block.noise, BLOCK_FACTOR * block.sigma) for block in blocks])
    limits = np.maximum(limits, least)
    chance = FOLDED_ALARMS / (2 * PHASES * len(blocks))
    events = []
    for block, limit, level in zip(blocks, limits, fundamental, strict=True):
        single = None if restless else _single(block, limit)
        peaks = [each for each in (single, _folded(block, alignment, chance, restless)) if each]
        found = [Event(excitation_hz(alignment, at_s), at_s, _db(peak / level)) for at_s, peak in peaks]
        events += [event for event in found if event.db > LEAST_DB]
    rms = np.array([np.sqrt(np.mean(block.left**2)) for block in blocks])
    crest_db = 20 * np.log10(np.array([block.peak for block in blocks]) / np.maximum(rms, 1e-12) + 1e-12)
    returning = np.array([_returning_floor(block, alignment.layout.rate_s, chance) for block in blocks])
    if restless:
        limits, returning = fundamental, RESTLESS_FLOOR * returning
    floors = np.maximum(np.minimum(limits, returning), least)
    return Irregular(centres_hz, crest_db, 20 * np.log10(floors / fundamental), _merged(events))


def _db(ratio: float) -> float:
    return 20 * float(np.log10(ratio))


def _single(block: Block, limit: float) -> tuple[float, float] | None:
    """Time in the recording and height of the block's highest peak, if it exceeds a limit."""
    at = int(np.argmax(np.abs(block.left)))
    return (block.begin_s + at / block.rate, block.peak) if block.peak > limit else None


def _folded(block: Block, alignment: Alignment, chance: float, restless: bool) -> tuple[float, float] | None:
    """Time and usual height of a peak that comes back at one phase of the excitation, if there is one."""
    half_bins = (phase_of(alignment, block) * 2 * PHASES).astype(np.int64) % (2 * PHASES)
    counts = np.bincount(half_bins, minlength=2 * PHASES).astype(float)
    sums = np.bincount(half_bins, block.left**2, minlength=2 * PHASES)
    counts, sums = counts + np.roll(counts, -1), sums + np.roll(sums, -1)  # bins of full width, overlapping by half
    power = sums / np.maximum(counts, 1)
    freedom = np.maximum(counts * block.band_share, 1.0)
    middle = float(np.median(power))
    floor = max(block.noise**2, min(middle, 2 * block.noise**2))  # the gap may have been a little quieter
    excess = power - floor
    fits = (power > floor * _mean_square_limit(chance, freedom)) & (excess > REGULAR_FACTOR * max(middle - floor, 0.0))
    if not np.any(fits):
        return None
    best = int(np.argmax(np.where(fits, excess, 0.0)))
    inside = np.flatnonzero((half_bins == best) | (half_bins == (best + 1) % (2 * PHASES)))
    cycles = np.split(inside, np.flatnonzero(np.diff(inside) > 1) + 1)
    if not _comes_back(block, cycles, floor, restless):
        return None
    heights = np.array([np.abs(block.left[cycle]).max() for cycle in cycles])
    loudest = cycles[int(np.argmax(heights))]
    return block.begin_s + float(loudest[0]) / block.rate, float(np.quantile(heights, 0.75))


def _mean_square_limit(chance: float, freedom: Samples) -> Samples:
    """What the mean square of so many unit normal values exceeds by chance: chi-square's upper quantile over them."""
    return np.asarray(2 * gammainccinv(freedom / 2, chance) / freedom)


def _returning_floor(block: Block, growth_s: float, chance: float) -> float:
    """Peak of a burst that is found when it comes back in every cycle: three times its r.m.s. over one phase."""
    if growth_s * (block.high_hz - block.low_hz) < LEAST_CYCLES:  # cycles in the block
        return float("inf")
    freedom = np.array(max(block.left.size / PHASES * block.band_share, 1.0))
    return 3 * block.noise * float(np.sqrt(_mean_square_limit(chance, freedom) - 1))


def _comes_back(block: Block, cycles: list[NDArray[np.int64]], floor: float, restless: bool) -> bool:
    """Whether the power is there without the two loudest cycles too: one bang is not a rub.

    `restless`: without the louder third, for several of them may hold a crackle.
    """
    energies = np.sort([float(np.sum(block.left[cycle] ** 2)) for cycle in cycles])
    if energies.size < LEAST_CYCLES:
        return False
    bangs = max(2, energies.size // 3) if restless else 2
    freedom = max(block.band_share * sum(cycle.size for cycle in cycles) * (1 - bangs / energies.size), 1.0)
    return bool(
        energies[:-bangs].mean() / np.mean([cycle.size for cycle in cycles])
        > floor * float(_mean_square_limit(1e-3, np.array(freedom)))
    )


def _merged(events: list[Event]) -> tuple[Event, ...]:
    """Neighbours joined into the loudest of them."""
    groups: list[list[Event]] = []
    for event in sorted(events, key=lambda each: each.hz):
        if groups and np.log2(event.hz / groups[-1][-1].hz) < SAME_EVENT_OCTAVES:
            groups[-1].append(event)
        else:
            groups.append([event])
    return tuple(max(group, key=lambda each: each.db) for group in groups)


def _fundamental(sweep: SweepResponse, hz: Samples) -> Samples:
    """Amplitude of the fundamental as recorded."""
    power = smoothed(hz, np.abs(sweep.spectrum) ** 2, BLOCKS_PER_OCTAVE, sweep.hz)
    return np.asarray(10 ** (LEVEL_DBFS / 20) * np.sqrt(np.maximum(power, 1e-30)))
