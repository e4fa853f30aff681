"""Finding the pilots of the test recording in any recording.

A pilot is three equal chirps whose spacing says which layout it belongs to and which end of it. The search runs at a
low rate, block by block, so that memory stays flat for long recordings; `dustcap.sound.align` measures the exact times.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import scipy.fft as fft
import soxr
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, median_filter

from dustcap.sound.stimulus import CHIRP_S, NAMES, Layout, Samples, chirp_at, layout_of

SEARCH_RATE_HZ = 16_000
BLOCK_S, OVERLAP_S = 120.0, 0.5
BANDS_PER_OCTAVE = 6
APART_S = 0.015  # peaks closer than this belong to one arrival and its echoes
THRESHOLD_SIGMA = 6.5  # one false peak in about 10 h of Gaussian noise: 2 x 7000 values a second, exp(-6.5^2/2)
PROMINENCE = 3.0  # over the median around it: a chirp makes a peak, a foreign sweep makes a hill
SPACING_SLACK_S = 0.0006  # half a search sample, 300 ppm of the longest spacing, and echoes
SKEW_LIMIT = 450e-6
SHAPE_S = 0.003
SHAPE_LIKENESS = 0.3  # the three arrivals of a pilot look alike; chance gives about 0.15


@dataclass(frozen=True, slots=True)
class Peaks:
    """Arrivals of chirps: times (n,) in seconds, heights (n,) over the background's sigma, shapes (n, m) complex."""

    times_s: Samples
    heights: Samples
    shapes: NDArray[np.complex64]


@dataclass(frozen=True, slots=True)
class Found:
    """Which layout was found where: time of its start in the recording, recording seconds per stimulus second.

    `stretch` is 1 when only one pilot was seen; `pilots` says which ones were (first, second).
    """

    layout: Layout
    start_s: float
    stretch: float
    pilots: tuple[bool, bool]
    score: float


def find_layout(samples: Samples, rate: float) -> Found | None:
    """The best match of a known layout in one channel (n,), or none."""
    peaks = chirp_peaks(samples, rate)
    candidates = [found for name in NAMES for found in _matches(peaks, layout_of(name))]
    return max(candidates, key=lambda found: found.score, default=None)


def chirp_peaks(samples: Samples, rate: float) -> Peaks:
    """Peaks of the matched filter for the pilots' chirp, in order of time."""
    parts = [_block_peaks(block, begin_s) for begin_s, block in _blocks(samples, rate)]
    order = np.argsort(np.concatenate([part.times_s for part in parts]), kind="stable")
    times_s = np.concatenate([part.times_s for part in parts])[order]
    fresh = np.diff(times_s, prepend=-np.inf) > APART_S / 2  # the overlap of two blocks is searched twice
    return Peaks(
        times_s[fresh],
        np.concatenate([part.heights for part in parts])[order][fresh],
        np.concatenate([part.shapes for part in parts])[order][fresh],
    )


def _blocks(samples: Samples, rate: float) -> Iterator[tuple[float, NDArray[np.float32]]]:
    step, size = round(BLOCK_S * rate), round((BLOCK_S + OVERLAP_S) * rate)
    for begin in range(0, max(samples.size, 1), step):
        block = samples[begin : begin + size].astype(np.float32)
        yield begin / rate, soxr.resample(block, rate, SEARCH_RATE_HZ, quality="HQ")


def _block_peaks(block: NDArray[np.float32], begin_s: float) -> Peaks:
    filtered = _matched(block)
    envelope = np.abs(filtered)
    half = round(SHAPE_S * SEARCH_RATE_HZ)
    noise = max(float(np.median(envelope)) / 1.1774, float(envelope.max()) / 3000, 1e-30)  # 1.1774: Rayleigh median
    width = 2 * round(APART_S * SEARCH_RATE_HZ) + 1
    found = np.flatnonzero((envelope == maximum_filter1d(envelope, width)) & (envelope > THRESHOLD_SIGMA * noise))
    around = median_filter(envelope[:: width // 8], 15)  # over about 60 ms
    found = found[envelope[found] > PROMINENCE * around[np.minimum(found // (width // 8), around.size - 1)]]
    found = found[(found >= half) & (found < envelope.size - half)]
    shapes = np.stack([filtered[at - half : at + half + 1] for at in found]) if found.size else _no_shapes(half)
    return Peaks(begin_s + found / SEARCH_RATE_HZ, envelope[found] / noise, shapes)


def _no_shapes(half: int) -> NDArray[np.complex64]:
    return np.zeros((0, 2 * half + 1), np.complex64)


def _matched(block: NDArray[np.float32]) -> NDArray[np.complex64]:
    """Analytic output of the matched filter, with hum, rumble and the loudspeaker's own response levelled out.

    Each sixth of an octave is divided by the square root of its power: between a plain matched filter, that a hum
    line would rule, and a full whitening, that would let bands of pure noise in.
    """
    chirp = chirp_at(np.arange(round(CHIRP_S * SEARCH_RATE_HZ)) / SEARCH_RATE_HZ).astype(np.float32)
    size = fft.next_fast_len(block.size + chirp.size, real=True)
    spectrum = fft.rfft(block, size)
    product = spectrum * np.conj(fft.rfft(chirp, size))
    edges = _band_edges(product.size, size)
    bands = edges.size - 1
    power = np.add.reduceat(np.abs(spectrum[: edges[-1]]) ** 2, edges[:-1]) / np.diff(edges)
    gains = 1 / np.sqrt(power + 1e-12 * power.max(initial=0.0) + 1e-30)
    gains[0] = 0.0  # below the chirp
    one_sided = np.zeros(size, np.complex64)
    one_sided[: edges[-1]] = product[: edges[-1]] * np.repeat(gains[:bands], np.diff(edges)).astype(np.float32)
    return np.asarray(fft.ifft(one_sided)[: block.size])


def _band_edges(bins: int, size: int) -> NDArray[np.int64]:
    """Bin numbers: 0, then sixths of an octave from 141 Hz to 7.2 kHz."""
    low_hz, high_hz = 141.0, 7200.0
    count = round(np.log2(high_hz / low_hz) * BANDS_PER_OCTAVE)
    edges_hz = low_hz * (high_hz / low_hz) ** (np.arange(count + 1) / count)
    edges = np.minimum(np.round(edges_hz * size / SEARCH_RATE_HZ).astype(np.int64), bins)
    return np.unique(np.concatenate([[0], edges]))


def _matches(peaks: Peaks, layout: Layout) -> Iterator[Found]:
    """Pairs of pilots at the right distance, and pilots alone, of one layout."""
    firsts = _triples(peaks, layout.pilot_gaps_s[0])
    seconds = _triples(peaks, layout.pilot_gaps_s[1])
    first_s, second_s = layout.part("first pilot")[0].start_s, layout.part("second pilot")[0].start_s
    for first_at, first_score in firsts:
        for second_at, second_score in seconds:
            stretch = (second_at - first_at) / (second_s - first_s)
            if abs(stretch - 1) < SKEW_LIMIT:
                start_s = first_at - stretch * first_s
                yield Found(layout, start_s, stretch, (True, True), first_score + second_score)
    for at, score in firsts:
        yield Found(layout, at - first_s, 1.0, (True, False), score)
    for at, score in seconds:
        yield Found(layout, at - second_s, 1.0, (False, True), score)


def _triples(peaks: Peaks, gaps_s: tuple[float, float]) -> list[tuple[float, float]]:
    """Times and scores of three alike peaks with the given spacings."""
    found = []
    for first in range(peaks.times_s.size):
        second = _peak_near(peaks, peaks.times_s[first] + gaps_s[0])
        third = _peak_near(peaks, peaks.times_s[first] + sum(gaps_s))
        if second is None or third is None:
            continue
        heights = peaks.heights[[first, second, third]]
        likeness = _likeness(peaks.shapes[[first, second, third]])
        if heights.min() > 0.15 * heights.max() and likeness > SHAPE_LIKENESS:
            found.append((float(peaks.times_s[first]), float(np.log(heights).mean()) * likeness))
    return found


def _peak_near(peaks: Peaks, time_s: float) -> int | None:
    begin, end = np.searchsorted(peaks.times_s, (time_s - SPACING_SLACK_S, time_s + SPACING_SLACK_S))
    return int(begin + np.argmax(peaks.heights[begin:end])) if begin < end else None


def _likeness(shapes: NDArray[np.complex64]) -> float:
    """Mean normalised correlation of three complex shapes, 0 to 1."""
    units = shapes / np.linalg.norm(shapes, axis=1, keepdims=True)
    return float(np.mean([abs(np.vdot(units[a], units[b])) for a, b in ((0, 1), (1, 2), (0, 2))]))
