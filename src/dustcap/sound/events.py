"""Events in a whitened background: what is too unlikely for Gaussian noise, what is an echo, where the limit lies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

Floats = NDArray[np.float64]

STRETCHES_S = (0.0, 4 / 48000, 16 / 48000, 64 / 48000)  # ours: lengths whose energy is tested; 0: one sample
TRIALS = 2.1  # independent tests a sample these make, counted on 240 s of Gaussian noise
CANDIDATE_P = 2e-5
MERGE_S = 2e-3  # ours: what follows within 2 ms is the same event
CLEAN_P = 2e-3  # ours: chance that a recording without crackle shows an event by its size
WEAK_P = 5e-5  # ours: at each limit by the number of weak ones: 2e-3 over all limits, simulated for 3 s to 2 h
ECHO_S, ECHO_DB = 12e-3, 4.0  # ours: a first reflection comes within 12 ms and is 4 dB weaker
TAIL_DB, TAIL_DB_PER_S = 9.0, 200.0  # ours: then the room decays, 60 dB in 0.3 s


@dataclass(frozen=True, slots=True)
class Events:
    """Candidate events, shape (n,): sample of the peak, span, log probability under noise, size over sigma."""

    peak: NDArray[np.int64]
    start: NDArray[np.int64]
    stop: NDArray[np.int64]
    log_p: Floats
    size: Floats

    def pick(self, which: NDArray[np.bool_]) -> Events:
        """The events that are marked."""
        return Events(self.peak[which], self.start[which], self.stop[which], self.log_p[which], self.size[which])


def candidates(z: Floats, rate: float) -> Events:
    """Places where the energy of a stretch of one of the lengths is improbable, joined into events."""
    log_p = np.zeros(z.size)
    energy = np.concatenate([[0.0], np.cumsum(z * z)])
    reach = 0
    for stretch_s in STRETCHES_S:
        length = max(1, round(stretch_s * rate))
        sums = energy[length:] - energy[:-length]
        at = np.flatnonzero(sums > special.chdtri(length, CANDIDATE_P))
        np.minimum.at(log_p, at + length // 2, np.log(np.maximum(special.chdtrc(length, sums[at]), 1e-300)))
        reach = length // 2
    marked = np.flatnonzero(log_p)
    if not marked.size:
        none = np.zeros(0, dtype=np.int64)
        return Events(none, none, none, np.zeros(0), np.zeros(0))
    first = np.concatenate([[0], np.flatnonzero(np.diff(marked) > MERGE_S * rate) + 1])
    last = np.concatenate([first[1:], [marked.size]]) - 1
    start = np.maximum(marked[first] - reach, 0)
    stop = np.minimum(marked[last] + reach + 1, z.size)
    loud = np.abs(z)
    peak = np.array([a + int(np.argmax(loud[a:b])) for a, b in zip(start, stop, strict=True)], dtype=np.int64)
    return Events(peak, start, stop, np.minimum.reduceat(log_p[marked], first), loud[peak])


def without_echoes(events: Events, rate: float) -> Events:
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


def hidden_s(db: Floats, busy_s: Floats) -> float:
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


def limit_of(log_p: Floats, samples: int) -> float:
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
    if not np.any(special.pdtrc(np.cumsum(weak)[weak] - 1, false[weak]) < WEAK_P):
        return strictest
    true = max(float(np.max(number - 2 * false)), 1.0)
    score = 2 * np.maximum(number - false, 0.0) / (number + true)
    return max(float(ranked[np.flatnonzero(score >= score.max() - 0.01)[0]]), strictest)
