"""Reading a recording from a file, and refusing what is not one."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np
import soundfile
from numpy.typing import NDArray

from dustcap.errors import InputError
from dustcap.sound.stimulus import RATES_HZ

FORMATS = {"WAV", "WAVEX", "RF64", "FLAC"}
EXACT_IN_SINGLE = {"PCM_16", "PCM_24", "FLOAT"}  # 24 bits fit the mantissa of a single-precision number
SUBTYPES = EXACT_IN_SINGLE | {"PCM_32", "DOUBLE"}
MEND_FORMAT = "Save it as WAV or FLAC with 16, 24 or 32 bits."
UNKNOWN_SIZE = (0, 0xFFFFFFFF)  # a recorder that streams writes one of these and never comes back


@dataclass(frozen=True, slots=True)
class Recording:
    """What a file holds: samples (channels, n), full scale 1, and the sample rate in Hz."""

    samples: NDArray[np.floating]
    rate: int
    subtype: str

    @property
    def seconds(self) -> float:
        return float(self.samples.shape[1] / self.rate)


def read_recording(path: Path | str) -> Recording:
    """Read a WAV or FLAC file.

    Parameters
    ----------
    path : Path or str
        The file.

    Returns
    -------
    Recording
        Single precision where that holds every value of the file, else double.

    Raises
    ------
    InputError
        If the file cannot be opened, is not WAV or FLAC with 16, 24 or 32 bits, has a sample rate outside 44.1 to
        192 kHz, is cut off, holds fewer than two samples, or holds a value that is not a finite number.
    """
    where = str(path)
    with opened(path) as sound:
        samples = sound.read(dtype=sample_kind(sound), always_2d=True)
        rate, subtype, promised = sound.samplerate, sound.subtype, sound.frames
    if len(samples) < promised:
        raise _cut_off(where)
    return Recording(_checked(np.ascontiguousarray(samples.T), where), rate, subtype)


@contextmanager
def opened(path: Path | str) -> Iterator[soundfile.SoundFile]:
    """A WAV or FLAC file, whole and of a kind that is read, for as long as the ``with`` lasts.

    Raises
    ------
    InputError
        As `read_recording`, for all that the header tells.
    """
    where = str(path)
    try:
        with Path(path).open("rb") as file:
            _check_whole(file, where)
        with soundfile.SoundFile(where) as sound:
            _check_kind(sound, where)
            yield sound
    except OSError as error:
        raise InputError(
            f"cannot be read: {error.strerror or 'no such file'}.", where=where, mend="Check the name and the place."
        ) from error
    except soundfile.LibsndfileError as error:
        raise InputError("is not a sound file that can be read.", where=where, mend=MEND_FORMAT) from error


def sample_kind(sound: soundfile.SoundFile) -> str:
    """Single precision where that holds every value of the file, else double."""
    return "float32" if sound.subtype in EXACT_IN_SINGLE else "float64"


def _check_kind(sound: soundfile.SoundFile, where: str) -> None:
    if sound.format not in FORMATS:
        raise InputError(f"is {sound.format}, not WAV or FLAC.", where=where, mend=MEND_FORMAT)
    if sound.subtype not in SUBTYPES:
        raise InputError(f"holds {sound.subtype} samples.", where=where, mend=MEND_FORMAT)
    if not RATES_HZ[0] <= sound.samplerate <= RATES_HZ[1]:
        raise InputError(
            f"has a sample rate of {sound.samplerate} Hz.",
            where=where,
            mend=f"Record at {RATES_HZ[0]} to {RATES_HZ[1]} Hz; 48000 Hz is enough.",
        )


def _checked(samples: NDArray[np.floating], where: str) -> NDArray[np.floating]:
    if samples.shape[1] < 2:
        raise InputError(f"holds {samples.shape[1]} samples.", where=where, mend="Record again; this file is empty.")
    finite = np.isfinite(samples)
    if not finite.all():
        channel, at = np.argwhere(~finite)[0]
        raise InputError(
            f"sample {at} of channel {channel + 1} is not a finite number.",
            where=where,
            mend="Export the file again, as 24-bit PCM.",
        )
    return samples


def _check_whole(file: BinaryIO, where: str) -> None:
    """Refuse a WAV file whose header promises more than it holds: the library would read it without a word."""
    head = file.read(12)
    if len(head) < 12 or head[:4] != b"RIFF" or head[8:] != b"WAVE":
        return
    size = file.seek(0, 2)
    at = 12
    while at + 8 <= size:
        file.seek(at)
        name, length = struct.unpack("<4sI", file.read(8))
        if name == b"data":
            if length not in UNKNOWN_SIZE and at + 8 + length > size:
                raise _cut_off(where)
            return
        at += 8 + length + length % 2


def _cut_off(where: str) -> InputError:
    return InputError(
        "is cut off: it holds less than its header promises.", where=where, mend="Copy it again from the recorder."
    )
