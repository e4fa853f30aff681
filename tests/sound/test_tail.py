"""Roll-offs read from the first milliseconds of an impulse response, against the filters that made it."""

import numpy as np
import pytest
from scipy import signal
from sound.takes import RATE, high_pass, peak

from dustcap.sound.tail import AHEAD_S, RUN_ON_S, fit_tail, other_tail, run_on, same_tail

GATE_S = 0.0046


def impulse(sections, seconds=0.4, noise=0.0):
    """Impulse response from `AHEAD_S` before the impulse on; scipy.signal.sosfilt."""
    wave = np.zeros(round((AHEAD_S + seconds) * RATE))
    wave[round(AHEAD_S * RATE)] = 1.0
    wave = signal.sosfilt(np.atleast_2d(sections), wave)
    return wave + noise * np.random.default_rng(1).standard_normal(wave.size)


def gated(wave, gate_s=GATE_S):
    return wave[: round((AHEAD_S + gate_s) * RATE)]


@pytest.mark.parametrize(("hz", "q"), [(40, 0.7), (55, 1.0), (80, 1.5), (100, 0.55)])
def test_the_roll_off_of_a_closed_box_is_found(hz, q):
    """s^2 + s w/q + w^2 is found within 2 % from a quarter of a period (4.6 ms)."""
    tail = fit_tail(gated(impulse(high_pass(hz, q))), RATE, GATE_S)

    omega = 2 * np.pi * hz
    assert tail.order == 2
    assert tail.coefficients[1] == pytest.approx(omega / q, rel=0.02)
    assert tail.coefficients[2] == pytest.approx(omega**2, rel=0.02)


TWO_WAY = np.array([high_pass(55, 0.8), peak(900, 2.0, -4.0), peak(3000, 3.0, 6.0)])
VENTED = np.concatenate([np.array([peak(3000, 3.0, 6.0)]), signal.butter(4, 45, "high", fs=RATE, output="sos")])


@pytest.mark.parametrize("sections", [TWO_WAY, VENTED], ids=["two-way", "vented"])
def test_the_response_runs_on_as_it_would(sections):
    """From 1/T up the continued response has the filter's level within 0.1 dB, the cut one is not."""
    wave = impulse(sections)
    tail = fit_tail(gated(wave), RATE, GATE_S)

    continued = run_on(gated(wave), RATE, GATE_S, tail)

    assert continued.size == gated(wave).size + round(RUN_ON_S * RATE)
    hz = np.geomspace(1 / GATE_S, 4000, 60)
    true = np.abs(signal.sosfreqz(sections, hz, fs=RATE)[1])
    turn = np.exp(-2j * np.pi * np.outer(hz, np.arange(continued.size)) / RATE)
    error_db = 20 * np.log10(np.abs(turn @ continued) / true)
    cut_db = 20 * np.log10(np.abs(turn[:, : gated(wave).size] @ gated(wave)) / true)
    assert np.abs(error_db).max() < 0.1
    assert np.abs(cut_db).max() > 0.25


def test_noise_does_not_upset_the_fit():
    """With noise 30 dB below the tail in each sample, the tail is continued within 10 %."""
    wave = impulse(TWO_WAY)
    tail = fit_tail(gated(impulse(TWO_WAY, noise=3e-4)), RATE, GATE_S)

    continued = run_on(gated(wave), RATE, GATE_S, tail)

    behind = slice(gated(wave).size, continued.size)
    strength = np.sqrt(np.mean(wave[behind] ** 2))
    assert np.sqrt(np.mean((continued[behind] - wave[behind]) ** 2)) < 0.1 * strength


def ringing():
    """A resonance at 450 Hz that outlasts the gate."""
    return impulse(np.array([high_pass(60, 0.9), peak(450, 9, 9)]))


def straight():
    return impulse(np.array([[1.0, 0, 0, 1, 0, 0]]), noise=1e-5)


def echo_free_noise():
    return 1e-2 * np.random.default_rng(3).standard_normal(round((AHEAD_S + 0.4) * RATE))


@pytest.mark.parametrize("make", [ringing, straight, echo_free_noise], ids=lambda make: make.__name__)
def test_what_is_no_roll_off_is_not_continued(make):
    """Resonances, a straight wire and noise give no tail."""
    assert fit_tail(gated(make()), RATE, GATE_S) is None


def test_a_shorter_gate_sees_the_same_roll_off():
    """As many poles from 0.7 of the gate run on alike, within a third."""
    wave = impulse(TWO_WAY)
    tail = fit_tail(gated(wave), RATE, GATE_S)
    view = same_tail(gated(wave, 0.7 * GATE_S), RATE, 0.7 * GATE_S, tail)

    assert view.order == tail.order
    behind = slice(gated(wave).size, round(0.015 * RATE))
    continued = run_on(gated(wave), RATE, GATE_S, view)
    strength = np.sqrt(np.mean(wave[behind] ** 2))
    assert np.sqrt(np.mean((continued[behind] - wave[behind]) ** 2)) < strength / 3


def test_the_other_number_of_poles_explains_a_vented_box_less():
    """Two poles where three are needed: less of the tail is explained."""
    tail = fit_tail(gated(impulse(VENTED)), RATE, GATE_S)
    other = other_tail(gated(impulse(VENTED)), RATE, GATE_S, tail)

    assert (tail.order, other.order) == (3, 2)
    assert other.explained_db < tail.explained_db - 3


def test_too_few_samples_give_no_tail():
    """A gate of half a millisecond cannot show a roll-off."""
    assert fit_tail(gated(impulse(TWO_WAY), 0.0005), RATE, 0.0005) is None
