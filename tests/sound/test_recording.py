"""Files are read as they are, or refused with what is wrong with them."""

import io
import struct

import numpy as np
import pytest
import soundfile

from dustcap.errors import InputError
from dustcap.sound.recording import read_recording

RATE = 48000


def wave(channels=1, count=4800):
    return 0.1 * np.random.default_rng(1).standard_normal((count, channels))


@pytest.mark.parametrize("kind", ["WAV", "FLAC", "RF64", "WAVEX"])
@pytest.mark.parametrize(("subtype", "bits"), [("PCM_16", 16), ("PCM_24", 24)])
@pytest.mark.parametrize("channels", [1, 2, 6])
def test_integer_files_come_back_to_the_last_bit(tmp_path, kind, subtype, bits, channels):
    """Channels first; the converter's numbers over 2^(bits - 1), the extremes included."""
    codes = np.random.default_rng(1).integers(-(2 ** (bits - 1)), 2 ** (bits - 1), (4800, channels), dtype=np.int32)
    codes[0], codes[1] = -(2 ** (bits - 1)), 2 ** (bits - 1) - 1
    path = tmp_path / "take"
    soundfile.write(path, codes << (32 - bits), RATE, format=kind, subtype=subtype)

    recording = read_recording(path)

    assert recording.rate == RATE
    assert np.array_equal(recording.samples.astype(float) * 2 ** (bits - 1), codes.T)


@pytest.mark.parametrize("subtype", ["PCM_32", "FLOAT", "DOUBLE"])
def test_wide_files_come_back(tmp_path, subtype):
    """32 bits and floating point, values beyond full scale included."""
    written = wave() * (1 if subtype == "PCM_32" else 20)
    path = tmp_path / "take.wav"
    soundfile.write(path, written, 192000, subtype=subtype)

    recording = read_recording(path)

    assert recording.samples[0].astype(float) == pytest.approx(written[:, 0], rel=1e-7, abs=1e-9)
    assert recording.seconds == pytest.approx(4800 / 192000)


def write_8_bit(path):
    soundfile.write(path, wave(), RATE, format="WAV", subtype="PCM_U8")


def write_telephone(path):
    soundfile.write(path, wave(), RATE, format="WAV", subtype="ULAW")


def write_slow(path):
    soundfile.write(path, wave(), 22050, format="WAV", subtype="PCM_16")


def write_aiff(path):
    soundfile.write(path, wave(), RATE, format="AIFF", subtype="PCM_16")


def write_text(path):
    path.write_text("a shopping list\n" * 40)


def write_nothing(path):
    path.write_bytes(b"")


def write_no_samples(path):
    soundfile.write(path, np.zeros((0, 1)), RATE, format="WAV", subtype="PCM_16")


def write_one_sample(path):
    soundfile.write(path, np.zeros((1, 2)), RATE, format="WAV", subtype="PCM_16")


def write_not_a_number(path):
    samples = wave(2)
    samples[123, 1] = np.nan
    soundfile.write(path, samples, RATE, format="WAV", subtype="FLOAT")


def write_infinite(path):
    samples = wave()
    samples[7] = np.inf
    soundfile.write(path, samples, RATE, format="WAV", subtype="DOUBLE")


def write_cut_wav(path):
    soundfile.write(path, wave(), RATE, format="WAV", subtype="PCM_16")
    path.write_bytes(path.read_bytes()[:5000])


def write_cut_flac(path):
    soundfile.write(path, wave(1, 48000), RATE, format="FLAC", subtype="PCM_16")
    path.write_bytes(path.read_bytes()[:30000])


@pytest.mark.parametrize(
    ("write", "says"),
    [
        (write_8_bit, "PCM_U8"),
        (write_telephone, "ULAW"),
        (write_slow, "22050 Hz"),
        (write_aiff, "AIFF, not WAV or FLAC"),
        (write_text, "not a sound file"),
        (write_nothing, "not a sound file"),
        (write_no_samples, "holds 0 samples"),
        (write_one_sample, "holds 1 samples"),
        (write_not_a_number, "sample 123 of channel 2"),
        (write_infinite, "sample 7 of channel 1"),
        (write_cut_wav, "cut off"),
        (write_cut_flac, "cut off|not a sound file"),
    ],
    ids=lambda value: getattr(value, "__name__", value),
)
def test_wrong_files_are_refused_by_name(tmp_path, write, says):
    """The message names the file, what is wrong and what would be right."""
    path = tmp_path / "take"
    write(path)

    with pytest.raises(InputError, match=says) as why:
        read_recording(path)

    assert why.value.where == str(path)
    assert why.value.mend


@pytest.mark.parametrize("name", ["missing.wav", "."])
def test_what_cannot_be_opened_is_refused(tmp_path, name):
    """A missing file and a folder."""
    with pytest.raises(InputError, match="cannot be read"):
        read_recording(tmp_path / name)


def test_a_header_that_was_never_finished_is_read(tmp_path):
    """A recorder that streams leaves the length open (all ones): what is there is read."""
    buffer = io.BytesIO()
    soundfile.write(buffer, wave(), RATE, format="WAV", subtype="PCM_16")
    content = bytearray(buffer.getvalue())
    at = content.index(b"data") + 4
    content[at : at + 4] = struct.pack("<I", 0xFFFFFFFF)
    path = tmp_path / "open.wav"
    path.write_bytes(content)

    assert read_recording(path).samples.shape[1] == pytest.approx(4800, abs=2)
