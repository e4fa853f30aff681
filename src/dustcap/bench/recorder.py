"""A recording from order to file: devices, level check, the take, and what became of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from threading import Event
from typing import Any, Protocol

import numpy as np
import soundfile
from numpy.typing import NDArray

from dustcap.bench.audio import AudioSystem, Device, find_device
from dustcap.bench.lag import LagCheck, check_lag
from dustcap.bench.level import DEFAULT_DBFS, FLOOR_DBFS, scaled
from dustcap.bench.level_check import LevelCheck, check_levels
from dustcap.bench.take import Complaint, Glance, Route, Take, take
from dustcap.bench.take_file import TakeFile
from dustcap.errors import InputError, SignalError

Single = NDArray[np.float32]
Look = Callable[[Glance], None]

STOPPED_BEFORE = "stopped by hand before anything was recorded"
BUFFER_DO = "record again, with nothing else running; use one interface for both, check its cable"
QUIET_DBFS = -60.0  # ours: below, a take wastes the converter


class Sounds(AudioSystem, Protocol):
    """An audio system that can say what it has."""

    def devices(self) -> tuple[Device, ...]:
        """Every device."""
        ...


@dataclass(frozen=True, slots=True)
class Order:
    """What is wanted: the file, the devices by number or name, what is played (n, channels) and at which peak."""

    path: Path
    source: str = ""
    sink: str = ""
    channels: int = 0  # of the input; 0: two where it has them, since a sound server would mix them into one
    rate: int = 48_000
    played: Single | None = None
    name: str = ""
    level_dbfs: float = DEFAULT_DBFS
    seconds: float = 0.0
    check: bool = True


@dataclass(frozen=True, slots=True)
class Warned:
    """Something that weakens the take: what, where (seconds of the recording), what to do."""

    what: str
    at_s: tuple[float, ...]
    do: str


@dataclass(frozen=True, slots=True)
class Recorded:
    """The file that was kept, why it ended early ("" when it did not), and the figures as a document."""

    path: Path
    stopped: str
    document: dict[str, Any]


class Recorder:
    """Makes one take; the order is checked against the devices when it is made.

    Raises
    ------
    InputError, DeviceError
        If a device, the channels, the rate, the level or the file of the order cannot be had.
    """

    def __init__(self, system: Sounds, order: Order) -> None:
        self.system, self.order = system, order
        found = system.devices()
        source = find_device(found, order.source, output=False)
        channels = order.channels or min(2, source.inputs)
        if not 1 <= channels <= source.inputs:
            raise InputError(
                f"{source.name} has {source.inputs} input channels.",
                where="--channels",
                mend=f"Choose 1 to {source.inputs}.",
            )
        sink = None
        self.played: Single | None = None
        if order.played is not None:
            sink = find_device(found, order.sink, output=True)
            self.played = scaled(order.played, order.level_dbfs)
        wide = min(2, sink.outputs) if sink else 1
        if self.played is not None and self.played.shape[1] > wide:
            raise InputError("has one output channel.", where=str(sink), mend="Play a mono file.")
        self.route = Route(source, order.rate, channels, sink, wide, order.level_dbfs)

    def run(self, stop: Event | None = None, look: Look | None = None) -> Recorded:
        """Check the level, then play and record; what came in is on the disk whatever happens.

        Raises
        ------
        DeviceError
            If a stream does not open or nothing comes in.
        SignalError
            If the level check shows that the take would be worth nothing, or the take was stopped before it began.
        """
        stop = stop or Event()
        checked = None
        if self.played is not None and self.order.check:
            checked = check_levels(self.system, self.route, self.order.level_dbfs, stop=stop, look=look)
        if stop.is_set():
            raise SignalError(STOPPED_BEFORE + ".", where="record")
        seconds = self.order.seconds if self.played is None else len(self.played) / self.route.rate + 2.0
        with TakeFile(self.order.path, self.route.rate, self.route.channels, seconds=seconds) as file:
            taken = take(
                self.system, self.route, self.played, file.keep, seconds=self.order.seconds, stop=stop, look=look
            )
            path = file.finish(stopped=bool(taken.stopped))
        lag = self._lag(path)
        return Recorded(path, taken.stopped, self._document(path, taken, checked, lag))

    def _lag(self, path: Path) -> LagCheck | None:
        if self.played is None:
            return None
        heard = soundfile.read(path, dtype="float32", always_2d=True)[0]
        loudest = int(np.argmax(np.sum(np.square(heard, dtype=float), axis=0)))
        return check_lag(self.played[:, 0], heard[:, loudest], self.route.rate)

    def _document(self, path: Path, taken: Take, checked: LevelCheck | None, lag: LagCheck | None) -> dict[str, Any]:
        warnings = warnings_of(taken, lag)
        if checked is not None and checked.remark:
            warnings = (Warned(checked.remark, (), "record again"), *warnings)
        return {
            "file": str(path),
            "input": self.route.source.name,
            "output": self.route.sink.name if self.route.sink else None,
            "sample_rate": taken.rate,
            "channels": self.route.channels,
            "seconds": round(taken.seconds, 4),
            "played": self.order.name or None,
            "level_dbfs": self.order.level_dbfs if self.played is not None else None,
            "stopped": taken.stopped,
            "peak_dbfs": round(taken.meter.peak_dbfs, 2),
            "rms_dbfs": round(taken.meter.rms_dbfs, 2),
            "clipped_samples": taken.meter.clipped,
            "level_check": _level_check(checked),
            "lag": _lag_document(lag, taken.rate),
            "warnings": [{"what": one.what, "at_s": list(one.at_s), "do": one.do} for one in warnings],
        }


def warnings_of(taken: Take, lag: LagCheck | None) -> tuple[Warned, ...]:
    """What weakens a take: clipping, a level far too low, dropouts that the driver or the lag shows."""
    found: list[Warned] = []
    if taken.meter.clipped:
        found.append(Warned(f"clipping, {taken.meter.clipped} samples", (), "lower the recording gain by 6 dB"))
    elif FLOOR_DBFS < taken.meter.peak_dbfs < QUIET_DBFS:
        found.append(Warned("very quiet", (), "raise the recording gain, or --level"))
    elif taken.meter.peak_dbfs <= FLOOR_DBFS:
        found.append(Warned("silence: every sample is zero", (), "check the input, its switch and its rights"))
    found += [Warned(f"dropout: {what}", at_s, BUFFER_DO) for what, at_s in _by_kind(taken.complaints).items()]
    if lag is not None and not taken.stopped:
        begins_s = taken.begins / taken.rate
        if lag.steps_s:
            at_s = tuple(round(begins_s + step_s, 3) for step_s in lag.steps_s)
            found.append(Warned("dropout: samples were lost or came twice", at_s, BUFFER_DO))
        elif lag.clocks_apart:
            found.append(Warned("the lag grows faster than two clocks drift apart", (), BUFFER_DO))
        elif lag.kept_time is None:
            found.append(Warned("too little of what was played is heard to check the timing", (), "play louder"))
    return tuple(found)


def _by_kind(complaints: tuple[Complaint, ...]) -> Mapping[str, tuple[float, ...]]:
    kinds: dict[str, tuple[float, ...]] = {}
    for one in complaints:
        kinds[one.what] = (*kinds.get(one.what, ()), round(one.at_s, 3))
    return kinds


def _level_check(checked: LevelCheck | None) -> dict[str, float] | None:
    if checked is None:
        return None
    return {
        "peak_dbfs": round(checked.peak_dbfs, 2),
        "tone_dbfs": round(checked.tone_dbfs, 2),
        "noise_dbfs": round(checked.noise_dbfs, 2),
    }


def _lag_document(lag: LagCheck | None, rate: int) -> dict[str, Any] | None:
    if lag is None:
        return None
    return {
        "steady": lag.steady,
        "kept_time": lag.kept_time,
        "skew_ppm": None if lag.skew_ppm is None else round(lag.skew_ppm, 2),
        "places": [{"at_s": round(one.at_s, 3), "samples": one.samples} for one in lag.lags],
        "seconds": round(lag.lags[0].samples / rate, 6) if lag.lags else None,
    }
