"""What a live take plays: the test recording or a file, and the cautions that come before it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from dustcap.errors import InputError
from dustcap.job.cautions import LICENCE
from dustcap.job.stimulus import CAUTIONS, RATE_HZ
from dustcap.sound.recording import read_recording
from dustcap.sound.stimulus import make_stimulus

Single = NDArray[np.float32]

NAMES = ("full", "quick")
MOST_CHANNELS = 2
LONGEST_S = 600.0  # ours: nothing that is played to prove a repair is longer
BEFORE_PLAYING = (
    *CAUTIONS,
    "A driver that smells, scrapes or stands off its rest is in danger: press Esc, q or Ctrl-C, then pull the plug.",
    LICENCE,
)


@dataclass(frozen=True, slots=True)
class Programme:
    """What goes out: samples (n, channels), their rate, and what it is called."""

    samples: Single
    rate: int
    name: str

    @property
    def seconds(self) -> float:
        """How long it lasts."""
        return len(self.samples) / self.rate


def programme(what: str, rate: int = RATE_HZ) -> Programme:
    """What is to be played: ``full`` or ``quick`` for the test recording, else a WAV or FLAC file.

    Raises
    ------
    InputError
        If the file cannot be read, has more than two channels, or is longer than ten minutes.
    """
    if what in NAMES and not Path(what).is_file():
        made = make_stimulus(rate, what)
        return Programme(np.asarray(made.samples, dtype=np.float32)[:, None], rate, what)
    recording = read_recording(what)
    channels = len(recording.samples)
    if channels > MOST_CHANNELS or recording.seconds > LONGEST_S:
        raise InputError(
            f"has {channels} channels and lasts {recording.seconds:.0f} s.",
            where=what,
            mend=f"Play at most {MOST_CHANNELS} channels and {LONGEST_S:.0f} s.",
        )
    return Programme(np.ascontiguousarray(recording.samples.T, dtype=np.float32), recording.rate, Path(what).name)
