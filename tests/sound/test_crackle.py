"""Crackle: finding events, saying how often, and telling whether they follow the volume."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal
from sound.crackling import RATE, background, crackling, f1

from dustcap.errors import SignalError
from dustcap.sound.crackle import crackle_of, without_crackle
from dustcap.sound.events import CANDIDATE_P, TRIALS, candidates
from dustcap.sound.whitening import whiten


def test_events_14_db_above_the_background_are_found():
    """Bursts of 14 dB over the whitened sigma, four a second, are found with F1 of 0.95 or more (known events)."""
    generator = np.random.default_rng(1)
    scores = []
    for _ in range(6):
        rest, times, _ = crackling(generator, 10, 4.0, lambda: 14.0)
        scores.append(f1(times, crackle_of(rest, RATE).times))

    assert np.mean(scores) >= 0.95


@pytest.mark.parametrize("rate", [44100, 96000])
def test_events_are_found_at_other_sample_rates(rate):
    """Mixed sizes from 14 dB upward are found at 44.1 and 96 kHz as well (known events)."""
    generator = np.random.default_rng(2)
    scores = []
    for _ in range(3):
        rest, times, _ = crackling(generator, 8, 4.0, lambda: generator.uniform(14, 34), rate=rate)
        scores.append(f1(times, crackle_of(rest, rate).times))

    assert np.mean(scores) >= 0.95


def test_many_weak_events_lower_the_limit():
    """Single samples of 15 dB, ten a second, are below the limit of a clean recording; their number gives them away."""
    generator = np.random.default_rng(14)
    noise = 1e-3 * generator.standard_normal(10 * RATE)
    clean = crackle_of(noise, RATE)
    times = np.sort(generator.uniform(0.1, 9.9, 100))
    noise[(times * RATE).astype(int)] += generator.choice([-1, 1], 100) * 1e-3 * 10 ** (15 / 20)

    crackle = crackle_of(noise, RATE)

    assert crackle.threshold_db < clean.threshold_db - 0.5
    assert f1(times, crackle.times) >= 0.8  # the best limit gives 0.91 on average (normal law)
    assert not clean.found


def test_echoes_are_not_counted():
    """Reflections after 4, 7 and 11 ms do not count as events of their own (known events)."""
    generator = np.random.default_rng(3)
    echo = [(0.004, 0.5), (0.007, 0.4), (0.011, -0.3)]
    rest, times, _ = crackling(generator, 20, 3.0, lambda: generator.uniform(20, 40), echo=echo)

    assert f1(times, crackle_of(rest, RATE).times) >= 0.93


def test_hum_does_not_hide_or_fake_events():
    """Mains lines 30 dB above the noise leave the events what they are (known events)."""
    generator = np.random.default_rng(4)
    rest, times, _ = crackling(generator, 10, 4.0, lambda: generator.uniform(16, 30))
    time = np.arange(rest.size) / RATE
    for order, peak in ((1, 0.01), (2, 0.03), (3, 0.005), (6, 0.002)):
        rest += peak * np.sin(2 * np.pi * 49.98 * order * time + order)

    assert f1(times, crackle_of(rest, RATE).times) >= 0.95


def test_sizes_are_the_whitened_peaks():
    """The size of an event is its whitened peak over sigma, within the background's own sigma (known sizes)."""
    generator = np.random.default_rng(5)
    rest, _, _ = crackling(generator, 10, 3.0, lambda: 30.0)

    crackle = crackle_of(rest, RATE)

    # 30 dB is 31.6 sigma: one sigma of background is 0.27 dB, and of several peaks the largest counts
    assert np.median(crackle.sizes_db) == pytest.approx(30.0, abs=0.6)
    assert len(crackle.times) == len(crackle.sizes_db) == len(crackle.levels_dbfs) == crackle.events


def test_a_clean_recording_shows_none():
    """Of sixty clean recordings two at most show an event: the stated chance is 0.4 % each."""
    generator = np.random.default_rng(6)

    shown = sum(crackle_of(background(generator, 3), RATE).found for _ in range(60))

    assert shown <= 2


def test_the_number_of_false_events_is_the_stated_one():
    """Gaussian noise gives as many candidates as the stated number of tests a sample predicts, within 25 %."""
    z = np.random.default_rng(7).standard_normal(150 * RATE)

    count = candidates(z, RATE).peak.size

    assert count == pytest.approx(z.size * TRIALS * CANDIDATE_P, rel=0.25)


def test_the_interval_holds_the_true_rate():
    """Of forty recordings at eight events a second, the 95 % interval misses the true rate in six at most."""
    generator = np.random.default_rng(8)
    missed = 0
    for _ in range(40):
        rest, _, _ = crackling(generator, 5, 8.0, lambda: generator.uniform(18, 32))
        crackle = crackle_of(rest, RATE)
        missed += not crackle.low <= 8.0 <= crackle.high

    assert missed <= 6  # binomial(40, 0.05): more than six has a chance of 0.3 %


def test_whitened_noise_is_white_and_of_unit_sigma():
    """Over the robust sigma, whitened noise has unit spread and Gaussian tails: 0.27 % beyond 3 (normal table)."""
    whitened = whiten(background(np.random.default_rng(9), 20), RATE)
    z = whitened.error / whitened.sigma

    assert z.std() == pytest.approx(1.0, abs=0.01)
    assert np.mean(np.abs(z) > 3) == pytest.approx(0.0027, rel=0.1)


@pytest.mark.parametrize(
    # gain of the whitening of AR models, closed form: AR(1) 0.95 10.1100 dB; AR(2) radius 0.98 at 1 kHz 28.6846 dB
    ("poles", "gain_db"),
    [([0.95], 10.1100), ([0.98 * np.exp(2j * np.pi / 48), 0.98 * np.exp(-2j * np.pi / 48)], 28.6846)],
)
def test_whitening_gains_what_the_model_says(poles, gain_db):
    """The prediction error is below the signal by the closed-form gain of its autoregressive model."""
    noise = signal.lfilter([1.0], np.poly(poles).real, np.random.default_rng(10).standard_normal(20 * RATE))

    whitened = whiten(noise, RATE)

    assert 20 * np.log10(noise.std() / np.median(whitened.sigma)) == pytest.approx(gain_db, abs=0.15)


def test_events_are_taken_out_of_the_background():
    """Without its events the recording has the background's power again, within 0.3 dB (known background)."""
    generator = np.random.default_rng(11)
    rest, _, _ = crackling(generator, 10, 5.0, lambda: 46.0)
    clean_power = np.mean(background(np.random.default_rng(12), 10) ** 2)

    crackle, pieces = without_crackle(rest, RATE)

    assert 10 * np.log10(np.mean(rest**2) / clean_power) > 3.0
    assert 10 * np.log10(np.mean(np.concatenate(pieces) ** 2) / clean_power) == pytest.approx(0.0, abs=0.3)
    assert 0.005 < crackle.share < 0.06


def test_only_the_quiet_windows_are_listened_to():
    """Times count from the start of the recording, and what lies outside of the windows does not count."""
    rest = background(np.random.default_rng(13), 10)
    rest[2 * RATE : 4 * RATE] += np.sin(np.arange(2 * RATE))
    rest[[3 * RATE, 5 * RATE, 7 * RATE]] += 1.0

    crackle = crackle_of(rest, RATE, [(0.0, 2.0), (4.5, 6.0), (8.0, 10.0)])

    assert crackle.times == pytest.approx([5.0], abs=1e-3)
    assert crackle.windows == ((0.0, 2.0), (4.5, 6.0), (8.0, 10.0))
    assert crackle.seconds == pytest.approx(5.5, abs=0.02)


def test_silence_and_scraps_are_refused():
    """Digital silence has no background to compare with; a scrap is too short for one."""
    with pytest.raises(SignalError, match="digitally silent"):
        crackle_of(np.zeros(RATE * 2), RATE)
    with pytest.raises(SignalError, match="shorter than half a second"):
        crackle_of(np.ones(1000), RATE)
