"""A recording that is no recording, or carries no answer, is refused in one line; odd but fine ones are measured."""

import io

import numpy as np
import pytest
import soundfile

from dustcap.sound.stimulus import make_stimulus

RATE = 48_000
SEED = 27


def wav(samples, rate=RATE, subtype="PCM_16", kind="WAV"):
    """A sound file in memory."""
    content = io.BytesIO()
    soundfile.write(content, samples, rate, format=kind, subtype=subtype)
    return content.getvalue()


def noise(seconds=3.0, rate=RATE, level=0.01, channels=1):
    """Seeded noise, shape (n, channels)."""
    return level * np.random.default_rng(SEED).standard_normal((int(seconds * rate), channels))


def with_nan():
    """Noise with one sample that is not a number."""
    samples = noise()
    samples[1000] = np.nan
    return samples


WRONG = {
    "empty file": b"",
    "text": b"layout = 1\n",
    "10 MB of nothing": bytes(10_000_000),
    "no samples": wav(np.zeros((0, 1))),
    "one sample": wav(np.full((1, 1), 0.5)),
    "8 bit": wav(noise(), subtype="PCM_U8"),
    "8 kHz": wav(noise(rate=8000), rate=8000),
    "384 kHz": wav(noise(1.0, rate=384_000), rate=384_000),
    "not a number": wav(with_nan(), subtype="FLOAT"),
    "infinite": wav(np.full((RATE, 1), np.inf), subtype="FLOAT"),
    "header only": wav(noise())[:44],
    "half a header": wav(noise())[:20],
    "cut short": wav(noise())[:100_000],
    "another format": wav(noise(), subtype="VORBIS", kind="OGG"),
}


@pytest.mark.parametrize("name", WRONG)
def test_a_file_that_is_no_recording_is_refused(refused, tmp_path, name):
    """Exit 2 with the file's name."""
    file = tmp_path / "take.wav"
    file.write_bytes(WRONG[name])

    refused("listen", file, code=2, says="take.wav")
    refused("listen", file, "--json", code=2, says="take.wav")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ((), "RECORDING"),
        (("nowhere.wav",), "nowhere.wav"),
        (("TAKE", "--channel", 3), "channel"),
        (("TAKE", "--channel", 0), "channel"),
        (("TAKE", "--channel", "left"), "--channel"),
        (("TAKE", "--against", "nowhere.wav"), "nowhere.wav"),
        (("TAKE", "--stimulus", "nowhere.wav"), "nowhere.wav"),
    ],
)
def test_a_wrong_option_is_refused(refused, tmp_path, words, says):
    """A channel or a file that is not there."""
    take = tmp_path / "take.wav"
    take.write_bytes(wav(noise(channels=2)))

    refused("listen", *(take if word == "TAKE" else word for word in words), code=2, says=says)


@pytest.mark.parametrize(
    ("name", "samples"),
    [("silent", np.zeros((5 * RATE, 1))), ("too short", noise(0.05)), ("one value", np.full((5 * RATE, 1), 0.25))],
)
def test_a_fine_file_without_an_answer_says_so(refused, tmp_path, name, samples):
    """Exit 3: the file is in order, but nothing can be measured in it."""
    file = tmp_path / "take.wav"
    file.write_bytes(wav(samples))

    refused("listen", file, "--json", code=3, says="take.wav")


@pytest.mark.parametrize(("rate", "subtype"), [(44_100, "PCM_16"), (96_000, "FLOAT"), (192_000, "PCM_24")])
def test_a_recording_without_the_test_signal_gives_noise_and_hum(run, tmp_path, rate, subtype):
    """Any rate up to 192 kHz and any depth from 16 bit; the figures are finite."""
    file = tmp_path / "take.wav"
    file.write_bytes(wav(noise(8.0, rate), rate, subtype))

    ran = run("listen", file, "--json")

    assert (ran.code, ran.json["found_stimulus"], ran.json["sample_rate"]) == (0, False, rate)
    assert np.isfinite(ran.json["noise"]["dbfs_a"])


def test_a_clipped_take_is_measured_and_warned_about(run, tmp_path):
    """Flat tops are named with their place and the remedy."""
    played = make_stimulus(RATE, "quick").samples
    sound = 8.0 * np.concatenate([np.zeros(RATE), played, np.zeros(RATE)])
    sound += 1e-4 * np.random.default_rng(SEED).standard_normal(sound.size)
    file = tmp_path / "take.wav"
    file.write_bytes(wav(np.clip(sound, -0.99, 0.99)))

    ran = run("listen", file, "--json")

    assert ran.code == 0
    assert "clipping" in [warning["what"] for warning in ran.json["warnings"]]


def test_the_test_recording_cannot_be_asked_for_wrongly(refused, tmp_path):
    """Rate, name and place are checked, and no file is left."""
    refused("stimulus", tmp_path / "out.wav", "--rate", 8000, code=2, says="8000")
    refused("stimulus", tmp_path / "out.wav", "--rate", "nan", code=2, says="--rate")
    refused("stimulus", tmp_path / "out.wav", "--quick", "--full", code=2, says="exclude each other")
    refused("stimulus", tmp_path / "out.mp3", code=2, says="out.wav")
    refused("stimulus", tmp_path / "nowhere" / "out.wav", code=2, says="out.wav")


@pytest.mark.parametrize(
    ("words", "rate", "name"), [((), 48_000, "full 1"), (("--quick", "--rate", 96000), 96_000, "quick 1")]
)
def test_the_test_recording_is_written_whole(run, tmp_path, words, rate, name):
    """24 bit, mono, at the rate asked for, as long as said, and never above its peak."""
    ran = run("stimulus", tmp_path / "out.wav", *words, "--json")

    samples, found = soundfile.read(tmp_path / "out.wav", dtype="float64")
    info = soundfile.info(tmp_path / "out.wav")
    assert (ran.code, ran.json["stimulus"], ran.json["sample_rate"]) == (0, name, rate)
    assert (found, info.channels, info.subtype) == (rate, 1, "PCM_24")
    assert len(samples) == round(ran.json["seconds"] * rate)
    assert 20 * np.log10(np.max(np.abs(samples))) == pytest.approx(ran.json["peak_dbfs"], abs=0.05)
