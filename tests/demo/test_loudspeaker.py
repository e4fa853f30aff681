"""The simulated loudspeaker against the textbook formulas it stands for."""

from __future__ import annotations

from dataclasses import replace
from math import inf

import numpy as np
import pytest
from scipy import signal

from dustcap.demo.loudspeaker import Loudspeaker, Recorder, ground_loop, record, ripple, switch_on

RATE = 48000
QUIET = Loudspeaker(hiss_dbfs=-160.0, second_db=-inf, third_db=-inf)
DRY = Recorder(reflections=(), room_dbfs=-180.0, noise_dbfs=-180.0, bits=0, lead_in_s=0.0, late_s=0.0)


def response(unit, recorder=DRY):
    """Complex response by an impulse that is played softly."""
    pulse = np.zeros(RATE)
    pulse[0] = 0.1
    take = record(pulse, RATE, unit, recorder, seed=1)
    return np.fft.rfft(take.samples[:RATE]) / 0.1


def level_db(samples, hz, rate=RATE):
    """Peak of a line at a whole number of hertz, dB re full scale, by a one-second window."""
    tone = np.exp(-2j * np.pi * hz * np.arange(rate) / rate)
    return 20 * np.log10(2 * abs(np.dot(samples[-rate:], tone)) / rate)


def test_the_crossover_adds_up_to_flat():
    """A Linkwitz-Riley pair of order four is all-pass (Linkwitz 1976): from 300 Hz to 8 kHz flat within 0.3 dB."""
    db = 20 * np.log10(np.abs(response(QUIET)[300:8000]))

    assert np.ptp(db) < 0.3


def test_the_box_falls_off_as_a_fourth_order_high_pass():
    """At the box frequency 3 dB down, an octave below 24.1 dB (Butterworth, 1 / (1 + 2^8)), recorder's corner aside."""
    unit = replace(QUIET, box_hz=80.0)
    db = 20 * np.log10(np.abs(response(unit, replace(DRY, high_pass_hz=0.1))))

    assert db[80] - db[500] == pytest.approx(-3.01, abs=0.15)
    assert db[40] - db[500] == pytest.approx(-10 * np.log10(1 + 2**8), abs=0.2)


def test_harmonics_have_the_stated_levels():
    """A 200 Hz tone at -12 dBFS has second and third harmonics of the stated level below the fundamental."""
    tone = 0.25 * np.sin(2 * np.pi * 200 * np.arange(2 * RATE) / RATE)
    unit = replace(QUIET, second_db=-40.0, third_db=-50.0)
    heard = record(tone, RATE, unit, replace(DRY, tail_s=0.0), seed=1).samples

    assert level_db(heard, 400) - level_db(heard, 200) == pytest.approx(-40.0, abs=0.1)
    assert level_db(heard, 600) - level_db(heard, 200) == pytest.approx(-50.0, abs=0.1)


def test_hum_hiss_and_gain_have_the_stated_levels():
    """Lines, hiss and the recorder's gain come out as stated; a sawtooth's lines fall by 1/n (Fourier series)."""
    unit = replace(QUIET, hum=ripple(-40.0), hiss_dbfs=-60.0)
    take = record(np.zeros(4 * RATE), RATE, unit, replace(DRY, gain_db=6.0), seed=2)

    assert level_db(take.samples, 100) == pytest.approx(-34.0, abs=0.1)
    assert level_db(take.samples, 200) == pytest.approx(-34.0 - 6.02, abs=0.1)
    hiss = record(np.zeros(4 * RATE), RATE, replace(unit, hum=()), DRY, seed=2).samples
    assert 20 * np.log10(np.std(hiss[RATE:]) * np.sqrt(2)) == pytest.approx(-60.0, abs=0.2)
    assert [order for order, _ in ground_loop(-40.0)] == [1, 3, 5, 7]


def test_a_muted_woofer_plays_neither_bass_nor_hum():
    """Without the woofer the low band is the tweeter's skirt, 100 dB down, and the hum is gone."""
    unit = replace(QUIET, woofer_db=-inf, hum=ground_loop(-40.0))

    assert 20 * np.log10(np.abs(response(unit)[150])) < -90
    assert level_db(record(np.zeros(2 * RATE), RATE, unit, DRY, seed=1).samples, 50) < -100


def test_signs_turn_the_drivers():
    """A reversed tweeter cancels at the crossover (Linkwitz-Riley), a reversed recorder turns everything over."""
    both = response(QUIET)

    assert 20 * np.log10(np.abs(response(replace(QUIET, tweeter_sign=-1))[2600] / both[2600])) < -20
    assert response(QUIET, replace(DRY, inverts=True)) == pytest.approx(-both, abs=1e-4)


@pytest.mark.parametrize(("rate", "skew_ppm"), [(48000, 250.0), (44100, -300.0), (96000, 0.0)])
def test_the_recorder_has_its_own_clock(rate, skew_ppm):
    """A click ten seconds after another is heard later by the skew, at any rate, within a tenth of a sample."""
    clicks = np.zeros(12 * RATE)
    clicks[[RATE, 11 * RATE]] = 0.5
    heard = record(clicks, RATE, QUIET, replace(DRY, rate=rate, skew_ppm=skew_ppm), seed=1).samples
    stretch = 1 + skew_ppm * 1e-6

    lag = 10 * rate * stretch
    first, second = (
        heard[int(at * rate) : int(at * rate) + rate // 4] for at in (1.0 * stretch - 0.01, 11.0 * stretch - 0.01)
    )
    cross = np.fft.irfft(
        np.fft.rfft(second, 16 * first.size) * np.conj(np.fft.rfft(first, 16 * first.size)), 256 * first.size
    )
    peak = int(np.argmax(cross))
    shift = (peak if peak < cross.size // 2 else peak - cross.size) / 16
    starts = int((11.0 * stretch - 0.01) * rate) - int((1.0 * stretch - 0.01) * rate)

    assert starts + shift == pytest.approx(lag, abs=0.1)


def test_crackle_comes_at_the_stated_rate_whatever_the_volume():
    """Events, their times and levels are the same at any volume, unless they follow it."""
    unit = replace(QUIET, crackle_per_s=5.0, crackle_dbfs=(-40.0, -20.0))
    high, low = (record(np.zeros(20 * RATE), RATE, replace(unit, volume_db=db), DRY, seed=4) for db in (0, -20))
    following = record(
        np.zeros(20 * RATE), RATE, replace(unit, volume_db=-20, crackle_follows_volume=True), DRY, seed=4
    )

    assert len(high.crackle_s) == pytest.approx(5 * 21, abs=4 * np.sqrt(5 * 21))
    assert np.array_equal(high.samples, low.samples)
    assert np.max(np.abs(following.samples)) == pytest.approx(0.1 * np.max(np.abs(high.samples)), rel=0.01)
    peaks = [np.max(np.abs(high.samples[int(at * RATE) : int((at + 0.012) * RATE)])) for at in high.crackle_s]
    assert 0.009 < np.median(peaks) < 0.11


def test_switching_on_thumps_and_then_hisses():
    """The thump has its peak at the switch, and the hiss starts when the mute lets go."""
    take = switch_on(replace(QUIET, thump_dbfs=-30.0, unmute_s=2.0, hiss_dbfs=-50.0), DRY, seed=5, switch_s=1.0)
    rms = signal.oaconvolve(take.samples**2, np.ones(480) / 480, mode="same") ** 0.5

    assert np.argmax(np.abs(take.samples)) / RATE == pytest.approx(1.0, abs=0.001)
    assert np.max(np.abs(take.samples)) == pytest.approx(10 ** (-30 / 20), rel=0.02)
    assert rms[int(2.9 * RATE)] < 0.1 * rms[int(3.1 * RATE)]


def test_one_seed_gives_one_recording():
    """The same seed gives the same samples, another one does not."""
    unit = Loudspeaker(crackle_per_s=2.0)
    first, again, other = (record(np.zeros(RATE), RATE, unit, seed=seed).samples for seed in (1, 1, 2))

    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)
