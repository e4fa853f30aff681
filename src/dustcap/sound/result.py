"""The result of listening to one channel, filled block by block."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np

from dustcap.errors import SignalError
from dustcap.sound.evidence import Evidence
from dustcap.sound.harmonics import Harmonics
from dustcap.sound.health import Refusal, Remark, Stretches, clipped
from dustcap.sound.irregular import Irregular
from dustcap.sound.noise import Rest, rest_of
from dustcap.sound.pair import Pair
from dustcap.sound.polarity import Polarity
from dustcap.sound.response import FrequencyResponse
from dustcap.sound.spectra import LEAST_POWER
from dustcap.sound.stimulus import Samples
from dustcap.sound.thump import Thump

T = TypeVar("T")
Windows = tuple[tuple[float, float], ...]

SPEECH, SPEECH_DO = "speech, left out of noise and crackle,", "record in a quiet room"
SHORTEST_S = 1.0  # of a recording, and of a quiet stretch in it


@dataclass(slots=True)
class ListenResult:
    """What one channel of a recording tells; fields as in the document of `dustcap listen`, none where refused.

    `rest_power` is the mean square of the quiet gap.
    """

    sample_rate: float
    channel: int
    found_stimulus: bool = False
    stimulus: str | None = None
    clock_skew_ppm: float | None = None
    snr_db: float | None = None
    rest_power: float | None = None
    warnings: list[Remark] = field(default_factory=list)
    refused: list[Refusal] = field(default_factory=list)
    response: FrequencyResponse | None = None
    harmonics: Harmonics | None = None
    irregular: Irregular | None = None
    rest: Rest | None = None
    polarity: Polarity | None = None
    thump: Thump | None = None
    pair: Pair | None = None
    evidence: tuple[Evidence, ...] = ()

    def attempt(self, block: str, compute: Callable[[], T]) -> T | None:
        """The value of a block, or none with its refusal noted."""
        try:
            return compute()
        except SignalError as refusal:
            self.refused.append(Refusal(block, refusal.what, refusal.mend))
            return None

    def refuse(self, blocks: tuple[str, ...], why: str, do: str) -> None:
        """Blocks that cannot be given, why, and what would help."""
        self.refused += [Refusal(block, why, do) for block in blocks]

    def warn(self, what: str, where: Stretches, do: str, why: str = "") -> None:
        """Something that weakens the results: where in the recording, and what would help."""
        self.warnings.append(Remark(what, where, do, why))

    def add_clipping(self, wave: Samples) -> Stretches:
        """Clipped stretches, noted."""
        flat = clipped(wave, self.sample_rate)
        if flat:
            self.warn("clipping", flat, "lower the recording level by 6 dB")
        return flat

    def add_rest(self, wave: Samples, windows: Windows) -> None:
        """Noise, hum and crackle of the quiet windows."""
        if not windows:
            do = "Record the whole test recording."
            self.refuse(("noise", "crackle"), "no quiet gap is in the recording.", do)
            return
        self.rest = self.attempt("noise", lambda: rest_of(wave, self.sample_rate, windows))
        if self.rest is None:
            noise = self.refused[-1]
            self.refuse(("crackle",), noise.why, noise.do)
            return
        if self.rest.speech:
            self.warn(SPEECH, self.rest.speech, SPEECH_DO)
        if self.rest.crackle_refused is not None:
            self.refuse(("crackle",), self.rest.crackle_refused.what, self.rest.crackle_refused.mend)

    def add_ratio(self, signal: Samples, rest: Samples) -> float:
        """R.m.s. of the signal against r.m.s. of the rest, dB; the rest no quieter than 24-bit rounding."""
        self.rest_power = max(float(np.var(rest)), LEAST_POWER)
        ratio_db = float(10 * np.log10(max(float(np.var(signal)), LEAST_POWER) / self.rest_power))
        self.snr_db = ratio_db
        return ratio_db

    @property
    def sweep_dbfs(self) -> float | None:
        """R.m.s. of the recorded sweep against a full-scale sine."""
        if self.snr_db is None or self.rest_power is None:
            return None
        return self.snr_db + 10 * float(np.log10(2 * self.rest_power))


def joined(wave: Samples, rate: float, windows: Windows) -> Samples:
    """The quiet stretches end to end."""
    pieces = [wave[round(begin * rate) : round(end * rate)] for begin, end in windows]
    return np.concatenate(pieces) if pieces else np.zeros(0)
