"""One take: play and record at once, with a watch on both streams and a stop that works.

Two streams, and the output is opened only after the input has delivered for half a second: else the beginning is lost.
The flags of a driver are kept but not trusted; see `lag` for the check that what came in kept time.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass, field
from threading import Event

import numpy as np
from numpy.typing import NDArray

from dustcap.bench.audio import AudioSystem, Device, Stream
from dustcap.bench.level import FADE_S, LOUDEST_DBFS, Meter, amplitude, capped, fade_out
from dustcap.errors import DeviceError

Single = NDArray[np.float32]
Keep = Callable[[Single], None]

SETTLE_S = 0.5  # of input before the output starts
LEAD_S = 0.5  # of silence before what is played: some servers lose or add samples while a stream starts
TAIL_S = 1.0  # of input after the output has ended
STALL_S = 2.0  # without a call from a stream: it stands still
LOOK_S = 0.02  # between two looks at the streams
DRIFT_S = 0.25  # ours: samples delivered against the clock of the machine, beyond what buffers explain
BY_HAND = "stopped by hand"
MOST_NOTED = 50  # of the driver's complaints, that many are kept with their times


@dataclass(frozen=True, slots=True)
class Route:
    """Which devices, how many channels on each, which rate (Hz), and the hard cap on what is played (dBFS)."""

    source: Device
    rate: int
    channels: int = 1
    sink: Device | None = None
    sink_channels: int = 1
    cap_dbfs: float = LOUDEST_DBFS


@dataclass(frozen=True, slots=True)
class Glance:
    """How a take stands: seconds recorded, seconds that it will last, and the input over the last moment."""

    seconds: float
    of_s: float
    meter: Meter


@dataclass(frozen=True, slots=True)
class Complaint:
    """Something that a driver or the watch noticed, at seconds of the recording."""

    at_s: float
    what: str


@dataclass(frozen=True, slots=True)
class Take:
    """What a take gave; the samples went to the keeper as they came.

    `stopped` is "" for a whole take, else why it ended early. `begins` is the sample of the recording at which the
    output was opened (what was played comes later by the latency of both devices).
    """

    samples: int
    rate: int
    meter: Meter
    begins: int
    stopped: str
    complaints: tuple[Complaint, ...]

    @property
    def seconds(self) -> float:
        """Length of the recording."""
        return self.samples / self.rate


@dataclass(slots=True)
class _State:
    """What the streams' callbacks share with the loop."""

    rate: int
    played: Single | None  # shape (n, channels of the output), capped
    stop: Event
    blocks: deque[Single] = field(default_factory=deque)
    heard: int = 0
    at: int = 0
    fading: int = -1
    out_calls: int = 0
    in_calls: int = 0
    complaints: list[Complaint] = field(default_factory=list)

    def complain(self, what: str) -> None:
        if what and len(self.complaints) < MOST_NOTED:
            self.complaints.append(Complaint(self.heard / self.rate, what))

    def take_in(self, block: Single, status: str) -> None:
        self.in_calls += 1
        self.complain(status)
        self.blocks.append(np.array(block, dtype=np.float32))
        self.heard += len(block)

    def give_out(self, block: Single, status: str) -> bool:
        self.out_calls += 1
        self.complain(status)
        assert self.played is not None
        piece = self.played[self.at : self.at + len(block)]
        block[:] = 0.0
        block[: len(piece)] = piece
        self.at += len(block)
        if self.stop.is_set():
            fade = round(FADE_S * self.rate)
            self.fading = max(self.fading, 0)
            block[:] = fade_out(block, self.fading, fade)
            self.fading += len(block)
            return self.fading < fade
        return self.at < len(self.played)


def take(
    system: AudioSystem,
    route: Route,
    played: Single | None,
    keep: Keep,
    *,
    seconds: float = 0.0,
    stop: Event | None = None,
    look: Callable[[Glance], None] | None = None,
) -> Take:
    """Record, and play meanwhile if there is something to play.

    Parameters
    ----------
    system : AudioSystem
        The sound cards.
    route : Route
        Devices, rate and cap.
    played : ndarray or None, shape (n, channels)
        What goes out, at the level at which it goes out; one channel goes to all channels of the output.
    keep : callable
        Is given each block that came in, shape (frames, channels), in order, by the calling thread.
    seconds : float
        How long to record when nothing is played.
    stop : Event, optional
        Once set (from any thread) the output fades out at once and the take ends; what came in is kept.
    look : callable, optional
        Is shown how the take stands, several times a second.

    Raises
    ------
    DeviceError
        If a stream does not open, or nothing comes in at all.
    """
    stop = stop or Event()
    state = _State(route.rate, None if played is None else _going_out(played, route), stop)
    loop = _Loop(system, route, state, keep, look or (lambda _glance: None), seconds)
    return loop.run()


def _going_out(played: Single, route: Route) -> Single:
    """What goes to the device: silence first, on all its channels, under the hard cap."""
    wide = np.zeros((round(LEAD_S * route.rate) + len(played), route.sink_channels), dtype=np.float32)
    wide[-len(played) :] = capped(played, amplitude(route.cap_dbfs))
    return wide


@dataclass(slots=True)
class _Loop:
    """The calling thread's side of a take."""

    system: AudioSystem
    route: Route
    state: _State
    keep: Keep
    look: Callable[[Glance], None]
    seconds: float
    meter: Meter = field(default_factory=Meter)
    kept: int = 0
    begins: int = 0
    stopped: str = ""
    shown_s: float = 0.0
    moment: Meter = field(default_factory=Meter)

    def run(self) -> Take:
        route, state = self.route, self.state
        with ExitStack() as open_streams:
            self._start(
                open_streams, lambda: self.system.input(route.source, route.channels, route.rate, state.take_in)
            )
            started_s, before = self.system.now(), state.heard
            self._until(lambda: state.heard >= SETTLE_S * route.rate)
            if state.played is not None and not self.stopped:
                self._play(open_streams)
            elif not self.stopped:
                self._until(lambda: state.heard >= self.seconds * route.rate)
            elapsed_s = self.system.now() - started_s
            delivered_s = (state.heard - before) / route.rate
        self._drain()
        if not self.kept:
            raise DeviceError(
                f"nothing came in from {route.source.name}.",
                where="audio",
                mend="Check that no other program holds it, or name another --input.",
            )
        lost_s = elapsed_s - delivered_s
        if not self.stopped and abs(lost_s) > DRIFT_S + 1e-3 * elapsed_s:
            word = "fewer" if lost_s > 0 else "more"
            state.complain(f"{abs(lost_s):.2f} s {word} came in than went by on the clock")
        complaints = tuple(state.complaints)
        return Take(self.kept, route.rate, self.meter, self.begins, self.stopped, complaints)

    def _play(self, open_streams: ExitStack) -> None:
        route, state = self.route, self.state
        assert route.sink is not None
        assert state.played is not None
        sink = route.sink
        self.begins = state.heard
        stream = self._start(
            open_streams, lambda: self.system.output(sink, route.sink_channels, route.rate, state.give_out)
        )
        self._until(lambda: not stream.active, stream=stream)
        if not self.stopped and state.at < len(state.played):
            self.stopped = BY_HAND if state.stop.is_set() else "the output ended by itself"
            state.complain("" if state.stop.is_set() else self.stopped)
        if self.stopped:
            self._fade(stream)
        else:
            end = state.heard + round(TAIL_S * route.rate)
            self._until(lambda: state.heard >= end)

    def _fade(self, stream: Stream) -> None:
        """Let the output come down before its stream is closed; a stream that stands still is closed as it is."""
        deadline_s = self.system.now() + STALL_S
        while stream.active and self.system.now() < deadline_s:
            self.system.wait(LOOK_S)

    def _start(self, open_streams: ExitStack, open_one: Callable[[], Stream]) -> Stream:
        try:
            return open_streams.enter_context(open_one())
        except DeviceError:
            raise
        except Exception as error:  # the library's own error class is not known here
            why = " ".join(str(error).split())
            raise DeviceError(
                f"a stream does not start ({why}).", where="audio", mend="Close other programs that use the device."
            ) from error

    def _until(self, done: Callable[[], bool], *, stream: Stream | None = None) -> None:
        """Keep what comes in until it is done, the stop is set, or a stream stands still."""
        state = self.state
        calls, since_s = (-1, -1), (self.system.now(), self.system.now())
        while not done():
            if state.stop.is_set():
                self.stopped = self.stopped or BY_HAND
                return
            now_s = self.system.now()
            seen = (state.in_calls, state.out_calls)
            since_s = (
                now_s if seen[0] != calls[0] else since_s[0],
                now_s if seen[1] != calls[1] else since_s[1],
            )
            calls = seen
            for which, running in ((0, True), (1, stream is not None)):
                if running and now_s - since_s[which] > STALL_S:
                    self.stopped = f"the {('input', 'output')[which]} stood still for {STALL_S:g} s"
                    state.complain(self.stopped)
                    state.stop.set()
                    return
            self._drain()
            self._show()
            self.system.wait(LOOK_S)
        self._drain()

    def _drain(self) -> None:
        while self.state.blocks:
            block = self.state.blocks.popleft()
            self.meter = self.meter.with_block(block)
            self.moment = self.moment.with_block(block)
            self.kept += len(block)
            self.keep(block)

    def _show(self) -> None:
        now_s = self.system.now()
        if now_s - self.shown_s < 0.1:
            return
        played = self.state.played
        of_s = self.seconds if played is None else len(played) / self.route.rate + SETTLE_S + TAIL_S
        self.look(Glance(self.kept / self.route.rate, of_s, self.moment))
        self.moment, self.shown_s = Meter(), now_s
