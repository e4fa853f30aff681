"""Two loudspeakers in one stereo take: how their level, response and delay differ, third octave by third octave.

Both channels share one clock, so the delay between them means something. First channel minus second throughout.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from dustcap.errors import SignalError
from dustcap.sound.bands import Band, third_octaves

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

LEVEL_HZ = (250.0, 2000.0)  # EBU Tech 3276, 2.1 (from memory)
AHEAD_S = 1e-3


@dataclass(frozen=True, slots=True)
class PairBand:
    """One third octave: difference in level (dB) and in delay (s), with their uncertainties (95 %)."""

    nominal: str
    hz: float
    db: float
    uncertainty_db: float
    delay_s: float
    delay_uncertainty_s: float


@dataclass(frozen=True, slots=True)
class Pair:
    """`level_db`: mean difference from 250 Hz to 2 kHz; `delay_s`: how much later the first channel arrives.

    `same_polarity`: the two move the same way; delays of the bands are given with an opposite one turned over.
    """

    level_db: float
    delay_s: float
    same_polarity: bool
    bands: tuple[PairBand, ...]


def pair_of(
    first: Floats, second: Floats, rate: float, arrival_s: float, gate_s: float, band_hz: tuple[float, float]
) -> Pair:
    """Compare two impulse responses of one stereo take.

    Parameters
    ----------
    first, second : ndarray, shape (n,)
        Impulse responses on one time axis, with some milliseconds of quiet ahead of the arrival.
    rate : float
        Sample rate in Hz.
    arrival_s : float
        Time of the earlier direct sound on that axis.
    gate_s : float
        What is compared, from the arrival on; third octaves narrower than its inverse are left out.
    band_hz : tuple of float
        Lowest and highest frequency that was played.

    Raises
    ------
    SignalError
        If the gate holds no whole third octave.

    Notes
    -----
    The band's level is its power; its delay is that of the phase of the band's cross spectrum over the centre
    frequency, about the delay of the cross-correlation's peak. The noise is that ahead of the arrival.
    """
    size = fft.next_fast_len(max(int(0.5 * rate), 2 * int(gate_s * rate)), real=True)
    hz = fft.rfftfreq(size, 1.0 / rate)
    spectra = [_gated(impulse, rate, arrival_s, gate_s, size) for impulse in (first, second)]
    noises = [_noise_power(impulse, rate, arrival_s, gate_s) for impulse in (first, second)]
    cross = spectra[0] * np.conj(spectra[1])
    delay, sign = _delay(cross, hz, rate, size, band_hz)
    aligned = sign * cross * np.exp(2j * np.pi * hz * delay)
    bands = [
        _band(band, hz, spectra, noises, aligned, delay, gate_s)
        for band in third_octaves(max(band_hz[0], 1.0), band_hz[1])
        if band.low_hz >= band_hz[0] and band.high_hz <= band_hz[1] and band.high_hz - band.low_hz >= 1.0 / gate_s
    ]
    if not bands:
        raise SignalError(
            f"a gate of {gate_s * 1e3:.1f} ms holds no third octave.",
            where="sound.pair",
            mend="Stand the loudspeakers farther from the walls.",
        )
    middle = [band.db for band in bands if LEVEL_HZ[0] <= band.hz * 1.01 and band.hz <= LEVEL_HZ[1] * 1.01]
    return Pair(float(np.mean(middle or [band.db for band in bands])), delay, sign > 0, tuple(bands))


def _gated(impulse: Floats, rate: float, arrival_s: float, gate_s: float, size: int) -> Complexes:
    """Spectrum of the gated response: full to half of the gate, then a cosine down to nothing."""
    start, length = int((arrival_s - AHEAD_S) * rate), int((gate_s + AHEAD_S) * rate)
    fall = length // 2
    window = np.concatenate([np.ones(length - fall), 0.5 * (1 + np.cos(np.pi * np.arange(fall) / fall))])
    return np.asarray(fft.rfft(impulse[max(start, 0) :][:length] * window[: impulse.size - max(start, 0)], size))


def _noise_power(impulse: Floats, rate: float, arrival_s: float, gate_s: float) -> float:
    """Power that noise adds to each bin of a gated spectrum, from what is ahead of the arrival."""
    ahead = impulse[: int(max(arrival_s - 2 * AHEAD_S, 0.0) * rate)]
    return float(np.var(ahead)) * gate_s * rate * 0.7 if ahead.size > 16 else 0.0


def _delay(cross: Complexes, hz: Floats, rate: float, size: int, band_hz: tuple[float, float]) -> tuple[float, float]:
    """Delay of the first channel, to a sixteenth of a sample, and sign, from the peak of the cross-correlation."""
    inside = (hz >= band_hz[0]) & (hz <= band_hz[1])
    fine = 16
    padded = np.zeros(fine * size // 2 + 1, dtype=complex)
    padded[: cross.size] = np.where(inside, cross / np.maximum(np.abs(cross), 1e-30) ** 0.5, 0.0)
    correlation = fft.irfft(padded, fine * size)
    peak = int(np.argmax(np.abs(correlation)))
    late = (peak if peak < fine * size // 2 else peak - fine * size) / (fine * rate)
    return late, float(np.sign(correlation[peak]))


def _band(
    band: Band,
    hz: Floats,
    spectra: list[Complexes],
    noises: list[float],
    aligned: Complexes,
    delay: float,
    gate_s: float,
) -> PairBand:
    inside = (hz >= band.low_hz) & (hz < band.high_hz)
    powers = [float(np.mean(np.abs(spectrum[inside]) ** 2)) for spectrum in spectra]
    # independent values in the band: its width times the gate; each power is off by sqrt(2 noise / power) of it
    count = max((band.high_hz - band.low_hz) * gate_s, 1.0)
    shares = [noise / max(power, 1e-300) for noise, power in zip(noises, powers, strict=True)]
    relative = float(np.sqrt(2 * sum(shares) / count))
    phase = float(np.angle(np.sum(aligned[inside])))
    turn = 2 * np.pi * band.centre_hz
    return PairBand(
        band.nominal,
        band.centre_hz,
        float(10 * np.log10(powers[0] / max(powers[1], 1e-300))),
        1.96 * 10 / np.log(10) * relative,
        delay - phase / turn,
        1.96 * relative / np.sqrt(2) / turn,
    )
