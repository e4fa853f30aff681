"""Switching on: when, how hard the cone is thumped, and when the mute lets go.

Taken from a recording that starts before the mains switch is thrown, with no signal played.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from dustcap.errors import SignalError

Floats = NDArray[np.float64]

FRAME_S = 5e-3
BEFORE_S = 0.2  # of quiet needed ahead of the switch
STANDS_OUT, LEAST_RISE = 6.0, 1.4  # ours: spreads of the quiet frames' log powers, and at least 6 dB
REMEMBERED_S = 2.0
LEAST_STEP_DB = 2.0  # ours: a rise of the noise that counts as the mute letting go
HISS_HZ = 1000.0  # hiss is looked for above it, out of the way of the cone's own settling
SETTLE_S = 0.1


@dataclass(frozen=True, slots=True)
class Thump:
    """What switching on did.

    `switch_s` is the first sound of the switch, from the start of the recording; `peak_dbfs` the largest sample after
    it against full scale; `energy_db` the energy of the first second after it, noise taken off, against one second of a
    full-scale sine; `unmute_after_s` the time from the switch to the lasting rise of hiss, None when there is none.
    """

    switch_s: float
    peak_dbfs: float
    peak_s: float
    energy_db: float
    unmute_after_s: float | None


def thump_of(samples: NDArray[np.floating], rate: float) -> Thump:
    """Thump and unmute delay from a power-on recording.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel, full scale 1; it begins with 0.2 s or more before the switch.
    rate : float
        Sample rate in Hz.

    Raises
    ------
    SignalError
        If it is too short, begins too late, or nothing happens in it.
    """
    wave = np.asarray(samples, dtype=float)
    length = int(FRAME_S * rate)
    count = wave.size // length
    if count * FRAME_S < 1.0:
        raise SignalError(
            "a power-on recording of less than a second shows nothing.",
            where="sound.thump",
            mend="Start recording, throw the switch, and wait ten seconds.",
        )
    wave = wave - np.median(wave[: int(BEFORE_S * rate)])
    log_power = _frame_log_power(wave, length, count)
    switch = _switch(log_power)
    start = switch * length + int(np.argmax(_sudden(wave[switch * length : (switch + 1) * length])))
    after = wave[start:]
    peak = int(np.argmax(np.abs(after)))
    quiet = float(np.mean(wave[: max(switch - 1, 1) * length] ** 2))
    first = after[: int(rate)]
    energy = max(float(np.sum(first**2)) / rate - quiet * first.size / rate, 1e-20)
    return Thump(
        switch_s=start / rate,
        peak_dbfs=float(20 * np.log10(max(abs(after[peak]), 1e-20))),
        peak_s=(start + peak) / rate,
        energy_db=float(10 * np.log10(2 * energy)),
        unmute_after_s=_unmute(wave, rate, start),
    )


def _frame_log_power(wave: Floats, length: int, count: int) -> Floats:
    """Natural logarithm of the power of each 5 ms frame; the least power is that of 24-bit rounding."""
    frames = wave[: count * length].reshape(count, length)
    return np.asarray(np.log(np.maximum(np.mean(frames**2, axis=1), 2.0**-48)))


def _switch(log_power: Floats) -> int:
    """First frame that stands out of the quiet ones before it."""
    least = int(BEFORE_S / FRAME_S)
    for frame in range(least, log_power.size):
        before = log_power[max(frame - int(REMEMBERED_S / FRAME_S), 0) : frame]
        middle = float(np.median(before))
        spread = 1.4826 * float(np.median(np.abs(before - middle)))
        if log_power[frame] > middle + max(STANDS_OUT * spread, LEAST_RISE):
            return frame
    raise SignalError(
        "nothing is switched on in this recording, or it was on from the start.",
        where="sound.thump",
        mend="Start recording at least a second before the switch is thrown.",
    )


def _sudden(frame: Floats) -> NDArray[np.bool_]:
    """Where the frame first passes a fifth of its peak: the start of the sound."""
    loud = np.abs(frame)
    return np.asarray(loud >= 0.2 * loud.max())


def _unmute(wave: Floats, rate: float, start: int) -> float | None:
    """Time from the switch to the lasting step of the hiss: the split of the frames that two levels explain best."""
    hiss = signal.sosfilt(signal.butter(4, HISS_HZ, "high", fs=rate, output="sos"), wave)
    length = int(FRAME_S * rate)
    first = start + int(SETTLE_S * rate)
    count = (wave.size - first) // length
    if count < 40:
        return None
    level = _frame_log_power(hiss[first:], length, count)
    split, step_db = _best_split(level)
    if step_db < LEAST_STEP_DB:
        return None
    return (first + split * length - start) / rate


def _best_split(level: Floats) -> tuple[int, float]:
    """Frame after which the mean level is higher, by least squares, and the step between the medians in dB."""
    count = level.size
    number = np.arange(1, count)
    sums = np.cumsum(level)
    gain = (sums[-1] * number / count - sums[:-1]) / np.sqrt(number * (count - number) / count)
    gain[:4] = gain[-4:] = -np.inf
    split = int(np.argmax(gain)) + 1
    step = float(np.median(level[split:]) - np.median(level[:split]))
    return split, 10 / np.log(10) * step
