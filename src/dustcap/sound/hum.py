"""Hum: the mains frequency and its lines, told apart from the noise around them.

=================  =================  =====  =======================================================
symbol             name here          unit   meaning
=================  =================  =====  =======================================================
f                  mains_hz           Hz     mains frequency in the recorder's clock
k                  order              --     line number: the line lies at k f
z                  ratio              --     power of a spectrum's bin over the noise's there; in noise alone
                                             the sum over m pieces is gamma distributed with shape m
=================  =================  =====  =======================================================
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import soxr
from numpy.typing import NDArray
from scipy import fft, signal, special

from dustcap.errors import SignalError

Floats = NDArray[np.float64]

LOWEST_HZ, HIGHEST_HZ = 45.0, 65.0
NOMINAL_HZ, NOMINAL_SHARE = (50.0, 60.0), 0.01  # EN 50160 (from memory): 50 Hz within 1 % for 99.5 % of a year
MOST_LINES = 40
LOW_ORDER = 8  # ours: lines up to here tell mains from other tones
FLANK, AROUND = 0.75, (-4.75, -4.0, -3.25, -2.5, 2.5, 3.25, 4.0, 4.75)  # ours: places beside a line, times length
ALONE = 8.0  # ours: power of a line over the mean around it
MOST_TRIED = 4  # ours: families of peaks whose lines are looked at
WORK_RATE = 8000.0
PIECE_S, SHORTEST_S, MOST_PIECES = 10.0, 2.0, 60
FLOOR_HZ = 8.0  # ours: width over which the noise is taken to be level
ANY_P = 1e-7  # chance of one bin of noise to look like a line where no mains is known yet
LINE_P = 3e-5  # and where it is
PAD = 8
PEAK_VARIANCE = 0.22  # of a peak's frequency, times ratio and squared length; simulated for the Hann window
PEAK_BIAS = 1e-3  # of a peak's frequency, times length: the parabola's own error
TRACK_HZ, WANDER_HZ = 4e-3, 0.3  # ours: a piece's own frequency counts when known so well, and so near
BOTH_DB = 10.0  # ours: a family of lines counts when it is within 10 dB of the other


@dataclass(frozen=True, slots=True)
class Line:
    """One line: its order, frequency, and level (peak amplitude re full scale, dB) with its 95 % uncertainty."""

    order: int
    hz: float
    db: float
    uncertainty_db: float


@dataclass(frozen=True, slots=True)
class Hum:
    """Mains lines of a recording, in the recorder's clock; without any, all is None and `lines` is empty.

    `kind` is "ripple" (even multiples), "ground loop" (odd multiples) or "both"; `twice_mains_share` is the share of
    the lines' power at even multiples. `uncertainty_hz` is that of `mains_hz` (95 %).
    """

    mains_hz: float | None
    uncertainty_hz: float | None
    lines: tuple[Line, ...]
    kind: str | None
    twice_mains_share: float | None


NO_HUM = Hum(None, None, (), None, None)


@dataclass(frozen=True, slots=True)
class _Family:
    """Peaks at multiples of one frequency: the fitted frequency, its standard deviation, the orders, how likely."""

    hz: float
    sigma_hz: float
    orders: tuple[int, ...]
    score: float


@dataclass(frozen=True, slots=True)
class _Spectra:
    """Power over noise of each piece on one frequency grid, and the windowed pieces themselves."""

    step_hz: float
    ratios: NDArray[np.float32]  # (pieces, bins)
    pieces: tuple[Floats, ...]
    length_s: float


@dataclass(frozen=True, slots=True)
class _Peaks:
    """Local maxima of the ratio, shape (n,)."""

    hz: Floats
    ratio: Floats


def hum_of(takes: Sequence[NDArray[np.floating]], rate: float) -> Hum:
    """Mains frequency and lines from one or more quiet stretches.

    Parameters
    ----------
    takes : sequence of ndarray, each of shape (n,)
        Quiet stretches, full scale 1, two seconds or longer; shorter ones are left out. They need not hang together.
        At most sixty pieces of 10 s, evenly spread, are looked at.
    rate : float
        Sample rate in Hz.

    Returns
    -------
    Hum

    Raises
    ------
    SignalError
        If no stretch lasts two seconds.

    Notes
    -----
    Peaks that noise alone would show with a probability of 1e-7 a bin start a search for lines at their multiples;
    the frequency is the weighted least squares fit to the lines' own frequencies. Near 50 and 60 Hz (1 %) one line at
    the mains frequency or twice is enough, or two low lines; elsewhere from 45 to 65 Hz it takes three up to the
    eighth, one of them odd. Lines that lie high alone are some other tone's.
    Plain noise shows mains in fewer than one of a thousand recordings of 10 s. Up to forty lines, below 3.6 kHz.
    """
    spectra = _spectra(takes, rate)
    for family in _search(spectra)[:MOST_TRIED]:
        tracked = _track(spectra, family)
        lines = _lines(spectra, tracked)
        if lines and _is_mains(family.hz, tuple(line.order for line in lines)):
            return _hum(tracked, family, lines)
    return NO_HUM


def _hum(tracked: Floats, family: _Family, lines: tuple[Line, ...]) -> Hum:
    powers = {line.order: 10 ** (line.db / 10) for line in lines}
    share = sum(power for order, power in powers.items() if order % 2 == 0) / sum(powers.values())
    return Hum(float(np.mean(tracked)), 1.96 * family.sigma_hz, lines, _kind(share), share)


def hum_part(stretch: Floats, rate: float, hum: Hum) -> Floats:
    """The lines of `hum` in a stretch of samples, shape (n,): amplitudes and phases fitted, frequency kept."""
    part = np.zeros(stretch.size)
    if hum.mains_hz is None:
        return part
    taper = signal.windows.hann(stretch.size, sym=False)
    tapered = (stretch - stretch.mean()) * taper
    turn = np.exp(2j * np.pi * hum.mains_hz / rate * np.arange(stretch.size))
    turns, order = np.ones(stretch.size, dtype=complex), 0
    for line in hum.lines:
        turns, order = turns * turn ** (line.order - order), line.order
        part += 2 * np.real(np.vdot(turns, tapered) / taper.sum() * turns)
    return part


def _kind(twice_share: float) -> str:
    weak = 1.0 / (1.0 + 10 ** (BOTH_DB / 10))
    if twice_share > 1.0 - weak:
        return "ripple"
    return "ground loop" if twice_share < weak else "both"


def _spectra(takes: Sequence[NDArray[np.floating]], rate: float) -> _Spectra:
    pieces = _pieces(takes, rate)
    size = fft.next_fast_len(PAD * max(piece.size for piece in pieces), real=True)
    hz = np.arange(int(0.45 * size)) * (WORK_RATE / size)
    ratios = np.empty((len(pieces), hz.size), dtype=np.float32)
    for piece, ratio in zip(pieces, ratios, strict=True):
        power = np.abs(fft.rfft(piece, size)[: hz.size]) ** 2
        ratio[:] = power / _floor(hz, power)
    return _Spectra(float(hz[1]), ratios, pieces, float(np.mean([piece.size for piece in pieces])) / WORK_RATE)


def _pieces(takes: Sequence[NDArray[np.floating]], rate: float) -> tuple[Floats, ...]:
    """Pieces of 10 s at most, at the working rate, without their mean, windowed."""
    places = []
    for take in takes:
        if len(take) >= SHORTEST_S * rate:
            edges = np.linspace(0, len(take), int(np.ceil(len(take) / (PIECE_S * rate))) + 1).astype(int)
            places += [(take, int(start), int(stop)) for start, stop in itertools.pairwise(edges)]
    if not places:
        raise SignalError(
            "no quiet stretch lasts two seconds, too short to find hum.", where="sound.hum", mend="Record a longer gap."
        )
    if len(places) > MOST_PIECES:
        places = [places[i] for i in np.linspace(0, len(places) - 1, MOST_PIECES).astype(int)]
    pieces = []
    for take, start, stop in places:
        piece = soxr.resample(np.asarray(take[start:stop], dtype=float), rate, WORK_RATE)
        pieces.append((piece - piece.mean()) * signal.windows.hann(piece.size, sym=False))
    return tuple(pieces)


def _floor(hz: Floats, power: Floats) -> Floats:
    """Noise power at each frequency: medians over 8 Hz, half overlapping, joined by straight lines in dB.

    A median of exponentially distributed powers is ln 2 of their mean.
    """
    width = int(FLOOR_HZ / hz[1])
    starts = np.arange(0, hz.size - width + 1, width // 2)
    windows = np.lib.stride_tricks.sliding_window_view(power, width)[starts]
    medians = np.maximum(np.median(windows, axis=1), 1e-30)
    level: Floats = np.exp(np.interp(hz, hz[starts] + FLOOR_HZ / 2, np.log(medians / np.log(2.0))))
    return level


def _peaks(z: NDArray[np.float32], step_hz: float, pieces: int, chance: float) -> _Peaks:
    """Local maxima that noise would exceed with that chance, placed by a parabola through the logarithms."""
    least = special.gammainccinv(pieces, chance)
    middle = np.flatnonzero((z[1:-1] > least) & (z[1:-1] >= z[:-2]) & (z[1:-1] > z[2:])) + 1
    before, here, after = (np.log(np.maximum(z[middle + i], 1e-30)) for i in (-1, 0, 1))
    offset = 0.5 * (before - after) / np.minimum(before - 2 * here + after, -1e-12)
    return _Peaks((middle + offset) * step_hz, z[middle].astype(float))


def _search(spectra: _Spectra) -> list[_Family]:
    """Families of peaks in the sum over the pieces that mains would make, the likeliest first."""
    pieces = len(spectra.pieces)
    z = spectra.ratios.sum(axis=0)
    sure = _peaks(z, spectra.step_hz, pieces, ANY_P)
    peaks = _peaks(z, spectra.step_hz, pieces, LINE_P)
    found: dict[tuple[int, ...], _Family] = {}
    for hz, ratio in zip(sure.hz, sure.ratio, strict=True):
        for order in range(max(int(np.ceil(hz / HIGHEST_HZ)), 1), min(int(hz / LOWEST_HZ), MOST_LINES) + 1):
            sigma = float(np.sqrt(PEAK_VARIANCE / ratio)) / spectra.length_s / order
            family = _family(peaks, spectra.length_s, hz / order, sigma)
            if family is not None and _is_mains(family.hz, family.orders):
                same = found.get(family.orders)
                if same is None or family.score > same.score:
                    found[family.orders] = family
    return sorted(found.values(), key=lambda family: -family.score)


def _family(peaks: _Peaks, length_s: float, mains_hz: float, sigma_hz: float) -> _Family | None:
    """Follow a frequency up its multiples, taking each peak that fits into the least squares fit as it comes."""
    weight, moment = 1e-6 / sigma_hz**2, 1e-6 * mains_hz / sigma_hz**2  # a start that the first peak overrules
    sigma, orders, score = sigma_hz, [], 0.0
    for order in range(1, MOST_LINES + 1):
        centre = order * moment / weight
        near = int(np.argmin(np.abs(peaks.hz - centre)))
        if abs(peaks.hz[near] - centre) > min(max(0.35 / length_s, 4.0 * order * sigma), 1.5 / length_s):
            continue
        precision = peaks.ratio[near] * length_s**2 / PEAK_VARIANCE
        weight += order**2 * precision
        moment += order * precision * peaks.hz[near]
        sigma = float(1.0 / np.sqrt(weight))
        orders.append(order)
        score += float(np.log(peaks.ratio[near])) / order**0.5
    if not orders:
        return None
    return _Family(moment / weight, float(np.hypot(sigma, PEAK_BIAS / length_s)), tuple(orders), score)


def _is_mains(mains_hz: float, orders: tuple[int, ...]) -> bool:
    """One line at the mains or twice is enough near 50 and 60 Hz, or two low ones; elsewhere three of the lowest eight,
    one of them odd.
    """
    if any(abs(mains_hz / nominal - 1.0) <= NOMINAL_SHARE for nominal in NOMINAL_HZ):
        return orders[0] <= 2 or (orders[0] <= 4 and len(orders) > 1 and orders[1] <= 2 * orders[0])
    low = [order for order in orders if order <= LOW_ORDER]
    within = LOWEST_HZ <= mains_hz <= HIGHEST_HZ
    return within and len(low) >= 3 and low[0] <= 3 and any(order % 2 for order in low)


def _track(spectra: _Spectra, family: _Family) -> Floats:
    """Mains frequency of each piece, shape (pieces,): its own where its lines show it to 4 mHz, else the common one."""
    tracked = np.full(len(spectra.pieces), family.hz)
    if tracked.size > 1:
        for i, ratio in enumerate(spectra.ratios):
            peaks = _peaks(ratio, spectra.step_hz, 1, LINE_P)
            own = _follow(peaks, spectra.length_s, family)
            if own is not None and own.sigma_hz < TRACK_HZ:
                tracked[i] = own.hz
    return tracked


def _follow(peaks: _Peaks, length_s: float, family: _Family) -> _Family | None:
    """The family of one piece whose first line is the peak nearest to that of the common family."""
    if not peaks.hz.size:
        return None
    first = family.orders[0]
    near = int(np.argmin(np.abs(peaks.hz - first * family.hz)))
    if abs(peaks.hz[near] / first - family.hz) > WANDER_HZ:
        return None
    sigma = float(np.sqrt(PEAK_VARIANCE / peaks.ratio[near])) / length_s / first
    return _family(peaks, length_s, peaks.hz[near] / first, sigma)


def _lines(spectra: _Spectra, tracked: Floats) -> tuple[Line, ...]:
    """Lines whose power, summed over the pieces, noise would not show, which peak where the mains puts them, and stand
    alone there.

    A tone that sways, or another one's skirt, is no less strong a few resolution widths away.
    """
    lines = []
    for order in range(1, MOST_LINES + 1):
        here = _at(spectra, order * tracked)
        flanks = [_at(spectra, order * tracked + off / spectra.length_s).sum() for off in (-FLANK, FLANK)]
        around = np.mean([_at(spectra, order * tracked + off / spectra.length_s).sum() for off in AROUND])
        noise = special.gammainccinv(tracked.size, LINE_P)
        if here.sum() > max(noise, *flanks, ALONE * around):
            line = _line(spectra, order, tracked, here)
            if line is not None:
                lines.append(line)
    return tuple(lines)


def _at(spectra: _Spectra, hz: Floats) -> Floats:
    """Ratio of each piece at its frequency, shape (pieces,)."""
    at = np.rint(hz / spectra.step_hz).astype(int)
    ratio: Floats = spectra.ratios[np.arange(hz.size), at].astype(float)
    return ratio


def _line(spectra: _Spectra, order: int, tracked: Floats, ratio: Floats) -> Line | None:
    """Level of a line: its power at its place in each piece less the noise's, averaged by length."""
    powers = np.empty(tracked.size)
    for i, piece in enumerate(spectra.pieces):
        turns = np.exp(-2j * np.pi * order * tracked[i] / WORK_RATE * np.arange(piece.size))
        powers[i] = (abs(np.dot(piece, turns)) / (0.25 * piece.size)) ** 2  # amplitude of a line in a Hann window
    lengths = np.array([piece.size for piece in spectra.pieces], dtype=float)
    noise = float(np.average(powers / ratio, weights=lengths))
    square = float(np.average(powers, weights=lengths)) - noise
    if not square > 0:
        return None
    spread = float(20 / np.log(10) * np.sqrt(noise / (2 * square * tracked.size)))
    hz = order * float(np.mean(tracked))
    return Line(order, hz, float(10 * np.log10(square)), 1.96 * spread)
