"""Noise of a known density with mains lines of a known level, for the tests of hum and noise."""

from __future__ import annotations

import numpy as np

RATE = 48000
COLOURS = {"white": 0, "pink": 1, "brown": 2}


def noise(generator, seconds, colour="pink", rate=RATE):
    """Noise whose density (FS²/Hz, unit at 1 kHz times 2 / rate) falls with that power of the frequency."""
    size = int(seconds * rate)
    spectrum = np.fft.rfft(generator.standard_normal(size))
    hz = np.fft.rfftfreq(size, 1 / rate)
    hz[0] = hz[1]
    return np.fft.irfft(spectrum * (hz / 1000) ** (-COLOURS[colour] / 2), size)


def density(hz, colour="pink", rate=RATE):
    """The density that `noise` has at a frequency."""
    return 2 / rate * (1000 / hz) ** COLOURS[colour]


def add_lines(takes, mains_hz, peaks, generator, rate=RATE):
    """Add lines {order: peak} with random phases to each take, in place."""
    for take in takes:
        time = np.arange(take.size) / rate
        for order, peak in peaks.items():
            take += peak * np.sin(2 * np.pi * order * mains_hz * time + generator.uniform(0, 2 * np.pi))


def peak_above(hz, above_db, colour="pink", rate=RATE):
    """Peak of a line whose power lies so far above the noise of the third octave around it (0.2308 of its centre)."""
    return np.sqrt(2 * density(hz, colour, rate) * 0.230768 * hz * 10 ** (above_db / 10))
