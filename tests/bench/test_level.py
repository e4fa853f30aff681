"""Cap, ramp, fade and meter as plain arithmetic."""

import numpy as np
import pytest

from dustcap.bench.level import (
    TONE_RISE_S,
    Meter,
    amplitude,
    capped,
    check_level,
    dbfs_of,
    fade_out,
    rising_tone,
    scaled,
)
from dustcap.errors import InputError

RATE = 48_000


def test_levels_are_peaks_against_full_scale():
    """Half of full scale is -6.02 dBFS (20 log10 of the ratio, the definition); there and back again."""
    assert dbfs_of(0.5) == pytest.approx(-6.0206, abs=1e-4)
    assert amplitude(dbfs_of(0.123)) == pytest.approx(0.123)
    assert dbfs_of(0.0) == -200.0


@pytest.mark.parametrize("dbfs", [0.0, -2.9, -81.0, float("nan")])
def test_a_level_above_the_cap_or_of_no_use_is_refused(dbfs):
    """The cap is said in the sentence."""
    with pytest.raises(InputError, match="-3"):
        check_level(dbfs)


def test_scaling_brings_the_peak_to_the_level():
    """The wave keeps its shape; silence cannot be scaled."""
    wave = np.array([[0.1], [-0.4], [0.2]])

    assert scaled(wave, -20.0)[:, 0] == pytest.approx(np.array([0.025, -0.1, 0.05]))
    with pytest.raises(InputError, match="silent"):
        scaled(np.zeros((5, 1)), -20.0)


def test_the_cap_holds_whatever_comes():
    """Values beyond it are cut, what is no number is silence."""
    assert capped(np.array([[2.0, -3.0, np.nan, np.inf, 0.1]]), 0.5).tolist() == [
        [0.5, -0.5, 0.0, 0.0, pytest.approx(0.1)]
    ]


def test_the_tone_starts_60_db_down_and_rises_evenly():
    """30 dB a second up to its level (-60 dB over two seconds), then it holds and ends in silence."""
    tone = rising_tone(RATE, -20.0)[:, 0]
    peaks = [dbfs_of(tone[int(at * RATE) : int((at + 0.01) * RATE)].max()) for at in (0.0, 1.0, TONE_RISE_S)]

    # within each hundredth of a second it rises by 0.3 dB
    assert peaks == pytest.approx([-79.7, -49.7, -20.0], abs=0.35)
    assert np.abs(tone).max() <= amplitude(-20.0) * (1 + 1e-6)
    assert abs(tone[-1]) < 1e-6


def test_the_fade_is_one_curve_however_it_is_cut_into_blocks():
    """Half a cosine from 1 to 0, the same in blocks of 100 as at once, and silence after it."""
    whole = fade_out(np.ones((960, 2)), 0, 480)
    cut = np.concatenate([fade_out(np.ones((100, 2)), done, 480) for done in range(0, 900, 100)])

    assert np.array_equal(cut, whole[:900])
    assert whole[239, 0] == pytest.approx(0.5, abs=0.01)
    assert np.all(np.diff(whole[:, 0]) <= 0)
    assert np.all(whole[479:] == 0)


def test_the_meter_adds_up_over_blocks():
    """A sine's r.m.s. is 3.01 dB below its peak (1/sqrt 2), in whatever blocks; clipped samples are counted."""
    sine = 0.5 * np.sin(2 * np.pi * 1000 / RATE * np.arange(RATE))[:, None]
    meter = Meter()
    for start in range(0, RATE, 1024):
        meter = meter.with_block(sine[start : start + 1024])

    assert meter.peak_dbfs == pytest.approx(-6.02, abs=0.01)
    assert meter.rms_dbfs == pytest.approx(-9.03, abs=0.01)
    assert meter.warning == ""
    assert meter.with_block(np.array([[0.8]])).warning == "the input comes within 3 dB of clipping"
    assert meter.with_block(np.array([[1.0], [-1.0]])).clipped == 2
    assert meter.with_block(np.array([[1.0]])).warning == "the input clips"
