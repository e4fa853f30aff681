"""Speech: told apart from crackle, hum, buzz and noise. Simulated; recorded voices are in test_real_sounds."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal
from sound.crackling import RATE, background, crackling

from dustcap.sound.long_recording import scan_long
from dustcap.sound.noise import rest_of
from dustcap.sound.speech import joined, speech_in, without


def voice(generator, seconds, pitch_hz=120.0):
    """A made-up voice: pulses of a gliding pitch through three resonances, four syllables a second with pauses."""
    time = np.arange(int(seconds * RATE)) / RATE
    pitch = pitch_hz * (1 + 0.12 * np.sin(2 * np.pi * 0.9 * time) + 0.05 * np.sin(2 * np.pi * 3.7 * time))
    turns = np.cumsum(pitch) / RATE
    pulses = np.diff(np.floor(turns), prepend=0.0) * generator.uniform(0.9, 1.1, time.size)
    for hz, width_hz in ((500.0, 80.0), (1500.0, 100.0), (2500.0, 140.0)):
        radius = np.exp(-np.pi * width_hz / RATE)
        pulses = signal.lfilter([1.0], [1.0, -2 * radius * np.cos(2 * np.pi * hz / RATE), radius**2], pulses)
    syllables = np.clip(np.sin(2 * np.pi * 4 * time), 0, None) * (np.sin(2 * np.pi * 0.45 * time) > -0.7)
    spoken = pulses * syllables
    return spoken / np.max(np.abs(spoken))


@pytest.mark.parametrize("pitch_hz", [95.0, 130.0, 210.0, 320.0])
def test_a_voice_is_found_where_it_is(pitch_hz):
    """A voice of 4 s from a low to a high one, 30 dB above the room, is found within a second of where it is."""
    generator = np.random.default_rng(1)
    room = background(generator, 12)
    room[4 * RATE : 8 * RATE] += 0.05 * voice(generator, 4, pitch_hz)

    ((begin_s, end_s),) = speech_in(room, RATE)

    assert begin_s == pytest.approx(4.0, abs=1.0)
    assert end_s == pytest.approx(8.0, abs=1.0)


def test_crackle_noise_and_buzz_are_no_speech():
    """Crackle with echoes at 4 to 80 a second, a struck resonance, mains pulses and buzz, and noise hold no speech."""
    generator = np.random.default_rng(2)
    time = np.arange(12 * RATE) / RATE
    echo = [(0.004, 0.5), (0.007, 0.4), (0.011, -0.3)]
    events = np.concatenate([crackling(generator, 4, often, lambda: 30.0, echo=echo)[0] for often in (4, 20, 80)])
    struck = events + 8 * signal.lfilter(*signal.iirpeak(110, 30, fs=RATE), events)
    buzz = background(generator, 12) + 3e-3 * signal.sawtooth(2 * np.pi * 100.02 * time)
    pulses = background(generator, 12)
    for at in np.arange(0.01, 11.9, 1 / 100.02):
        pulses[int(at * RATE) : int(at * RATE) + 60] += 0.03 * np.exp(-np.arange(60) / 15)

    hum = events + sum(3e-3 / n * np.sin(2 * np.pi * 100 * n * time) for n in range(1, 6))  # clicks beside a ripple

    for take in (events, struck, buzz, pulses, hum, background(generator, 30)):
        assert speech_in(take, RATE) == ()


def test_crackle_keeps_its_rate_beside_a_voice():
    """Two events a second outside of the speech are counted as before, and the speech is told (known rate)."""
    generator = np.random.default_rng(3)
    take = crackling(generator, 40, 2.0, lambda: generator.uniform(18, 32))[0]
    take[10 * RATE : 20 * RATE] += 0.1 * voice(generator, 10)

    found = rest_of(take, RATE)

    assert len(found.speech) == 1
    assert found.crackle.low <= 2.0 <= found.crackle.high
    assert 25 < found.crackle.seconds < 31


def test_a_long_recording_leaves_speech_out_too():
    """In a minute of room noise with ten seconds of voice no crackle is counted, and the voice is told."""
    generator = np.random.default_rng(4)
    take = background(generator, 60)
    take[25 * RATE : 35 * RATE] += 0.1 * voice(generator, 10)

    scan = scan_long(take, RATE)

    assert scan.speech == ((pytest.approx(25.0, abs=1.0), pytest.approx(35.0, abs=1.0)),)
    assert scan.crackle.events == 0


def test_windows_are_cut_around_the_speech():
    """What is left of a window is dropped below a second; windows beside the speech stay as they are."""
    assert without([(0.0, 10.0), (12.0, 12.6)], ((2.0, 4.0), (9.5, 11.0))) == ((0.0, 2.0), (4.0, 9.5), (12.0, 12.6))
    assert without([(0.0, 2.5)], ((0.9, 3.0),)) == ()
    assert joined([(5.0, 6.0), (0.0, 1.0), (1.5, 2.0)]) == ((0.0, 2.0), (5.0, 6.0))
