"""From a recorded sweep to the impulse response: the recording divided by the sweep that was played.

====== ==================  =====  ===========================================================
symbol name here           unit   meaning
====== ==================  =====  ===========================================================
L      rate_s              s      growth time of the sweep, on the recorder's clock
X      played              -      spectrum of the sweep as played; its magnitude is kept
Y      heard               -      spectrum of the sweep as recorded
W      weight              -      one inside the sweep's band, falling to zero at its ends
====== ==================  =====  ===========================================================
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft as fft
from numpy.typing import NDArray

from dustcap.errors import SignalError
from dustcap.sound.align import Alignment
from dustcap.sound.health import rounding_power
from dustcap.sound.spectra import LEAST_POWER
from dustcap.sound.stimulus import LEVEL_DBFS, START_HZ, STOP_HZ, Samples

Complex = NDArray[np.complex128]

EDGE_S = 0.010  # fades at the ends of the stretch that is cut out
LOW_EDGE_HZ = (START_HZ * 1.03, START_HZ * 1.16)  # W rises here, where the sweep itself fades in
HIGH_EDGE_HZ = (STOP_HZ * 0.90, STOP_HZ * 0.995)
LOWEST, HIGHEST = 1.2, 0.968  # of the start and stop frequencies: the first and last one shown


@dataclass(frozen=True, slots=True)
class SweepResponse:
    """Transfer function of everything between the player's and the recorder's samples.

    `spectrum` (n,) complex and `played` (n,), a magnitude, belong to `hz` (n,); time zero of the impulse response is
    the arrival of the pilots' chirps; `band_hz` is where the sweep carries full weight; `decay_s` is the rest recorded
    after it, `rounding` the power of the recorder's rounding.
    """

    rate: float
    size: int
    spectrum: Complex
    played: Samples
    weight: Samples
    band_hz: tuple[float, float]
    rate_s: float
    decay_s: float
    rounding: float = LEAST_POWER

    @property
    def hz(self) -> Samples:
        return np.asarray(np.arange(self.size // 2 + 1) * self.rate / self.size)


def sweep_response(samples: Samples, rate: float, alignment: Alignment, rest: Samples) -> SweepResponse:
    r"""Regularised deconvolution of the sweep in one channel.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The recording.
    rate : float
        Its sample rate, Hz.
    alignment : Alignment
        Where the stimulus lies in it.
    rest : ndarray, shape (m,)
        Samples of the quiet gap; their mean is taken out as the recorder's d.c. offset.

    Returns
    -------
    SweepResponse

    Raises
    ------
    SignalError
        If the recording does not hold the whole sweep.

    Notes
    -----
    .. math:: H = \frac{Y X^*}{|X|^2 + \epsilon}, \quad \epsilon = |X|^2 \, (1 - W) / W

    With the synchronised sweep the response of harmonic n stands L ln n before the linear one.

    References
    ----------
    A. Farina, "Simultaneous measurement of impulse response and distortion with a swept-sine technique", 108th AES
    Convention, 2000; A. Novak et al., J. Audio Eng. Soc. 63 (10), 2015, equation 18.
    """
    sweep = alignment.layout.sweep
    decay = alignment.layout.part("decay")[0]
    first = int(np.floor((alignment.heard(sweep.start_s) - 2 * EDGE_S) * rate))
    swept = int(np.ceil(alignment.heard(sweep.stop_s) * rate))
    last = min(int(alignment.heard(decay.stop_s - 0.05) * rate), samples.size)
    if first < 0 or last < swept + 0.05 * rate:
        missing = "beginning" if first < 0 else "end"
        raise SignalError(
            f"the {missing} of the sweep is not in the recording.",
            where="sound.sweep",
            mend="Start recording before the test recording plays and stop after its last chirp.",
        )
    heard = (samples[first:last] - (rest.mean() if rest.size else 0.0)) * _edges(last - first, round(EDGE_S * rate))
    played = alignment.played(first, last - first, rate)
    played[swept - first :] = 0.0
    growth_s = alignment.layout.rate_s * alignment.stretch
    return divide(heard, played, rate, growth_s, (last - swept) / rate, rounding=rounding_power(samples))


def divide(
    heard: Samples, played: Samples, rate: float, rate_s: float, decay_s: float, *, rounding: float = LEAST_POWER
) -> SweepResponse:
    """Spectrum of what was heard over that of the sweep played, both (n,), inside the sweep's band."""
    size = fft.next_fast_len(heard.size, real=True)
    hz = np.arange(size // 2 + 1) * rate / size
    weight = _weight(hz, rate)
    played_spectrum = fft.rfft(played, size)
    inside = weight > 0
    spectrum = np.zeros(hz.size, complex)
    spectrum[inside] = fft.rfft(heard, size)[inside] / played_spectrum[inside] * weight[inside]
    band_hz = (LOWEST * START_HZ, min(HIGHEST * STOP_HZ, 0.4389 * rate))
    return SweepResponse(rate, size, spectrum, np.abs(played_spectrum), weight, band_hz, rate_s, decay_s, rounding)


def full_spectrum(response: SweepResponse) -> Complex:
    """The spectrum without the hole below the sweep's start.

    Below the band the curve is continued: level along its slope in dB per octave, phase along its slope in degrees per
    hertz. This is a guess that nobody sees (nothing below the band is ever shown): it only keeps the edge of the band
    from ringing into the gate.
    """
    hz = response.hz
    first, last = np.searchsorted(hz, (response.band_hz[0], 1.25 * response.band_hz[0]))
    fit = response.spectrum[first:last]
    ratio = np.log(hz[1:last] / hz[first])
    slope, level = np.polyfit(ratio[first - 1 :], np.log(np.abs(fit) + 1e-30), 1)
    turn, phase = np.polyfit(hz[first:last] - hz[first], np.unwrap(np.angle(fit)), 1)
    spectrum = response.spectrum.copy()
    below = slice(1, first)
    slope = float(np.clip(slope, 0.0, 10.0))
    spectrum[below] = np.exp(level + slope * ratio[: first - 1] + 1j * (phase + turn * (hz[below] - hz[first])))
    spectrum[0] = np.abs(spectrum[1])
    return spectrum


def impulse_response(response: SweepResponse, before_s: float, after_s: float) -> Samples:
    """Samples from `before_s` ahead of time zero to `after_s` past it, the band's lower end filled."""
    return _around_zero(full_spectrum(response), response, before_s, after_s)


def causal_start(response: SweepResponse, before_s: float, until_s: float, direct_s: float) -> Samples:
    """Samples from `before_s` ahead of time zero to `until_s`, shortly after the direct sound at `direct_s`.

    Where a room answers, the level at the band's lower end says little about the direct sound. But before it there must
    be silence: the slow wave below the band that makes it so is fitted there, and runs on for the few milliseconds up
    to `until_s`.
    """
    impulse = _around_zero(response.spectrum, response, before_s, until_s)
    times_s = np.arange(impulse.size) / response.rate - before_s - direct_s
    phases = 2 * np.pi * np.outer(np.arange(0.5, response.band_hz[0]), times_s)
    waves = np.concatenate([np.cos(phases), np.sin(phases)])
    step = max(round(0.0005 * response.rate), 1)
    quiet = int(np.sum(times_s < -0.001)) // step * step
    known = waves[:, :quiet].reshape(waves.shape[0], -1, step).mean(axis=2)
    wanted = -impulse[:quiet].reshape(-1, step).mean(axis=1)
    gram = known @ known.T
    amplitudes = np.linalg.solve(gram + 1e-3 * np.trace(gram) / len(gram) * np.eye(len(gram)), known @ wanted)
    return np.asarray(impulse + amplitudes @ waves)


def _around_zero(spectrum: Complex, response: SweepResponse, before_s: float, after_s: float) -> Samples:
    values = fft.irfft(spectrum, response.size)
    before, after = round(before_s * response.rate), round(after_s * response.rate)
    return np.concatenate([values[values.size - before :], values[:after]])


def _weight(hz: Samples, rate: float) -> Samples:
    rise = np.clip(np.log(np.maximum(hz, 1e-9) / LOW_EDGE_HZ[0]) / np.log(LOW_EDGE_HZ[1] / LOW_EDGE_HZ[0]), 0, 1)
    low, high = HIGH_EDGE_HZ if rate > 2.3 * STOP_HZ else (0.41 * rate, 0.4525 * rate)
    fall = np.clip((high - hz) / (high - low), 0, 1)
    return np.asarray(0.25 * (1 - np.cos(np.pi * rise)) * (1 - np.cos(np.pi * fall)))


def _edges(count: int, fade: int) -> Samples:
    gain = np.ones(count)
    ramp = 0.5 - 0.5 * np.cos(np.pi * (np.arange(fade) + 0.5) / fade)
    gain[:fade] *= ramp
    gain[-fade:] *= ramp[::-1]
    return gain


PLAYED_AMPLITUDE = 10 ** (LEVEL_DBFS / 20)
