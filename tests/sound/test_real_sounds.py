"""Recorded sounds of Debian 12 packages (names and places below; nothing of them is kept here)."""

from pathlib import Path

import numpy as np
import pytest
import soundfile
import soxr
from services.missing import missing

from dustcap.sound.crackle import crackle_of
from dustcap.sound.hum import hum_of
from dustcap.sound.noise import noise_of

# package sonic-pi-samples, CC0 recordings; package codec2-examples, LGPL-2.1
SAMPLES = Path("/usr/share/sonic-pi/samples")
SPEECH = Path("/usr/share/codec2/raw/speech_orig_16k.wav")


def sound(path, package):
    """First channel and rate of a recorded sound."""
    if not path.is_file():
        missing(package)
    samples, rate = soundfile.read(path, always_2d=True)
    return samples[:, 0], rate


def test_crackle_of_a_real_record_is_found_and_that_of_noise_is_not():
    """Vinyl crackles many times a second; Gaussian noise with the same spectrum and length shows nothing."""
    vinyl, rate = sound(SAMPLES / "vinyl_hiss.flac", "sonic-pi-samples")
    generator = np.random.default_rng(1)
    spectrum = np.abs(np.fft.rfft(vinyl))
    noise = np.fft.irfft(spectrum * np.exp(2j * np.pi * generator.random(spectrum.size)), vinyl.size)

    found = crackle_of(vinyl, rate)

    assert found.low > 10
    assert max(found.sizes_db) > 30
    assert crackle_of(noise, rate).events == 0


def test_a_snap_is_one_event():
    """One snap of two fingers in a quiet room counts once."""
    snap, rate = sound(SAMPLES / "perc_snap.flac", "sonic-pi-samples")
    room = 1e-4 * np.random.default_rng(1).standard_normal(4 * rate)
    room[rate : rate + snap.size] += snap

    found = crackle_of(room, rate)

    assert found.events == 1
    assert found.times[0] == pytest.approx(1.0, abs=0.1)


@pytest.mark.parametrize("name", ["ambi_haunted_hum.flac", "ambi_glass_hum.flac"])
def test_a_hum_that_no_mains_makes_is_not_called_mains(name):
    """A humming that sways about 50.2 Hz, and a glass with tones at 11 and 31 times 50.4 Hz, have no mains line."""
    samples, rate = sound(SAMPLES / name, "sonic-pi-samples")

    assert hum_of([samples], rate).mains_hz is None


@pytest.mark.xfail(reason="the pulses of a voice are counted as crackle: record without people talking", strict=True)
def test_speech_is_not_taken_for_crackle():
    """A person who talks in a quiet room is no crackle."""
    speech, rate = sound(SPEECH, "codec2-examples")
    wave = soxr.resample(speech, rate, 48_000)

    found = crackle_of(wave + 1e-3 * np.random.default_rng(1).standard_normal(wave.size), 48_000)

    assert found.rate < 1.0
