"""Recorded sounds of Debian 12 packages (names and places below; nothing of them is kept here)."""

from pathlib import Path

import numpy as np
import pytest
import soundfile
import soxr
from services.missing import missing

from dustcap.errors import SignalError
from dustcap.sound.crackle import crackle_of
from dustcap.sound.hum import hum_of
from dustcap.sound.noise import rest_of

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


def test_speech_is_not_taken_for_crackle():
    """A person who talks for 10.8 s in a quiet room is left out, and what is left shows no crackle."""
    speech, rate = sound(SPEECH, "codec2-examples")
    room = 1e-3 * np.random.default_rng(1).standard_normal(20 * 48_000)
    voice = soxr.resample(speech, rate, 48_000)
    room[4 * 48_000 : 4 * 48_000 + voice.size] += voice

    found = rest_of(room, 48_000)

    assert found.speech == ((pytest.approx(4.0, abs=0.7), pytest.approx(14.8, abs=0.7)),)
    assert found.crackle.events == 0
    assert found.noise.dbfs_a == pytest.approx(rest_of(room[: 3 * 48_000], 48_000).noise.dbfs_a, abs=0.3)
    assert crackle_of(room, 48_000).events > 100  # without looking for speech


def test_crackle_beside_speech_is_still_counted():
    """Crackle of a record goes on where nobody talks; the record alone holds no speech."""
    speech, rate = sound(SPEECH, "codec2-examples")
    vinyl, vinyl_rate = sound(SAMPLES / "vinyl_hiss.flac", "sonic-pi-samples")
    alone = rest_of(vinyl, vinyl_rate)
    take = np.concatenate([vinyl, vinyl])
    voice = soxr.resample(speech[: 4 * rate], rate, vinyl_rate)
    take[vinyl.size : vinyl.size + voice.size] += voice

    beside = rest_of(take, vinyl_rate)

    assert alone.speech == ()
    assert len(beside.speech) == 1
    assert beside.speech[0][0] > vinyl.size / vinyl_rate - 1
    assert beside.crackle.rate == pytest.approx(alone.crackle.rate, rel=0.3)


def test_nothing_but_speech_is_refused():
    """Where somebody talks throughout, neither noise nor crackle is told."""
    speech, rate = sound(SPEECH, "codec2-examples")
    voice = soxr.resample(speech[rate : 9 * rate], rate, 48_000)
    noise = 1e-3 * np.random.default_rng(1).standard_normal(voice.size)

    with pytest.raises(SignalError, match="talks"):
        rest_of(voice + noise, 48_000)
