r"""Complex ratio of two channels that were recorded at once, with its uncertainty, whatever was played.

In a cell of neighbouring frequencies the ratio is the least-squares one, :math:`T = \sum B A^* / \sum |A|^2`; what
noise in A takes from it is put back under the assumption that both channels have equal noise. The noise is what is left
beside a smooth curve through neighbouring cells.

A recording that begins and ends in silence is transformed in one piece, which is exact for any linear circuit. One that
is cut into the sound is transformed in one piece with its ends faded when each frequency sounds once, as in a sweep,
and in overlapping windows when all sound all the time, as in noise and music.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.ndimage import median_filter

from dustcap.errors import SignalError
from dustcap.sound.coil import Complex, Floats

CELLS_PER_OCTAVE = 96
LOW_HZ, HIGH_HZ = 2.0, 22_000.0
QUIET = 10 ** (-15 / 20)  # ours: at both ends against the loudest tenth of a second, hum included: the sound is whole
EDGE_S, FADE_S = 0.1, 0.3
MOST_CUT = 0.05  # ours: amplitude of what was faded away against what stayed
WINDOW_S, LEAST_WINDOWS = 4.0, 7
ONCE = 0.45  # ours: share of the loudest window in a line; 0.37 in noise with seven windows, 0.5 or more in a sweep
WINDOW_BINS = 3  # neighbouring bins of a Hann window are not independent
NEIGHBOURS = 9  # cells through which a parabola is laid to see the noise
OUTLIER = 14.0  # times the median power of what is left: noise alone passes it once in 16 000 (ln 2 times 14)


Spectra = tuple[Floats, Complex, Complex]
"""Frequencies (n,) and the spectra of both channels (windows, n)."""


@dataclass(frozen=True, slots=True)
class Ratio:
    """Ratio of two channels: `hz` (n,) rising, complex `value` (n,), standard uncertainty `sigma` (n,)."""

    hz: Floats
    value: Complex
    sigma: Floats


def channel_ratio(source: Floats, other: Floats, rate: float, *, without_hz: Sequence[float] = ()) -> Ratio:
    """`other` over `source`, each of shape (n,), in cells of a 96th of an octave or one line of the transform.

    `without_hz` are frequencies of lines that are left out.

    Raises
    ------
    SignalError
        If there is not enough sound in the source to say anything.
    """
    a, b = source - source.mean(), other - other.mean()
    if _whole(a, rate):
        return _in_cells(_one_piece(a, b, rate), 1, without_hz)
    if not _passes_once(_windows(a, b, rate)[1]):
        return windowed_ratio(a, b, rate, without_hz)
    size = round(FADE_S * rate)
    fade = np.ones(a.size)
    fade[:size] = np.sin(np.linspace(0, np.pi / 2, size)) ** 2
    fade[-size:] = fade[:size][::-1]
    hz, whole, other_whole = _one_piece(a * fade, b * fade, rate)
    _, edges, _ = _one_piece(a * (1 - fade), b, rate)
    cut = np.abs(edges[0]) > MOST_CUT * np.abs(whole[0])
    return _in_cells((hz, whole, other_whole), 1, without_hz, cut=cut)


def windowed_ratio(source: Floats, other: Floats, rate: float, without_hz: Sequence[float] = ()) -> Ratio:
    """As `channel_ratio`, in overlapping Hann windows: steady lines stay where they are."""
    return _in_cells(_windows(source, other, rate), WINDOW_BINS, without_hz)


def _in_cells(
    spectra: Spectra, least: int, without_hz: Sequence[float], *, cut: NDArray[np.bool_] | None = None
) -> Ratio:
    hz, a, b = spectra
    cell = _cells(hz, least)
    keep = np.ones(a.shape, bool)
    reach = (least + 0.5) * (hz[1] - hz[0])
    if cut is not None:
        keep[:, cut] = False
    for line in without_hz:
        keep[:, np.abs(hz - line) < reach] = False
    first = _averaged(hz, a, b, cell, keep)
    left = np.abs(b - np.interp(hz, first.hz, first.value) * a) ** 2
    usual = median_filter(left, size=(1, 41), mode="nearest")
    return _averaged(hz, a, b, cell, keep & (left <= OUTLIER * np.maximum(usual, 1e-300)))


def smooth(ratio: Ratio, octaves: float = 0.5) -> Ratio:
    """The ratio of two amplifiers, which changes slowly: parabolas over `octaves`, uncertainty brought down alike."""
    value, sigma = np.empty_like(ratio.value), np.empty_like(ratio.sigma)
    log_hz = np.log2(ratio.hz)
    for i, at in enumerate(log_hz):
        near = np.abs(log_hz - at) <= octaves / 2
        if near.sum() < 5:
            value[i], sigma[i] = ratio.value[i], ratio.sigma[i]
            continue
        powers = np.vander(log_hz[near] - at, 3, increasing=True) / ratio.sigma[near, None]
        inverse = np.linalg.pinv(powers.T @ powers)
        value[i] = (inverse @ (powers.T @ (ratio.value[near] / ratio.sigma[near])))[0]
        sigma[i] = np.sqrt(inverse[0, 0])
    return Ratio(ratio.hz, value, sigma)


def spread_over(ratio: Ratio, hz: Floats) -> tuple[Complex, Floats]:
    """Value and uncertainty of a ratio at other frequencies, shape (m,); outside its band the end values."""
    return np.interp(hz, ratio.hz, ratio.value), np.interp(hz, ratio.hz, ratio.sigma)


def _whole(a: Floats, rate: float) -> bool:
    """Whether the sound begins and ends inside the recording."""
    edge = round(EDGE_S * rate)
    blocks = a[: a.size // edge * edge].reshape(-1, edge)
    levels = np.sqrt(np.mean((blocks - blocks.mean(axis=1, keepdims=True)) ** 2, axis=1))
    return bool(max(levels[0], levels[-1]) <= QUIET * levels.max())


def _passes_once(windows: Complex) -> bool:
    """Whether most frequencies sound in one window only; `windows` has shape (windows, lines)."""
    power = np.abs(windows) ** 2
    return bool(np.median(power.max(axis=0) / np.maximum(power.sum(axis=0), 1e-300)) > ONCE)


def _one_piece(a: Floats, b: Floats, rate: float) -> Spectra:
    size = fft.next_fast_len(a.size, real=True)
    hz, inside = _lines(size, rate)
    return hz, fft.rfft(a, size)[None, inside], fft.rfft(b, size)[None, inside]


def _windows(a: Floats, b: Floats, rate: float) -> Spectra:
    size = fft.next_fast_len(round(min(WINDOW_S * rate, 2 * a.size / (LEAST_WINDOWS + 1))), real=True)
    size = min(size, a.size)
    taper = 0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(size) + 0.5) / size)
    hz, inside = _lines(size, rate)
    starts = range(0, a.size - size + 1, max(size // 2, 1))
    both = [np.stack([fft.rfft(one[i : i + size] * taper)[inside] for i in starts]) for one in (a, b)]
    return hz, both[0], both[1]


def _lines(size: int, rate: float) -> tuple[Floats, NDArray[np.bool_]]:
    """Frequencies of a transform that are looked at, and which of its lines they are."""
    hz = np.arange(size // 2 + 1) * rate / size
    inside = (hz >= LOW_HZ) & (hz <= min(HIGH_HZ, 0.47 * rate))
    return hz[inside], inside


def _cells(hz: Floats, least: int) -> NDArray[np.int64]:
    """Number of the cell of each frequency, shape (n,): `least` lines or a 96th of an octave, whichever is wider."""
    number = np.empty(hz.size, dtype=np.int64)
    step = 2 ** (1 / CELLS_PER_OCTAVE)
    i, at = 0, 0
    while i < hz.size:
        stop = max(int(np.searchsorted(hz, hz[i] * step)), i + least)
        number[i:stop] = at
        i, at = stop, at + 1
    return number


def _averaged(hz: Floats, a: Complex, b: Complex, cell: NDArray[np.int64], keep: NDArray[np.bool_]) -> Ratio:
    count = int(cell[-1]) + 1
    power = np.where(keep, np.abs(a) ** 2, 0.0).sum(axis=0)
    cross = np.where(keep, b * a.conj(), 0.0).sum(axis=0)
    weight: Floats = np.bincount(cell, power, count).astype(float)
    some = weight > 0
    if some.sum() < 3 * NEIGHBOURS:
        raise SignalError("holds too little sound.", where="impedance", mend="Record the whole sweep, louder.")
    centre = np.bincount(cell, power * hz, count)[some] / weight[some]
    sums = np.bincount(cell, cross.real, count) + 1j * np.bincount(cell, cross.imag, count)
    value: Complex = np.asarray(sums[some] / weight[some], complex)
    lines = np.bincount(cell, keep.sum(axis=0), count)[some]
    weight = np.asarray(weight[some], float)
    noise = _noise(centre, value, weight)
    shrunk = lines * noise / (1 + np.abs(value) ** 2) / weight  # of the power of A that is noise
    good = shrunk < 0.2
    value = value / (1 - np.where(good, shrunk, 0.0))
    sigma = np.where(good, np.sqrt(noise / weight), np.inf)
    return Ratio(centre, value, sigma)


def _noise(hz: Floats, value: Complex, weight: Floats) -> Floats:
    """Power of the noise in one line of B - T A around each cell, shape (n,)."""
    half = NEIGHBOURS // 2
    padded = np.arange(-half, half + 1) + np.clip(np.arange(hz.size), half, hz.size - half - 1)[:, None]
    x = hz[padded] / hz[:, None] - 1  # (n, 9)
    scale = np.max(np.abs(x), axis=1, keepdims=True)
    powers = np.stack([np.ones_like(x), x / scale, (x / scale) ** 2], axis=2)  # (n, 9, 3)
    root = np.sqrt(weight[padded])
    weighted, target = powers * root[..., None], value[padded] * root
    basis, _ = np.linalg.qr(weighted)
    along = np.einsum("nij,ni->nj", basis, target)
    left = np.sum(np.abs(target) ** 2, axis=1) - np.sum(np.abs(along) ** 2, axis=1)
    power = np.maximum(left, 0.0) / (NEIGHBOURS - 3)
    octave = max(int(np.count_nonzero((hz >= 100) & (hz < 200))), 12) // 3 * 2 + 1
    return np.asarray(median_filter(power, size=octave, mode="nearest")) + 1e-30
