"""Sound cards that exist only in a test: time goes by when it is waited for, and the output comes back as the input."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from dustcap.bench.audio import Device

RATE = 48_000
LINE = Device(0, "line", "test", 2, 0, RATE, default_input=True)
BOX = Device(1, "box", "test", 0, 2, RATE, default_output=True)


class FakeStream:
    """A stream that runs between enter and exit."""

    def __init__(self, cards):
        self.cards, self.active = cards, False

    def __enter__(self):
        self.active = True
        return self

    def __exit__(self, *_):
        self.active = False


@dataclass
class Cards:
    """An interface with a loop from output to input, `delay` samples long, `gain` strong.

    `lose` samples are left out of the input at sample `lose_at`; the input stands still from `still_at`, the output
    from `mute_at`; the driver complains at sample `flag_at`.
    """

    delay: int = 1414
    gain: float = 1.0
    noise: float = 0.0
    lose_at: int | None = None
    lose: int = 256
    still_at: int | None = None
    mute_at: int | None = None
    flag_at: int | None = None
    block: int = 480
    found: tuple = (LINE, BOX)
    clock: int = 0
    out: list = field(default_factory=list)
    sent: int = 0
    wire: np.ndarray = field(default_factory=lambda: np.zeros(0, np.float32))

    def __post_init__(self):
        self.generator = np.random.default_rng(27)
        self.heard = self.wanted = self.going_out = self.coming_in = None
        self.given = 0

    def devices(self):
        return self.found

    def input(self, device, channels, rate, heard):
        self.channels, self.heard = channels, heard
        self.coming_in = FakeStream(self)
        return self.coming_in

    def output(self, device, channels, rate, wanted):
        self.out_channels, self.wanted = channels, wanted
        self.going_out = FakeStream(self)
        return self.going_out

    def now(self):
        return self.clock / RATE

    def wait(self, seconds):
        for _ in range(max(round(seconds * RATE / self.block), 1)):
            self.step()

    def step(self):
        """One block of time."""
        self.clock += self.block
        played = np.zeros(self.block, np.float32)
        if self.going_out and self.going_out.active and (self.mute_at is None or self.clock < self.mute_at):
            buffer = np.full((self.block, self.out_channels), 9.0, np.float32)
            self.going_out.active = self.wanted(buffer, "")
            played = buffer[:, 0].copy()
            self.out.append(played)
        self.wire = np.concatenate([self.wire, played])
        if self.coming_in and self.coming_in.active and (self.still_at is None or self.clock < self.still_at):
            start = len(self.wire) - self.block - self.delay
            piece = np.concatenate(
                [np.zeros(max(-start, 0), np.float32), self.wire[max(start, 0) : start + self.block]]
            )
            piece = self.gain * piece[: self.block] + self.noise * self.generator.standard_normal(self.block)
            piece = np.clip(piece, -1, 1).astype(np.float32)
            flag = "input overflow" if self.flag_at is not None and 0 <= self.clock - self.flag_at < self.block else ""
            if self.lose_at is not None and 0 <= self.clock - self.lose_at < self.block:
                piece = piece[self.lose :]
            self.heard(np.repeat(piece[:, None], self.channels, axis=1), flag)
