"""Two channels of one take against a known filter, gain and delay."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from dustcap.errors import SignalError
from dustcap.sound.pair import pair_of

RATE = 48000
ARRIVAL_S = 0.02
BAND_PASS = signal.butter(2, [60, 18000], "band", fs=RATE, output="sos")


def impulses(*, gain_db=0.0, delay=0.0, shelf=False, noise=0.0, seed=1):
    """A band-pass loudspeaker twice, the first with gain, delay (samples) and perhaps a gentle low-pass."""
    pulse = np.zeros(9600)
    pulse[round(ARRIVAL_S * RATE)] = 1.0
    second = signal.sosfilt(BAND_PASS, pulse)
    hz = np.fft.rfftfreq(second.size, 1 / RATE)
    change = 10 ** (gain_db / 20) * np.exp(-2j * np.pi * hz / RATE * delay)
    if shelf:
        change = change * one_pole(hz)
    first = np.fft.irfft(np.fft.rfft(second) * change, second.size)
    generator = np.random.default_rng(seed)
    return first + noise * generator.standard_normal(first.size), second + noise * generator.standard_normal(first.size)


def one_pole(hz):
    """First-order low-pass at 12 kHz."""
    return 1 / (1 + 1j * np.asarray(hz) / 12000)


def compare(pair):
    return pair_of(*pair, RATE, ARRIVAL_S, 0.05, (40.0, 18000.0))


def test_gain_and_delay_are_found():
    """A gain of 0.4 dB and 2.3 samples of delay come out within 0.05 dB and 1 µs in every third octave."""
    got = compare(impulses(gain_db=0.4, delay=2.3))

    assert got.level_db == pytest.approx(0.4, abs=0.01)
    assert got.delay_s == pytest.approx(2.3 / RATE, abs=1e-6)
    assert got.same_polarity
    assert [band.nominal for band in (got.bands[0], got.bands[-1])] == ["100", "16000"]
    for band in got.bands:
        assert band.db == pytest.approx(0.4, abs=0.05)
        assert band.delay_s == pytest.approx(2.3 / RATE, abs=1e-6)


def test_a_known_filter_is_found_band_by_band():
    """A first-order low-pass at 12 kHz shows its power (0.05 dB) and phase delay (0.3 µs) in closed form."""
    got = compare(impulses(shelf=True))

    for band in got.bands:
        inside = np.linspace(band.hz * 10**-0.05, band.hz * 10**0.05, 200)
        loudspeaker = np.abs(signal.sosfreqz(BAND_PASS, inside, fs=RATE)[1]) ** 2
        power = np.sum(loudspeaker * np.abs(one_pole(inside)) ** 2) / np.sum(loudspeaker)
        assert band.db == pytest.approx(10 * np.log10(power), abs=0.05)
        if band.hz > 400:
            late = np.arctan(band.hz / 12000) / (2 * np.pi * band.hz)
            assert band.delay_s == pytest.approx(late, abs=0.3e-6)


def test_opposite_polarity_is_said():
    """A reversed channel is reversed, not late."""
    first, second = impulses(gain_db=0.2)

    got = compare((-first, second))

    assert not got.same_polarity
    assert got.delay_s == pytest.approx(0.0, abs=1e-6)
    assert got.bands[10].delay_s == pytest.approx(0.0, abs=1e-6)


def test_the_uncertainty_holds():
    """With noise in both channels at least 88 % of the bands' levels and delays lie within their stated 95 %."""
    levels, delays = [], []
    for seed in range(12):
        for band in compare(impulses(gain_db=0.3, noise=2e-4, seed=seed)).bands:
            levels.append(abs(band.db - 0.3) <= band.uncertainty_db)
            delays.append(abs(band.delay_s) <= band.delay_uncertainty_s + 0.5 / 16 / RATE)

    assert np.mean(levels) >= 0.88
    assert np.mean(delays) >= 0.88


def test_a_gate_too_short_is_refused():
    """A gate of 0.05 ms holds no whole third octave."""
    with pytest.raises(SignalError, match="holds no third octave"):
        pair_of(*impulses(), RATE, ARRIVAL_S, 5e-5, (40.0, 18000.0))
