"""Switching on, in simulated recordings with known times and levels."""

from __future__ import annotations

import numpy as np
import pytest

from dustcap.errors import SignalError
from dustcap.sound.thump import thump_of

RATE = 48000


def power_on(generator, *, switch_s=1.02, unmute_s=2.1, peak=0.03, hiss=1e-3, click=0.0, seconds=8):
    """Room noise; at the switch a 30 Hz thump that dies away; after the mute a steady hiss, perhaps with a click."""
    size = seconds * RATE
    time = np.arange(size) / RATE - switch_s
    wave = 1e-4 * generator.standard_normal(size) + 0.002
    swing = np.exp(-time / 0.05) * np.cos(2 * np.pi * 30 * time)
    wave += np.where(time >= 0, peak * swing, 0.0)
    if unmute_s is not None:
        wave += np.where(time >= unmute_s, hiss, 0.0) * generator.standard_normal(size)
        wave[int((switch_s + unmute_s) * RATE)] += click
    return wave


@pytest.mark.parametrize(("hiss", "click"), [(1e-3, 0.0), (2e-4, 0.01), (2e-3, 0.2)])
def test_times_and_levels_are_the_simulated_ones(hiss, click):
    """Switch within 2 ms, unmute within 15 ms, peak within 0.3 dB of the simulated values."""
    wave = power_on(np.random.default_rng(1), hiss=hiss, click=click)

    got = thump_of(wave, RATE)

    assert got.switch_s == pytest.approx(1.02, abs=0.002)
    assert got.unmute_after_s == pytest.approx(2.1, abs=0.015)
    assert got.peak_dbfs == pytest.approx(20 * np.log10(max(0.03, click)), abs=0.3)


def test_the_energy_is_that_of_the_thump():
    """Energy of a e^(-t/T) cos(w t) by its integral, T/4 (1 + 1/(1 + w²T²)) a², against half a second of power one."""
    generator = np.random.default_rng(2)
    turn = 2 * np.pi * 30 * 0.05
    integral = 0.03**2 * 0.05 / 4 * (1 + 1 / (1 + turn**2))

    got = thump_of(power_on(generator), RATE)

    assert got.energy_db == pytest.approx(10 * np.log10(2 * integral), abs=0.1)


def test_without_a_mute_there_is_no_delay():
    """A unit whose hiss never rises has no unmute time."""
    assert thump_of(power_on(np.random.default_rng(3), unmute_s=None), RATE).unmute_after_s is None


def test_a_recording_in_which_nothing_happens_is_refused():
    """Noise alone, or a recording that begins after the switch, has no thump; a scrap is too short."""
    noise = 1e-4 * np.random.default_rng(4).standard_normal(5 * RATE)
    with pytest.raises(SignalError, match="nothing is switched on"):
        thump_of(noise, RATE)
    with pytest.raises(SignalError, match="less than a second"):
        thump_of(noise[:9000], RATE)
