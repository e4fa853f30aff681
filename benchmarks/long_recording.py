"""A recording of two hours, scanned for crackle, level, clipping and dropouts: speed against real time, peak memory."""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import soundfile
from scipy import signal

from dustcap.job.long_listen import listen_long

RATE = 48_000
MINUTE = 60 * RATE
A_MINUTE = 6  # crackles
HOURS = 2.0


def write_take(path: Path, hours: float) -> int:
    """Hiss through a loudspeaker's band with decaying bursts at random, 16 bit; returns how many bursts."""
    generator = np.random.default_rng(27)
    band = signal.butter(2, [70, 12_000], "band", fs=RATE)
    minutes = round(60 * hours)
    with soundfile.SoundFile(path, "w", RATE, 1, "PCM_16") as file:
        for _ in range(minutes):
            wave = 3e-3 * signal.lfilter(*band, generator.standard_normal(MINUTE))
            for at in generator.integers(0, MINUTE - 300, A_MINUTE):
                burst = np.exp(-np.arange(240) / 30) * generator.standard_normal(240)
                wave[at : at + 240] += generator.uniform(0.03, 0.3) * burst
            file.write(wave)
    return A_MINUTE * minutes


def peak_mb() -> float:
    """Most memory that this process ever held, MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> None:
    """Print one line for a sixth of the length, one for the whole: the memory is flat when both are alike."""
    whole = float(sys.argv[1]) if len(sys.argv) > 1 else HOURS
    with tempfile.TemporaryDirectory() as folder:
        for hours in (whole / 6, whole):
            path = Path(folder) / "soak.wav"
            bursts = write_take(path, hours)
            before, start, used = peak_mb(), time.perf_counter(), time.process_time()
            found = listen_long(path)
            wall_s, cpu_s = time.perf_counter() - start, time.process_time() - used
            seconds = 3600 * hours
            print(
                f"{hours:.2f} h, {path.stat().st_size / 1e6:.0f} MB: {seconds / wall_s:.0f} x real time "
                f"({seconds / cpu_s:.0f} x of one core), {found['crackle']['events']} of {bursts} bursts, "
                f"peak {peak_mb():.0f} MB (before {before:.0f} MB)"
            )


if __name__ == "__main__":
    main()
