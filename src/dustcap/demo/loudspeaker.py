"""A simulated powered two-way loudspeaker in a room, and the recorder in front of it: recordings with a known truth.

Levels in dBFS are peaks or r.m.s. against a full-scale sine as the recorder hears them at a gain of 0 dB. The signal
path is: volume control, crossover, woofer with distortion and box, tweeter, room, recorder. Hum and hiss arise in the
amplifiers, after the volume control; crackle too, unless it is said to follow the volume.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf

import numpy as np
import soxr
from numpy.typing import NDArray
from scipy import signal

from dustcap.errors import InputError

Floats = NDArray[np.float64]

DRIVE = 0.25  # peak at which the distortion is stated: -12 dBFS
LINE_COUNT = 8
BURST_S = 0.012


@dataclass(frozen=True, slots=True)
class Loudspeaker:
    """One unit. A muted driver has a level of -inf dB; signs are +1 or -1.

    `second_db` and `third_db`: harmonics of a woofer tone played at -12 dBFS, against its fundamental. `hiss_dbfs`:
    r.m.s. of the hiss of both drivers together. `hum`: lines as (order, peak dBFS). `crackle_dbfs`: smallest and
    largest peak.
    """

    crossover_hz: float = 2600.0
    box_hz: float = 55.0
    top_hz: float = 21000.0
    woofer_db: float = 0.0
    tweeter_db: float = 0.0
    woofer_sign: int = 1
    tweeter_sign: int = 1
    tweeter_late_s: float = 0.0
    volume_db: float = 0.0
    second_db: float = -50.0
    third_db: float = -60.0
    hiss_dbfs: float = -72.0
    mains_hz: float = 50.0
    hum: tuple[tuple[int, float], ...] = ()
    crackle_per_s: float = 0.0
    crackle_dbfs: tuple[float, float] = (-50.0, -34.0)
    crackle_driver: str = "tweeter"
    crackle_follows_volume: bool = False
    thump_dbfs: float = -34.0
    unmute_s: float = 2.0


@dataclass(frozen=True, slots=True)
class Recorder:
    """The recorder and its place. `reflections`: (seconds after the direct sound, gain). `bits` 0: floating point."""

    rate: int = 48000
    skew_ppm: float = 0.0
    gain_db: float = 0.0
    lead_in_s: float = 1.5
    tail_s: float = 1.0
    late_s: float = 3e-3
    reflections: tuple[tuple[float, float], ...] = ((4.7e-3, 0.25), (9.1e-3, -0.12))
    room_dbfs: float = -78.0
    noise_dbfs: float = -105.0
    high_pass_hz: float = 8.0
    inverts: bool = False
    bits: int = 24


@dataclass(frozen=True, slots=True)
class Take:
    """A recording, shape (n,), its rate, and when the crackle came (s, in the recorder's clock)."""

    samples: Floats
    rate: int
    crackle_s: tuple[float, ...]


def ripple(peak_dbfs: float) -> tuple[tuple[int, float], ...]:
    """Lines of a sawtooth at twice the mains, the first one of that peak (Fourier series: 1/n)."""
    return tuple((2 * n, peak_dbfs - 20 * float(np.log10(n))) for n in range(1, LINE_COUNT // 2 + 1))


def ground_loop(peak_dbfs: float) -> tuple[tuple[int, float], ...]:
    """Odd lines of a mains that is far from a sine, falling by 1/n."""
    return tuple((n, peak_dbfs - 20 * float(np.log10(n))) for n in range(1, LINE_COUNT, 2))


def record(
    stimulus: Floats, rate: float, loudspeaker: Loudspeaker, recorder: Recorder | None = None, *, seed: int
) -> Take:
    """What the recorder takes down while the loudspeaker plays a stimulus.

    Parameters
    ----------
    stimulus : ndarray, shape (n,)
        Samples played, full scale 1; zeros for a recording of the unit at rest.
    rate : float
        Their sample rate in Hz.
    seed : int
        Every recording with one seed is the same.
    """
    recorder = recorder or Recorder()
    generator = np.random.default_rng(seed)
    lead, tail = int(recorder.lead_in_s * rate), int(recorder.tail_s * rate)
    played = np.concatenate([np.zeros(lead), np.asarray(stimulus, dtype=float), np.zeros(tail)])
    sound = _play(played, rate, loudspeaker) + _hiss(played.size, rate, loudspeaker, generator)
    sound += _hum(played.size, rate, loudspeaker, generator)
    crackle, times = _crackle(played.size, rate, loudspeaker, generator)
    return _take(sound + crackle, times, rate, recorder, generator)


def switch_on(
    loudspeaker: Loudspeaker,
    recorder: Recorder | None = None,
    *,
    seed: int,
    switch_s: float = 1.0,
    seconds: float = 8.0,
    rate: float = 48000.0,
) -> Take:
    """A recording that starts before the mains switch: a thump at the switch, hiss and hum once the mute lets go."""
    recorder = recorder or Recorder()
    generator = np.random.default_rng(seed)
    size = int(seconds * rate)
    since = np.arange(size) / rate - switch_s
    swing = np.exp(-np.maximum(since, 0.0) / 0.06) * np.cos(2 * np.pi * 24.0 * since)
    sound = np.where(since >= 0, 10 ** (loudspeaker.thump_dbfs / 20) * swing, 0.0)
    rest = _hiss(size, rate, loudspeaker, generator) + _hum(size, rate, loudspeaker, generator)
    sound += np.where(since >= loudspeaker.unmute_s, rest, 0.0)
    return _take(sound, (), rate, recorder, generator)


def _play(played: Floats, rate: float, unit: Loudspeaker) -> Floats:
    driven = played * 10 ** (unit.volume_db / 20)
    out = np.zeros(played.size)
    if unit.woofer_db > -inf:
        out += unit.woofer_sign * _woofer(_distorted(_low(driven, rate, unit), unit), rate, unit)
    if unit.tweeter_db > -inf:
        out += unit.tweeter_sign * _tweeter(driven, rate, unit)
    return out


def _low(wave: Floats, rate: float, unit: Loudspeaker) -> Floats:
    half = signal.butter(2, unit.crossover_hz, fs=rate, output="sos")
    return np.asarray(signal.sosfilt(np.vstack([half, half]), wave))


def _distorted(wave: Floats, unit: Loudspeaker) -> Floats:
    """x + a2 x² + a3 x³: a sine of peak A has a2 A/2 and a3 A²/4 of second and third harmonic."""
    second = 2 * 10 ** (unit.second_db / 20) / DRIVE
    third = 4 * 10 ** (unit.third_db / 20) / DRIVE**2
    return wave + second * wave**2 + third * wave**3


def _woofer(wave: Floats, rate: float, unit: Loudspeaker) -> Floats:
    """The box below, a vented fourth-order high-pass."""
    box = signal.butter(4, unit.box_hz, "high", fs=rate, output="sos")
    return np.asarray(signal.sosfilt(box, wave)) * 10 ** (unit.woofer_db / 20)


def _tweeter(wave: Floats, rate: float, unit: Loudspeaker) -> Floats:
    half = signal.butter(2, unit.crossover_hz, "high", fs=rate, output="sos")
    top = signal.butter(2, min(unit.top_hz, 0.48 * rate), fs=rate, output="sos")
    late = round(unit.tweeter_late_s * rate)
    heard = np.asarray(signal.sosfilt(np.vstack([half, half, top]), wave)) * 10 ** (unit.tweeter_db / 20)
    return np.concatenate([np.zeros(late), heard[: heard.size - late]]) if late else heard


def _hiss(size: int, rate: float, unit: Loudspeaker, generator: np.random.Generator) -> Floats:
    """White noise of both amplifiers through their drivers, of the stated r.m.s. when both drivers play."""
    linear = replace(unit, volume_db=0.0, second_db=-inf, third_db=-inf)
    white = generator.standard_normal(size)
    probe = _play(white[: int(rate)], rate, replace(linear, woofer_db=0.0, tweeter_db=0.0))
    gain = 10 ** (unit.hiss_dbfs / 20) / np.sqrt(2) / float(np.std(probe))
    hiss: Floats = _play(white, rate, linear) * gain
    return hiss


def _hum(size: int, rate: float, unit: Loudspeaker, generator: np.random.Generator) -> Floats:
    """The stated lines; a muted woofer does not hum."""
    out = np.zeros(size)
    if unit.woofer_db > -inf:
        turn = 2 * np.pi * unit.mains_hz / rate * np.arange(size)
        for order, peak_dbfs in unit.hum:
            out += 10 ** (peak_dbfs / 20) * np.sin(order * turn + generator.uniform(0, 2 * np.pi))
    return out


def _crackle(
    size: int, rate: float, unit: Loudspeaker, generator: np.random.Generator
) -> tuple[Floats, tuple[float, ...]]:
    """Bursts of about a millisecond through one driver, at Poisson times."""
    out = np.zeros(size)
    seconds = size / rate
    times = np.sort(generator.uniform(0.0, seconds, generator.poisson(unit.crackle_per_s * seconds)))
    louder_db = unit.volume_db if unit.crackle_follows_volume else 0.0
    length = int(BURST_S * rate)
    for at in times:
        burst = generator.standard_normal(length) * np.exp(-np.arange(length) / (rate * generator.uniform(2e-4, 1e-3)))
        if unit.crackle_driver == "woofer":
            burst = _woofer(_low(burst, rate, unit), rate, unit)
        else:
            burst = _tweeter(burst, rate, unit)
        peak = float(np.max(np.abs(burst)))
        burst *= 10 ** ((generator.uniform(*unit.crackle_dbfs) + louder_db) / 20) / peak if peak > 0 else 0.0
        start = int(at * rate)
        out[start : start + length] += burst[: size - start]
    return out, tuple(times.tolist())


def _take(
    sound: Floats, times: tuple[float, ...], rate: float, recorder: Recorder, generator: np.random.Generator
) -> Take:
    """Through the room into the recorder, at its rate and by its clock."""
    if not 0 < recorder.rate <= 200000:
        raise InputError(f"no recorder runs at {recorder.rate} Hz.", where="demo.loudspeaker", mend="Take 48000.")
    heard = _late(sound, recorder.late_s, rate)
    for after_s, gain in recorder.reflections:
        heard = heard + gain * _late(sound, recorder.late_s + after_s, rate)
    heard = heard + _pink(heard.size, rate, generator) * 10 ** (recorder.room_dbfs / 20) / np.sqrt(2)
    stretch = 1.0 + recorder.skew_ppm * 1e-6
    if recorder.rate != rate or recorder.skew_ppm:
        heard = soxr.resample(heard, rate, recorder.rate * stretch, "VHQ")
    high = signal.butter(1, recorder.high_pass_hz, "high", fs=recorder.rate, output="sos")
    heard = np.asarray(signal.sosfilt(high, heard)) * 10 ** (recorder.gain_db / 20) * (-1 if recorder.inverts else 1)
    heard = heard + generator.standard_normal(heard.size) * 10 ** (recorder.noise_dbfs / 20) / np.sqrt(2)
    heard = np.clip(heard, -1.0, 1.0)
    if recorder.bits:
        step = 2.0 ** (1 - recorder.bits)
        heard = np.clip(np.round(heard / step) * step, -1.0, 1.0 - step)
    return Take(heard, recorder.rate, tuple((at + recorder.late_s) * stretch for at in times))


def _late(sound: Floats, late_s: float, rate: float) -> Floats:
    late = round(late_s * rate)
    return np.concatenate([np.zeros(late), sound[: sound.size - late]])


def _pink(size: int, rate: float, generator: np.random.Generator) -> Floats:
    """Pink noise of r.m.s. one from 20 Hz upward."""
    full = 1 << (size - 1).bit_length()
    spectrum = np.fft.rfft(generator.standard_normal(full))
    hz = np.fft.rfftfreq(full, 1.0 / rate)
    spectrum *= np.where(hz >= 20.0, 1.0 / np.sqrt(np.maximum(hz, 20.0)), 0.0)
    noise = np.fft.irfft(spectrum, full)[:size]
    return np.asarray(noise / np.std(noise))
