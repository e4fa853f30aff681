"""Crackle: short events that stand out of the whitened background, how many, how large, how often.

A sample of the whitened background is an event when it, or the energy of a short stretch around it, is too unlikely
for Gaussian noise. Where the limit lies is decided for each recording: as low as the number of false events allows,
which is computed and said. See `whitening` for the background and `rates` for the interval of the rate.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special, stats

from dustcap.errors import SignalError
from dustcap.sound.hum import NO_HUM, Hum, hum_part
from dustcap.sound.rates import rate_interval
from dustcap.sound.whitening import ORDER, Whitened, ringing_of, spans_beyond, whiten

Floats = NDArray[np.float64]
Windows = Sequence[tuple[float, float]]

STRETCHES_S = (0.0, 4 / 48000, 16 / 48000, 64 / 48000)  # ours: lengths whose energy is tested; 0: one sample
TRIALS = 2.1  # independent tests a sample these make, counted on 240 s of Gaussian noise
CANDIDATE_P = 2e-5
MERGE_S = 2e-3  # ours: what follows within 2 ms is the same event
CLEAN_P = 2e-3  # ours: chance that a recording without crackle shows an event by its size
WEAK_P = 2e-3  # ours: and by the number of weak ones
PIECE_S = 20.0  # a long recording is worked on in pieces
SHORTEST_S = 0.5
STUCK = 0.5  # ours: share of samples equal to the one before, from which noise is no noise
ECHO_S, ECHO_DB = 12e-3, 4.0  # ours: a first reflection comes within 12 ms and is 4 dB weaker
TAIL_DB, TAIL_DB_PER_S = 9.0, 200.0  # ours: then the room decays, 60 dB in 0.3 s


@dataclass(frozen=True, slots=True)
class Crackle:
    """Events of a recording; times in seconds from its start, sizes over the whitened background's sigma.

    `seconds` is the time that was listened to, without the time in which events hide others; `low` and `high` bound
    the rate (exact, 95 %). `levels_dbfs` are the peaks of what each event adds to the recording, so that recordings
    with different backgrounds compare. `share` is the share of the time that the events cover.
    """

    found: bool
    events: int
    seconds: float
    rate: float
    low: float
    high: float
    times: tuple[float, ...]
    sizes_db: tuple[float, ...]
    levels_dbfs: tuple[float, ...]
    windows: tuple[tuple[float, float], ...]
    threshold_db: float
    false_alarms_per_hour: float
    share: float


@dataclass(frozen=True, slots=True)
class _Events:
    """Candidate events, shape (n,): sample of the peak, span, log probability under noise, size over sigma."""

    peak: NDArray[np.int64]
    start: NDArray[np.int64]
    stop: NDArray[np.int64]
    log_p: Floats
    size: Floats

    def pick(self, which: NDArray[np.bool_]) -> _Events:
        return _Events(self.peak[which], self.start[which], self.stop[which], self.log_p[which], self.size[which])


def crackle_of(samples: NDArray[np.floating], rate: float, windows: Windows | None = None) -> Crackle:
    """Crackle in the quiet windows of a recording.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Samples of one channel, full scale 1; only slices of it are read, 20 s at a time.
    rate : float
        Sample rate in Hz.
    windows : sequence of (start, stop), optional
        Seconds in which nothing is played; the whole recording when left out.

    Raises
    ------
    SignalError
        If less than half a second is left, or the recording is digitally silent.
    """
    return without_crackle(samples, rate, windows)[0]


def without_crackle(
    samples: NDArray[np.floating], rate: float, windows: Windows | None = None, *, hum: Hum = NO_HUM
) -> tuple[Crackle, list[NDArray[np.floating]]]:
    """Crackle as `crackle_of`, and the quiet windows with the events taken out, in pieces of 20 s at most.

    The lines of `hum`, when it is known, are set aside meanwhile and put back: else they lose the same share of their
    amplitude as the events have of the time.
    """
    windows = tuple(windows) if windows is not None else ((0.0, len(samples) / rate),)
    pieces = _pieces(len(samples), rate, windows)
    found = [_candidates(_background(_floats(samples, piece), rate, hum)[0], rate) for piece in pieces]
    counted = [_without_echoes(events, rate) for events in found]
    log_p = np.concatenate([events.log_p for events in counted])
    total = sum(stop - start for start, stop in pieces)
    limit = _limit(log_p, total)
    clean: list[NDArray[np.floating]] = []
    times: list[float] = []
    sizes: list[float] = []
    levels: list[float] = []
    busy: list[float] = []
    covered = 0.0
    for piece, every, some in zip(pieces, found, counted, strict=True):
        stretch = samples[slice(*piece)]
        loud = every.pick(every.log_p <= limit)
        if loud.peak.size:
            some = some.pick(some.log_p <= limit)
            added, places = _added(_floats(samples, piece), loud, rate, hum)
            times += [float(piece[0] + at) / rate for at in some.peak]
            sizes += (20 * np.log10(some.size)).tolist()
            levels += _levels(added, some, rate)
            busy += ((some.stop - some.start) / rate - STRETCHES_S[-1] + MERGE_S).tolist()
            covered += float(np.count_nonzero(places)) / rate
            stretch = stretch - added.astype(stretch.dtype)
        clean.append(stretch)
    seconds = total / rate
    free = max(seconds - _hidden_s(np.array(sizes), np.array(busy)), 0.1 * seconds)
    interval = rate_interval(len(times), free)
    crackle = Crackle(
        found=bool(times),
        events=len(times),
        seconds=free,
        rate=interval.value,
        low=interval.low,
        high=interval.high,
        times=tuple(times),
        sizes_db=tuple(sizes),
        levels_dbfs=tuple(levels),
        windows=windows,
        threshold_db=float(20 * np.log10(-special.ndtri_exp(limit - np.log(2.0)))),
        false_alarms_per_hour=float(3600.0 * rate * TRIALS * np.exp(limit)),
        share=min(covered / seconds, 1.0),
    )
    return crackle, clean


def pieces_of(samples: NDArray[np.floating], rate: float, windows: Windows | None = None) -> list[NDArray[np.floating]]:
    """The quiet windows of a recording as they are, in the pieces that `without_crackle` returns."""
    windows = tuple(windows) if windows is not None else ((0.0, len(samples) / rate),)
    return [samples[start:stop] for start, stop in _pieces(len(samples), rate, windows)]


def _pieces(size: int, rate: float, windows: Windows) -> list[tuple[int, int]]:
    """Sample ranges of the windows, cut into pieces of 20 s at most."""
    pieces: list[tuple[int, int]] = []
    for begin, end in windows:
        start, stop = max(round(begin * rate), 0), min(round(end * rate), size)
        if stop - start < SHORTEST_S * rate:
            raise SignalError(
                "a quiet stretch is shorter than half a second.", where="sound.crackle", mend="Record a longer gap."
            )
        count = int(np.ceil((stop - start) / (PIECE_S * rate)))
        edges = np.linspace(start, stop, count + 1).astype(int).tolist()
        pieces += itertools.pairwise(edges)
    return pieces


def _floats(samples: NDArray[np.floating], piece: tuple[int, int]) -> Floats:
    stretch: Floats = np.asarray(samples[slice(*piece)], dtype=float)
    if np.mean(np.diff(stretch) == 0) > STUCK:
        raise SignalError(
            "the recording is digitally silent here, or its noise is smaller than its last bit.",
            where="sound.crackle",
            mend="Raise the recording level.",
        )
    return stretch


def _background(stretch: Floats, rate: float, hum: Hum) -> tuple[Floats, Whitened]:
    """The whitened stretch over its sigma, and how it was whitened."""
    whitened = whiten(stretch - hum_part(stretch, rate, hum), rate)
    return whitened.error / whitened.sigma, whitened


def _candidates(z: Floats, rate: float) -> _Events:
    """Places where the energy of a stretch of one of the lengths is improbable, joined into events."""
    log_p = np.zeros(z.size)
    energy = np.concatenate([[0.0], np.cumsum(z * z)])
    reach = 0
    for stretch_s in STRETCHES_S:
        length = max(1, round(stretch_s * rate))
        sums = energy[length:] - energy[:-length]
        at = np.flatnonzero(sums > stats.chi2.isf(CANDIDATE_P, length))
        np.minimum.at(log_p, at + length // 2, stats.chi2.logsf(sums[at], length))
        reach = length // 2
    marked = np.flatnonzero(log_p)
    if not marked.size:
        none = np.zeros(0, dtype=np.int64)
        return _Events(none, none, none, np.zeros(0), np.zeros(0))
    first = np.concatenate([[0], np.flatnonzero(np.diff(marked) > MERGE_S * rate) + 1])
    last = np.concatenate([first[1:], [marked.size]]) - 1
    start = np.maximum(marked[first] - reach, 0)
    stop = np.minimum(marked[last] + reach + 1, z.size)
    loud = np.abs(z)
    peak = np.array([a + int(np.argmax(loud[a:b])) for a, b in zip(start, stop, strict=True)], dtype=np.int64)
    return _Events(peak, start, stop, np.minimum.reduceat(log_p[marked], first), loud[peak])


def _without_echoes(events: _Events, rate: float) -> _Events:
    """Leave out what comes so soon after a larger event, and so much weaker, that it is its echo in the room."""
    db = 20 * np.log10(events.size)
    keep = np.ones(db.size, dtype=bool)
    longest = ECHO_S + max(float(np.ptp(db)) - TAIL_DB, 0.0) / TAIL_DB_PER_S if db.size else 0.0
    for i in range(1, db.size):
        for j in range(i - 1, -1, -1):
            late = (events.peak[i] - events.peak[j]) / rate
            if late > longest:
                break
            weaker = ECHO_DB if late <= ECHO_S else TAIL_DB + TAIL_DB_PER_S * (late - ECHO_S)
            if keep[j] and db[j] - db[i] >= weaker:
                keep[i] = False
                break
    return events.pick(keep)


def _hidden_s(db: Floats, busy_s: Floats) -> float:
    """Seconds in which a further event would not have been counted.

    Each event of size `db` hides what comes within its `busy_s`, and then what would be taken for its echo: that is
    the mean over the sizes there are.
    """
    total = float(busy_s.sum())
    for larger, busy in zip(db, busy_s, strict=True):
        weaker = larger - db
        tail = np.maximum(weaker - TAIL_DB, 0.0) / TAIL_DB_PER_S
        echo = np.where(weaker >= ECHO_DB, ECHO_S + tail, 0.0)
        total += float(np.mean(np.maximum(echo - busy, 0.0)))
    return total


def _limit(log_p: Floats, samples: int) -> float:
    """Log probability up to which a candidate counts as an event.

    That of a clean recording (`CLEAN_P`), unless the candidates beyond it are more than noise gives (Poisson,
    `WEAK_P`). Then it is the strictest one within 0.01 of the best expected F1 = 2 TP / (found + true), where the
    false ones of each limit are known from the number of tests and the true ones are the most that any limit shows
    beyond them.
    """
    strictest = float(np.log(CLEAN_P / (samples * TRIALS)))
    ranked = np.sort(log_p)
    number = np.arange(1, ranked.size + 1)
    false = samples * TRIALS * np.exp(ranked)
    weak = ranked > strictest
    if not np.any(stats.poisson.sf(np.cumsum(weak)[weak] - 1, false[weak]) < WEAK_P):
        return strictest
    true = max(float(np.max(number - 2 * false)), 1.0)
    score = 2 * np.maximum(number - false, 0.0) / (number + true)
    return max(float(ranked[np.flatnonzero(score >= score.max() - 0.01)[0]]), strictest)


def _added(stretch: Floats, events: _Events, rate: float, hum: Hum) -> tuple[Floats, NDArray[np.bool_]]:
    """What the events add to the stretch, and where they are."""
    places = np.zeros(stretch.size, dtype=bool)
    for start, stop in zip(events.start, events.stop, strict=True):
        places[start:stop] = True
    places = spans_beyond(places, before=2, after=ORDER)
    return ringing_of(_background(stretch, rate, hum)[1], places, rate), places


def _levels(added: Floats, events: _Events, rate: float) -> list[float]:
    """Peak of what each event adds to the recording, dB re full scale."""
    reach = int(MERGE_S * rate)
    return [
        float(20 * np.log10(max(np.max(np.abs(added[start : stop + reach])), 1e-20)))
        for start, stop in zip(events.start, events.stop, strict=True)
    ]
