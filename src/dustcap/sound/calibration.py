"""Sound pressure level from a recording of a sound calibrator: what full scale stands for.

The calibrator's tone and the measurement are recorded with the same microphone, gain and settings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal

from dustcap.errors import InputError, SignalError
from dustcap.sound.health import clipped

NOMINAL_DB = 94.0  # of a sound calibrator: 1 Pa is 93.98 dB against 20 uPa
TONES_HZ = (250.0, 1000.0)  # the usual ones: 250 Hz (or 251.2 Hz) of a pistonphone, 1 kHz of a sound calibrator
TONE_SHARE = 0.05  # ours: how far off such a frequency the tone may lie
LEVELS_DB = (60.0, 130.0)
FADE_S = 0.25  # left out at either end
SHORTEST_S = 1.0
STEADY_DB = 0.2  # ours: between tenths of the recording
CLEAR_DB = 20.0  # ours: of the tone over everything else
COVERAGE = 1.96


@dataclass(frozen=True, slots=True)
class Calibration:
    """`full_scale_db`: sound pressure level (dB against 20 uPa) of a sine at full scale; `hz`: the tone found."""

    full_scale_db: float
    uncertainty_db: float
    hz: float


def calibration_of(samples: NDArray[np.floating], rate: float, level_db: float = NOMINAL_DB) -> Calibration:
    """What full scale stands for, from a calibrator's tone.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The channel that recorded the calibrator, full scale 1.
    rate : float
        Sample rate, Hz.
    level_db : float
        The calibrator's level as its label says, dB against 20 uPa.

    Raises
    ------
    InputError
        If the level is outside 60 to 130 dB.
    SignalError
        If there is no steady tone near 250 Hz or 1 kHz, or it is clipped, or the recording is too short.

    Notes
    -----
    The tone's r.m.s. is that of a least-squares sine at its frequency (IEEE 1057, three-parameter fit), so that noise
    and hum do not count. The uncertainty (95 %) holds what the tone moves between tenths of the recording and what the
    rest could add; that of the calibrator itself is not in it.
    """
    if not LEVELS_DB[0] <= level_db <= LEVELS_DB[1]:
        raise InputError(
            f"a calibrator of {level_db:g} dB is outside the range.", where="calibrator level", mend="94 dB is usual."
        )
    fade = round(FADE_S * rate)
    wave = np.asarray(samples, dtype=float)[fade:-fade]
    if wave.size < SHORTEST_S * rate:
        raise _refused("the recording of the calibrator is too short", "Record three seconds or more.")
    if clipped(wave, rate):
        raise _refused("the recording of the calibrator is clipped", "Lower the gain, and keep it for the measurement.")
    hz = _strongest_hz(wave, rate)
    if min(abs(hz / tone - 1) for tone in TONES_HZ) > TONE_SHARE:
        raise _refused(
            f"the strongest tone lies at {hz:.0f} Hz, not near 250 Hz or 1 kHz",
            "Record the calibrator alone, well seated on the microphone.",
        )
    tone = _sine(wave, hz, rate)
    rest = float(np.mean((wave - np.mean(wave)) ** 2)) - tone
    if rest > tone / 10 ** (CLEAR_DB / 10):
        raise _refused("the calibrator's tone does not stand out", "Seat it well on the microphone; silence the room.")
    pieces = 10 * np.log10([_sine(piece, hz, rate) for piece in np.array_split(wave, 10)])
    if np.ptp(pieces) > STEADY_DB:
        raise _refused("the calibrator's tone is not steady", "Switch off automatic gain; seat it well and wait.")
    spread = float(np.std(pieces)) / np.sqrt(pieces.size)
    noise = 4.343 * np.sqrt(2 * max(rest, 0.0) / tone / (0.1 * wave.size))
    full_scale = level_db - 10 * float(np.log10(2 * tone))
    return Calibration(full_scale, COVERAGE * float(np.hypot(spread, noise)), hz)


def _strongest_hz(wave: NDArray[np.float64], rate: float) -> float:
    """Frequency of the strongest line, by the parabola through the logarithms of three bins of a Hann window."""
    size = fft.next_fast_len(wave.size, real=True)
    windowed = (wave - wave.mean()) * signal.windows.hann(wave.size, sym=False)
    level = np.log(np.abs(fft.rfft(windowed, size)) + 1e-30)
    at = int(np.argmax(level[1:-1])) + 1
    left, middle, right = level[at - 1 : at + 2]
    bend = left - 2 * middle + right
    shift = 0.5 * (left - right) / bend if bend < 0 else 0.0
    return float((at + shift) * rate / size)


def _sine(wave: NDArray[np.float64], hz: float, rate: float) -> float:
    """Mean square of the sine at that frequency that fits best."""
    turn = 2 * np.pi * hz * np.arange(wave.size) / rate
    basis = np.column_stack([np.cos(turn), np.sin(turn), np.ones(wave.size)])
    a, b, _ = np.linalg.lstsq(basis, wave, rcond=None)[0]
    return float(a**2 + b**2) / 2


def _refused(what: str, mend: str) -> SignalError:
    return SignalError(f"{what}.", where="calibrator", mend=mend)
