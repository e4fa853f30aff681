"""Crackle in takes so quiet that their noise takes few values: none is told where there is none, real ones stay."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal
from sound.crackling import RATE, f1

from dustcap.sound.crackle import crackle_of
from dustcap.sound.events import CANDIDATE_P, TRIALS, candidates, limit_of
from dustcap.sound.whitening import step_of, whiten

STEP = 2.0**-15


def rounded(wave):
    """Samples of a 16-bit recorder; `wave` is in steps of its last bit."""
    return np.round(wave) * STEP


@pytest.mark.parametrize("sigma", [0.6, 1.0, 2.19, 4.0])
@pytest.mark.parametrize("rate", [44100, 96000])
def test_noise_of_few_values_has_no_crackle(sigma, rate):
    """Noise of a few of the recorder's steps shows no event: the stated chance is 0.4 % a take."""
    generator = np.random.default_rng(46)

    shown = [crackle_of(rounded(sigma * generator.standard_normal(5 * rate)), rate).found for _ in range(4)]

    assert not any(shown)


@pytest.mark.parametrize("sigma", [0.6, 2.19, 30.0])
def test_candidates_in_noise_of_few_values_are_as_many_as_stated(sigma):
    """No more candidates than the stated number of tests a sample gives in Gaussian noise, and 40 % fewer at most."""
    samples = rounded(sigma * np.random.default_rng(3).standard_normal(60 * RATE))

    background = whiten(samples, RATE, step=step_of(samples))
    count = candidates(background.error / background.sigma, RATE).peak.size

    expected = samples.size * TRIALS * CANDIDATE_P
    assert 0.6 * expected - 3 * np.sqrt(expected) < count < expected + 3 * np.sqrt(expected)


def test_sigma_follows_the_rounding():
    """Noise of 0.6 steps has 0.6² + 1/12 + 1/12 steps² once rounded and spread (variance of the even density)."""
    samples = rounded(0.6 * np.random.default_rng(4).standard_normal(10 * RATE))

    whitened = whiten(samples, RATE, step=step_of(samples))

    assert np.median(whitened.sigma) / STEP == pytest.approx(np.sqrt(0.36 + 1 / 6), rel=0.02)


@pytest.mark.parametrize("sigma", [1.0, 2.19])
def test_real_crackle_in_a_quiet_take_is_found(sigma):
    """Bursts from 16 dB over the whitened background of a quiet 16-bit take are found (known events)."""
    generator = np.random.default_rng(5)
    wave = sigma * generator.standard_normal(10 * RATE)
    times = np.arange(0.2, 9.8, 0.3)
    burst = np.exp(-np.arange(240) / 30)
    for at in times:
        one = burst * generator.standard_normal(240)
        at_sample = int(at * RATE)
        wave[at_sample : at_sample + 240] += one / np.abs(one).max() * sigma * 10 ** (generator.uniform(16, 30) / 20)

    assert f1(times, crackle_of(rounded(wave), RATE).times) >= 0.95


def test_coloured_noise_of_few_values_is_not_loud_with_steps():
    """Hiss through a loudspeaker's band, a step strong, shows no event either."""
    b, a = signal.butter(2, [70, 12000], "band", fs=RATE)
    hiss = 1.5 * signal.lfilter(b, a, np.random.default_rng(6).standard_normal(20 * RATE))

    assert not crackle_of(rounded(hiss), RATE).found


def test_the_step_is_read_off_the_samples():
    """16-bit samples have a step of 2^-15, whatever their mean; a take of real numbers has one that is no step."""
    generator = np.random.default_rng(7)

    assert step_of(rounded(5 * generator.standard_normal(RATE)) + 0.25) == STEP
    assert step_of(5 * generator.standard_normal(RATE)) < 1e-4
    assert step_of(np.zeros(RATE)) == 0.0


@pytest.mark.parametrize("seconds", [4, 10, 60])
def test_chance_alone_keeps_to_one_in_250_takes(seconds):
    """Candidates as noise alone gives them (Poisson, even probabilities) pass the limit in 0.4 % of 3000 takes."""
    generator = np.random.default_rng(8)
    samples = seconds * RATE
    shown = 0
    for _ in range(3000):
        count = generator.poisson(samples * TRIALS * CANDIDATE_P)
        log_p = np.log(generator.uniform(0, CANDIDATE_P, count))
        shown += bool(np.any(log_p <= limit_of(log_p, samples)))

    assert shown <= 22  # Poisson with mean 12: more has a chance of 0.3 %
