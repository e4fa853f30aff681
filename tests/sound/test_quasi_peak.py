"""The quasi-peak meter against the windows of ITU-R BS.468-4."""

from __future__ import annotations

import numpy as np
import pytest

from dustcap.errors import SignalError
from dustcap.sound.quasi_peak import meter, quasi_peak

# ITU-R BS.468-4, Table 2 (single 5 kHz bursts) and Table 3 (repeated 5 ms bursts): lowest and highest reading in
# percent of the steady one. (The dB printed for the upper limit at 5 ms is not that of 46 %; the percentages hold.)
SINGLE = [(1, 13.5, 21.4), (2, 22.4, 31.6), (5, 34, 46), (10, 41, 55), (20, 44, 60), (50, 50, 68), (100, 58, 78),
          (200, 68, 92)]  # fmt: skip
REPEATED = [(2, 43, 53), (10, 72, 82), (100, 94, 100)]


def tone(hz, seconds, rate):
    return np.sqrt(2) * np.sin(2 * np.pi * hz * np.arange(round(seconds * rate)) / rate)


def bursts(burst_ms, per_second, seconds, rate):
    """5 kHz bursts, the first at 1.5 s: after the settling second."""
    out = np.zeros(round(seconds * rate))
    burst = tone(5000, burst_ms / 1000, rate)
    starts = [1.5] if per_second is None else 1.5 + np.arange(int((seconds - 2) * per_second)) / per_second
    for start in starts:
        at = round(start * rate)
        out[at : at + burst.size] = burst
    return out


@pytest.fixture(scope="module", params=[44100, 48000, 96000])
def rate(request):
    return request.param


@pytest.fixture(scope="module")
def steady(rate):
    return quasi_peak(tone(5000, 3.0, rate), rate)


@pytest.mark.parametrize(("burst_ms", "lowest", "highest"), SINGLE)
def test_a_single_burst_reads_in_its_window(rate, steady, burst_ms, lowest, highest):
    """Each burst of Table 2 reads inside its window, at several sample rates."""
    reading = 100 * quasi_peak(bursts(burst_ms, None, 2.3, rate), rate) / steady

    assert lowest <= reading <= highest


@pytest.mark.parametrize(("per_second", "lowest", "highest"), REPEATED)
def test_repeated_bursts_read_in_their_window(rate, steady, per_second, lowest, highest):
    """Each burst rate of Table 3 reads inside its window."""
    reading = 100 * quasi_peak(bursts(5, per_second, 5.5, rate), rate) / steady

    assert lowest <= reading <= highest


def test_a_steady_sine_reads_its_rms(rate):
    """A steady 1 kHz sine of 0.775 V r.m.s. reads 0 dBqps, its r.m.s. (BS.468-4, 2.6); 6.3 kHz reads 12.2 dB more."""
    assert quasi_peak(0.775 * tone(1000, 4, rate), rate) == pytest.approx(0.775, rel=0.003)
    assert 20 * np.log10(quasi_peak(tone(6300, 4, rate), rate)) == pytest.approx(12.2, abs=0.1)


def test_readings_follow_the_level():
    """0.6 ms bursts stepped over 20 dB track within 1 dB (BS.468-4, 2.3)."""
    loud, quiet = (quasi_peak(gain * bursts(0.6, 10, 3.5, 48000), 48000) for gain in (1.0, 0.1))

    assert 20 * np.log10(loud / quiet) == pytest.approx(20.0, abs=1.0)


def test_reversed_pulses_read_the_same():
    """Turning 1 ms pulses at 100 a second over changes the reading by 0.5 dB at most (BS.468-4, 2.4)."""
    pulses = np.zeros(48000 * 3)
    for start in range(0, pulses.size, 480):
        pulses[start : start + 48] = 1.0

    up, down = (quasi_peak(sign * pulses, 48000) for sign in (1, -1))

    assert abs(20 * np.log10(up / down)) <= 0.5


def test_a_sudden_tone_does_not_overswing():
    """A suddenly applied 1 kHz tone overswings by 0.3 dB at most (BS.468-4, 2.5)."""
    rectified = np.abs(tone(1000, 4, 48000))

    assert 20 * np.log10(meter(rectified, 48000) / meter(rectified, 48000, skip_s=3.5)) <= 0.3


def test_noise_reads_four_to_five_db_above_its_rms():
    """Gaussian noise reads 4 to 5 dB above its weighted r.m.s. (common practice, no published source)."""
    noise = np.random.default_rng(3).standard_normal(20 * 48000)
    weighted_rms_db = 7.301 + 10 * np.log10(19980 / 24000)  # integral of the curve, white noise 20 Hz to 20 kHz

    reading = 20 * np.log10(quasi_peak(noise, 48000)) - weighted_rms_db

    assert 4.0 <= reading <= 5.0


def test_the_first_second_is_not_read():
    """A click in the first second, while the meter settles, does not count; too little sound is refused."""
    clicked = np.zeros(48000 * 4)
    clicked[100] = 1.0
    later = np.roll(clicked, 48000 * 2)

    assert quasi_peak(clicked, 48000) < 0.2 * quasi_peak(later, 48000)
    with pytest.raises(SignalError, match="more than one second"):
        quasi_peak(np.zeros(48000), 48000)
