"""Rub and buzz put into a recording are found where they are; sound units have none."""

import numpy as np
import pytest
from scipy import signal
from sound.takes import RATE, aligned, loudspeaker, played, recorded, rest_of

from dustcap.sound.irregular import irregular_of
from dustcap.sound.stimulus import LEVEL_DBFS, START_HZ
from dustcap.sound.sweep import sweep_response

AMPLITUDE = 10 ** (LEVEL_DBFS / 20)


def rub(stimulus, low_hz, high_hz, db, kind, rng):
    """One short sound a cycle while the sweep passes from `low_hz` to `high_hz`; its peak against the sweep's."""
    sweep, growth = stimulus.layout.sweep, stimulus.layout.rate_s
    cycles = np.arange(round(START_HZ * growth), round(20000 * growth)) + 0.25
    since_s = growth * np.log(cycles / (START_HZ * growth))
    hz = START_HZ * np.exp(since_s / growth)
    wave = np.zeros(stimulus.samples.size)
    for at_s in since_s[(hz >= low_hz) & (hz <= high_hz)]:
        at = round((sweep.start_s + at_s) * RATE)
        times_s = np.arange(round(0.003 * RATE)) / RATE
        shape = {
            "click": (times_s == 0.0).astype(float),
            "burst": rng.standard_normal(times_s.size) * np.exp(-times_s / 0.0004),
            "ring": np.sin(2 * np.pi * 3500 * times_s) * np.exp(-times_s / 0.0006),
        }[kind]
        wave[at : at + shape.size] += shape / np.abs(shape).max() * AMPLITUDE * 10 ** (db / 20)
    return wave


def listened(samples, restless=False):
    alignment = aligned(samples)
    rest = rest_of(samples, alignment)
    sweep = sweep_response(samples, RATE, alignment, rest)
    return irregular_of(samples, RATE, alignment, sweep, rest, restless=restless)


@pytest.mark.parametrize("kind", ["click", "burst", "ring"])
@pytest.mark.parametrize(("low_hz", "high_hz"), [(62, 70), (130, 160), (380, 430)])
@pytest.mark.parametrize("name", ["full 1", "quick 1"])
def test_a_rub_of_minus_fifty_decibels_is_found(kind, low_hz, high_hz, name):
    """At 75 dB S/N one event, at the right frequency, of about the right height."""
    stimulus = played(name)
    samples = stimulus.samples + rub(stimulus, low_hz, high_hz, -50, kind, np.random.default_rng(2))

    events = listened(recorded(samples, skew_ppm=120, noise_db=-90)).events

    assert len(events) == 1
    assert low_hz / 1.06 < events[0].hz < high_hz * 1.06
    assert events[0].db == pytest.approx(-50, abs=5)  # a high-pass and the other clock's samples take off some peak


def test_a_rub_is_found_behind_the_loudspeaker_s_own_curve():
    """The event's time is that of the recording, and fits its frequency."""
    stimulus = played("full 1")
    rubbing = stimulus.samples + rub(stimulus, 130, 160, -45, "burst", np.random.default_rng(3))
    samples = recorded(rubbing, sections=loudspeaker(), noise_db=-85, skew_ppm=-80, gain=0.6)

    (event,) = listened(samples).events

    growth_s = stimulus.layout.rate_s
    passed_s = 0.7 + stimulus.layout.sweep.start_s + growth_s * np.log(event.hz / START_HZ)
    assert 120 < event.hz < 170
    assert event.s == pytest.approx(passed_s, abs=0.01)


def test_a_rub_below_the_noise_s_peaks_is_found_by_its_return():
    """At 60 dB S/N a click of -50 dB does not stand out alone; folded over the cycles it does."""
    stimulus = played("full 1")
    samples = recorded(stimulus.samples + rub(stimulus, 130, 165, -50, "burst", np.random.default_rng(4)), noise_db=-75)

    result = listened(samples)

    single_db = 20 * np.log10(6 * 10 ** (-75 / 20) / AMPLITUDE)  # six sigma of the noise
    assert single_db > -50
    assert len(result.events) >= 1
    assert all(120 < event.hz < 180 for event in result.events)


@pytest.mark.parametrize("kind", ["burst", "ring"])
def test_the_floor_that_is_claimed_is_reached(kind):
    """Rubs 3 dB above the floor are found in 11 of 12 takes at least, at 55 dB S/N and at several frequencies."""
    stimulus = played("full 1")
    floor = listened(recorded(stimulus.samples, noise_db=-70))
    found = []
    for seed in range(12):
        low_hz = (60, 100, 160, 250)[seed % 4]
        db = np.interp(low_hz * 1.2, floor.hz, floor.floor_db) + 3
        rng = np.random.default_rng(seed)
        rubbing = stimulus.samples + rub(stimulus, low_hz, low_hz * 1.5, db, kind, rng)
        events = listened(recorded(rubbing, noise_db=-70, seed=seed)).events
        found.append(any(low_hz / 1.1 < event.hz < low_hz * 1.65 for event in events))

    assert sum(found) >= 11


SOUND_UNITS = {
    "straight": lambda x: x,
    "square and cube": lambda x: x + 0.1 * x**2 + 0.3 * x**3,
    "seventh power": lambda x: x + 20 * x**7,
    "soft limit": lambda x: np.tanh(4 * x) / 4,
}


@pytest.mark.parametrize("unit", SOUND_UNITS.values(), ids=SOUND_UNITS)
@pytest.mark.parametrize("noise_db", [None, -95, -75, -55])
def test_a_sound_unit_has_no_event(unit, noise_db):
    """Regular distortion and noise of any level are no irregular distortion."""
    samples = recorded(unit(played("quick 1").samples), sections=loudspeaker(), noise_db=noise_db, skew_ppm=50)

    assert listened(samples).events == ()


def test_false_events_are_rare():
    """In 12 noisy recordings of a sound unit not one event is seen."""
    clean = recorded(played("quick 1").samples, sections=loudspeaker())
    rng = np.random.default_rng(9)

    assert sum(len(listened(clean + 1e-3 * rng.standard_normal(clean.size)).events) for _ in range(12)) == 0


def test_crest_of_noise_is_that_of_noise():
    """Where only noise is left the crest factor is that of Gaussian noise: 11 to 14 dB for some thousand samples."""
    # extreme value statistics: median peak of 5 000 to 50 000 independent samples is 3.8 to 4.3 sigma, 11.6 to 12.8 dB
    crest_db = listened(recorded(played("full 1").samples, noise_db=-60)).crest_db

    assert 11.0 < np.median(crest_db) < 13.5


def test_crackle_is_not_taken_for_rub():
    """Clicks at random times, in the gap as in the sweep, make no event when the gap is known to crackle."""
    samples = recorded(played("full 1").samples, sections=loudspeaker(), noise_db=-90)
    rng = np.random.default_rng(6)
    for at in rng.integers(RATE, samples.size - RATE, 120):
        samples[at : at + 40] += 0.01 * rng.uniform(0.7, 1.0) * signal.windows.hann(40) * rng.standard_normal(40)

    middle = samples.size // 3
    samples[middle : middle + 40] += 0.05 * signal.windows.hann(40) * rng.standard_normal(40)  # louder than any at rest

    assert len(listened(samples).events) > 0
    assert not listened(samples, restless=True).events


def test_a_rub_is_found_beside_crackle():
    """What comes back in every cycle is told though single peaks are not, and the floor says how weak it may be."""
    stimulus = played("full 1")
    samples = recorded(stimulus.samples + rub(stimulus, 130, 160, -45, "burst", np.random.default_rng(2)), noise_db=-90)
    found = listened(samples, restless=True)

    assert [event.hz for event in found.events] == [pytest.approx(145, rel=0.15)]
    assert np.isfinite(found.floor_db).all()
    assert np.interp(145, found.hz, found.floor_db) < -48
