"""The test recording, written as a file to play from anything."""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path

import soundfile

from dustcap.errors import InputError
from dustcap.job.outputs import check_output, write_output
from dustcap.sound.stimulus import LEVEL_DBFS, RATES_HZ, make_stimulus

RATE_HZ = 48_000
SUBTYPE = "PCM_24"
CAUTIONS = (
    "The sweep is loud where the loudspeaker is: ears away from it, and other people out of the room.",
    "Play it quietly first; only after the d.c. at every amplifier output was read with the drivers disconnected.",
)


@dataclass(frozen=True, slots=True)
class Written:
    """The file that was written."""

    file: str
    stimulus: str
    sample_rate: int
    seconds: float
    bits: int
    peak_dbfs: float


def write_stimulus(path: Path, *, name: str = "full", rate: int = RATE_HZ) -> Written:
    """Write the test recording as a mono 24-bit WAV file; the old file stands until the new one is whole.

    Parameters
    ----------
    path : Path
        Ends in ``.wav``.
    name : str
        ``full`` or ``quick``.
    rate : int
        Samples a second, 44 100 to 192 000.

    Raises
    ------
    InputError
        If the name, the rate or the place is wrong.
    RecordError
        If the disk refuses it.
    """
    check_output(path, ".wav")
    if not RATES_HZ[0] <= rate <= RATES_HZ[1]:
        raise InputError(
            f"a sample rate of {rate} Hz cannot carry the test recording.",
            where="--rate",
            mend=f"Choose {RATES_HZ[0]} to {RATES_HZ[1]} Hz.",
        )
    stimulus = make_stimulus(rate, name)
    content = io.BytesIO()
    soundfile.write(content, stimulus.samples, rate, format="WAV", subtype=SUBTYPE)
    write_output(path, content.getvalue())
    return Written(str(path), stimulus.name, rate, len(stimulus.samples) / rate, 24, LEVEL_DBFS)
