"""The level before the test: a tone that starts quietly and rises, while the input is watched."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from threading import Event

import numpy as np
from numpy.typing import NDArray

from dustcap.bench.audio import AudioSystem
from dustcap.bench.level import CLIPPED, NEAR_DBFS, TONE_HZ, dbfs_of, rising_tone
from dustcap.bench.take import Glance, Route, Take, take
from dustcap.errors import SignalError

Single = NDArray[np.float32]

HEARD_DB = 10.0  # ours: of the tone above the room's noise in the same band
BAND_S = 0.1  # the tone is looked for in pieces of that length: a band of 10 Hz


@dataclass(frozen=True, slots=True)
class LevelCheck:
    """What came in while the tone rose: peak, the tone at its loudest, the room's noise before it (dBFS r.m.s. of a
    sine), clipped samples, and a remark when the level leaves little room."""

    peak_dbfs: float
    tone_dbfs: float
    noise_dbfs: float
    clipped: int
    remark: str = ""


def check_levels(
    system: AudioSystem,
    route: Route,
    dbfs: float,
    *,
    stop: Event | None = None,
    look: Callable[[Glance], None] | None = None,
) -> LevelCheck | None:
    """Play the tone up to a level and say what came in; None when it was stopped by hand.

    The tone is faded out at once when the input clips.

    Raises
    ------
    SignalError
        If the input clips, the tone does not arrive, or a stream stood still: with a sweep it would be the same.
    """
    outer, inner = stop or Event(), Event()
    blocks: list[Single] = []

    def keep(block: Single) -> None:
        blocks.append(block)
        if outer.is_set() or np.max(np.abs(block), initial=0.0) >= CLIPPED:
            inner.set()

    # what can be heard is the tone alone, so the cap is the level itself
    taken = take(system, replace(route, cap_dbfs=dbfs), rising_tone(route.rate, dbfs), keep, stop=inner, look=look)
    if outer.is_set():
        return None
    return _judged(taken, np.concatenate(blocks), dbfs)


def _judged(taken: Take, heard: Single, dbfs: float) -> LevelCheck:
    mono = heard[:, int(np.argmax(np.max(np.abs(heard), axis=0)))]
    before, after = mono[: taken.begins], mono[taken.begins :]
    noise = _loudest(before, taken.rate, at=0.5)
    tone = _loudest(after, taken.rate, at=1.0)
    if taken.meter.clipped:
        raise SignalError(
            f"the input clips ({taken.meter.clipped} samples) before the tone reaches {dbfs:g} dBFS.",
            where="level check",
            mend="Lower the recording gain, or choose a lower --level.",
        )
    if taken.stopped:
        raise SignalError(f"{taken.stopped}.", where="level check", mend="Close other programs that use the device.")
    if tone < noise + HEARD_DB:
        raise SignalError(
            f"the test tone does not arrive: {tone:.0f} dBFS at 1 kHz, {noise:.0f} dBFS without it.",
            where="level check",
            mend="Check cables, the unit's volume and --input and --output; --no-check leaves this out.",
        )
    remark = ""
    if taken.meter.peak_dbfs > NEAR_DBFS:
        remark = f"the input comes within {abs(NEAR_DBFS):g} dB of clipping: lower the recording gain"
    return LevelCheck(taken.meter.peak_dbfs, tone, noise, 0, remark)


def _loudest(samples: Single, rate: int, *, at: float) -> float:
    """Level at 1 kHz of the pieces of a tenth of a second: the quantile `at` of them."""
    size = round(BAND_S * rate)
    count = len(samples) // size
    if not count:
        return dbfs_of(0.0)
    pieces = samples[: count * size].reshape(count, size).astype(float)
    window = np.hanning(size)
    turns = window * np.exp(-2j * np.pi * TONE_HZ / rate * np.arange(size))
    return dbfs_of(float(np.quantile(2.0 * np.abs(pieces @ turns) / window.sum(), at)))
