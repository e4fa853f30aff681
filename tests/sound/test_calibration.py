"""Full scale in sound pressure, from a calibrator's tone."""

from __future__ import annotations

import numpy as np
import pytest

from dustcap.errors import InputError, SignalError
from dustcap.sound.calibration import calibration_of

RATE = 48000


def tone(hz=1000.0, peak=0.1, seconds=4.0, noise=1e-4, seed=1):
    time_s = np.arange(round(seconds * RATE)) / RATE
    return peak * np.sin(2 * np.pi * hz * time_s + 0.3) + noise * np.random.default_rng(seed).standard_normal(
        time_s.size
    )


@pytest.mark.parametrize(("hz", "peak", "label_db"), [(1000.0, 0.1, 94.0), (1003.7, 0.02, 94.0), (251.2, 0.5, 124.0)])
def test_full_scale_follows_from_the_label(hz, peak, label_db):
    """A sine of peak p at L dB puts full scale at L - 20 log10(p): level is 20 log10 of the pressure (ISO 80000-8;
    from memory)."""
    got = calibration_of(tone(hz, peak), RATE, label_db)

    assert got.full_scale_db == pytest.approx(label_db - 20 * np.log10(peak), abs=0.005)
    assert got.hz == pytest.approx(hz, abs=0.02)
    assert got.uncertainty_db < 0.02


def test_hum_and_noise_do_not_count():
    """Hum 25 dB below the tone and noise leave the figure where it is."""
    time_s = np.arange(4 * RATE) / RATE
    wave = tone(noise=2e-3) + 0.1 * 10 ** (-25 / 20) * np.sin(2 * np.pi * 50 * time_s)

    assert calibration_of(wave, RATE).full_scale_db == pytest.approx(114.0, abs=0.02)


def test_the_uncertainty_covers_the_noise():
    """With noise 25 dB below the tone, 95 % of 200 takes lie within the stated interval (at least 91 %)."""
    held = 0
    for seed in range(200):
        got = calibration_of(tone(noise=0.1 / np.sqrt(2) * 10 ** (-25 / 20), seconds=1.6, seed=seed), RATE)
        held += abs(got.full_scale_db - 114.0) <= got.uncertainty_db
    assert held / 200 >= 0.91


@pytest.mark.parametrize(
    ("wave", "words"),
    [
        (tone(440.0), "strongest tone lies at 440 Hz"),
        (tone(noise=0.1), "does not stand out"),
        (tone(seconds=1.0), "too short"),
        (np.clip(tone(peak=1.4), -1, 1), "clipped"),
        (tone() * np.linspace(1, 1.1, 4 * RATE), "not steady"),
    ],
)
def test_what_is_no_calibrator_is_refused(wave, words):
    """The reason in one line."""
    with pytest.raises(SignalError, match=words):
        calibration_of(wave, RATE)


def test_a_label_out_of_range_is_refused():
    """0.94 is not 94."""
    with pytest.raises(InputError, match=r"a calibrator of 0\.94 dB"):
        calibration_of(tone(), RATE, 0.94)
