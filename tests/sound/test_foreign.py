"""Stimuli made elsewhere: found, aligned, and read as far as they carry."""

import numpy as np
import pytest
from scipy import signal
from sound.takes import RATE, curve_db, loudspeaker, recorded

from dustcap.errors import SignalError
from dustcap.sound.foreign import align_foreign, foreign_response, foreign_windows, growth_s
from dustcap.sound.harmonics import harmonics_of
from dustcap.sound.response import frequency_response

SECONDS = 5.0


def sweep():
    """Exponential sweep of scipy.signal.chirp, 20 Hz to 20 kHz in 5 s, 2 s of silence around it."""
    times_s = np.arange(int(SECONDS * RATE)) / RATE
    wave = 0.25 * signal.chirp(times_s, 20, SECONDS, 20000, "logarithmic", phi=-90)
    wave *= np.clip((SECONDS - times_s) / 0.01, 0, 1)
    return np.concatenate([np.zeros(2 * RATE), wave, np.zeros(2 * RATE)])


def noise():
    """White noise for 5 s."""
    wave = 0.1 * np.random.default_rng(1).standard_normal(int(SECONDS * RATE))
    return np.concatenate([np.zeros(2 * RATE), wave, np.zeros(2 * RATE)])


def rest(samples, alignment, rate):
    spans = foreign_windows(alignment, rate, samples.size / rate)
    return np.concatenate([samples[round(a * rate) : round(b * rate)] for a, b in spans])


@pytest.mark.parametrize(("make", "skew_error_ppm"), [(sweep, 30.0), (noise, 1.0)])
@pytest.mark.parametrize(("at_rate", "skew_ppm"), [(48000, 0.0), (96000, 200.0), (44100, -200.0)])
def test_found_and_aligned(make, skew_error_ppm, at_rate, skew_ppm):
    """Start within 2 ms; the clock within 1 ppm from noise, within 30 ppm from a sweep, and said so."""
    samples = recorded(
        make(), at_rate=at_rate, skew_ppm=skew_ppm, sections=loudspeaker(), noise_db=-75, gain=-0.7, lead_s=1.3
    )

    alignment = align_foreign(samples, at_rate, make(), RATE)

    assert alignment.start_s == pytest.approx(1.3, abs=0.002)
    assert alignment.skew_ppm == pytest.approx(skew_ppm, abs=skew_error_ppm)
    assert alignment.skew_error_ppm <= skew_error_ppm * 1.01


@pytest.mark.parametrize(("make", "within_db"), [(sweep, 0.1), (noise, 0.3)])
def test_the_response_is_that_of_the_filter(make, within_db):
    """Against scipy.signal.sosfreqz from 40 Hz to 15 kHz, level constant removed."""
    samples = recorded(make(), skew_ppm=100, sections=loudspeaker(), noise_db=-80)
    alignment = align_foreign(samples, RATE, make(), RATE)

    response = frequency_response(foreign_response(samples, RATE, alignment), rest(samples, alignment, RATE))

    inside = (response.hz > 40) & (response.hz < 15000)
    error = response.db[inside] - curve_db(loudspeaker(), response.hz[inside] * 1.0001)
    assert np.abs(error - error.mean()).max() < within_db


def test_harmonics_of_a_foreign_sweep():
    """H2 of x + 0.04 x^2 at amplitude 0.25 lies 20 lg(1 / (0.04 x 0.25 / 2)) = 46.02 dB below the fundamental."""
    wave = sweep()
    samples = recorded(wave + 0.04 * wave**2, noise_db=-90)
    alignment = align_foreign(samples, RATE, wave, RATE)

    second = harmonics_of(foreign_response(samples, RATE, alignment), rest(samples, alignment, RATE)).orders[0]

    assert second.order == 2
    hz = np.array([100, 300, 1000, 3000])
    assert np.interp(hz, second.hz, second.db_below_fundamental) == pytest.approx(46.02, abs=0.3)


def test_growth_of_a_sweep_is_read_from_it():
    """L = T / ln(f2/f1) = 0.72382 s for 20 Hz to 20 kHz in 5 s; noise has none."""
    # table of exponential sweeps: 20, 20 k, 5 s -> L = 0.723824137
    assert growth_s(sweep(), RATE) == pytest.approx(0.723824, rel=0.005)
    assert growth_s(noise(), RATE) is None


def test_quiet_windows_are_those_of_the_stimulus():
    """Silence before, between and after; half a second is left for things to die away."""
    wave = np.concatenate([sweep(), sweep()])
    samples = recorded(wave, noise_db=-80, lead_s=1.0)
    alignment = align_foreign(samples, RATE, wave, RATE)

    spans = foreign_windows(alignment, RATE, samples.size / RATE)

    assert len(spans) == 3
    assert spans[1][0] == pytest.approx(1.0 + 7.0 + 0.5, abs=0.1)
    assert spans[1][1] == pytest.approx(1.0 + 11.0 - 0.05, abs=0.2)


@pytest.mark.parametrize("make", [sweep, noise])
def test_not_found_in_other_sounds(make):
    """Noise of its own, and hum, do not hold it."""
    rng = np.random.default_rng(9)
    hum = np.sin(2 * np.pi * 50 * np.arange(12 * RATE) / RATE) + 0.01 * rng.standard_normal(12 * RATE)

    assert align_foreign(hum, RATE, make(), RATE) is None
    assert align_foreign(rng.standard_normal(12 * RATE), RATE, make(), RATE) is None


def test_a_cut_recording_is_refused():
    """The stimulus has to be there from start to end."""
    samples = recorded(sweep(), noise_db=-80)[: 7 * RATE]
    alignment = align_foreign(samples, RATE, sweep(), RATE)

    with pytest.raises(SignalError, match="not wholly in the recording"):
        foreign_response(samples, RATE, alignment)
