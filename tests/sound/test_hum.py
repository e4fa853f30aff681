"""Hum: the mains frequency, its lines, and no mains where there is none. All against known simulated truth."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal
from sound.humming import RATE, add_lines, noise, peak_above

from dustcap.errors import SignalError
from dustcap.sound.hum import hum_of


@pytest.mark.parametrize("colour", ["white", "pink", "brown"])
@pytest.mark.parametrize("seconds", [(5,), (6, 6), (10,)])
def test_frequency_and_levels_are_right_20_db_above_the_noise(colour, seconds):
    """Lines 20 dB above the noise of their third octave are within 0.2 dB, the mains frequency within 0.01 Hz.

    The spread of a line's level by noise alone is 0.05 to 0.09 dB here (Cramer-Rao), so that one level in a hundred of
    a 5 s take may lie beyond 0.2 dB; their root mean square may not exceed 0.1 dB.
    """
    generator = np.random.default_rng(len(seconds) * seconds[0])
    levels = []
    for nominal in (50.0, 50.0, 60.0, 60.0):
        mains_hz = nominal * (1 + generator.uniform(-0.004, 0.004))
        peaks = {order: peak_above(order * mains_hz, 20.0, colour) for order in (1, 2, 4)}
        takes = [noise(generator, part, colour) for part in seconds]
        add_lines(takes, mains_hz, peaks, generator)

        hum = hum_of([0.001 * take for take in takes], RATE)

        assert hum.mains_hz == pytest.approx(mains_hz, abs=0.01)
        assert [line.order for line in hum.lines] == [1, 2, 4]
        levels += [line.db + 60 - 20 * np.log10(peaks[line.order]) for line in hum.lines]
    assert np.sqrt(np.mean(np.square(levels))) <= 0.1
    assert np.max(np.abs(levels)) <= (0.2 if sum(seconds) > 5 else 0.3)


def test_the_stated_uncertainties_hold():
    """Levels and frequency lie within their stated 95 % in at least 88 % of 75 lines and 25 recordings."""
    generator = np.random.default_rng(1)
    level_held, hz_held = [], []
    for _ in range(25):
        mains_hz = generator.uniform(49.9, 50.1)
        peaks = {order: peak_above(order * mains_hz, 0.0) for order in (2, 3, 6)}
        take = noise(generator, 6)
        add_lines([take], mains_hz, peaks, generator)
        hum = hum_of([take], RATE)
        hz_held.append(abs(hum.mains_hz - mains_hz) <= hum.uncertainty_hz)
        for line in hum.lines:
            level_held.append(abs(line.db - 20 * np.log10(peaks[line.order])) <= line.uncertainty_db)

    assert np.mean(level_held) >= 0.88
    assert np.mean(hz_held) >= 0.8


@pytest.mark.parametrize("colour", ["white", "pink", "brown"])
def test_plain_noise_has_no_mains(colour):
    """No mains is found in forty stretches of plain noise of each colour."""
    generator = np.random.default_rng(2)

    assert all(hum_of([noise(generator, 6, colour)], RATE).mains_hz is None for _ in range(40))


def test_noise_with_narrow_resonances_has_no_mains():
    """Room modes of a Q of 20 at 55 and 100 Hz do not pass for lines."""
    generator = np.random.default_rng(3)
    for _ in range(10):
        take = noise(generator, 6)
        for hz in (55.0, 100.0):
            take = take + 3 * signal.lfilter(*signal.iirpeak(hz, 20, fs=RATE), take)

        assert hum_of([take], RATE).mains_hz is None


def test_strong_tones_nearby_do_not_mislead():
    """Tones 20 dB above the lines and 1.3 Hz beside them change neither the frequency nor the list of lines."""
    generator = np.random.default_rng(4)
    peaks = {order: peak_above(order * 49.97, 20.0) for order in (1, 2, 3)}
    for beside in (-1.3, 1.3):
        take = noise(generator, 6)
        add_lines([take], 49.97, peaks, generator)
        for hz in (49.97 + beside, 3 * 49.97 + beside, 217.0):
            add_lines([take], hz, {1: 10 * peaks[1]}, generator)

        hum = hum_of([take], RATE)

        assert hum.mains_hz == pytest.approx(49.97, abs=0.01)
        assert [line.order for line in hum.lines] == [1, 2, 3]
        assert [line.db for line in hum.lines] == pytest.approx(
            [20 * np.log10(peak) for peak in peaks.values()], abs=0.3
        )


def test_tones_that_are_no_mains_are_not_taken_for_it():
    """Lone tones at 440, 1000 and 117 Hz, and 110 Hz with its octaves, are no mains."""
    generator = np.random.default_rng(5)
    for tones in ([440.0], [1000.0], [117.0], [110.0, 220.0, 440.0]):
        take = noise(generator, 6)
        for hz in tones:
            add_lines([take], hz, {1: 3.0}, generator)

        assert hum_of([take], RATE).mains_hz is None, tones


@pytest.mark.parametrize("orders", [(11, 31), (7, 14, 21), (9,)])
def test_high_lines_alone_are_no_mains(orders):
    """Tones at high multiples of 50.4 Hz, 40 dB above the noise, are no mains; with those at 1 and 2 they are."""
    generator = np.random.default_rng(10)
    take = noise(generator, 6)
    add_lines([take], 50.4, {order: peak_above(order * 50.4, 40.0) for order in orders}, generator)

    assert hum_of([take], RATE).mains_hz is None

    add_lines([take], 50.4, {order: peak_above(order * 50.4, 20.0) for order in (1, 2)}, generator)

    assert hum_of([take], RATE).mains_hz == pytest.approx(50.4, abs=0.01)


def test_a_tone_that_sways_is_no_mains():
    """A tone that swings by 0.4 Hz about 50.1 Hz in three seconds is no mains, however strong."""
    generator = np.random.default_rng(11)
    time = np.arange(10 * RATE) / RATE
    phase = 2 * np.pi * np.cumsum(50.1 + 0.4 * np.sin(2 * np.pi * time / 3)) / RATE
    for above_db in (10.0, 20.0, 40.0):
        take = noise(generator, 10) + peak_above(50.1, above_db) * np.sin(phase)

        assert hum_of([take], RATE).mains_hz is None, above_db


def test_a_generator_off_50_hz_is_found_by_its_lines():
    """At 47.3 Hz it takes three lines, one of them odd; with those it is found."""
    generator = np.random.default_rng(6)
    take = noise(generator, 6)
    add_lines([take], 47.3, {1: 0.5, 2: 0.5, 3: 0.5}, generator)

    assert hum_of([take], RATE).mains_hz == pytest.approx(47.3, abs=0.01)


@pytest.mark.parametrize(
    ("peaks", "kind", "share"),
    [
        # the peaks of a sawtooth of 1 V peak to peak at twice the mains: 1/pi, 1/2 pi, 1/3 pi (Fourier series)
        ({2: 0.318310, 4: 0.159155, 6: 0.106103}, "ripple", 1.0),
        ({1: 0.3, 3: 0.1, 5: 0.05, 2: 0.02}, "ground loop", 0.0004 / 0.1029),
        ({1: 0.1, 2: 0.1}, "both", 0.5),
        # half-wave: shares of power by the amplitudes themselves
        ({1: 0.002, 2: 0.004, 3: 0.0006, 4: 0.0012}, "both", (16 + 1.44) / (4 + 16 + 0.36 + 1.44)),
    ],
)
def test_the_kind_of_hum_follows_from_the_families(peaks, kind, share):
    """Even multiples point at ripple, odd ones at a ground loop; shares are those of the lines' power."""
    generator = np.random.default_rng(7)
    take = 1e-4 * noise(generator, 8)
    add_lines([take], 50.02, peaks, generator)

    hum = hum_of([take], RATE)

    assert hum.kind == kind
    assert hum.twice_mains_share == pytest.approx(share, abs=0.01)


def test_a_wandering_mains_keeps_its_levels():
    """Over two minutes the mains wanders by 20 mHz; low lines stay within 0.2 dB, the mean frequency within 0.01 Hz."""
    generator = np.random.default_rng(8)
    time = np.arange(120 * RATE) / RATE
    phase = 2 * np.pi * np.cumsum(50.0 + 0.02 * np.sin(2 * np.pi * time / 60)) / RATE
    take = 1e-3 * noise(generator, 120)
    for order, peak in ((2, 0.1), (4, 0.03), (6, 0.02)):
        take += peak * np.sin(order * phase)

    hum = hum_of([take], RATE)

    assert hum.mains_hz == pytest.approx(50.0, abs=0.01)
    assert {line.order: round(line.db, 1) for line in hum.lines} == pytest.approx(
        {2: -20.0, 4: -30.5, 6: -34.0}, abs=0.2
    )


@pytest.mark.parametrize("rate", [44100, 192000])
def test_the_sample_rate_does_not_matter(rate):
    """The same lines come out at 44.1 and 192 kHz."""
    generator = np.random.default_rng(9)
    take = 1e-3 * noise(generator, 6, "pink", rate)
    add_lines([take], 59.98, {1: 0.01, 2: 0.1, 20: 0.01}, generator, rate)

    hum = hum_of([take], rate)

    assert hum.mains_hz == pytest.approx(59.98, abs=0.002)
    assert [(line.order, round(line.db, 1)) for line in hum.lines] == [(1, -40.0), (2, -20.0), (20, -40.0)]


def test_a_scrap_is_refused():
    """Below two seconds no line can be told from noise."""
    with pytest.raises(SignalError, match="two seconds"):
        hum_of([np.ones(RATE)], RATE)
