"""A stimulus made elsewhere: found in the recording as a whole, aligned piece by piece.

Its samples are all that is known of it. Whether it is an exponential sweep, whose harmonics can be told apart in time,
is read from its own spectrogram.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft as fft
import soxr
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from dustcap.errors import SignalError
from dustcap.sound.health import rounding_power
from dustcap.sound.pilots import SEARCH_RATE_HZ
from dustcap.sound.spectra import smoothed
from dustcap.sound.stimulus import Samples
from dustcap.sound.sweep import SweepResponse

LEAST_PEAK_SIGMA = 12.0
PIECE_S, MOST_PIECES = 0.4, 12
LEAST_PIECES, LEAST_SHARE = 3, 0.4  # of the pieces that must be heard
SKEW_LIMIT = 400e-6
QUIET_DB, QUIET_S, SETTLE_S = -70.0, 1.2, 0.5
DECAY_S = 1.5
SWEEP_DOUBT = 30e-6  # a sweep does not tell the clock from the loudspeaker's delay, which falls with frequency
WEAK_DB = -40.0  # of the stimulus's strongest third of an octave, levelled for pink: weaker parts carry no response
SWEEP_OCTAVES, SWEEP_SCATTER = 4.0, 0.06  # of the logarithm of its frequency


@dataclass(frozen=True, slots=True)
class ForeignAlignment:
    """Time in the recording = `start_s` + `stretch` x time in the stimulus; `skew_error_ppm` is a standard error."""

    start_s: float
    stretch: float
    skew_error_ppm: float
    played: Samples

    @property
    def skew_ppm(self) -> float:
        return (self.stretch - 1) * 1e6


def align_foreign(samples: Samples, rate: float, played: Samples, played_rate: float) -> ForeignAlignment | None:
    """Find a stimulus (m,) of any rate in a recording (n,); none if it is not there.

    The result carries the stimulus on the recorder's clock.
    """
    low, low_played = (
        soxr.resample(each.astype(np.float32), each_rate, SEARCH_RATE_HZ, quality="HQ").astype(float)
        for each, each_rate in ((samples, rate), (played, played_rate))
    )
    start_s, sigma = _whole(low, low_played)
    if sigma < LEAST_PEAK_SIGMA:
        return None
    at_s, heard_s, tried = _pieces(low, low_played, start_s)
    if at_s.size < max(LEAST_PIECES, LEAST_SHARE * tried):
        return None
    stretch, error = _slope(at_s, heard_s - at_s)
    start_s = float(np.median(heard_s - stretch * at_s))
    if growth_s(played, played_rate) is not None:
        error = max(error, SWEEP_DOUBT)
    on_clock = soxr.resample(played, played_rate, rate * stretch, quality="VHQ")
    return ForeignAlignment(start_s, stretch, error * 1e6, on_clock)


def _whole(heard: Samples, played: Samples) -> tuple[float, float]:
    """Delay of the stimulus, and how far its correlation stands out.

    Pieces are correlated one by one and their envelopes added, widened by what the clocks may drift apart: a stimulus
    of noise would lose its correlation as a whole.
    """
    count = max(round(played.size / MOST_PIECES), round(PIECE_S * SEARCH_RATE_HZ))
    starts = np.arange(0, max(played.size - count, 0) + 1, count)
    levels = np.array([np.mean(played[begin : begin + count] ** 2) for begin in starts])
    size = fft.next_fast_len(heard.size + played.size)
    spectrum = fft.rfft(heard, size)
    total = np.zeros(size)
    for begin in starts[levels > 0.1 * levels.max(initial=0.0)]:
        piece = played[begin : begin + count]
        cross = spectrum * np.conj(fft.rfft(piece, size))
        flat = np.sqrt(np.maximum(uniform_filter1d(np.abs(cross) ** 2, max(size // 4000, 3)), 0.0))
        one_sided = np.zeros(size, complex)
        one_sided[: cross.size] = cross / (flat + 1e-6 * flat.max() + 1e-300)
        power = np.abs(fft.ifft(one_sided)) ** 2
        drift = round((0.001 + SKEW_LIMIT * begin / SEARCH_RATE_HZ) * SEARCH_RATE_HZ)
        total += np.roll(maximum_filter1d(power / (power.mean() + 1e-300), 2 * drift + 1), -begin)
    at = int(np.argmax(total))
    middle = float(np.median(total))
    spread = 1.4826 * float(np.median(np.abs(total - middle)))
    return (at if at < heard.size else at - size) / SEARCH_RATE_HZ, float((total[at] - middle) / max(spread, 1e-300))


def _pieces(heard: Samples, played: Samples, start_s: float) -> tuple[Samples, Samples, int]:
    """Centre times of the pieces that stand out of the recording, where each was heard, and how many were tried."""
    count = round(PIECE_S * SEARCH_RATE_HZ)
    loud = 0.1 * np.sqrt(np.mean(played**2))
    at_s, heard_s, tried = [], [], 0
    for begin in range(0, played.size - count + 1, count):
        piece = played[begin : begin + count]
        if np.sqrt(np.mean(piece**2)) < loud:
            continue
        reach = round((0.006 + SKEW_LIMIT * begin / SEARCH_RATE_HZ) * SEARCH_RATE_HZ)
        first = begin + round(start_s * SEARCH_RATE_HZ) - reach
        stretch = heard[max(first, 0) : first + count + 2 * reach]
        if first < 0 or stretch.size < count + 2 * reach:
            continue
        tried += 1
        lag, clear = _piece_lag(stretch, piece, 2 * reach)
        if clear:
            at_s.append((begin + count / 2) / SEARCH_RATE_HZ)
            heard_s.append((first + lag + count / 2) / SEARCH_RATE_HZ)
    return np.array(at_s), np.array(heard_s), tried


def _piece_lag(heard: Samples, piece: Samples, most: int) -> tuple[float, bool]:
    """Lag of the envelope's peak of the correlation, to a fraction of a sample, and whether it stands out."""
    size = fft.next_fast_len(heard.size + piece.size, real=True)
    cross = fft.rfft(heard, size) * np.conj(fft.rfft(piece, size))
    one_sided = np.zeros(size, complex)
    one_sided[: cross.size] = cross
    envelope = np.abs(fft.ifft(one_sided))[: most + 1]
    at = int(np.argmax(envelope))
    if not 0 < at < most:
        return float(at), False
    down, mid, up = envelope[at - 1 : at + 2]
    return at + 0.5 * float((down - up) / (down - 2 * mid + up)), bool(mid > 4 * np.median(envelope))


def _slope(at_s: Samples, late_s: Samples) -> tuple[float, float]:
    """Stretch from delays that may hold outliers: median of the slopes of all far pairs; its standard error."""
    if at_s.size < 4:
        return 1.0, float("inf")
    first, second = np.triu_indices(at_s.size, 1)
    far = at_s[second] - at_s[first] > 0.3 * (at_s[-1] - at_s[0])
    slopes = (late_s[second] - late_s[first])[far] / (at_s[second] - at_s[first])[far]
    slope = float(np.median(slopes))
    strays = late_s - slope * at_s
    scatter = 1.4826 * float(np.median(np.abs(strays - np.median(strays))))
    return 1.0 + slope, scatter / float(np.sqrt(np.sum((at_s - at_s.mean()) ** 2)))


def foreign_windows(alignment: ForeignAlignment, rate: float, seconds: float) -> tuple[tuple[float, float], ...]:
    """Stretches of the recording (seconds) in which the stimulus is silent, those before and after it included."""
    level = np.sqrt(np.maximum(uniform_filter1d(alignment.played**2, max(round(0.02 * rate), 1)), 0.0))
    active = np.flatnonzero(level > level.max(initial=0.0) * 10 ** (QUIET_DB / 20)) / rate
    edges_s = np.concatenate([[0.0], alignment.start_s + active, [seconds]])
    gaps = np.flatnonzero(np.diff(edges_s) > QUIET_S)
    spans = [(float(edges_s[k]) + (SETTLE_S if k else 0.0), float(edges_s[k + 1]) - 0.05) for k in gaps]
    return tuple((begin, end) for begin, end in spans if end - begin > 0.5)


def foreign_response(samples: Samples, rate: float, alignment: ForeignAlignment) -> SweepResponse:
    """Regularised deconvolution of any stimulus; the band is where it carries power."""
    first = round(alignment.start_s * rate)
    last = min(first + alignment.played.size + round(DECAY_S * rate), samples.size)
    if first < 0 or last < first + alignment.played.size:
        raise SignalError(
            "the stimulus is not wholly in the recording.",
            where="sound.foreign",
            mend="Start recording before it plays and stop after it.",
        )
    heard, played = samples[first:last] - samples[first:last].mean(), alignment.played
    size = fft.next_fast_len(heard.size, real=True)
    hz = np.arange(size // 2 + 1) * rate / size
    spectrum_played = fft.rfft(played, size)
    power = np.abs(spectrum_played) ** 2
    band_hz = _band(hz, power, rate)
    inside = np.clip((hz / band_hz[0] - 0.85) / 0.12, 0, 1) * np.clip((1.05 - hz / band_hz[1]) / 0.04, 0, 1)
    strength = smoothed(np.maximum(hz, hz[1]), power, 6, hz)
    spectrum = fft.rfft(heard, size) * np.conj(spectrum_played) / (power + 1e-3 * strength + 1e-300) * inside
    usual = smoothed(np.maximum(hz, hz[1]), power / (power + 1e-3 * strength + 1e-300), 6, hz)
    decay_s, rounding = (last - first - played.size) / rate, rounding_power(samples)
    growth = growth_s(played, rate) or 0.0
    return SweepResponse(rate, size, spectrum, np.sqrt(strength), usual * inside, band_hz, growth, decay_s, rounding)


def _band(hz: Samples, power: Samples, rate: float) -> tuple[float, float]:
    """Where the stimulus stays within `WEAK_DB` of its strongest, at equal power per octave."""
    grid = 1000.0 * 2 ** (np.arange(-72, 53) / 12)
    grid = grid[grid < 0.44 * rate]
    level = smoothed(grid, power, 3, hz) * grid
    fits: NDArray[np.bool_] = level > level.max() * 10 ** (WEAK_DB / 10)
    return float(grid[fits][0]) * 1.06, float(grid[fits][-1]) / 1.06


def growth_s(played: Samples, rate: float) -> float | None:
    """Growth time L of a stimulus that is one exponential sweep; none if it is not."""
    count = fft.next_fast_len(round(0.05 * rate), real=True)
    frames = played[: played.size // count * count].reshape(-1, count)
    spectra = np.abs(fft.rfft(frames * np.hanning(count), axis=1)) ** 2
    active = spectra.sum(axis=1) > 1e-4 * spectra.sum(axis=1).max()
    peaks_hz = np.argmax(spectra, axis=1) * rate / count
    usable = active & (peaks_hz > 4 * rate / count)
    if usable.sum() < 10:
        return None
    at_s = np.flatnonzero(usable) * count / rate
    log_hz = np.log(peaks_hz[usable])
    slope, start = np.polyfit(at_s, log_hz, 1)
    scatter = float(np.sqrt(np.mean((log_hz - start - slope * at_s) ** 2)))
    octaves = (log_hz.max() - log_hz.min()) / np.log(2)
    return 1 / float(slope) if slope > 0 and scatter < SWEEP_SCATTER and octaves > SWEEP_OCTAVES else None
