"""Speech in a quiet stretch: where somebody talks, so that no voice is counted as crackle or as noise.

The pulses of a voice stand out of the whitened background as crackle does, but they come in a pitch that glides. Each
frame of the flattened spectrum is held against itself one period later; steady pitches (hum, buzz, a resonance that is
struck) are no voice.

=================  =================  =====  ==================================================================
symbol             name here          unit   meaning
=================  =================  =====  ==================================================================
rho                likeness           --     normalised cross-correlation of a frame with the samples a lag later
F0                 pitch_hz           Hz     rate / lag of the shortest lag that is nearly as like as the best one
=================  =================  =====  ==================================================================
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence

import numpy as np
import soxr
from numpy.typing import NDArray
from scipy import fft, signal

from dustcap.sound.health import Stretches
from dustcap.sound.whitening import MAD_TO_SIGMA, fit

Floats = NDArray[np.float64]
Frames = NDArray[np.float32]

RATE = 8000.0
ORDER = 12  # flattens the vowels and leaves the pitch: 2.4 ms of past against 2.5 ms and more of a period
LOWEST_HZ, HIGHEST_HZ = 80.0, 400.0  # pitch of voices
LOUDEST = 0.97  # share of samples that are no louder than what counts, so that the ends of a recording do not
TONE = 1e-5  # ours: share of the power that is left of a mere tone; a voice leaves a thousandth or more
FRAME, HOP = 240, 80  # samples: 30 ms every 10 ms
LIKE = 0.36  # ours: 99 % of the frames of plain noise stay below 0.28
NEARLY = 0.9
CLIP = 6.0  # ours: sigmas of a frame; two clicks in it say less then, and a clear voice as much
SHORTEST, SURE = 4, 6  # ours: frames that hang together in pitch: of a syllable, of one that is surely a voice's
JUMP = 0.12  # ours: share by which the pitch moves from one frame to the next
GLIDE = 0.02  # ours: a voice moves by more within a syllable, mains and resonances by less
STEADY_OCTAVES, STEADY_SHARE = 0.03, 0.4  # ours: so many of the frames at one pitch are hum, whatever clicks beside it
LEAST_S = 0.15  # ours: of surely voiced syllables in what counts as speech
PAUSE_S, MARGIN_S = 2.0, 0.5  # ours: between words; for the consonants at either end
SHORTEST_QUIET_S = 1.0


def speech_in(samples: NDArray[np.floating], rate: float) -> Stretches:
    """Where somebody talks, sings or plays music, in seconds from the start.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Samples of one channel, full scale 1.
    rate : float
        Sample rate in Hz.

    Returns
    -------
    tuple of (start, stop)
        Stretches in seconds, margins included, in order.

    Notes
    -----
    Voiced speech of 80 to 400 Hz is found where it stands out of the background; a whisper has no pitch and is not,
    and music or a whistle with a gliding pitch is taken for a voice. All limits are ours (common practice, no published
    source), set on recorded voices, crackle, hum and noise.
    """
    flat = _flattened(samples, rate)
    if flat.size < FRAME + _lags()[1]:
        return ()
    likeness, pitch_hz = _pitch(flat)
    steady = _steady(np.log2(pitch_hz[likeness > LIKE]))
    found: list[tuple[float, float, float]] = []  # start, stop, seconds of voice
    for first, stop in _syllables(likeness, pitch_hz):
        begin_s, end_s = first * HOP / RATE, ((stop - 1) * HOP + FRAME) / RATE
        run = np.log2(pitch_hz[first:stop])
        apart = steady is None or abs((np.median(run) - steady + 0.5) % 1 - 0.5) > STEADY_OCTAVES
        glides = stop - first >= SURE and apart and np.ptp(run) > GLIDE / np.log(2)
        voice_s = (stop - first) * HOP / RATE if glides else 0.0
        if found and begin_s - found[-1][1] <= PAUSE_S:
            found[-1] = (found[-1][0], end_s, found[-1][2] + voice_s)
        else:
            found.append((begin_s, end_s, voice_s))
    seconds = len(samples) / rate
    return tuple(
        (max(begin_s - MARGIN_S, 0.0), min(end_s + MARGIN_S, seconds))
        for begin_s, end_s, voice_s in found
        if voice_s >= LEAST_S
    )


def without(windows: Sequence[tuple[float, float]], speech: Stretches) -> tuple[tuple[float, float], ...]:
    """The windows less the speech, in seconds; of what is cut, pieces shorter than a second are dropped."""
    left = list(windows)
    for begin, end in speech:
        cut: list[tuple[float, float]] = []
        for window in left:
            if end <= window[0] or window[1] <= begin:
                cut.append(window)
                continue
            sides = (window[0], min(begin, window[1])), (max(end, window[0]), window[1])
            cut += [side for side in sides if side[1] - side[0] >= SHORTEST_QUIET_S]
        left = cut
    return tuple(left)


def joined(stretches: Iterable[tuple[float, float]]) -> Stretches:
    """The stretches in order, those with less than a pause between them made one."""
    found: list[tuple[float, float]] = []
    for begin_s, end_s in sorted(stretches):
        if found and begin_s - found[-1][1] <= PAUSE_S - 2 * MARGIN_S:
            found[-1] = (found[-1][0], max(end_s, found[-1][1]))
        else:
            found.append((begin_s, end_s))
    return tuple(found)


def _lags() -> tuple[int, int]:
    return round(RATE / HIGHEST_HZ), round(RATE / LOWEST_HZ)


def _flattened(samples: NDArray[np.floating], rate: float) -> Frames:
    """Prediction error at the working rate, shape (n,), by one model a second; zero where a tone is all there is."""
    wave = soxr.resample(np.asarray(samples, dtype=float), rate, RATE)
    edges = np.linspace(0, wave.size, max(1, int(wave.size / RATE)) + 1).astype(int)
    flat = np.zeros(wave.size, dtype=np.float32)
    for start, stop in itertools.pairwise(edges.tolist()):
        before = max(start - ORDER, 0)
        error = signal.lfilter(fit(wave[start:stop], ORDER), [1.0], wave[before:stop])
        if np.quantile(np.abs(error), LOUDEST) ** 2 > TONE * np.mean(wave[start:stop] ** 2):
            flat[start:stop] = error[start - before :]
    return flat


def _pitch(flat: Frames) -> tuple[Floats, Floats]:
    """Likeness and pitch (Hz) of each frame, shape (frames,)."""
    shortest, longest = _lags()
    length = FRAME + longest
    frames = np.lib.stride_tricks.sliding_window_view(flat, length)[::HOP].copy()
    limit = CLIP * MAD_TO_SIGMA * np.median(np.abs(frames), axis=1, keepdims=True)
    frames = np.clip(frames, -limit, limit)
    frames -= frames.mean(axis=1, keepdims=True)
    size = fft.next_fast_len(length, real=True)
    across = fft.irfft(fft.rfft(frames, size) * np.conj(fft.rfft(frames[:, :FRAME], size)), size)
    energy = np.cumsum(np.pad(frames * frames, ((0, 0), (1, 0))), axis=1)
    energies = energy[:, FRAME : FRAME + longest + 1] - energy[:, : longest + 1]
    tiny = np.finfo(np.float32).tiny
    like = across[:, : longest + 1] / np.sqrt(np.maximum(energies * energies[:, :1], tiny))
    inner, below, above = (like[:, shortest + step : longest + step] for step in (0, -1, 1))
    best = inner.max(axis=1)
    summits = (inner >= NEARLY * best[:, None]) & (inner >= below) & (inner >= above)
    at = np.argmax(summits, axis=1)
    rows = np.arange(at.size)
    left, here, right = (side[rows, at].astype(float) for side in (below, inner, above))
    offset = 0.5 * (left - right) / np.minimum(left - 2 * here + right, -1e-9)
    pitch_hz = RATE / (shortest + at + np.clip(offset, -0.5, 0.5))
    return np.where(summits.any(axis=1), best, 0.0).astype(float), pitch_hz


def _steady(octaves: Floats) -> float | None:
    """The pitch (log2 of Hz) at which most frames stay, as hum does and no voice; none where there is none."""
    if octaves.size < SURE:
        return None
    ranked = np.sort(octaves)
    count = np.searchsorted(ranked, ranked + STEADY_OCTAVES, side="right") - np.arange(ranked.size)
    most = int(np.argmax(count))
    if count[most] < STEADY_SHARE * ranked.size:
        return None
    return float(np.median(ranked[most : most + count[most]]))


def _syllables(likeness: Floats, pitch_hz: Floats) -> list[tuple[int, int]]:
    """Runs of frames (first, stop) that hang together in pitch."""
    near = np.abs(np.diff(np.log(pitch_hz))) < JUMP
    runs: list[tuple[int, int]] = []
    first = 0
    for stop in range(1, likeness.size + 1):
        if stop < likeness.size and likeness[stop] > LIKE and likeness[stop - 1] > LIKE and near[stop - 1]:
            continue
        if stop - first >= SHORTEST and likeness[first] > LIKE:
            runs.append((first, stop))
        first = stop
    return runs
