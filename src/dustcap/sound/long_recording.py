"""A recording of hours: read in pieces, with flat memory, and scanned for crackle, level, clipping and dropouts.

Nothing was played in it: it is a soak, or a night of waiting for a fault that comes and goes. The crackle is that of
`crackle_of`, with the same events as when the file is read at once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from threading import Lock

import numpy as np
import soundfile
from numpy.typing import NDArray

from dustcap.errors import InputError, SignalError
from dustcap.sound.crackle import PIECE_S, STUCK, Crackle, Slices, Spread, Windows, crackle_of, piece_edges
from dustcap.sound.health import HELD_S, Stretches, clipped, held
from dustcap.sound.hum import NO_HUM, Hum, hum_of
from dustcap.sound.recording import opened, sample_kind
from dustcap.sound.speech import joined, speech_in, without

OVERLAP_S = 1.0  # of the pieces in which clipping and dropouts are looked for
JOIN_S = 0.1
SHORTEST_S = 1.0
OFTEN = 10  # ours: events in 20 s from which speech is looked for
FLOOR = 1e-20


class LongSamples:
    """One channel of an open file, of which slices are read (from several threads, one after the other)."""

    def __init__(self, sound: soundfile.SoundFile, channel: int, where: str) -> None:
        self._sound, self._channel, self._where, self._lock = sound, channel, where, Lock()
        self._kind = sample_kind(sound)

    def __len__(self) -> int:
        return int(self._sound.frames)

    def __getitem__(self, which: slice, /) -> NDArray[np.floating]:
        start, stop, _ = which.indices(len(self))
        with self._lock:
            self._sound.seek(start)
            found = self._sound.read(max(stop - start, 0), dtype=self._kind, always_2d=True)[:, self._channel]
        if len(found) < stop - start:
            raise InputError("is cut off.", where=self._where, mend="Copy it again from the recorder.")
        if not np.isfinite(found).all():
            raise InputError(
                f"holds a value that is not a finite number after {start / self._sound.samplerate:.0f} s.",
                where=self._where,
                mend="Export the file again, as 24-bit PCM.",
            )
        return np.ascontiguousarray(found)


@contextmanager
def long_samples(path: Path | str, channel: int | None = None) -> Iterator[tuple[LongSamples, int, int]]:
    """One channel of a file as slices, its sample rate (Hz), and its number from 1; the loudest of the first minute
    when no channel is given.

    Raises
    ------
    InputError
        As `read_recording`, or if there is no such channel.
    """
    with opened(path) as sound:
        if channel is not None and not 1 <= channel <= sound.channels:
            raise InputError(f"there is no channel {channel}.", where=str(path), mend=f"Choose 1 to {sound.channels}.")
        number = channel or _loudest(sound)
        yield LongSamples(sound, number - 1, str(path)), int(sound.samplerate), number


def _loudest(sound: soundfile.SoundFile) -> int:
    if sound.channels == 1:
        return 1
    first = sound.read(60 * sound.samplerate, dtype="float32", always_2d=True)
    return 1 + int(np.argmax(np.var(first, axis=0)))


@dataclass(frozen=True, slots=True)
class LongScan:
    """What hours of recording tell.

    `piece_s` is the length of the pieces whose r.m.s. and peak (dB re full scale) are `rms_dbfs` and `peak_dbfs`. The
    stretches are in seconds; in `still` the recording holds no noise at all, and crackle was not looked for there, nor
    in `speech`. Speech is looked for in those pieces only that hold ten events or more.
    """

    seconds: float
    piece_s: float
    rms_dbfs: tuple[float, ...]
    peak_dbfs: tuple[float, ...]
    clipping: Stretches
    dropouts: Stretches
    still: Stretches
    speech: Stretches
    hum: Hum
    crackle: Crackle | None
    crackle_refused: str


def scan_long(
    samples: Slices,
    rate: float,
    *,
    spread: Spread = map,
    progress: Callable[[float], None] | None = None,
) -> LongScan:
    """Scan a long recording in which nothing was played.

    Parameters
    ----------
    samples : ndarray, shape (n,), or what gives slices of one
        Samples of one channel, full scale 1.
    rate : float
        Sample rate in Hz.
    spread : callable
        A `map` that may work on several pieces at the same time.
    progress : callable, optional
        Is told the share that is done.

    Raises
    ------
    SignalError
        If it is shorter than a second, or every sample is the same.
    """
    size = len(samples)
    if size < SHORTEST_S * rate:
        raise SignalError("the recording is shorter than a second.", where="sound.long", mend="Record longer.")
    starts = list(range(0, size, round(PIECE_S * rate)))
    tell = _Steps(progress or (lambda _share: None), 3 * len(starts))

    def look(start: int) -> _Piece:
        return tell.after(_looked(samples, rate, start))

    pieces = list(spread(look, starts))
    if all(piece.still for piece in pieces):
        raise SignalError(
            "the recording is silent: every sample is the same, or its noise is smaller than its last bit.",
            where="sound.long",
            mend="Check the input and its level, and record again.",
        )
    still = _joined([span for piece in pieces for span in piece.still])
    windows = _between(still, size / rate) if still else None
    hum = _hum(samples, rate, windows)
    crackle, refused = None, ""
    speech: Stretches = ()
    try:
        crackle = crackle_of(samples, rate, windows, hum=hum, spread=tell.counting(spread))
        speech = _speech(samples, rate, crackle, spread)
        if speech:
            crackle = _crackle_beside(samples, rate, crackle.windows, speech, hum, spread)
    except SignalError as error:
        crackle, refused = None, error.what
    top = max(piece.peak for piece in pieces)
    return LongScan(
        seconds=size / rate,
        piece_s=PIECE_S,
        rms_dbfs=tuple(_db(piece.rms) for piece in pieces),
        peak_dbfs=tuple(_db(piece.peak) for piece in pieces),
        clipping=_joined([span for piece in pieces if piece.peak > 0.999 * top for span in piece.clipping]),
        dropouts=_joined([span for piece in pieces for span in piece.dropouts]),
        still=still,
        speech=speech,
        hum=hum,
        crackle=crackle,
        crackle_refused=refused,
    )


@dataclass(frozen=True, slots=True)
class _Piece:
    """A piece on its first reading; spans in seconds of the recording."""

    rms: float
    peak: float
    clipping: Stretches
    dropouts: Stretches
    still: Stretches


def _looked(samples: Slices, rate: float, start: int) -> _Piece:
    stop = min(start + round(PIECE_S * rate), len(samples))
    longer = samples[start : min(stop + round(OVERLAP_S * rate), len(samples))]
    stretch = longer[: stop - start]
    begin_s, end_s = start / rate, stop / rate
    stuck = stretch.size < 2 or bool(np.mean(np.diff(stretch) == 0) > STUCK)
    wave = np.asarray(longer, dtype=float)
    shifted = [tuple((begin_s + a, begin_s + b) for a, b in find(wave, rate)) for find in (clipped, held)]
    return _Piece(
        rms=float(np.sqrt(np.mean(np.square(stretch, dtype=float)))),
        peak=float(np.max(np.abs(stretch), initial=0.0)),
        clipping=shifted[0],
        dropouts=tuple(span for span in shifted[1] if span[1] - span[0] >= HELD_S),
        still=((begin_s, end_s),) if stuck else (),
    )


def _speech(samples: Slices, rate: float, crackle: Crackle, spread: Spread) -> Stretches:
    """Where somebody talks in the pieces that seem to crackle often."""
    pieces = piece_edges(len(samples), rate, crackle.windows)
    times = np.array(crackle.times) * rate
    often = [(a, b) for a, b in pieces if np.count_nonzero((times >= a) & (times < b)) >= OFTEN]

    def heard(piece: tuple[int, int]) -> Stretches:
        return tuple((piece[0] / rate + a, piece[0] / rate + b) for a, b in speech_in(samples[slice(*piece)], rate))

    return joined(span for spans in spread(heard, often) for span in spans)


def _crackle_beside(
    samples: Slices, rate: float, windows: Windows, speech: Stretches, hum: Hum, spread: Spread
) -> Crackle:
    left = without(windows, speech)
    if not left:
        raise SignalError("somebody talks throughout.", where="sound.long", mend="Record in a quiet room.")
    return crackle_of(samples, rate, left, hum=hum, spread=spread)


def _hum(samples: Slices, rate: float, windows: Windows | None) -> Hum:
    """Hum from ten-second stretches spread over the recording."""
    whole = windows or ((0.0, len(samples) / rate),)
    try:
        takes = [_View(samples, begin, end) for begin, end in piece_edges(len(samples), rate, whole)]
        return hum_of(takes, rate)  # type: ignore[arg-type]
    except SignalError:  # too short: no line can be told from noise
        return NO_HUM


@dataclass(frozen=True, slots=True)
class _View:
    """A stretch of slices."""

    samples: Slices
    begin: int
    end: int

    def __len__(self) -> int:
        return self.end - self.begin

    def __getitem__(self, which: slice, /) -> NDArray[np.floating]:
        start, stop, _ = which.indices(len(self))
        return self.samples[self.begin + start : self.begin + stop]


class _Steps:
    """Counts pieces for the progress."""

    def __init__(self, progress: Callable[[float], None], total: int) -> None:
        self.progress, self.total, self.done = progress, total, 0

    def after(self, piece: _Piece) -> _Piece:
        self.step()
        return piece

    def step(self) -> None:
        self.done += 1
        self.progress(min(self.done / self.total, 1.0))

    def counting(self, spread: Spread) -> Spread:
        def counted(work, items):  # type: ignore[no-untyped-def]
            for result in spread(work, items):
                self.step()
                yield result

        return counted


def _db(value: float) -> float:
    return float(20 * np.log10(max(value, FLOOR)))


def _joined(spans: list[tuple[float, float]]) -> Stretches:
    """Spans in order, those that touch or nearly touch made one."""
    found: list[tuple[float, float]] = []
    for begin, end in sorted(spans):
        if found and begin - found[-1][1] < JOIN_S:
            found[-1] = (found[-1][0], max(end, found[-1][1]))
        else:
            found.append((begin, end))
    return tuple(found)


def _between(still: Stretches, seconds: float) -> Windows:
    """What lies between the still stretches, as far as it is long enough."""
    edges = [0.0, *(edge for span in still for edge in span), seconds]
    return tuple((a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a >= SHORTEST_S)
