"""Noise of the quiet windows, with hum and crackle in their places."""

from __future__ import annotations

import numpy as np
import pytest
from sound.crackling import crackling
from sound.humming import RATE, add_lines, density, noise

from dustcap.errors import SignalError
from dustcap.sound.noise import noise_of, rest_of


def test_white_noise_has_the_levels_of_the_integrals():
    """White noise of -40 dBFS reads A -42.72 dB (integral over 0 to 24 kHz) and quasi-peak 4 to 5 dB over its r.m.s."""
    rms = 10 ** (-40 / 20) / np.sqrt(2)
    got = noise_of(rms * np.random.default_rng(1).standard_normal(12 * RATE), RATE)

    assert got.dbfs_a == pytest.approx(-40 - 2.722, abs=0.1)
    assert 4.0 <= got.dbfs_468_quasi_peak - (-40 + 6.506) <= 5.0
    assert got.bands["1000"] == pytest.approx(-40 + 10 * np.log10(230.768 / 24000), abs=0.6)
    assert next(iter(got.bands)) == "20"
    assert list(got.bands)[-1] == "20000"


def test_a_full_scale_sine_at_1_khz_reads_0_dbfs():
    """The reference of every level is the r.m.s. of a full-scale sine (AES17-2015, 3.12)."""
    tone = np.sin(2 * np.pi * 1000 * np.arange(6 * RATE) / RATE)
    tone += 1e-6 * np.random.default_rng(2).standard_normal(tone.size)
    got = noise_of(tone, RATE)

    assert got.dbfs_a == pytest.approx(0.0, abs=0.01)
    assert got.dbfs_468_quasi_peak == pytest.approx(0.0, abs=0.05)
    assert got.bands["1000"] == pytest.approx(0.0, abs=0.01)


def test_the_uncertainty_of_the_level_holds():
    """In at least 88 % of fifty stretches of pink noise the A level is within its stated 95 %."""
    generator = np.random.default_rng(3)
    takes = [noise_of(noise(generator, 3), RATE) for _ in range(50)]
    truth = np.mean([take.dbfs_a for take in takes])

    assert np.mean([abs(take.dbfs_a - truth) <= take.uncertainty_db for take in takes]) >= 0.88


def test_hum_is_counted_and_crackle_is_not():
    """With crackle 30 dB over the background the levels stay those of the clean take; how much went is said."""
    generator = np.random.default_rng(4)
    loud, _, _ = crackling(generator, 10, 5.0, lambda: 34.0)
    clean, _, _ = crackling(generator, 10, 0.0, lambda: 0.0)
    add_lines([loud, clean], 50.03, {2: 3e-3, 4: 1e-3}, generator)

    got, want = rest_of(loud, RATE), rest_of(clean, RATE)

    assert got.crackle.found
    assert not want.crackle.found
    assert got.noise.dbfs_a == pytest.approx(want.noise.dbfs_a, abs=0.3)
    assert got.noise.dbfs_468_quasi_peak == pytest.approx(want.noise.dbfs_468_quasi_peak, abs=0.7)
    assert got.noise.crackle_db > 0.3
    assert got.noise.crackle_share > 0.005
    assert want.noise.crackle_db == 0.0
    assert got.noise.bands["100"] == pytest.approx(20 * np.log10(3e-3), abs=0.05)
    assert [line.order for line in got.noise.hum] == [2, 4]
    assert (got.noise.hum_kind, got.noise.mains_hz) == ("ripple", pytest.approx(50.03, abs=0.01))
    assert not got.mains_locked


def test_pink_noise_has_level_bands():
    """Pink noise has the same power in each third octave: density times width (definition of pink)."""
    got = noise_of(noise(np.random.default_rng(5), 20), RATE)

    for name, centre in (("100", 100.0), ("1000", 1000.0), ("10000", 10000.0)):
        want = 10 * np.log10(2 * density(centre) * 0.230768 * centre * 1.0022)  # 1.0022: 1/f over the band, ln(f2/f1)
        assert got.bands[name] == pytest.approx(want, abs=1.0 if name == "100" else 0.5)


def test_windows_and_rates():
    """Only the windows count; at 44.1 kHz the 20 kHz band ends above half the rate and is not given."""
    generator = np.random.default_rng(6)
    take = 0.001 * generator.standard_normal(10 * 44100)
    take[4 * 44100 : 6 * 44100] += 1.0

    got = noise_of(take, 44100, [(0.0, 4.0), (6.0, 10.0)])

    assert got.dbfs_a < -50
    assert list(got.bands)[-1] == "16000"


def test_clicks_locked_to_the_mains_are_buzz():
    """Spikes that keep to one phase of the mains are said to be locked to it."""
    generator = np.random.default_rng(7)
    take = 1e-3 * generator.standard_normal(8 * RATE)
    add_lines([take], 50.0, {2: 0.02}, generator)
    take[np.arange(100, take.size, 9 * RATE // 100)] += 0.03

    assert rest_of(take, RATE).mains_locked


def test_short_and_faint_takes():
    """A second has no quasi-peak; noise below the last bit has a level but no crackle; digital silence has nothing."""
    generator = np.random.default_rng(8)
    short = noise_of(0.01 * generator.standard_normal(RATE), RATE)
    faint = np.round(0.3 * generator.standard_normal(3 * RATE)) / 32768

    assert short.dbfs_468_quasi_peak is None
    assert rest_of(faint, RATE).crackle is None
    assert "last bit" in str(rest_of(faint, RATE).crackle_refused)
    with pytest.raises(SignalError, match="silent"):
        rest_of(np.zeros(3 * RATE), RATE)
