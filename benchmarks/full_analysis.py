"""Everything that a stereo recording at 96 kHz tells, against one real FFT of the whole file; peak memory; growth.

    OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 .venv/bin/python benchmarks/full_analysis.py

The test recording of 28 s lies in takes of 30, 60 and 120 s of a left and a right loudspeaker with hum, hiss and
crackle, which are also compared as a pair; in other takes nothing is played, all of it is noise. Each take is analysed
in a process of its own, so that its peak memory is known. Processor time, best of three.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile
import soxr
from scipy import signal

RATE = 96_000
LENGTHS_S = (30, 60, 120)
LEAD_S = 0.7
ROUNDS = 3
UNPLAYED = ("noise", "crackle")
PLAYED = ("response", "harmonics", "irregular", "polarity", "pair", *UNPLAYED)


def write_take(path: Path, seconds: int, *, played: bool) -> None:
    """A left and a right loudspeaker, the recorder's clock 120 ppm fast, 24 bit."""
    from dustcap.sound.stimulus import make_stimulus

    generator = np.random.default_rng(seconds)
    samples = soxr.resample(make_stimulus(RATE, "full 1").samples, RATE, RATE * 1.00012)
    size, first = seconds * RATE, round(LEAD_S * RATE)
    time_s = np.arange(size) / RATE
    channels = []
    for low_hz in (55.0, 57.0):
        wave = np.zeros(size)
        if played:
            wave[first : first + samples.size] = samples
        wave = signal.lfilter(*signal.butter(2, [low_hz, 18_000], "band", fs=RATE), wave + 0.01 * wave**2)
        wave += 1e-4 * generator.standard_normal(size) + 3e-4 * np.sin(2 * np.pi * 100.02 * time_s)
        for at in generator.integers(0, size - 400, seconds):
            wave[at : at + 400] += 0.005 * np.exp(-np.arange(400) / 60) * generator.standard_normal(400)
        channels.append(wave)
    soundfile.write(path, np.array(channels).T, RATE, "PCM_24")


def measured(path: Path, *, played: bool) -> dict[str, float]:
    """Seconds of the FFT and of the analysis, and the analysis's peak memory, for one file."""
    from dustcap.job.recordings import HowTaken, listen

    how = HowTaken(pair=played)
    document = listen(path, how)
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    missing = [name for name in (PLAYED if played else UNPLAYED) if document[name] is None]
    if missing:
        raise SystemExit(f"not told: {', '.join(missing)}")
    samples = soundfile.read(path, dtype="float64", always_2d=True)[0].T.copy()
    fft_s = _best(lambda: np.fft.rfft(samples))
    return {"fft_s": fft_s, "listen_s": _best(lambda: listen(path, how)), "peak_mb": peak_mb}


def _best(work: Callable[[], object]) -> float:
    seconds = []
    for _ in range(ROUNDS):
        begin = time.process_time()
        work()
        seconds.append(time.process_time() - begin)
    return min(seconds)


def main() -> None:
    """One line a take, then by how much the cost grows against n log n."""
    if len(sys.argv) > 1:
        print(json.dumps(measured(Path(sys.argv[2]), played=sys.argv[1] == "played")))
        return
    for kind in ("played", "unplayed"):
        costs = [_cost(kind, seconds) for seconds in LENGTHS_S]
        for i in (1, 2):
            before, after = (LENGTHS_S[j] * RATE for j in (i - 1, i))
            allowed = after * np.log(after) / (before * np.log(before))
            print(f"{kind}, {LENGTHS_S[i - 1]} to {LENGTHS_S[i]} s: {costs[i] / costs[i - 1]:.2f} x", end="; ")
            print(f"n log n is {allowed:.2f} x", flush=True)


def _cost(kind: str, seconds: int) -> float:
    """Seconds that the analysis of one take costs; prints its line."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "take.wav"
        write_take(path, seconds, played=kind == "played")
        run = subprocess.run([sys.executable, __file__, kind, str(path)], capture_output=True, text=True, check=True)
    got = json.loads(run.stdout)
    print(
        f"{kind}, {seconds} s: {got['listen_s'] / got['fft_s']:.1f} x one real FFT "
        f"({got['listen_s']:.2f} s against {got['fft_s']:.3f} s; {seconds / got['listen_s']:.0f} x real time), "
        f"peak {got['peak_mb']:.0f} MiB",
        flush=True,
    )
    return float(got["listen_s"])


if __name__ == "__main__":
    main()
