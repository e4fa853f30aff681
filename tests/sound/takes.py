"""Simulated recordings of the test recording, for the tests: filters, clocks, noise and echoes from scipy and soxr."""

from __future__ import annotations

from functools import cache

import numpy as np
import soxr
from scipy import signal

from dustcap.sound.align import align
from dustcap.sound.pilots import find_layout
from dustcap.sound.stimulus import make_stimulus
from dustcap.sound.sweep import sweep_response

RATE = 48000


@cache
def played(name, rate=RATE):
    """The stimulus, made once."""
    return make_stimulus(rate, name)


def loudspeaker(rate=RATE):
    """Second-order sections of a small two-way loudspeaker's response: high-pass at 55 Hz, bumps, fall at 17 kHz."""
    sections = [high_pass(55, 0.8, rate), peak(900, 2.0, -4.0, rate), peak(3000, 3.0, 6.0, rate)]
    return np.array([*sections, *signal.butter(2, 17000, fs=rate, output="sos")])


def high_pass(hz, q, rate=RATE):
    """One second-order high-pass section, bilinear transform of s^2 / (s^2 + s w/q + w^2)."""
    w = 2 * rate * np.tan(np.pi * hz / rate)
    b, a = signal.bilinear([1, 0, 0], [1, w / q, w**2], rate)
    return np.concatenate([b, a])


def peak(hz, q, db, rate=RATE):
    """One section that lifts by `db` around `hz`."""
    w, gain = 2 * rate * np.tan(np.pi * hz / rate), 10 ** (db / 40)
    b, a = signal.bilinear([1, gain * w / q, w**2], [1, w / q / gain, w**2], rate)
    return np.concatenate([b, a])


def curve_db(sections, hz, rate=RATE):
    """Level of a filter at frequencies, dB."""
    return 20 * np.log10(np.abs(signal.sosfreqz(sections, hz, fs=rate)[1]))


def recorded(
    samples,
    *,
    rate=RATE,
    at_rate=RATE,
    skew_ppm=0.0,
    sections=None,
    gain=1.0,
    noise_db=None,
    echoes=(),
    lead_s=0.7,
    seed=1,
):
    """What a recorder at `at_rate` whose clock is `skew_ppm` fast keeps of samples played at `rate`."""
    wave = np.concatenate([np.zeros(int(lead_s * rate)), samples, np.zeros(int(0.6 * rate))])
    if sections is not None:
        wave = signal.sosfilt(sections, wave)
    direct = wave.copy()
    for late_s, share in echoes:
        wave[round(late_s * rate) :] += share * direct[: -round(late_s * rate)]
    wave = gain * soxr.resample(wave, rate, at_rate * (1 + skew_ppm * 1e-6), quality="VHQ")
    if noise_db is not None:
        wave += 10 ** (noise_db / 20) * np.random.default_rng(seed).standard_normal(wave.size)
    return wave


def aligned(samples, at_rate=RATE):
    """Alignment of a recording."""
    return align(samples, at_rate, find_layout(samples, at_rate))


def rest_of(samples, alignment, at_rate=RATE):
    """Samples of the first quiet gap."""
    gap = alignment.layout.part("rest")[0]
    return samples[
        round(alignment.heard(gap.start_s + 0.5) * at_rate) : round(alignment.heard(gap.stop_s - 0.1) * at_rate)
    ]


def swept(samples, at_rate=RATE):
    """Transfer function of the sweep and the quiet gap of a recording."""
    alignment = aligned(samples, at_rate)
    rest = rest_of(samples, alignment, at_rate)
    return sweep_response(samples, at_rate, alignment, rest), rest
