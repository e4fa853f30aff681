"""Everything that one recording tells, in one result.

Each block is computed by itself; a block that cannot be given is none and named in `refused` with the reason, and the
rest goes on. Only a recording that carries no answer at all is refused as a whole.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from dustcap.errors import InputError, SignalError
from dustcap.sound.align import Alignment, align
from dustcap.sound.foreign import ForeignAlignment, align_foreign, foreign_response, foreign_windows
from dustcap.sound.harmonics import Harmonics, harmonics_of
from dustcap.sound.health import (
    LEVEL_REFUSE_DB,
    LEVEL_WARN_DB,
    Ranges,
    Refusal,
    Remark,
    Stretches,
    clipped,
    held,
    interrupted,
    outside,
    overlaps,
    spoiled_hz,
    uneven_db,
)
from dustcap.sound.irregular import Irregular, irregular_of
from dustcap.sound.noise import Rest, rest_of
from dustcap.sound.pilots import Found, find_layout
from dustcap.sound.response import FrequencyResponse, frequency_response, grid_hz
from dustcap.sound.spectra import LEAST_POWER
from dustcap.sound.stimulus import RATES_HZ, START_HZ, STOP_HZ, Samples, Stimulus
from dustcap.sound.sweep import SweepResponse, sweep_response

T = TypeVar("T")

SHORTEST_S = 1.0
SETTLE_S = 0.5  # after anything played, before the room counts as quiet
AHEAD_S = 0.05  # and before the next thing played
LOW_SNR_DB = 20.0
SKEW_SURE_PPM = 1.0
LEAST_CLEAN = 0.6  # of the sweep's octaves, without clipping
DROPOUT_DO = "record again, with nothing else running; check cable and buffer size"
SWEEP_BLOCKS = ("response", "harmonics", "irregular")


@dataclass(slots=True)
class ListenResult:
    """What one channel of a recording tells; fields as in the document of `dustcap listen`, none where refused."""

    sample_rate: float
    channel: int
    found_stimulus: bool = False
    stimulus: str | None = None
    clock_skew_ppm: float | None = None
    snr_db: float | None = None
    warnings: list[Remark] = field(default_factory=list)
    refused: list[Refusal] = field(default_factory=list)
    response: FrequencyResponse | None = None
    harmonics: Harmonics | None = None
    irregular: Irregular | None = None
    rest: Rest | None = None

    def attempt(self, block: str, compute: Callable[[], T]) -> T | None:
        """The value of a block, or none with its refusal noted."""
        try:
            return compute()
        except SignalError as refusal:
            self.refused.append(Refusal(block, refusal.what, refusal.mend))
            return None

    def refuse(self, blocks: tuple[str, ...], why: str, do: str) -> None:
        self.refused += [Refusal(block, why, do) for block in blocks]

    def warn(self, what: str, where: Stretches, do: str, why: str = "") -> None:
        self.warnings.append(Remark(what, where, do, why))


def listen_to(
    samples: NDArray[np.floating],
    rate: float,
    *,
    channel: int | None = None,
    near_field: bool = False,
    stimulus: Stimulus | None = None,
    gate_s: float | None = None,
) -> ListenResult:
    """Analyse one recording.

    Parameters
    ----------
    samples : ndarray, shape (channels, n) or (n,)
        The recording, full scale 1.
    rate : float
        Its sample rate, 44.1 to 192 kHz.
    channel : int, optional
        Channel to use, counted from 1; the one with the clearest pilots if left out.
    near_field : bool
        The microphone stands at the diaphragm.
    stimulus : Stimulus, optional
        What was played, if not the test recording.
    gate_s : float, optional
        Length of the response's gate, s.

    Raises
    ------
    InputError
        If the rate, the channel or a sample is outside its domain.
    SignalError
        If the recording is silent or shorter than a second.
    """
    channels = _channels(samples, rate)
    number, wave, found = _choose(channels, rate, channel)
    result = ListenResult(rate, number)
    if found is not None:
        _with_layout(result, wave, align(wave, rate, found), near_field, gate_s)
        return result
    foreign = align_foreign(wave, rate, stimulus.samples, stimulus.rate) if stimulus else None
    if foreign is not None:
        _with_foreign(result, wave, foreign, near_field, gate_s)
        return result
    if stimulus is not None:
        why, do = "the stimulus that was named is not in the recording.", "Check which file was played."
        result.refuse(SWEEP_BLOCKS, why, do)
    _clipping(result, wave)
    holes = held(wave, rate)
    if holes:
        result.warn("dropouts", holes, DROPOUT_DO)
    result.rest = result.attempt("noise", lambda: rest_of(wave, rate))
    _crackle_refusal(result)
    return result


def _channels(samples: NDArray[np.floating], rate: float) -> NDArray[np.floating]:
    channels = np.atleast_2d(np.asarray(samples))
    if not RATES_HZ[0] <= rate <= RATES_HZ[1]:
        raise InputError(
            f"a sample rate of {rate:g} Hz is outside the range.",
            where="sound.listen",
            mend=f"Record at {RATES_HZ[0]} to {RATES_HZ[1]} Hz.",
        )
    if channels.ndim != 2 or channels.shape[1] < 2 or not np.isfinite(channels).all():
        raise InputError(
            "the samples are not channels of finite numbers.", where="sound.listen", mend="Export the recording again."
        )
    if channels.shape[1] < SHORTEST_S * rate:
        raise SignalError(
            f"the recording lasts {channels.shape[1] / rate:.2g} s.",
            where="sound.listen",
            mend="Record ten seconds or more.",
        )
    return channels


def _choose(channels: NDArray[np.floating], rate: float, channel: int | None) -> tuple[int, Samples, Found | None]:
    """Number from 1, samples, and layout of the channel to analyse."""
    if channel is not None and not 1 <= channel <= len(channels):
        count = f"{len(channels)} channel{'s' if len(channels) > 1 else ''}"
        raise InputError(
            f"there is no channel {channel}: the recording has {count}.",
            where="channel",
            mend=f"Choose 1 to {len(channels)}.",
        )
    numbers = range(1, len(channels) + 1) if channel is None else (channel,)
    alive = [number for number in numbers if np.ptp(channels[number - 1]) > 0]
    if not alive:
        raise SignalError(
            "the recording is silent: every sample is the same.",
            where="sound.listen",
            mend="Check the input and its level, and record again.",
        )
    found = {number: find_layout(channels[number - 1], rate) for number in alive}
    clear = {number: each.score for number, each in found.items() if each is not None}
    best = max(clear, key=lambda number: clear[number]) if clear else alive[0]
    return best, channels[best - 1].astype(float), found[best]


def _with_layout(
    result: ListenResult, wave: Samples, alignment: Alignment, near_field: bool, gate_s: float | None
) -> None:
    rate = result.sample_rate
    result.found_stimulus, result.stimulus = True, alignment.layout.name
    _clock(result, alignment)
    flat = _clipping(result, wave)
    holes = interrupted(wave, rate, alignment)
    if holes:
        result.warn("dropouts", holes, DROPOUT_DO)
    windows = quiet_windows(alignment, wave.size / rate)
    rest = _joined(wave, rate, windows)
    _levels(result, wave, alignment, rest, flat + holes)
    if rest.size:
        result.rest = result.attempt("noise", lambda: rest_of(wave, rate, windows))
        _crackle_refusal(result)
    else:
        result.refuse(("noise", "crackle"), "no quiet gap is in the recording.", "Record the whole test recording.")
    blocks = _blocks_left(result, alignment, flat, holes)
    sweep = result.attempt("response", lambda: sweep_response(wave, rate, alignment, rest)) if blocks else None
    if sweep is None:
        if blocks:  # the sweep is cut: its reason holds for all three
            cut = result.refused[-1]
            result.refuse(SWEEP_BLOCKS[1:], cut.why, cut.do)
        return
    given = _Given(alignment, sweep, rest, spoiled_hz(alignment, flat))
    _sweep_blocks(result, wave, given, blocks, near_field, gate_s)


@dataclass(frozen=True, slots=True)
class _Given:
    """What the blocks of the sweep are made from."""

    alignment: Alignment
    sweep: SweepResponse
    rest: Samples
    spoiled_hz: Ranges


def _sweep_blocks(
    result: ListenResult, wave: Samples, given: _Given, blocks: tuple[str, ...], near_field: bool, gate_s: float | None
) -> None:
    sweep, rest, spoiled = given.sweep, given.rest, given.spoiled_hz
    if "response" in blocks:
        result.response = result.attempt(
            "response",
            lambda: frequency_response(sweep, rest, near_field=near_field, gate_s=gate_s, spoiled_hz=spoiled),
        )
    result.harmonics = result.attempt("harmonics", lambda: harmonics_of(sweep, rest, spoiled_hz=spoiled))
    crackle = result.rest.crackle if result.rest else None
    restless = crackle is not None and crackle.found
    result.irregular = result.attempt(
        "irregular",
        lambda: irregular_of(
            wave, result.sample_rate, given.alignment, sweep, rest, restless=restless, spoiled_hz=spoiled
        ),
    )


def _with_foreign(
    result: ListenResult, wave: Samples, alignment: ForeignAlignment, near_field: bool, gate_s: float | None
) -> None:
    rate = result.sample_rate
    result.found_stimulus, result.stimulus = True, "foreign"
    result.clock_skew_ppm = alignment.skew_ppm
    if alignment.skew_error_ppm > SKEW_SURE_PPM:
        why = f"standard error {alignment.skew_error_ppm:.0f} ppm"
        result.warn("clock skew uncertain", (), "use the test recording where the clock matters", why)
    flat = _clipping(result, wave)
    windows = foreign_windows(alignment, rate, wave.size / rate)
    rest = _joined(wave, rate, windows)
    if windows:
        result.rest = result.attempt("noise", lambda: rest_of(wave, rate, windows))
        _crackle_refusal(result)
    else:
        result.refuse(("noise", "crackle"), "the stimulus leaves no quiet gap.", "Use the test recording.")
    if rest.size:
        result.snr_db = _ratio_db(wave[max(round(alignment.start_s * rate), 0) :][: alignment.played.size], rest)
    sweep = result.attempt("response", lambda: foreign_response(wave, rate, alignment))
    result.refuse(("irregular",), "it needs the test recording's own sweep.", "Play the test recording.")
    if sweep is None:
        return
    result.response = result.attempt(
        "response", lambda: frequency_response(sweep, rest, near_field=near_field, gate_s=gate_s)
    )
    if sweep.rate_s > 0 and not flat:
        result.harmonics = result.attempt("harmonics", lambda: harmonics_of(sweep, rest))
    else:
        why = "the recording is clipped." if flat else "the stimulus is not an exponential sweep."
        result.refuse(("harmonics",), why, "Play the test recording, at a lower recording level.")


def _crackle_refusal(result: ListenResult) -> None:
    """What is refused with the rest, or by itself."""
    if result.rest is None:
        noise = result.refused[-1]
        result.refuse(("crackle",), noise.why, noise.do)
    elif result.rest.crackle_refused is not None:
        result.refuse(("crackle",), result.rest.crackle_refused.what, result.rest.crackle_refused.mend)


def _clock(result: ListenResult, alignment: Alignment) -> None:
    result.clock_skew_ppm = alignment.skew_ppm
    for seen, which in zip(alignment.pilots, ("first", "second"), strict=True):
        if not seen:
            do = "start recording before the test recording plays and stop after its last chirp"
            result.warn(f"{which} pilot missing", (), do)
    if alignment.skew_error_ppm > SKEW_SURE_PPM:
        why = f"standard error {alignment.skew_error_ppm:.1f} ppm"
        result.warn("clock skew uncertain", (), "record the whole test recording, nearer or louder", why)


def _clipping(result: ListenResult, wave: Samples) -> Stretches:
    flat = clipped(wave, result.sample_rate)
    if flat:
        result.warn("clipping", flat, "lower the recording level by 6 dB")
    return flat


def _levels(result: ListenResult, wave: Samples, alignment: Alignment, rest: Samples, spoiled: Stretches) -> None:
    """Signal-to-noise ratio, and whether the recording level held still."""
    rate, sweep = result.sample_rate, alignment.layout.sweep
    begin, end = (round(alignment.heard(time_s) * rate) for time_s in (sweep.start_s, sweep.stop_s))
    if begin >= 0 and end <= wave.size and rest.size:
        result.snr_db = ratio_db = _ratio_db(wave[begin:end], rest)
        if ratio_db < LOW_SNR_DB:
            result.warn("low signal-to-noise ratio", (), "go nearer, play louder, or silence the room")
    uneven = uneven_db(alignment, spoiled)
    if uneven > LEVEL_WARN_DB:
        why = f"a chirp stands {uneven:.1f} dB off its due level"
        do = "switch off automatic gain and voice processing; if they are off, the loudspeaker itself limits"
        result.warn("level not held", (), do, why)


def _ratio_db(signal: Samples, rest: Samples) -> float:
    """R.m.s. of the signal against r.m.s. of the rest, dB; the rest no quieter than 24-bit rounding."""
    noise = max(float(np.var(rest)), LEAST_POWER)
    return float(10 * np.log10(max(float(np.var(signal)), LEAST_POWER) / noise))


def _blocks_left(result: ListenResult, alignment: Alignment, flat: Stretches, holes: Stretches) -> tuple[str, ...]:
    """Blocks of the sweep that the recording's faults leave; the others are refused."""
    sweep = alignment.layout.sweep
    begin_s, end_s = alignment.heard(sweep.start_s), alignment.heard(sweep.stop_s)
    if alignment.broken_s:
        why = f"samples were lost or added: {abs(alignment.broken_s) * 1e3:.2f} ms between the pilots."
        result.refuse(SWEEP_BLOCKS, why, "Record again, with nothing else running and a larger buffer.")
        return ()
    if overlaps(holes, begin_s, end_s):
        result.refuse(
            SWEEP_BLOCKS, "the recording drops out during the sweep.", "Record again; check cable and buffer."
        )
        return ()
    clean = outside(grid_hz((START_HZ, STOP_HZ)), spoiled_hz(alignment, flat))
    if np.mean(clean) < LEAST_CLEAN:
        result.refuse(SWEEP_BLOCKS, "the recording is clipped during the sweep.", "Lower the recording level by 6 dB.")
        return ()
    if uneven_db(alignment, flat + holes) > LEVEL_REFUSE_DB:
        result.refuse(SWEEP_BLOCKS[:1], "the recording level changed by itself.", "Switch off automatic gain.")
        return SWEEP_BLOCKS[1:]
    return SWEEP_BLOCKS


def quiet_windows(alignment: Alignment, seconds: float) -> tuple[tuple[float, float], ...]:
    """Stretches of the recording, in seconds, in which the test recording is at rest."""
    spans = [
        (max(alignment.heard(gap.start_s) + SETTLE_S, 0.0), min(alignment.heard(gap.stop_s) - AHEAD_S, seconds))
        for gap in alignment.layout.part("rest")
    ]
    return tuple((begin, end) for begin, end in spans if end - begin >= SHORTEST_S)


def _joined(wave: Samples, rate: float, windows: tuple[tuple[float, float], ...]) -> Samples:
    pieces = [wave[round(begin * rate) : round(end * rate)] for begin, end in windows]
    return np.concatenate(pieces) if pieces else np.zeros(0)
