"""Audio devices by PortAudio: which there are, and streams that are opened on them."""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Any, Protocol, cast

import numpy as np
from numpy.typing import NDArray

from dustcap.errors import DeviceError, InputError

Single = NDArray[np.float32]
Heard = Callable[[Single, str], None]
"""Takes a block that came in, shape (frames, channels), and what the driver says of it ("" when all is well)."""
Wanted = Callable[[Single, str], bool]
"""Fills a block to play; gives False once there is nothing more to come."""

LATENCY_S = 0.15  # ours: a busy machine keeps up, and a stop is still heard at once
WHERE = "audio"
ON_DEBIAN = "On Debian: apt install libportaudio2. Recordings made with any other recorder go in with `dustcap listen`."


@dataclass(frozen=True, slots=True)
class Device:
    """One audio device, with its number for `--input` and `--output`."""

    number: int
    name: str
    system: str
    inputs: int
    outputs: int
    rate: float
    default_input: bool = False
    default_output: bool = False


class Stream(AbstractContextManager["Stream"], Protocol):
    """An open stream; it runs within a ``with``."""

    @property
    def active(self) -> bool:
        """Whether it still runs."""
        ...


class AudioSystem(Protocol):
    """What a take needs of the outside world; the tests have one of their own."""

    def input(self, device: Device, channels: int, rate: int, heard: Heard) -> Stream:
        """A stream that hands over what comes in."""
        ...

    def output(self, device: Device, channels: int, rate: int, wanted: Wanted) -> Stream:
        """A stream that asks for what goes out."""
        ...

    def now(self) -> float:
        """Seconds of a clock that only goes forward."""
        ...

    def wait(self, seconds: float) -> None:
        """Let time go by."""
        ...


def find_device(devices: tuple[Device, ...], word: str, *, output: bool) -> Device:
    """The device of that number or name (part of it is enough); the system's default when no word is given.

    Raises
    ------
    DeviceError
        If there is no device at all on that side.
    InputError
        If the word fits none, or more than one.
    """
    side, option = ("output", "--output") if output else ("input", "--input")
    usable = [one for one in devices if (one.outputs if output else one.inputs)]
    if not usable:
        raise DeviceError(f"there is no audio {side} on this machine.", where=WHERE, mend="Connect one and try again.")
    if not word:
        chosen = [one for one in usable if (one.default_output if output else one.default_input)]
        return chosen[0] if chosen else usable[0]
    exact = [one for one in usable if word == one.name or word == str(one.number)]
    found = exact or [one for one in usable if word.lower() in one.name.lower()]
    if len(found) != 1:
        listed = ", ".join(f"{one.number} {one.name}" for one in (found or usable))
        what = "fits more than one" if found else "is none of them"
        raise InputError(f"{word!r} {what}.", where=option, mend=f"Name one of: {listed}.")
    return found[0]


class PortAudio:
    """The sound cards of this machine.

    Streams leave the length of a block to the driver: with a fixed length some servers lose samples without a word.

    Raises
    ------
    DeviceError
        If PortAudio is not there.
    """

    def __init__(self) -> None:
        try:
            import sounddevice  # type: ignore[import-untyped]
        except (ImportError, OSError) as error:
            raise DeviceError("PortAudio is not installed.", where=WHERE, mend=ON_DEBIAN) from error
        self._library: Any = sounddevice

    def devices(self) -> tuple[Device, ...]:
        """Every device, in PortAudio's order."""
        try:
            systems = [one["name"] for one in self._library.query_hostapis()]
            rows = list(self._library.query_devices())
            first, second = self._library.default.device
        except self._library.PortAudioError as error:
            raise _failed("the audio system does not answer", error) from error
        return tuple(
            Device(
                number=number,
                name=str(row["name"]),
                system=str(systems[row["hostapi"]]),
                inputs=int(row["max_input_channels"]),
                outputs=int(row["max_output_channels"]),
                rate=float(row["default_samplerate"]),
                default_input=number == first,
                default_output=number == second,
            )
            for number, row in enumerate(rows)
        )

    def input(self, device: Device, channels: int, rate: int, heard: Heard) -> Stream:
        """A stream that hands over what comes in, at once after the ``with`` begins."""

        def called(block: Single, _frames: int, _times: object, status: object) -> None:
            heard(block, str(status) if status else "")

        return self._opened(self._library.InputStream, device, channels, rate, called)

    def output(self, device: Device, channels: int, rate: int, wanted: Wanted) -> Stream:
        """A stream that asks for what goes out until it is told that there is no more."""

        def called(block: Single, _frames: int, _times: object, status: object) -> None:
            if not wanted(block, str(status) if status else ""):
                raise self._library.CallbackStop

        return self._opened(self._library.OutputStream, device, channels, rate, called)

    def _opened(self, kind: Any, device: Device, channels: int, rate: int, called: Callable[..., None]) -> Stream:
        try:
            stream = kind(
                device=device.number,
                channels=channels,
                samplerate=rate,
                dtype="float32",
                blocksize=0,
                latency=LATENCY_S,
                callback=called,
            )
        except (self._library.PortAudioError, ValueError) as error:
            raise _failed(f"{device.name} does not open at {rate} Hz with {channels} channels", error) from error
        return cast("Stream", stream)

    def now(self) -> float:
        """The machine's monotonic clock."""
        return time.monotonic()

    def wait(self, seconds: float) -> None:
        """Sleep."""
        time.sleep(seconds)


def _failed(what: str, error: Exception) -> DeviceError:
    why = " ".join(str(error.args[0] if error.args else error).split())
    return DeviceError(f"{what} ({why}).", where=WHERE, mend="`dustcap record --devices` lists what there is.")
