"""The lag at several places: one clock, two clocks, lost samples, buffers that came twice, a slow loss."""

import numpy as np
import pytest
import soxr
from scipy import signal

from dustcap.bench.lag import check_lag
from dustcap.sound.stimulus import make_stimulus

RATE = 48_000
PLAYED = make_stimulus(RATE, "quick").samples


def heard(played=PLAYED, delay=30_000, noise=1e-4, echo=True):
    """A loudspeaker in a room records what was played: band-limited, an echo, hiss."""
    sections = np.vstack(
        [signal.butter(2, 60, "high", fs=RATE, output="sos"), signal.butter(2, 17_000, fs=RATE, output="sos")]
    )
    wave = signal.sosfilt(sections, np.concatenate([np.zeros(delay), played, np.zeros(RATE)]))
    if echo:
        wave[240:] += 0.4 * wave[:-240]
    return wave + noise * np.random.default_rng(3).standard_normal(wave.size)


def test_a_straight_copy_has_one_lag():
    """Sample-exact: every place has the same lag, to the sample."""
    copy = np.concatenate([np.zeros(12_345), PLAYED, np.zeros(RATE)])

    found = check_lag(PLAYED, copy, RATE)

    assert found.steady
    assert found.kept_time
    assert {lag.samples for lag in found.lags} == {12_345.0}


def test_a_loudspeaker_in_a_room_keeps_time():
    """Its own delay and the echo are no loss of samples; the lag is found."""
    found = check_lag(PLAYED, heard(), RATE)

    assert found.kept_time
    assert np.median([lag.samples for lag in found.lags]) == pytest.approx(30_000, abs=12)


@pytest.mark.parametrize("ppm", [-200, 60, 200])
def test_two_clocks_are_told_from_a_loss(ppm):
    """A recorder whose clock is off by 200 ppm keeps time, and the difference is told."""
    wave = soxr.resample(heard(), RATE, RATE * (1 + ppm * 1e-6), quality="VHQ")

    found = check_lag(PLAYED, wave, RATE)

    assert found.kept_time
    # single samples are what the lag is read in: over 10 s that is 2 ppm each, and the loudspeaker's delay adds its own
    assert found.skew_ppm == pytest.approx(ppm, abs=25)


@pytest.mark.parametrize("at_s", [5.0, 10.0, 13.5])
@pytest.mark.parametrize("samples", [128, 1024, -512])
def test_lost_and_repeated_buffers_are_steps(at_s, samples):
    """A buffer of 128 samples or more, lost or played twice, is a step near where it happened."""
    wave = heard()
    at = 30_000 + int(at_s * RATE)
    wave = np.concatenate([wave[:at], wave[at + samples :]])

    found = check_lag(PLAYED, wave, RATE)

    assert found.kept_time is False
    places = [lag.at_s for lag in found.lags]
    (step,) = found.steps_s
    before = places[places.index(step) - 1]
    assert before - 0.35 <= at_s <= step + 0.35


def test_a_slow_loss_is_no_clock():
    """Two samples lost every 75 ms, as some servers do with a fixed block length, is more than two clocks differ."""
    wave = heard()
    keep = np.ones(wave.size, dtype=bool)
    keep[::3600] = keep[1::3600] = False

    found = check_lag(PLAYED, wave[keep], RATE)

    assert found.kept_time is False


def test_too_little_to_say_is_none():
    """Without the programme in it, or with next to nothing of it, nothing is claimed."""
    hiss = 1e-3 * np.random.default_rng(5).standard_normal(5 * RATE)

    assert check_lag(PLAYED, hiss, RATE).kept_time is None
    assert check_lag(PLAYED, np.zeros(RATE), RATE).kept_time is None
    assert check_lag(PLAYED[:1000], PLAYED, RATE).kept_time is None
