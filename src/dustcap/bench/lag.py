"""Whether a recording kept time with what was played: the lag at several places.

A driver that drops or repeats a buffer does not always say so. What was played is therefore looked for in the recording
piece by piece; on one clock the lag is the same everywhere, on two it grows evenly and slowly, and a step in it is a
buffer that was lost or came twice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

Floats = NDArray[np.floating]

PIECE_S, PIECES = 0.35, 24  # ours
SEARCH_S = 0.25  # ours: no more is lost between one place and the next
CLEAR = 7.0  # ours: times the r.m.s. of the others; noise alone reaches five
LOUD = 0.02  # of the loudest piece's power
SKEW_PPM = 400.0  # ours: two crystals differ by less
STEP_S = 1.5e-3  # ours: a driver's own delay changes less over its range, a lost buffer is longer
SLOPES = np.arange(-2000, 2001, 5) * 1e-6
SAME_SAMPLES = 0.5  # ours: below, all lags are one
LOWEST_HZ = 400.0  # ours: below, a loudspeaker's own delay is longer than a buffer


@dataclass(frozen=True, slots=True)
class Lag:
    """At `at_s` of what was played the recording lags by `samples` (from its own first sample)."""

    at_s: float
    samples: float


@dataclass(frozen=True, slots=True)
class LagCheck:
    """The lags that were found, the clocks' difference, the places at which a step was seen (it lies between the place
    before and this one), and whether the lag runs away faster than two clocks do."""

    lags: tuple[Lag, ...]
    skew_ppm: float | None
    steps_s: tuple[float, ...]
    clocks_apart: bool

    @property
    def steady(self) -> bool:
        """Whether every lag is the same to within a sample."""
        found = [lag.samples for lag in self.lags]
        return len(found) >= 2 and max(found) - min(found) <= SAME_SAMPLES

    @property
    def kept_time(self) -> bool | None:
        """Whether nothing was lost or repeated as far as it can be seen; None when too little was heard to say."""
        if len(self.lags) < 3:
            return None
        return not self.steps_s and not self.clocks_apart


def check_lag(played: Floats, recorded: Floats, rate: int) -> LagCheck:
    """Look for pieces of what was played (n,) in what was recorded (m,), both on the same nominal rate."""
    places = _places(played, rate)
    lags: list[Lag] = []
    coarse = _coarse(played, recorded, rate)
    if coarse is None:
        return LagCheck((), None, (), False)
    near = float(coarse)
    for place in places:
        lag = _lag_at(played, recorded, place, near, rate)
        if lag is not None:
            lags.append(Lag(place / rate, lag))
            near = lag
    return _judged(tuple(lags), rate)


def _judged(lags: tuple[Lag, ...], rate: int) -> LagCheck:
    if len(lags) < 3:
        return LagCheck(lags, None, (), False)
    at = np.array([lag.at_s for lag in lags]) * rate
    late = np.array([lag.samples for lag in lags])
    gap, change = np.diff(at), np.diff(late)
    # the slope that leaves least change over, where no single change counts for more than a step
    over = np.abs(change - SLOPES[:, None] * gap)
    slope = float(SLOPES[int(np.argmin(np.minimum(over, STEP_S * rate).sum(axis=1)))])
    if abs(slope) > SKEW_PPM * 1e-6:
        return LagCheck(lags, slope * 1e6, (), True)
    jumps = np.flatnonzero(np.abs(change - slope * gap) > STEP_S * rate)
    return LagCheck(lags, slope * 1e6, tuple(float(at[i + 1] / rate) for i in jumps), False)


def _places(played: Floats, rate: int) -> list[int]:
    """First samples of up to `PIECES` pieces that are loud enough and hold more than lows, spread over the whole."""
    size = round(PIECE_S * rate)
    count = len(played) // size
    if not count:
        return []
    edge = np.exp(-2 * np.pi * LOWEST_HZ / rate)
    # a first difference leaves the part above LOWEST_HZ, near enough to tell loud pieces from quiet ones
    high = np.diff(played, prepend=played[:1]) / (1.0 - edge)
    power = np.mean(np.square(high[: count * size].reshape(count, size)), axis=1)
    whole = np.mean(np.square(played[: count * size].reshape(count, size)), axis=1)
    good = np.flatnonzero((whole > LOUD * whole.max(initial=0.0)) & (power > 0.25 * whole))
    if good.size > PIECES:
        good = good[np.linspace(0, good.size - 1, PIECES).round().astype(int)]
    return [int(i) * size for i in good]


def _coarse(played: Floats, recorded: Floats, rate: int) -> int | None:
    """The lag of the whole, by correlation without regard to colour."""
    if len(recorded) < 2 or not np.any(recorded) or not np.any(played):
        return None
    size = fft.next_fast_len(len(played) + len(recorded), real=True)
    cross = fft.rfft(recorded, size) * np.conj(fft.rfft(played, size))
    found = fft.irfft(cross / (np.abs(cross) + 1e-9 * np.abs(cross).max()), size)
    lag = int(np.argmax(np.abs(found)))
    return lag - size if lag > len(recorded) else lag


def _lag_at(played: Floats, recorded: Floats, place: int, near: float, rate: int) -> float | None:
    """Lag of one piece, looked for around `near`; None when it does not stand out."""
    size, reach = round(PIECE_S * rate), round(SEARCH_S * rate)
    start = place + round(near) - reach
    if start + reach < 0 or start + reach + size > len(recorded):
        return None
    lead = max(-start, 0)
    heard = np.concatenate([np.zeros(lead), recorded[max(start, 0) : start + size + 2 * reach]])
    piece = played[place : place + size]
    length = fft.next_fast_len(len(heard) + size, real=True)
    cross = fft.rfft(heard, length) * np.conj(fft.rfft(piece, length))
    match = np.abs(fft.irfft(cross, length)[: 2 * reach + 1])
    best = int(np.argmax(match))
    width = round(0.01 * rate)
    others = np.concatenate([match[: max(best - width, 0)], match[best + width :]])
    if not others.size or match[best] < CLEAR * np.sqrt(np.mean(np.square(others))):
        return None
    return float(place + round(near) - reach + best - place)
