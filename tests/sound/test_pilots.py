"""The pilots are found wherever and however the test recording was recorded, and nowhere else."""

import numpy as np
import pytest
from scipy import signal
from sound.takes import RATE, loudspeaker, played, recorded

from dustcap.sound.pilots import chirp_peaks, find_layout
from dustcap.sound.stimulus import NAMES

ROOM = ((0.0047, 0.5), (0.013, -0.4), (0.031, 0.3))


def tweeter_only():
    return signal.butter(4, 3500, "high", fs=RATE, output="sos")


def woofer_only():
    return signal.butter(4, 2500, "low", fs=RATE, output="sos")


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(
    ("at_rate", "skew_ppm", "lead_s", "gain"),
    [(48000, 0, 0.05, 1.0), (96000, 300, 3.7, -0.3), (44100, -300, 11.0, 0.003)],
)
def test_found_at_any_rate_clock_lead_in_and_level(name, at_rate, skew_ppm, lead_s, gain):
    """The start is right within 2 ms and the clock within 20 ppm, before any fine measurement."""
    samples = recorded(
        played(name).samples, at_rate=at_rate, skew_ppm=skew_ppm, lead_s=lead_s, gain=gain, sections=loudspeaker()
    )

    found = find_layout(samples, at_rate)

    assert found.layout.name == name
    assert found.pilots == (True, True)
    assert found.start_s == pytest.approx(lead_s * (1 + skew_ppm * 1e-6), abs=0.002)
    assert (found.stretch - 1) * 1e6 == pytest.approx(skew_ppm, abs=20)


@pytest.mark.parametrize("sections", [None, tweeter_only(), woofer_only()], ids=["all", "tweeter", "woofer"])
@pytest.mark.parametrize("noise_db", [-60, -30])
def test_found_through_one_driver_an_echoing_room_and_noise(sections, noise_db):
    """A dead driver, echoes and noise as strong as the signal do not hide the pilots."""
    samples = recorded(played("full 1").samples, sections=sections, noise_db=noise_db, echoes=ROOM, gain=-0.5)

    found = find_layout(samples, RATE)

    assert found.layout.name == "full 1"
    assert found.pilots == (True, True)


def test_found_when_badly_clipped():
    """Clipping at a tenth of the peak leaves the pilots where they are."""
    samples = recorded(played("quick 1").samples, sections=loudspeaker())
    clipped = np.clip(samples, -0.1 * samples.max(), 0.1 * samples.max())

    assert find_layout(clipped, RATE).start_s == pytest.approx(0.7, abs=0.002)


def test_one_pilot_is_enough():
    """A recording that begins late or ends early still tells which test recording it holds."""
    samples = recorded(played("full 1").samples, sections=loudspeaker(), noise_db=-70)

    early, late = find_layout(samples[: 20 * RATE], RATE), find_layout(samples[4 * RATE :], RATE)

    assert (early.layout.name, early.pilots) == ("full 1", (True, False))
    assert (late.layout.name, late.pilots) == ("full 1", (False, True))


def test_the_second_of_two_blocks_is_searched_too():
    """A lead-in longer than a block of the search does not matter, nor that it holds other sounds."""
    rng = np.random.default_rng(4)
    samples = recorded(played("quick 1").samples, lead_s=123.0, sections=loudspeaker())
    samples[: 120 * RATE] += 0.05 * np.repeat(rng.standard_normal(120 * RATE // 40), 40)

    found = find_layout(samples, RATE)

    assert found.start_s == pytest.approx(123.0, abs=0.002)
    assert found.pilots == (True, True)


def sweep_made_elsewhere(rng):
    times_s = np.arange(20 * RATE) / RATE
    return signal.chirp(times_s, 20, 20, 20000, "logarithmic")


def clicks(rng):
    wave = np.zeros(20 * RATE)
    wave[rng.integers(0, wave.size, 400)] = rng.standard_normal(400)
    return wave


def loop(rng):
    return np.tile(rng.standard_normal(RATE // 8) * np.exp(-np.arange(RATE // 8) / 400), 160)


def hum_and_noise(rng):
    times_s = np.arange(20 * RATE) / RATE
    hum = sum(np.sin(2 * np.pi * 50 * k * times_s) / k for k in range(1, 9))
    return hum + 0.01 * rng.standard_normal(times_s.size)


def silence(rng):
    return np.zeros(5 * RATE)


@pytest.mark.parametrize("make", [sweep_made_elsewhere, clicks, loop, hum_and_noise, silence], ids=lambda m: m.__name__)
def test_not_found_where_it_is_not(make):
    """Other sweeps, clicks, loops, hum and silence are not taken for pilots."""
    assert find_layout(make(np.random.default_rng(7)), RATE) is None


def test_noise_makes_no_peaks():
    """Two minutes of white noise hold not one peak of the matched filter above the threshold."""
    assert chirp_peaks(np.random.default_rng(8).standard_normal(120 * RATE), RATE).times_s.size == 0


def test_a_wrong_speed_is_not_the_test_recording():
    """Played 5 % too fast (a wrong rate in a header) it is not recognised rather than misread."""
    assert find_layout(recorded(played("quick 1").samples, skew_ppm=-50_000), RATE) is None
