"""Polarity of drivers in simulated two-way loudspeakers (textbook crossovers, known signs)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from dustcap.errors import SignalError
from dustcap.sound.polarity import polarity_of

RATE = 48000
ARRIVAL = 2400


def sections(order, hz, kind):
    """Linkwitz-Riley of order 2 or 4, Butterworth of order 3."""
    if order == 3:
        return signal.butter(3, hz, kind, fs=RATE, output="sos")
    half = signal.butter(order // 2, hz, kind, fs=RATE, output="sos")
    return np.vstack([half, half])


def drivers(crossover_hz, order, *, box_hz=60.0):
    """Impulse responses of woofer and tweeter, each of positive polarity, arriving at sample 2400."""
    pulse = np.zeros(24000)
    pulse[ARRIVAL] = 1.0
    box = signal.butter(4, box_hz, "high", fs=RATE, output="sos")
    top = signal.butter(2, 20000, fs=RATE, output="sos")
    woofer = signal.sosfilt(box, signal.sosfilt(sections(order, crossover_hz, "low"), pulse))
    tweeter = signal.sosfilt(top, signal.sosfilt(sections(order, crossover_hz, "high"), pulse))
    return woofer, tweeter


def as_measured(impulse):
    """Band-limited to the sweep, 20 Hz to 20 kHz, with a linear phase and so with ringing ahead of the arrival."""
    hz = np.fft.rfftfreq(impulse.size, 1 / RATE)
    window = np.clip((hz - 15) / 10, 0, 1) * np.clip((21000 - hz) / 1500, 0, 1)
    return np.fft.irfft(np.fft.rfft(impulse) * window, impulse.size)


def told(impulse):
    return polarity_of(as_measured(impulse), RATE, ARRIVAL / RATE, snr_db=30.0)


def test_signs_are_right_in_every_simulated_case():
    """Crossovers of three orders, delays, levels, reflections, a recorder's high-pass and noise: no sign is wrong."""
    generator = np.random.default_rng(1)
    wrong = []
    for _ in range(120):
        signs = generator.choice([-1, 1], 2)
        order, hz = int(generator.choice([2, 3, 4])), generator.uniform(1500, 3800)
        woofer, tweeter = drivers(hz, order, box_hz=generator.uniform(40, 90))
        late = int(generator.integers(0, 6))
        impulse = signs[0] * np.roll(woofer, late) * 10 ** (generator.uniform(-3, 3) / 20) + signs[1] * tweeter
        phone = signal.butter(2, generator.uniform(20, 250), "high", fs=RATE, output="sos")
        impulse = signal.sosfilt(phone, impulse)
        for _ in range(generator.integers(0, 4)):
            at = int(generator.uniform(0.3e-3, 8e-3) * RATE)
            impulse = impulse + generator.uniform(0.2, 0.7) * generator.choice([1, 1, 1, -1]) * np.roll(impulse, at)
        got = told(impulse + 1e-3 * generator.standard_normal(impulse.size))
        if (got.woofer, got.tweeter) != tuple("+" if sign > 0 else "-" for sign in signs):
            wrong.append((order, hz, signs, got))

    assert not wrong


@pytest.mark.parametrize("order", [2, 4])
def test_drivers_that_work_against_each_other_are_seen(order):
    """A Linkwitz-Riley pair fills the crossover with the right signs (order 4 equal, 2 opposite), else it cancels."""
    generator = np.random.default_rng(order)
    right = 1 if order == 4 else -1
    for hz in (1700.0, 2600.0, 3500.0):
        woofer, tweeter = drivers(hz, order)
        for sign, word in ((right, "fills"), (-right, "cancels")):
            impulse = woofer + sign * tweeter
            impulse = impulse + 0.5 * np.roll(impulse, int(generator.uniform(1e-3, 6e-3) * RATE))

            got = told(impulse)

            assert got.sum_at_crossover == word
            if word == "cancels":
                assert got.dip_hz == pytest.approx(hz, rel=0.15)


def test_a_driver_that_is_silent_has_no_sign():
    """Woofer or tweeter alone: the other one is None, with the reason, and nothing is said about the crossover."""
    woofer, tweeter = drivers(2200.0, 4)

    no_woofer, no_tweeter = told(tweeter), told(-woofer)

    assert (no_woofer.woofer, no_woofer.tweeter, no_woofer.sum_at_crossover) == (None, "+", None)
    assert (no_tweeter.woofer, no_tweeter.tweeter, no_tweeter.sum_at_crossover) == ("-", None, None)
    assert no_woofer.why == ("the woofer's band is not heard",)
    assert no_tweeter.why == ("the tweeter's band is not heard",)


def test_too_much_noise_is_refused():
    """Below 20 dB, or without the time around the arrival, no polarity is given."""
    woofer, tweeter = drivers(2200.0, 4)
    with pytest.raises(SignalError, match="20 dB are needed"):
        polarity_of(woofer + tweeter, RATE, ARRIVAL / RATE, snr_db=19.0)
    with pytest.raises(SignalError, match="does not reach"):
        polarity_of(woofer + tweeter, RATE, 0.001, snr_db=40.0)
    noisy = told(woofer + tweeter + 0.05 * np.random.default_rng(3).standard_normal(woofer.size))
    assert noisy.woofer is None
    assert "the woofer's arrival does not stand out of the noise" in noisy.why
