"""Levels of what is played and what comes in: a hard cap, a quiet start, a fade-out, a meter.

Pure: samples in, samples or figures out. Levels are peaks in dB against full scale (1.0), dBFS.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dustcap.errors import InputError

Single = NDArray[np.float32]
Floats = NDArray[np.floating]

DEFAULT_DBFS = -24.0  # ours: a first take is quiet
LOUDEST_DBFS = -3.0  # ours: nothing is ever played above this
QUIETEST_DBFS = -80.0
CLIPPED = 1.0 - 2.0**-14
"""From here a sample counts as clipped; full scale of 16 bits lies above it."""
NEAR_DBFS = -3.0
"""An input peak above this will clip at the next louder moment."""
FLOOR_DBFS = -200.0

TONE_HZ = 1000.0
TONE_S = 2.5
TONE_RISE_S = 2.0
TONE_START_DB = -60.0
"""The test tone starts so far below the level of the take and rises by the same number of dB every second."""
FADE_S = 0.02


def check_level(dbfs: float) -> float:
    """The level, if it may be played.

    Raises
    ------
    InputError
        If it is above the cap, or so low that nothing would be heard.
    """
    if not QUIETEST_DBFS <= dbfs <= LOUDEST_DBFS:
        raise InputError(
            f"a peak of {dbfs:g} dBFS is not played.",
            where="--level",
            mend=f"Choose {QUIETEST_DBFS:g} to {LOUDEST_DBFS:g}; start low, {DEFAULT_DBFS:g} is the default.",
        )
    return dbfs


def amplitude(dbfs: float) -> float:
    """The sample value of a level."""
    return float(10.0 ** (dbfs / 20.0))


def dbfs_of(value: float) -> float:
    """The level of a sample value; never below `FLOOR_DBFS`."""
    return float(max(20.0 * np.log10(max(abs(value), 1e-12)), FLOOR_DBFS))


def scaled(samples: Floats, dbfs: float) -> Single:
    """Samples (n, channels) whose peak is brought to that level.

    Raises
    ------
    InputError
        If they are silent, or the level may not be played.
    """
    peak = float(np.max(np.abs(samples), initial=0.0))
    if not peak > 0:
        raise InputError("what should be played is silent.", where="--play", mend="Name the test recording.")
    return np.asarray(samples * (amplitude(check_level(dbfs)) / peak), dtype=np.float32)


def capped(block: Floats, cap: float) -> Single:
    """A block that never exceeds the cap, whatever was put in; what is no number becomes silence."""
    return np.clip(np.nan_to_num(block, nan=0.0, posinf=0.0, neginf=0.0), -cap, cap).astype(np.float32)


def fade_out(block: Floats, done: int, fade: int) -> Single:
    """A block times a gain that falls from 1 to 0 (half a cosine) over `fade` samples, `done` of which are over."""
    at = np.clip((done + np.arange(len(block)) + 1) / fade, 0.0, 1.0)
    gain = 0.5 * (1.0 + np.cos(np.pi * at))
    return np.asarray(block * gain[:, None], dtype=np.float32)


def rising_tone(rate: int, dbfs: float) -> Single:
    """A sine that starts 60 dB below the level, rises evenly in dB, holds and fades, shape (n, 1)."""
    at_s = np.arange(round(TONE_S * rate)) / rate
    gain_db = TONE_START_DB * np.clip(1.0 - at_s / TONE_RISE_S, 0.0, 1.0)
    tone = amplitude(check_level(dbfs)) * 10.0 ** (gain_db / 20.0) * np.sin(2 * np.pi * TONE_HZ * at_s)
    edge = round(FADE_S * rate)
    tone[-edge:] *= 0.5 * (1.0 + np.cos(np.pi * np.arange(1, edge + 1) / edge))
    return np.asarray(tone[:, None], dtype=np.float32)


@dataclass(frozen=True, slots=True)
class Meter:
    """What an input showed: largest peak and r.m.s. (dBFS), clipped samples, samples seen."""

    peak_dbfs: float = FLOOR_DBFS
    rms_dbfs: float = FLOOR_DBFS
    clipped: int = 0
    samples: int = 0

    def with_block(self, block: Floats) -> Meter:
        """The meter after one more block (n, channels)."""
        if not block.size:
            return self
        loud = np.abs(block)
        power = 10.0 ** (self.rms_dbfs / 10.0) * self.samples + float(np.sum(np.square(block, dtype=float)))
        samples = self.samples + block.size
        return Meter(
            peak_dbfs=max(self.peak_dbfs, dbfs_of(float(loud.max()))),
            rms_dbfs=dbfs_of(float(np.sqrt(power / samples))),
            clipped=self.clipped + int(np.count_nonzero(loud >= CLIPPED)),
            samples=samples,
        )

    @property
    def warning(self) -> str:
        """What is wrong with the level, in a few words; empty when nothing is."""
        if self.clipped:
            return "the input clips"
        if self.peak_dbfs > NEAR_DBFS:
            return f"the input comes within {abs(NEAR_DBFS):g} dB of clipping"
        return ""
