"""Where each moment of the test recording lies in a recording made on another clock.

Every chirp of the layout is a mark. The marks differ from each other by delay and level only, so their delays are
measured against their own mean: whatever the loudspeaker and the room do to a chirp, they do to all of them.
A straight line through the marks gives the start and the skew of the two clocks; no sample is ever interpolated,
because the analyser can write the stimulus down on the recorder's clock.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import scipy.fft as fft
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from dustcap.sound.pilots import Found
from dustcap.sound.stimulus import CHIRP_S, Layout, Samples, Segment, chirp_at, signal_at

Complex = NDArray[np.complex128]

BEFORE_S, AFTER_S = 0.010, 0.095  # around a chirp; the next one starts 0.26 s later at the earliest
BAND_HZ = (250.0, 13_000.0)  # of the chirp, ends left out
FAR_S = 0.002  # search range around a guess
LIKE = 0.25  # a mark that correlates less with the others is not counted as seen
STRAY_S = 60e-6  # a mark further than this from the line is spoiled; 3 samples at 48 kHz
BREAK_S = 15e-6  # the middle marks further off the line through both pilots: samples were lost or added
MIN_ERROR_S = 0.2e-6  # of one mark; no better than this is claimed


@dataclass(frozen=True, slots=True)
class Mark:
    """One chirp as found: where it stands in the stimulus and the recording, level against its due level.

    `error_s` and `level_error_db` are standard errors, `stray_s` is the distance from the line; `seen`: it looks
    like the others; `good`: it shaped the line.
    """

    segment: Segment
    heard_s: float
    level_db: float
    level_error_db: float
    error_s: float
    stray_s: float
    seen: bool
    good: bool


@dataclass(frozen=True, slots=True)
class Alignment:
    """Time in the recording = `start_s` + `stretch` x time in the stimulus; `stretch` - 1 is the clock skew.

    `skew_error_ppm` is a standard error. `broken_s` is how far the marks in the middle lie off the line through both
    ends, when that is more than one clock can explain: samples were lost or added (0 otherwise).
    """

    layout: Layout
    start_s: float
    stretch: float
    skew_error_ppm: float
    marks: tuple[Mark, ...]
    pilots: tuple[bool, bool]
    broken_s: float = 0.0

    @property
    def skew_ppm(self) -> float:
        return (self.stretch - 1) * 1e6

    def heard(self, stimulus_s: float) -> float:
        """Time in the recording, in seconds, of a time in the stimulus."""
        return self.start_s + self.stretch * stimulus_s

    def played(self, first: int, count: int, rate: float) -> Samples:
        """The stimulus (count,) on the recorder's clock, from sample `first` of the recording."""
        times_s = (np.arange(first, first + count) / rate - self.start_s) / self.stretch
        return signal_at(self.layout, times_s)


def align(samples: Samples, rate: float, found: Found) -> Alignment:
    """Exact alignment of one channel (n,) with the layout that `find_layout` saw in it."""
    seen = [f"{which} pilot" for which, there in zip(("first", "second"), found.pilots, strict=True) if there]
    pilots = tuple(each for part in seen for each in found.layout.part(part))
    rough = _fit(samples, rate, Alignment(found.layout, found.start_s, found.stretch, np.inf, (), found.pilots), pilots)
    fine = _fit(samples, rate, rough, found.layout.marks)
    groups = {mark.segment.part for mark in fine.marks if mark.seen}
    return replace(fine, pilots=("first pilot" in groups, "second pilot" in groups))


def _fit(samples: Samples, rate: float, guess: Alignment, segments: tuple[Segment, ...]) -> Alignment:
    """The line through the marks of `segments`, starting from a guess."""
    inside = [
        each
        for each in segments
        if guess.heard(each.start_s) > BEFORE_S and guess.heard(each.start_s) + CHIRP_S + AFTER_S < samples.size / rate
    ]
    if len(inside) < 2:
        return guess
    guesses_s = np.array([guess.heard(each.start_s) for each in inside])
    offsets_s, gains, likeness, errors_s, gain_errors = _compare(samples, rate, guesses_s)
    due = np.array([10 ** (each.level_db / 20) for each in inside])
    at_s = np.array([each.start_s for each in inside])
    heard_s = guesses_s + offsets_s
    seen = likeness > LIKE
    good, line, error_s = _robust_line(at_s, heard_s, errors_s, seen)
    strays_s = heard_s - line[0] - line[1] * at_s
    levels_db = 20 * np.log10(gains / due)
    levels_db -= np.median(levels_db[good])
    figures = np.column_stack([heard_s, levels_db, 8.686 * gain_errors, errors_s, strays_s]).tolist()
    marks = tuple(
        Mark(each, heard, level, level_error, error, stray, bool(there), bool(ok))
        for each, (heard, level, level_error, error, stray), there, ok in zip(inside, figures, seen, good, strict=True)
    )
    return replace(
        guess,
        start_s=float(line[0]),
        stretch=float(line[1]),
        skew_error_ppm=error_s * 1e6,
        marks=marks,
        broken_s=_break(marks),
    )


def _compare(samples: Samples, rate: float, guesses_s: Samples) -> tuple[Samples, Samples, Samples, Samples, Samples]:
    """Of each mark: delay against the guess (s), gain against and correlation with the mean, standard errors of the
    delay (s) and of the gain (share of it)."""
    hz, spectra = _chirp_responses(samples, rate, guesses_s)
    offsets_s = np.zeros(guesses_s.size)
    gains = np.ones(guesses_s.size)
    reference = spectra[np.argmax(np.sum(np.abs(spectra) ** 2, axis=1))]
    weight = np.ones(hz.size)
    for _ in range(3):
        for k, spectrum in enumerate(spectra):
            others = reference - (spectrum * _turn(hz, offsets_s[k]) * gains[k] / np.sum(gains**2) if _ else 0.0)
            offsets_s[k] = _delay(spectrum * np.conj(others) * weight, hz, rate)
        aligned = spectra * _turn(hz, offsets_s[:, None])
        gains = np.real(aligned * np.conj(reference)) @ weight / (np.abs(reference) ** 2 @ weight)
        gains = np.maximum(gains, 1e-9)
        reference = gains @ aligned / np.sum(gains**2)
        residual = np.mean(np.abs(aligned - gains[:, None] * reference) ** 2, axis=0)
        bins = max(3, round(200.0 / (hz[1] - hz[0])))
        power = np.mean(np.abs(reference) ** 2)
        weight = 1 / (uniform_filter1d(residual, bins, mode="nearest") + 1e-6 * power + 1e-300)
    norms = np.sqrt((np.abs(aligned) ** 2 @ weight) * (np.abs(reference) ** 2 @ weight))
    likeness = np.real(aligned * np.conj(reference)) @ weight / (norms + 1e-300)
    # Fisher information of delay and gain; bins are closer than independent ones by the zero padding
    information = 2 * (hz[1] - hz[0]) * (BEFORE_S + CHIRP_S + AFTER_S) * np.abs(reference) ** 2 * weight
    errors_s = 1 / (gains * np.sqrt(np.sum((2 * np.pi * hz) ** 2 * information) + 1e-300))
    gain_errors = 1 / (gains * np.sqrt(np.sum(information) + 1e-300))
    return offsets_s, gains, likeness, np.maximum(errors_s, MIN_ERROR_S), gain_errors


def _chirp_responses(samples: Samples, rate: float, guesses_s: Samples) -> tuple[Samples, Complex]:
    """Spectra (marks, bins) of what each chirp became, as if it had started at its guess."""
    count = round((BEFORE_S + CHIRP_S + AFTER_S) * rate)
    size = fft.next_fast_len(count + round(FAR_S * rate), real=True)
    hz = np.arange(size // 2 + 1) * rate / size
    used = (hz > BAND_HZ[0]) & (hz < min(BAND_HZ[1], 0.45 * rate))
    chirp = fft.rfft(chirp_at(np.arange(count) / rate), size)[used]
    spectra = np.empty((guesses_s.size, int(used.sum())), complex)
    for k, guess_s in enumerate(guesses_s):
        begin = int(np.floor((guess_s - BEFORE_S) * rate))
        spectrum = fft.rfft(samples[begin : begin + count], size)[used]
        spectra[k] = spectrum * _turn(hz[used], guess_s - begin / rate) / chirp
    return hz[used], spectra


def _turn(hz: Samples, delay_s: float | Samples) -> Complex:
    """What takes a delay out of a spectrum."""
    return np.asarray(np.exp(2j * np.pi * hz * delay_s))


def _delay(cross: Complex, hz: Samples, rate: float) -> float:
    """Delay in seconds at which a cross spectrum is in phase: nearest sample, then two parabolas."""
    step_hz = hz[1] - hz[0]
    size = round(rate / step_hz)
    padded = np.zeros(size // 2 + 1, complex)
    first = round(hz[0] / step_hz)
    padded[first : first + hz.size] = cross
    lags = fft.irfft(padded, size)
    reach = round(FAR_S * rate)
    near = np.concatenate([lags[-reach:], lags[: reach + 1]])
    delay_s = (int(np.argmax(near)) - reach) / rate
    for step_s in (0.3 / rate, 0.03 / rate):
        down, mid, up = (float(np.real(np.sum(cross * _turn(hz, delay_s + k * step_s)))) for k in (-1, 0, 1))
        bend = down - 2 * mid + up
        if bend < 0:
            delay_s += step_s * float(np.clip(0.5 * (down - up) / bend, -2.0, 2.0))
    return delay_s


def _robust_line(
    at_s: Samples, heard_s: Samples, errors_s: Samples, usable: NDArray[np.bool_]
) -> tuple[NDArray[np.bool_], tuple[float, float], float]:
    """Line through the marks, the worst stray left out while it is spoiled; standard error of the slope."""
    good = usable.copy() if usable.sum() >= 2 else np.ones_like(usable)
    while True:
        slope, start = np.polyfit(at_s[good] - at_s[0], heard_s[good], 1, w=1 / errors_s[good])
        strays_s = np.where(good, np.abs(heard_s - start - slope * (at_s - at_s[0])), 0.0)
        excess = strays_s / np.maximum(STRAY_S, 5 * errors_s)
        worst = int(np.argmax(excess))
        if excess[worst] < 1 or good.sum() <= 3:
            break
        good[worst] = False
    weight = 1 / errors_s[good] ** 2
    spread = np.sum(weight * (at_s[good] - np.average(at_s[good], weights=weight)) ** 2)
    fit = np.sum(weight * strays_s[good] ** 2) / max(int(good.sum()) - 2, 1)
    error = float(np.sqrt(max(float(fit), 1.0) / max(float(spread), 1e-12)))
    return good, (float(start - slope * at_s[0]), float(slope)), error


def _break(marks: tuple[Mark, ...]) -> float:
    """How far the middle marks lie off the line through both pilots, if further than clocks explain."""
    groups = []
    for part in ("first pilot", "steps", "second pilot"):
        group = [mark for mark in marks if mark.segment.part == part and mark.seen]
        if len(group) < 3:
            return 0.0
        groups.append(np.median([(mark.segment.start_s, mark.heard_s, mark.error_s) for mark in group], axis=0))
    (first_at, first, _), (at, middle, error_s), (last_at, last, _) = groups
    off_s = float(middle - first - (last - first) * (at - first_at) / (last_at - first_at))
    return off_s if abs(off_s) > max(BREAK_S, 5 * error_s) else 0.0
