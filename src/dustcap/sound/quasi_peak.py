"""The quasi-peak meter of ITU-R BS.468-4: what a noise that comes in clicks and bursts sounds like, as one number.

The meter is a rectifier and two stores in a row. In each sample a store first loses its share, and then, if what comes
in is larger, takes up its share of the difference. The time constants are ours, fitted to the eleven windows of
Tables 2 and 3 of the Recommendation: the worst reading uses 18 % of its window.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import soxr
from numpy.typing import ArrayLike, NDArray
from scipy import signal

from dustcap.errors import SignalError
from dustcap.sound.weighting import bs468_response

Floats = NDArray[np.float64]

CHARGE_S = (1.476e-3, 321.2e-3)
DISCHARGE_S = (294.5e-3, 249.6e-3)
SETTLING_S = 1.0
HIGHEST_RATE = 50000.0  # above it the signal is brought to 48 kHz: the network passes -42.7 dB at 31.5 kHz
_TAPS, _LEAD = 480, 64


def quasi_peak(samples: ArrayLike, rate: float) -> float:
    """Largest quasi-peak reading after the first second, weighted, as the r.m.s. of a steady 1 kHz sine.

    Parameters
    ----------
    samples : array_like, shape (n,)
        Samples, full scale 1; longer than a second.
    rate : float
        Sample rate in Hz, 44.1 kHz or more.

    Returns
    -------
    float
        In units of full scale; a steady 1 kHz sine reads its r.m.s. (BS.468-4, 2.6).

    Raises
    ------
    SignalError
        If nothing is left after the first second.

    References
    ----------
    ITU-R BS.468-4, clauses 1 (network) and 2 (meter), Tables 1 to 3.
    """
    heard: Floats = np.asarray(samples, dtype=float)
    if heard.size <= 1.05 * SETTLING_S * rate:
        raise SignalError(
            "the quasi-peak meter needs more than one second.", where="sound.quasi_peak", mend="Record a longer gap."
        )
    if rate > HIGHEST_RATE:
        heard, rate = soxr.resample(heard, rate, 48000.0), 48000.0
    weighted = signal.oaconvolve(heard - heard.mean(), _network(rate))[_LEAD : _LEAD + heard.size]
    return meter(np.abs(weighted), rate, skip_s=SETTLING_S) / _steady_reading(rate)


def meter(rectified: Floats, rate: float, *, skip_s: float = 0.0) -> float:
    """Largest reading of the two stores, shape (n,) in, after `skip_s` seconds; not yet scaled to a sine."""
    keep_a, keep_b = (float(np.exp(-1.0 / (rate * tau))) for tau in DISCHARGE_S)
    take_a, take_b = (float(-np.expm1(-1.0 / (rate * tau))) for tau in CHARGE_S)
    first = second = largest = 0.0
    skip = int(skip_s * rate)
    for part in (rectified[:skip], rectified[skip:]):
        largest = 0.0
        for value in part.tolist():
            first *= keep_a
            if value > first:
                first += take_a * (value - first)
            second *= keep_b
            if first > second:
                second += take_b * (first - second)
                if second > largest:
                    largest = second
    return largest


@lru_cache(maxsize=8)
def _network(rate: float) -> Floats:
    """Impulse response of the weighting network, shape (480,), delayed by 64 samples; within 0.011 dB up to 20 kHz."""
    size = 1024
    response = np.fft.irfft(bs468_response(np.fft.rfftfreq(size, 1.0 / rate)), size)
    return np.asarray(np.roll(response, _LEAD)[:_TAPS], dtype=float)


@lru_cache(maxsize=8)
def _steady_reading(rate: float) -> float:
    """Reading of the stores on a rectified steady sine of 1 kHz and unit r.m.s."""
    time = np.arange(int(2.5 * rate)) / rate
    return meter(np.abs(np.sqrt(2.0) * np.sin(2 * np.pi * 1000.0 * time)), rate, skip_s=2.0)
