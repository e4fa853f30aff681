"""The file that a take is written to while it runs, so that nothing that came in is lost."""

from __future__ import annotations

import os
from pathlib import Path
from types import TracebackType

import numpy as np
import soundfile
from numpy.typing import NDArray

from dustcap.errors import InputError

Single = NDArray[np.float32]

PART = ".part"
STOPPED = ".stopped"
SUBTYPE = "FLOAT"
MOST_BYTES = 4_000_000_000
"""A plain WAV file cannot be longer; beyond it the 64-bit form of the format is used."""


class TakeFile:
    """A WAV file (32-bit float, as the samples come) that gets its name when the take has ended.

    A whole take is called as was asked; one that was stopped says so in its name, so that it is never taken for whole.
    """

    def __init__(self, path: Path, rate: int, channels: int, *, seconds: float) -> None:
        if path.exists():
            raise InputError("is there already.", where=str(path), mend="Name another file; takes are not overwritten.")
        self.path = path
        self._part = path.with_name(path.name + PART)
        kind = "RF64" if 4.0 * channels * rate * seconds > MOST_BYTES else "WAV"
        try:
            self._file = soundfile.SoundFile(
                str(self._part), "w", samplerate=rate, channels=channels, subtype=SUBTYPE, format=kind
            )
        except (OSError, soundfile.LibsndfileError) as error:
            raise InputError(
                f"cannot be written ({error}).", where=str(path), mend="Name a folder that exists and is yours."
            ) from error

    def keep(self, block: Single) -> None:
        """Append a block, shape (frames, channels)."""
        self._file.write(block)

    def finish(self, *, stopped: bool) -> Path:
        """Close the file, see that it is on the disk, and give it its name; an empty one is removed."""
        empty = self._file.frames == 0
        self._file.close()
        if empty:
            self._part.unlink()
            return self.path
        with self._part.open("rb") as file:
            os.fsync(file.fileno())
        name = _free(self.path.with_name(f"{self.path.stem}{STOPPED}{self.path.suffix}")) if stopped else self.path
        os.replace(self._part, name)
        return name

    def __enter__(self) -> TakeFile:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if not self._file.closed:
            self.finish(stopped=True)


def _free(path: Path) -> Path:
    """That name, or with a number behind it if it is taken."""
    found, number = path, 2
    while found.exists():
        found, number = path.with_name(f"{path.stem}.{number}{path.suffix}"), number + 1
    return found
