"""The test recording: what is played, as one formula of time.

A layout is a list of segments in seconds. The signal is a function of continuous time, the same for every sample rate,
so that the analyser can write down exactly what a recorder with any rate and any clock must have been fed.

======  =====================  ====  =========================================
symbol  name here              unit  meaning
======  =====================  ====  =========================================
f1, f2  start_hz, stop_hz      Hz    ends of an exponential sweep or chirp
L       rate_s                 s     time in which the frequency grows by e
T       seconds                s     duration, L ln(f2/f1)
======  =====================  ====  =========================================
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from dustcap.errors import InputError

Samples = NDArray[np.float64]

LEVEL_DBFS = -12.0  # our choice: peak of everything played, leaves a powered loudspeaker and ears room
RATES_HZ = (44_100, 192_000)
START_HZ, STOP_HZ = 20.0, 20_000.0
SWEEP_FADE_IN_OCTAVES, SWEEP_FADE_OUT_OCTAVES = 1 / 6, 1 / 24
CHIRP_START_HZ, CHIRP_STOP_HZ, CHIRP_S = 150.0, 15_000.0, 0.15
CHIRP_RATE_S = CHIRP_S / float(np.log(CHIRP_STOP_HZ / CHIRP_START_HZ))
CHIRP_FADE_IN_S, CHIRP_FADE_OUT_S = 0.012, 0.003
STEPS_DB = (-24.0, -18.0, -12.0, -6.0, 0.0)  # stepped levels, against LEVEL_DBFS
STEP_SPACING_S = 0.33
TONES = 25  # of the multitone, a third of an octave apart from 63 Hz to 16 kHz


@dataclass(frozen=True, slots=True)
class Segment:
    """A stretch of the test recording: `kind` is quiet, chirp, sweep or multitone; `part` is what it serves."""

    kind: str
    part: str
    start_s: float
    seconds: float
    level_db: float = 0.0

    @property
    def stop_s(self) -> float:
        return self.start_s + self.seconds


@dataclass(frozen=True, slots=True)
class Layout:
    """One test recording as segments; `pilot_gaps_s` are the spacings of the three chirps of each pilot."""

    name: str
    rate_s: float
    segments: tuple[Segment, ...]
    pilot_gaps_s: tuple[tuple[float, float], tuple[float, float]]

    @property
    def seconds(self) -> float:
        return self.segments[-1].stop_s

    def part(self, part: str) -> tuple[Segment, ...]:
        """The segments that serve one purpose, in order."""
        return tuple(each for each in self.segments if each.part == part)

    @property
    def sweep(self) -> Segment:
        return self.part("sweep")[0]

    @property
    def marks(self) -> tuple[Segment, ...]:
        """All chirps: first pilot, stepped levels, second pilot."""
        return tuple(each for each in self.segments if each.kind == "chirp")


@dataclass(frozen=True, slots=True)
class Stimulus:
    """Samples to play, and the layout they follow (none for a file made elsewhere)."""

    samples: Samples
    rate: float
    name: str
    layout: Layout | None

    @property
    def segments(self) -> tuple[Segment, ...]:
        return self.layout.segments if self.layout else ()


@dataclass(frozen=True, slots=True)
class _Plan:
    about_s: float
    gaps_s: tuple[float, float]
    rest_s: float
    decay_s: float
    multitone_s: float
    last_rest_s: float


# The pilots of the two layouts differ in the spacing of their chirps; the second pilot is the first one backwards.
_PLANS = {
    "full 1": _Plan(8.0, (0.26, 0.37), 7.0, 2.0, 2.0, 4.6),
    "quick 1": _Plan(3.0, (0.31, 0.47), 6.5, 1.0, 1.0, 1.6),
}
NAMES = tuple(_PLANS)


@cache
def layout_of(name: str) -> Layout:
    """Layout by name: ``full 1`` or ``quick 1`` (``full`` and ``quick`` mean the newest of each).

    Raises
    ------
    InputError
        If there is no test recording of that name.
    """
    full_name = {"full": "full 1", "quick": "quick 1"}.get(name, name)
    if full_name not in _PLANS:
        raise InputError(
            f"there is no test recording called {name!r}.",
            where="sound.stimulus",
            mend=f"Choose one of: {', '.join(NAMES)}.",
        )
    plan = _PLANS[full_name]
    cycles = round(START_HZ * plan.about_s / np.log(STOP_HZ / START_HZ))
    rate_s = cycles / START_HZ
    cursor = _Cursor()
    cursor.quiet("lead", 0.5)
    cursor.pilot("first pilot", plan.gaps_s)
    cursor.quiet("rest", plan.rest_s)
    cursor.add("sweep", "sweep", rate_s * float(np.log(STOP_HZ / START_HZ)))
    cursor.quiet("decay", plan.decay_s)
    for level_db in STEPS_DB:
        cursor.add("chirp", "steps", CHIRP_S, level_db)
        cursor.quiet("step gap", STEP_SPACING_S - CHIRP_S)
    cursor.quiet("step gap", 0.3)
    cursor.add("multitone", "multitone", plan.multitone_s)
    cursor.quiet("rest", plan.last_rest_s)
    cursor.pilot("second pilot", plan.gaps_s[::-1])
    cursor.quiet("tail", 0.5)
    return Layout(full_name, rate_s, tuple(cursor.segments), (plan.gaps_s, plan.gaps_s[::-1]))


class _Cursor:
    """Lays segments end to end."""

    def __init__(self) -> None:
        self.segments: list[Segment] = []
        self.now_s = 0.0

    def add(self, kind: str, part: str, seconds: float, level_db: float = 0.0) -> None:
        self.segments.append(Segment(kind, part, self.now_s, seconds, level_db))
        self.now_s += seconds

    def quiet(self, part: str, seconds: float) -> None:
        self.add("quiet", part, seconds)

    def pilot(self, part: str, gaps_s: tuple[float, ...]) -> None:
        for gap_s in gaps_s:
            self.add("chirp", part, CHIRP_S)
            self.quiet(f"{part} gap", gap_s - CHIRP_S)
        self.add("chirp", part, CHIRP_S)


def make_stimulus(rate: float, name: str = "full 1") -> Stimulus:
    """The test recording at one sample rate.

    Parameters
    ----------
    rate : float
        Sample rate, 44 100 to 192 000 Hz.
    name : str
        ``full 1`` or ``quick 1``.

    Returns
    -------
    Stimulus
        Mono samples, peak at `LEVEL_DBFS` below full scale, and their layout.

    Raises
    ------
    InputError
        If the rate lies outside the range or the name is unknown.
    """
    if not RATES_HZ[0] <= rate <= RATES_HZ[1]:
        raise InputError(
            f"a sample rate of {rate:g} Hz cannot carry the test recording.",
            where="sound.stimulus",
            mend=f"Choose {RATES_HZ[0]} to {RATES_HZ[1]} Hz.",
        )
    layout = layout_of(name)
    times_s = np.arange(round(layout.seconds * rate)) / rate
    return Stimulus(signal_at(layout, times_s), rate, layout.name, layout)


def signal_at(layout: Layout, times_s: Samples) -> Samples:
    """Value of the test signal, full scale 1, at increasing times (n,) in seconds; nothing before and after it."""
    signal = np.zeros(times_s.shape)
    for segment in layout.segments:
        if segment.kind == "quiet":
            continue
        begin, end = np.searchsorted(times_s, (segment.start_s, segment.stop_s))
        if begin < end:
            gain = 10 ** ((LEVEL_DBFS + segment.level_db) / 20)
            signal[begin:end] = gain * _shape(layout, segment, times_s[begin:end] - segment.start_s)
    return signal


def _shape(layout: Layout, segment: Segment, since_s: Samples) -> Samples:
    if segment.kind == "sweep":
        return sweep_at(layout.rate_s, since_s)
    if segment.kind == "chirp":
        return chirp_at(since_s)
    return _multitone_at(segment.seconds, since_s)


def sweep_at(rate_s: float, since_s: Samples) -> Samples:
    r"""Synchronised exponential sweep of unit amplitude, 20 Hz to 20 kHz, zero outside.

    Notes
    -----
    .. math:: x(t) = \sin\left(2 \pi f_1 L e^{t/L}\right), \quad f_1 L \text{ an integer}

    Then the n-th harmonic is the sweep itself, L ln n earlier. Faded in over a sixth and out over a 24th of an octave.

    References
    ----------
    A. Novak, P. Lotton, L. Simon, "Synchronized swept-sine: theory, application, and implementation", J. Audio Eng.
    Soc. 63 (10), 2015, equations 47 and 49.
    """
    seconds = rate_s * np.log(STOP_HZ / START_HZ)
    fade_in_s = rate_s * np.log(2) * SWEEP_FADE_IN_OCTAVES
    fade_out_s = rate_s * np.log(2) * SWEEP_FADE_OUT_OCTAVES
    inside = np.clip(since_s, 0.0, seconds)
    wave = np.sin(2 * np.pi * START_HZ * rate_s * np.exp(inside / rate_s))
    return np.asarray(wave * _fades(since_s, seconds, fade_in_s, fade_out_s))


def chirp_at(since_s: Samples) -> Samples:
    """The pilots' chirp of unit amplitude: exponential, 150 Hz to 15 kHz in 0.15 s, faded, zero outside."""
    inside = np.clip(since_s, 0.0, CHIRP_S)
    wave = np.sin(2 * np.pi * CHIRP_START_HZ * CHIRP_RATE_S * np.expm1(inside / CHIRP_RATE_S))
    return np.asarray(wave * _fades(since_s, CHIRP_S, CHIRP_FADE_IN_S, CHIRP_FADE_OUT_S))


def tone_hz() -> Samples:
    """Frequencies of the multitone, Hz: third octaves, set off so that no sum or difference of two falls on a third."""
    index = np.arange(TONES)
    return np.asarray(1000.0 * 10 ** ((index - 12) / 10) * (1 + 0.005 * ((6 * index) % 11 - 5)))


def _multitone_at(seconds: float, since_s: Samples) -> Samples:
    index = np.arange(TONES)
    phases = np.pi * index**2 / TONES
    total = np.zeros(since_s.shape)
    for hz, phase in zip(tone_hz(), phases, strict=True):
        total += np.sin(2 * np.pi * hz * since_s + phase)
    return np.asarray(total / (3.3 * np.sqrt(TONES)) * _fades(since_s, seconds, 0.05, 0.05))


def _fades(since_s: Samples, seconds: float, fade_in_s: float, fade_out_s: float) -> Samples:
    """Raised-cosine gain, zero outside the stretch."""
    rise = np.clip(since_s / fade_in_s, 0.0, 1.0)
    fall = np.clip((seconds - since_s) / fade_out_s, 0.0, 1.0)
    return np.asarray(0.25 * (1 - np.cos(np.pi * rise)) * (1 - np.cos(np.pi * fall)))
