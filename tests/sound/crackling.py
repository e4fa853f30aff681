"""Simulated rest of a crackling loudspeaker, for the tests of crackle."""

from __future__ import annotations

import numpy as np
from scipy import signal

RATE = 48000


def background(generator, seconds, rate=RATE):
    """Hiss through a loudspeaker's pass band over a fainter white floor, FS."""
    size = int(seconds * rate)
    b, a = signal.butter(2, [70, 12000], "band", fs=rate)
    hiss = signal.lfilter(b, a, generator.standard_normal(size)) * 1e-3
    return hiss + 1e-4 * generator.standard_normal(size)


def whitening_filter(rest, order=40):
    """Prediction-error filter of a clean background and its sigma by least squares, independent of the product."""
    rows = np.lib.stride_tricks.sliding_window_view(rest[:60000], order + 1)
    past, now = rows[:, -2::-1], rows[:, -1]
    a = np.linalg.lstsq(past, now, rcond=None)[0]
    return np.concatenate([[1.0], -a]), float(np.std(now - past @ a))


def crackling(generator, seconds, rate_hz, size_db, *, rate=RATE, echo=()):
    """Rest with decaying bursts at Poisson times whose whitened peak lies `size_db()` above the whitened sigma.

    Returns the samples, the times (s) and the sizes (dB).
    """
    rest = background(generator, seconds, rate)
    model, sigma = whitening_filter(rest)
    times = np.sort(generator.uniform(0.05, seconds - 0.1, generator.poisson(rate_hz * (seconds - 0.15))))
    sizes = np.array([size_db() for _ in times])
    length = int(0.005 * rate)
    for at, db in zip(times, sizes, strict=True):
        burst = np.exp(-np.arange(length) / (0.0006 * rate)) * generator.standard_normal(length)
        burst = np.concatenate([burst, np.zeros(int(0.03 * rate))])
        burst = burst + sum(gain * np.roll(burst, int(late * rate)) for late, gain in echo)
        peak = np.max(np.abs(signal.lfilter(model, [1.0], burst)))
        start = int(at * rate)
        stop = min(start + burst.size, rest.size)
        rest[start:stop] += (burst * sigma * 10 ** (db / 20) / peak)[: stop - start]
    return rest, times, sizes


def f1(true, found, within_s=0.005):
    """Harmonic mean of precision and recall of event times, each true one matched once."""
    true, found = sorted(true), sorted(found)
    i = j = hits = 0
    while i < len(true) and j < len(found):
        if abs(true[i] - found[j]) <= within_s:
            i, j, hits = i + 1, j + 1, hits + 1
        elif true[i] < found[j]:
            i += 1
        else:
            j += 1
    return 2 * hits / (len(true) + len(found))
