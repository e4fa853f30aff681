"""Where the direct sound begins and where the first reflection spoils it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft as fft
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from dustcap.sound.stimulus import Samples

LONGEST_S = 0.5  # where no reflection is found; longer than any loudspeaker rings above 20 Hz
SHORTEST_S = 0.002  # earlier reflections (cabinet edges, the bench top) are part of what stands there
FLOOR_DB = -40.0  # a reflection weaker than this against the direct sound moves the curve by less than 0.1 dB
DIRECT_DB = -10.0  # the direct sound is the first peak that comes this close to the highest
STANDS_OUT = 1.6  # over everything in the 1.2 ms before it: decay falls, a reflection rises
NOISE_SIGMA = 5.0


@dataclass(frozen=True, slots=True)
class Gate:
    """Times in seconds on the axis of the impulse response; `reflection_s` is none when none was found."""

    direct_s: float
    length_s: float
    reflection_s: float | None


def find_gate(impulse: Samples, rate: float, before_s: float, usable_hz: tuple[float, float]) -> Gate:
    """Gate from just before the direct sound to just before the first reflection.

    Parameters
    ----------
    impulse : ndarray, shape (n,)
        Impulse response that begins `before_s` ahead of time zero; all ahead of the direct sound is noise.
    rate : float
        Sample rate, Hz.
    before_s : float
        Time ahead of time zero, s.
    usable_hz : tuple of float
        Band in which the loudspeaker stands above the noise, Hz.

    Notes
    -----
    The response is levelled in thirds of an octave, so that the direct sound becomes a short pulse whatever the
    loudspeaker; its envelope is searched for peaks that rise out of the decay and out of the noise.
    """
    low_hz, high_hz = max(usable_hz[0], min(1000.0, usable_hz[1] / 8)), min(usable_hz[1], 16_000.0)
    pulse_s = 1.0 / (high_hz - low_hz)
    envelope = _level_envelope(impulse, rate, low_hz, high_hz)
    centre = round(before_s * rate)
    direct = _direct(envelope, rate, centre)
    noise = _noise(envelope[: max(direct - round((0.002 + 4 * pulse_s) * rate), 1)])
    threshold = max(envelope[direct] * 10 ** (FLOOR_DB / 20), NOISE_SIGMA * noise)
    reflection = _reflection(envelope, rate, direct, threshold, pulse_s)
    direct_s = (direct - centre) / rate
    if reflection is None:
        length_s = min(LONGEST_S, (envelope.size - direct) / rate - 0.01)
        return Gate(direct_s, length_s, None)
    reflection_s = (reflection - direct) / rate
    return Gate(direct_s, max(reflection_s - max(1.5 * pulse_s, 0.0001), SHORTEST_S), direct_s + reflection_s)


def _level_envelope(impulse: Samples, rate: float, low_hz: float, high_hz: float) -> Samples:
    """Envelope of the impulse response, levelled between two frequencies."""
    size = fft.next_fast_len(impulse.size + round(0.02 * rate), real=True)
    spectrum = fft.rfft(impulse, size)
    hz = np.arange(spectrum.size) * rate / size
    weight = np.clip((hz - 0.8 * low_hz) / (0.4 * low_hz), 0, 1) * np.clip((high_hz * 1.1 - hz) / (0.2 * high_hz), 0, 1)
    level = third_octave_level(np.abs(spectrum), hz)
    one_sided = np.zeros(size, complex)
    one_sided[: hz.size] = np.where(weight > 0, spectrum * weight / (level + 1e-300), 0.0)
    return np.asarray(np.abs(fft.ifft(one_sided))[: impulse.size])


def third_octave_level(magnitude: Samples, hz: Samples) -> Samples:
    """R.m.s. of a magnitude over a third of an octave around each frequency of a linear axis, 0 Hz first."""
    total = np.concatenate([[0.0], np.cumsum(magnitude**2)])
    index = np.arange(hz.size)
    low = np.floor(index * 2 ** (-1 / 6)).astype(np.int64)
    high = np.minimum(np.ceil(index * 2 ** (1 / 6)).astype(np.int64) + 1, hz.size)
    return np.asarray(np.sqrt((total[high] - total[low]) / (high - low)))


def _direct(envelope: Samples, rate: float, centre: int) -> int:
    """First peak near the highest one around time zero."""
    begin, end = max(centre - round(0.02 * rate), 0), min(centre + round(0.05 * rate), envelope.size)
    top = begin + int(np.argmax(envelope[begin:end]))
    early = max(top - round(0.02 * rate), 0)
    strong = early + int(np.argmax(envelope[early : top + 1] > envelope[top] * 10 ** (DIRECT_DB / 20)))
    while strong < top and envelope[strong + 1] > envelope[strong]:
        strong += 1
    return strong


def _noise(before: Samples) -> float:
    return float(np.median(before)) / 1.1774  # Rayleigh median


def _reflection(envelope: Samples, rate: float, direct: int, threshold: float, pulse_s: float) -> int | None:
    """First peak after the shortest gate that rises out of what came before it."""
    gap = max(round(2.0 * pulse_s * rate), round(0.00025 * rate))
    look = round(0.0012 * rate) + gap
    smooth = uniform_filter1d(envelope, 3)
    peaks: NDArray[np.bool_] = smooth == maximum_filter1d(smooth, 2 * gap + 1)
    earliest = direct + round((SHORTEST_S + 1.5 * pulse_s) * rate)
    candidates = np.flatnonzero(peaks & (smooth > threshold))
    for at in candidates[candidates >= earliest]:
        if smooth[at] > STANDS_OUT * smooth[at - look : at - gap].max():
            return int(at)
    return None
