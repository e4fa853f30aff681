"""Whether crackle follows the volume, on simulated pairs of recordings."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal
from sound.crackling import RATE

from dustcap.sound.crackle import crackle_of
from dustcap.sound.follows import follows_volume


def rest(seed, crackle_db, noise_db=0.0, seconds=10):
    """Hiss and four bursts a second through a loudspeaker, each with its own gain in dB."""
    generator = np.random.default_rng(seed)
    b, a = signal.butter(2, [70, 12000], "band", fs=RATE)
    out = signal.lfilter(b, a, generator.standard_normal(seconds * RATE)) * 1e-4 * 10 ** (noise_db / 20)
    out += 1e-5 * generator.standard_normal(out.size)
    for start in generator.integers(0, out.size - 500, generator.poisson(4 * seconds)):
        burst = signal.lfilter(b, a, np.exp(-np.arange(480) / 30) * generator.standard_normal(480))
        out[start : start + 480] += burst * 1e-3 * 10 ** ((generator.uniform(0, 16) + crackle_db) / 20)
    return crackle_of(out, RATE)


@pytest.fixture(scope="module")
def other():
    return rest(1, 0.0)


@pytest.mark.parametrize(
    ("crackle_db", "noise_db", "level_db", "answer"),
    [
        (0.0, 0.0, 10.0, "no"),
        (0.0, 4.0, 10.0, "no"),  # more hiss hides the small ones
        (10.0, 0.0, 10.0, "yes"),
        (-10.0, 0.0, -10.0, "yes"),
        (20.0, 10.0, 20.0, "yes"),
        (0.0, 0.0, None, "no"),
        (10.0, 0.0, None, "yes"),
        (0.0, 0.0, 2.0, "undecided"),  # hardly turned
    ],
)
def test_the_answer_is_the_simulated_truth(other, crackle_db, noise_db, level_db, answer):
    """Events made before or after the control are told apart; a control that was hardly moved tells nothing."""
    for seed in (2, 3):
        assert follows_volume(rest(seed, crackle_db, noise_db), other, level_db).follows_volume == answer


def test_the_difference_of_sizes_and_the_ratio_of_rates_are_given(other):
    """Events 10 dB larger at the same rate show a difference near 10 dB and an interval that holds ratio one."""
    got = follows_volume(rest(4, 10.0), other)

    assert got.size_db == pytest.approx(10.0, abs=2.5)
    assert got.low < 1.0 < got.high
    assert got.low < got.rate_ratio < got.high


def test_too_few_events_decide_nothing():
    """Two quiet recordings leave the question open, and the open values are None."""
    noise = np.random.default_rng(5).standard_normal((2, 3 * RATE))
    got = follows_volume(crackle_of(noise[0], RATE), crackle_of(noise[1], RATE), 20.0)

    assert (got.follows_volume, got.why) == ("undecided", "too few events")
    assert got.rate_ratio is None
    assert got.high is None
    assert got.size_db is None
