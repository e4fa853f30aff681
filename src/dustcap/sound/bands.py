"""Third-octave bands and the power of a signal in them.

=================  ====================  ======  ============================================
symbol             name here             unit    meaning
=================  ====================  ======  ============================================
f_m                centre_hz             Hz      exact mid-band frequency, 1000 * 10^(n/10)
f_1, f_2           low_hz, high_hz       Hz      band edges, f_m * 10^(-1/20), f_m * 10^(1/20)
S                  density               FS²/Hz  one-sided power density
=================  ====================  ======  ============================================

A level in dBFS is against the r.m.s. of a full-scale sine (AES17), whose power is 1/2.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import fft, signal

from dustcap.errors import InputError, SignalError

Floats = NDArray[np.float64]

# IEC 61260-1:2014, 5.2 and 5.4: base-ten system; nominal values ISO 266, one decade repeats with a factor of ten
_NOMINAL = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)
LONGEST_SEGMENT_S = 4.0  # ours: 0.5 Hz of main lobe, a fifth of the 25 Hz band


@dataclass(frozen=True, slots=True)
class Band:
    """One third-octave band: the name on the scale, its exact centre and its edges in hertz."""

    nominal: str
    centre_hz: float
    low_hz: float
    high_hz: float


def third_octaves(low_hz: float = 20.0, high_hz: float = 20000.0) -> tuple[Band, ...]:
    """The bands whose nominal frequencies lie from `low_hz` to `high_hz`, in rising order.

    References
    ----------
    IEC 61260-1:2014, base-ten third octaves; ISO 266 nominal frequencies.

    Examples
    --------
    >>> [band.nominal for band in third_octaves(25.0, 50.0)]
    ['25', '31.5', '40', '50']
    """
    bands = []
    for n in range(-30, 31):
        nominal = float(f"{_NOMINAL[n % 10] * 10.0 ** (3 + n // 10):.6g}")
        if low_hz <= nominal <= high_hz:
            centre = 1000.0 * 10.0 ** (n / 10)
            bands.append(Band(f"{nominal:g}", centre, centre * 10.0**-0.05, centre * 10.0**0.05))
    return tuple(bands)


def power_density(samples: ArrayLike, rate: float) -> tuple[Floats, Floats]:
    """One-sided power density of a stretch of samples, its mean taken out.

    Parameters
    ----------
    samples : array_like, shape (n,)
        Samples, full scale 1.
    rate : float
        Sample rate in Hz.

    Returns
    -------
    hz, density : ndarray, shape (bins,)
        Frequencies in Hz and power density in FS²/Hz; ``sum(density) * hz[1]`` is the mean square.

    Notes
    -----
    Mean over half-overlapping Hann segments of a third of the stretch, four seconds at most (Welch 1967). A line keeps
    its power, spread over two segment lengths' worth of bins either side.
    """
    samples = np.asarray(samples, dtype=float)
    if samples.size < 64:
        raise SignalError("the stretch is too short for a spectrum.", where="sound.bands", mend="Record a longer gap.")
    wanted = min(LONGEST_SEGMENT_S * rate, max(samples.size / 3, min(samples.size, rate / 4)))
    length = min(fft.next_fast_len(int(wanted), real=True), samples.size)
    hz, density = signal.welch(samples, rate, nperseg=length, noverlap=length // 2, detrend="constant")
    return hz, density


def band_powers(hz: Floats, density: Floats, bands: tuple[Band, ...]) -> Floats:
    """Power of each band in FS², shape (bands,): the density between the exact edges, shares of a bin counted.

    A band that reaches beyond the last frequency is refused: its power is not known. Powers below 1e-15 of the
    total are lost in the rounding of the running sum.
    """
    step = hz[1] - hz[0]
    if bands and bands[-1].high_hz > hz[-1] + step:
        raise InputError(
            f"the band of {bands[-1].nominal} Hz ends above half the sample rate.",
            where="sound.bands",
            mend="Ask for bands that the sample rate carries.",
        )
    edges = np.concatenate([hz - step / 2, hz[-1:] + step / 2])
    below = np.concatenate([[0.0], np.cumsum(density) * step])
    low = np.interp([band.low_hz for band in bands], edges, below)
    high = np.interp([band.high_hz for band in bands], edges, below)
    powers: Floats = np.maximum(high - low, 0.0)  # rounding of the running sum may leave -1e-16 of the total
    return powers


def dbfs(power: float) -> float:
    """Level of a power (FS²) against a full-scale sine; the smallest level said is -400 dB."""
    return float(10.0 * np.log10(max(2.0 * power, 1e-40)))
