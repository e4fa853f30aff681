"""The recordings of the demonstration: one unit before and after the work, and its twin, computed from a seed."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import soundfile

from dustcap.demo.loudspeaker import Loudspeaker, Recorder, Take, record, ripple, switch_on
from dustcap.job.outputs import write_output
from dustcap.job.stimulus import write_stimulus
from dustcap.sound.stimulus import make_stimulus

RATE_HZ = 48_000
SEED = 27
SOUND = Loudspeaker()
AGED = replace(SOUND, hum=ripple(-74.0))
STUCK = replace(SOUND, woofer_db=-14.0, second_db=-14.0, third_db=-12.0, hum=ripple(-58.0), thump_dbfs=-14.0)
"""The cone at its stop: little left of the woofer, much of it distorted."""
RUSTLING = replace(SOUND, crackle_per_s=6.0, crackle_dbfs=(-52.0, -36.0), crackle_driver="tweeter")
RECORDER = Recorder(rate=48_000, skew_ppm=41.0, gain_db=0.0)
NAME = "full"


def write_takes(folder: Path) -> dict[str, Path]:
    """Write the test recording and every take into a folder; the paths by name."""
    stimulus = make_stimulus(RATE_HZ, NAME).samples
    paths = {"stimulus": folder / "test recording.wav"}
    write_stimulus(paths["stimulus"], name=NAME, rate=RATE_HZ)
    takes = {
        "before": record(stimulus, RATE_HZ, STUCK, RECORDER, seed=SEED),
        "after": record(stimulus, RATE_HZ, AGED, RECORDER, seed=SEED + 1),
        "switched on": switch_on(AGED, RECORDER, seed=SEED + 2),
        "rustling": record(stimulus, RATE_HZ, RUSTLING, RECORDER, seed=SEED + 3),
    }
    for name, take in takes.items():
        paths[name] = folder / f"{name}.wav"
        write_output(paths[name], _wav(take))
    return paths


def _wav(take: Take) -> bytes:
    content = io.BytesIO()
    soundfile.write(content, take.samples, take.rate, format="WAV", subtype="PCM_24")
    return content.getvalue()
