"""Third octaves against the printed tables of IEC 61260-1."""

from __future__ import annotations

import numpy as np
import pytest

from dustcap.errors import InputError, SignalError
from dustcap.sound.bands import band_powers, dbfs, power_density, third_octaves

# IEC 61260-1:2014, Table F.1 (third octaves): f/fm and the class 1 limits of relative attenuation, lowest and highest
CLASS_1 = [
    (0.18546, 70.0, np.inf), (0.32748, 60.0, np.inf), (0.53143, 40.5, np.inf), (0.77257, 16.6, np.inf),
    (0.891, 1.2, np.inf), (0.8915, -0.4, 5.3), (0.91958, -0.4, 1.4), (0.94719, -0.4, 0.7), (0.97402, -0.4, 0.5),
    (1.0, -0.4, 0.4), (1.02667, -0.4, 0.5), (1.05575, -0.4, 0.7), (1.08746, -0.4, 1.4), (1.1217, -0.4, 5.3),
    (1.1223, 1.2, np.inf), (1.29437, 16.6, np.inf), (1.88173, 40.5, np.inf), (3.05365, 60.0, np.inf),
    (5.39195, 70.0, np.inf),
]  # fmt: skip


def test_the_scale_is_the_printed_one():
    """Nominal names (ISO 266), exact centres and edges (IEC 61260-1:2014 Annex E) are those of the standard."""
    bands = {band.nominal: band for band in third_octaves(20, 20000)}

    assert " ".join(bands) == (
        "20 25 31.5 40 50 63 80 100 125 160 200 250 315 400 500 630 800 1000 1250 1600 2000 2500 3150 4000 5000 6300 "
        "8000 10000 12500 16000 20000"
    )
    assert bands["31.5"].centre_hz == pytest.approx(31.6228, abs=5e-5)
    assert bands["160"].centre_hz == pytest.approx(158.4893, abs=5e-5)
    assert bands["16000"].centre_hz == pytest.approx(15848.9319, abs=5e-5)
    assert bands["1000"].low_hz == pytest.approx(891.25094, abs=5e-6)
    assert bands["1000"].high_hz == pytest.approx(1122.01845, abs=5e-6)
    assert bands["25"].high_hz == pytest.approx(28.18383, abs=5e-6)


@pytest.mark.parametrize(
    ("nominal", "seconds", "rate"), [("31.5", 10, 48000), ("1000", 6, 44100), ("2500", 6, 96000), ("50", 12, 48000)]
)
def test_a_band_keeps_to_the_class_1_mask(nominal, seconds, rate):
    """The attenuation of a tone lies within the class 1 limits of IEC 61260-1:2014, stop bands at 70 dB included."""
    band = next(band for band in third_octaves() if band.nominal == nominal)
    time = np.arange(seconds * rate) / rate
    for ratio, lowest, highest in CLASS_1:
        tone = np.sqrt(2) * np.sin(2 * np.pi * ratio * band.centre_hz * time + 0.3)

        attenuation = -10 * np.log10(band_powers(*power_density(tone, rate), (band,))[0] + 1e-30)

        assert lowest <= attenuation <= highest, ratio


def test_the_bands_of_a_tone_between_centres_add_up():
    """The sum over bands of a tone is within +0.8 / -1.8 dB of its power (IEC 61260-1:2014, 5.16, class 1)."""
    time = np.arange(6 * 48000) / 48000
    for hz in (1000.0, 1050.0, 1122.0, 1200.0):
        tone = np.sqrt(2) * np.sin(2 * np.pi * hz * time)

        total = 10 * np.log10(band_powers(*power_density(tone, 48000), third_octaves(200, 10000)).sum())

        assert -1.8 <= total <= 0.8


@pytest.mark.parametrize("rate", [44100, 192000])
def test_white_noise_fills_each_band_by_its_width(rate):
    """White noise of unit power puts the share bandwidth / (rate / 2) in each band (definition of white)."""
    noise = np.random.default_rng(5).standard_normal(20 * rate)
    bands = third_octaves(250, 16000)

    got = band_powers(*power_density(noise, rate), bands)

    width = np.array([band.high_hz - band.low_hz for band in bands])
    # 20 s give 2 B T degrees of freedom or more: 4 standard deviations of the estimate
    assert np.all(np.abs(got / (width / (rate / 2)) - 1) < 4 * np.sqrt(1.1 / (width * 20)))


def test_the_mean_square_is_kept():
    """The density sums to the mean square of the samples (Parseval), a constant offset left out."""
    noise = np.random.default_rng(6).standard_normal(48000 * 10)

    hz, density = power_density(noise + 5.0, 48000)

    assert density.sum() * hz[1] == pytest.approx(1.0, rel=0.01)


def test_a_full_scale_sine_is_zero_dbfs():
    """0 dBFS is the r.m.s. of a full-scale sine, a full-scale square is +3.01 (AES17-2015, 3.12)."""
    assert dbfs(0.5) == pytest.approx(0.0, abs=1e-12)
    assert dbfs(1.0) == pytest.approx(3.0103, abs=5e-5)


def test_a_band_beyond_the_rate_is_refused():
    """Nothing is said about a band that the sample rate does not carry, nor about a handful of samples."""
    with pytest.raises(InputError, match="half the sample rate"):
        band_powers(*power_density(np.ones(9000), 32000), third_octaves(20, 20000))
    with pytest.raises(SignalError, match="too short"):
        power_density(np.ones(10), 48000)
