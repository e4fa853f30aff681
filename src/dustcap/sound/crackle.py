"""Crackle: short events that stand out of the whitened background, how many, how large, how often.

A sample of the whitened background is an event when it, or the energy of a short stretch around it, is too unlikely
for Gaussian noise. Where the limit lies is decided for each recording: as low as the number of false events allows,
which is computed and said. See `whitening` for the background and `rates` for the interval of the rate.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray
from scipy import special

from dustcap.errors import SignalError
from dustcap.sound.events import (
    MERGE_S,
    STRETCHES_S,
    TRIALS,
    Events,
    candidates,
    hidden_s,
    limit_of,
    without_echoes,
)
from dustcap.sound.hum import NO_HUM, Hum, hum_part
from dustcap.sound.rates import rate_interval
from dustcap.sound.whitening import ORDER, Whitened, ringing_of, spans_beyond, step_of, whiten

Floats = NDArray[np.float64]
Windows = Sequence[tuple[float, float]]

Spread = Callable[[Callable[[Any], Any], Iterable[Any]], Iterable[Any]]

PIECE_S = 20.0  # a long recording is worked on in pieces
KEPT_P = (
    1e-6  # ours: errors are kept of candidates that noise gives less often; of others computed again if it comes so
)
KEPT_ERRORS = 250_000  # and of no more samples than this, whatever the length
SHORTEST_S = 0.5
STUCK = 0.5  # ours: share of samples equal to the one before, from which noise is no noise


NOTHING: NDArray[np.floating] = np.zeros(0)


class Slices(Protocol):
    """Samples of one channel of which slices are read: an array, or a file."""

    def __len__(self) -> int:
        """How many there are."""
        ...

    def __getitem__(self, which: slice, /) -> NDArray[np.floating]:
        """Some of them, shape (n,)."""
        ...


@dataclass(frozen=True, slots=True)
class Crackle:
    """Events of a recording; times in seconds from its start, sizes over the whitened background's sigma.

    `seconds` is the time that was listened to, without the time in which events hide others; `low` and `high` bound
    the rate (exact, 95 %). `levels_dbfs` are the peaks of what each event adds to the recording, so that recordings
    with different backgrounds compare. `share` is the share of the time that the events cover.
    """

    found: bool
    events: int
    seconds: float
    rate: float
    low: float
    high: float
    times: tuple[float, ...]
    sizes_db: tuple[float, ...]
    levels_dbfs: tuple[float, ...]
    windows: tuple[tuple[float, float], ...]
    threshold_db: float
    false_alarms_per_hour: float
    share: float


def crackle_of(
    samples: Slices, rate: float, windows: Windows | None = None, *, hum: Hum = NO_HUM, spread: Spread = map
) -> Crackle:
    """Crackle in the quiet windows of a recording.

    Parameters
    ----------
    samples : ndarray, shape (n,), or what gives slices of one
        Samples of one channel, full scale 1; only slices of it are read, 20 s at a time.
    rate : float
        Sample rate in Hz.
    windows : sequence of (start, stop), optional
        Seconds in which nothing is played; the whole recording when left out.
    hum : Hum
        Its lines are set aside meanwhile.
    spread : callable
        A `map` over the pieces; theirs may run at the same time.

    Raises
    ------
    SignalError
        If less than half a second is left, or the recording is digitally silent.
    """
    return _without(samples, rate, windows, hum, spread, keep=False)[0]


def without_crackle(
    samples: NDArray[np.floating], rate: float, windows: Windows | None = None, *, hum: Hum = NO_HUM
) -> tuple[Crackle, list[NDArray[np.floating]]]:
    """Crackle as `crackle_of`, and the quiet windows with the events taken out, in pieces of 20 s at most.

    The lines of `hum`, when it is known, are set aside meanwhile and put back: else they lose the same share of their
    amplitude as the events have of the time.
    """
    return _without(samples, rate, windows, hum, map, keep=True)


def _without(
    samples: Slices, rate: float, windows: Windows | None, hum: Hum, spread: Spread, *, keep: bool
) -> tuple[Crackle, list[NDArray[np.floating]]]:
    """Crackle, and with `keep` the pieces without their events."""
    windows = tuple(windows) if windows is not None else ((0.0, len(samples) / rate),)
    pieces = piece_edges(len(samples), rate, windows)

    room, kept_limit = [KEPT_ERRORS], np.log(KEPT_P)

    def look(piece: tuple[int, int]) -> tuple[Events, _Kept | None]:
        background = _whitened(samples, piece, rate, hum)
        events = candidates(background.error / background.sigma, rate)
        at = np.flatnonzero(_places(events.pick(events.log_p <= kept_limit), background.error.size))
        room[0] -= at.size
        return events, _Kept(at, background.error[at], background) if room[0] >= 0 else None

    looked = list(spread(look, pieces))
    found, whitened = [events for events, _ in looked], [background for _, background in looked]
    counted = [without_echoes(events, rate) for events in found]
    log_p = np.concatenate([events.log_p for events in counted])
    total = sum(stop - start for start, stop in pieces)
    limit = limit_of(log_p, total)

    def take(index: int) -> _Taken:
        piece, every, some = pieces[index], found[index], counted[index]
        loud = every.pick(every.log_p <= limit)
        if not loud.peak.size:
            return _Taken(samples[slice(*piece)] if keep else NOTHING)
        kept = whitened[index] if limit <= kept_limit else None
        background = kept.again() if kept else _whitened(samples, piece, rate, hum)
        one = _take_out(samples[slice(*piece)], loud, some.pick(some.log_p <= limit), background, piece[0], rate)
        return one if keep else replace(one, clean=NOTHING)

    taken = list(spread(take, range(len(pieces))))
    return _told(taken, limit, windows, total, rate), [one.clean for one in taken]


class _Kept:
    """The errors of a background where they matter later, shape (n,), and its models."""

    def __init__(self, at: NDArray[np.intp], errors: Floats, background: Whitened) -> None:
        self.at, self.errors, self.size, self.models = at, errors, background.error.size, background.models

    def again(self) -> Whitened:
        """The background, with no error elsewhere."""
        error = np.zeros(self.size)
        error[self.at] = self.errors
        return Whitened(error, np.zeros(0), self.models)


@dataclass(frozen=True, slots=True)
class _Taken:
    """A piece without its events, and what they were: times (s), sizes (dB), levels (dBFS), seconds each one hides."""

    clean: NDArray[np.floating]
    times: tuple[float, ...] = ()
    sizes_db: tuple[float, ...] = ()
    levels_dbfs: tuple[float, ...] = ()
    busy_s: tuple[float, ...] = ()
    covered_s: float = 0.0


def _take_out(
    stretch: NDArray[np.floating], loud: Events, counted: Events, background: Whitened, first: int, rate: float
) -> _Taken:
    """Take out what is loud; what is counted of it is told. `first` is the stretch's place in the recording."""
    places = _places(loud, len(stretch))
    added = ringing_of(background, places, rate)
    busy_s = (counted.stop - counted.start) / rate - STRETCHES_S[-1] + MERGE_S
    return _Taken(
        stretch - added.astype(stretch.dtype),
        tuple(((first + counted.peak) / rate).tolist()),
        tuple((20 * np.log10(counted.size)).tolist()),
        tuple(_levels(added, counted, rate)),
        tuple(busy_s.tolist()),
        float(np.count_nonzero(places)) / rate,
    )


def _told(taken: Sequence[_Taken], limit: float, windows: Windows, samples: int, rate: float) -> Crackle:
    sizes = tuple(db for one in taken for db in one.sizes_db)
    busy_s = np.array([hidden for one in taken for hidden in one.busy_s])
    seconds = samples / rate
    free_s = max(seconds - hidden_s(np.array(sizes), busy_s), 0.1 * seconds)
    interval = rate_interval(len(sizes), free_s)
    return Crackle(
        found=bool(sizes),
        events=len(sizes),
        seconds=free_s,
        rate=interval.value,
        low=interval.low,
        high=interval.high,
        times=tuple(at for one in taken for at in one.times),
        sizes_db=sizes,
        levels_dbfs=tuple(db for one in taken for db in one.levels_dbfs),
        windows=tuple(windows),
        threshold_db=float(20 * np.log10(-special.ndtri_exp(limit - np.log(2.0)))),
        false_alarms_per_hour=float(3600.0 * rate * TRIALS * np.exp(limit)),
        share=min(sum(one.covered_s for one in taken) / seconds, 1.0),
    )


def pieces_of(samples: NDArray[np.floating], rate: float, windows: Windows | None = None) -> list[NDArray[np.floating]]:
    """The quiet windows of a recording as they are, in the pieces that `without_crackle` returns."""
    windows = tuple(windows) if windows is not None else ((0.0, len(samples) / rate),)
    return [samples[start:stop] for start, stop in piece_edges(len(samples), rate, windows)]


def piece_edges(size: int, rate: float, windows: Windows) -> list[tuple[int, int]]:
    """Sample ranges of the windows, cut into pieces of 20 s at most."""
    pieces: list[tuple[int, int]] = []
    for begin, end in windows:
        start, stop = max(round(begin * rate), 0), min(round(end * rate), size)
        if stop - start < SHORTEST_S * rate:
            raise SignalError(
                "a quiet stretch is shorter than half a second.", where="sound.crackle", mend="Record a longer gap."
            )
        count = int(np.ceil((stop - start) / (PIECE_S * rate)))
        edges = np.linspace(start, stop, count + 1).astype(int).tolist()
        pieces += itertools.pairwise(edges)
    return pieces


def _floats(samples: Slices, piece: tuple[int, int]) -> Floats:
    stretch: Floats = np.asarray(samples[slice(*piece)], dtype=float)
    if np.mean(np.diff(stretch) == 0) > STUCK:
        raise SignalError(
            "the recording is digitally silent here, or its noise is smaller than its last bit.",
            where="sound.crackle",
            mend="Raise the recording level.",
        )
    return stretch


def _whitened(samples: Slices, piece: tuple[int, int], rate: float, hum: Hum) -> Whitened:
    stretch = _floats(samples, piece)
    return whiten(stretch - hum_part(stretch, rate, hum), rate, step=step_of(stretch))


def _places(events: Events, size: int) -> NDArray[np.bool_]:
    """Where the events are, with the samples that the whitening spreads them over."""
    places = np.zeros(size, dtype=bool)
    for start, stop in zip(events.start, events.stop, strict=True):
        places[start:stop] = True
    return spans_beyond(places, before=2, after=ORDER)


def _levels(added: Floats, events: Events, rate: float) -> list[float]:
    """Peak of what each event adds to the recording, dB re full scale."""
    reach = int(MERGE_S * rate)
    return [
        float(20 * np.log10(max(np.max(np.abs(added[start : stop + reach])), 1e-20)))
        for start, stop in zip(events.start, events.stop, strict=True)
    ]
