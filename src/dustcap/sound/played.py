"""Blocks of a recording in which something was played: the test recording, or a stimulus made elsewhere."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dustcap.sound.align import Alignment
from dustcap.sound.cut import BEFORE_S
from dustcap.sound.foreign import ForeignAlignment, foreign_response, foreign_windows
from dustcap.sound.harmonics import harmonics_of
from dustcap.sound.health import (
    LEVEL_REFUSE_DB,
    LEVEL_WARN_DB,
    Ranges,
    Stretches,
    interrupted,
    outside,
    overlaps,
    spoiled_hz,
    uneven_db,
)
from dustcap.sound.irregular import irregular_of
from dustcap.sound.pilots import SKEW_LIMIT
from dustcap.sound.polarity import Polarity, polarity_of
from dustcap.sound.response import PISTON_DIAMETER_M, SMOOTHING, frequency_response, grid_hz, impulse_and_gate
from dustcap.sound.result import SHORTEST_S, ListenResult, Windows, joined
from dustcap.sound.stimulus import START_HZ, STOP_HZ, Samples
from dustcap.sound.sweep import SweepResponse, sweep_response

SETTLE_S = 0.5  # after anything played, before the room counts as quiet
AHEAD_S = 0.05  # and before the next thing played
FRAME_S, AFTERWARDS_S = 0.05, 0.2
LOW_SNR_DB = 20.0
SKEW_SURE_PPM = 1.0
LEAST_CLEAN = 0.6  # of the sweep's octaves, without clipping
DROPOUT_DO = "record again, with nothing else running; check cable and buffer size"
SWEEP_BLOCKS = ("response", "harmonics", "irregular", "polarity")


@dataclass(frozen=True, slots=True)
class Setting:
    """How the response is to be taken: in the near field of a diaphragm or not, and a gate in seconds if given."""

    near_field: bool = False
    gate_s: float | None = None
    diameter_m: float = PISTON_DIAMETER_M
    smoothing: int = SMOOTHING


def add_played(result: ListenResult, wave: Samples, alignment: Alignment, setting: Setting) -> None:
    """Blocks of a recording of the test recording."""
    rate = result.sample_rate
    result.found_stimulus, result.stimulus = True, alignment.layout.name
    _clock(result, alignment)
    flat = result.add_clipping(wave)
    holes = interrupted(wave, rate, alignment)
    if holes:
        result.warn("dropouts", holes, DROPOUT_DO)
    windows = quiet_windows(wave, rate, alignment)
    rest = joined(wave, rate, windows or _after_sweep(alignment, wave.size / rate))
    _levels(result, wave, alignment, rest, flat + holes)
    result.add_rest(wave, windows)
    blocks = _blocks_left(result, alignment, flat, holes)
    sweep = result.attempt("response", lambda: sweep_response(wave, rate, alignment, rest)) if blocks else None
    if sweep is not None:
        given = _Given(alignment, sweep, rest, spoiled_hz(alignment, flat))
        _sweep_blocks(result, wave, given, blocks, setting)
    elif blocks:  # the sweep is cut: its reason holds for all of them
        cut = result.refused[-1]
        result.refuse(SWEEP_BLOCKS[1:], cut.why, cut.do)


def add_foreign(result: ListenResult, wave: Samples, alignment: ForeignAlignment, setting: Setting) -> None:
    """Blocks of a recording of a stimulus made elsewhere."""
    rate = result.sample_rate
    result.found_stimulus, result.stimulus = True, "foreign"
    result.clock_skew_ppm = alignment.skew_ppm
    if alignment.skew_error_ppm > SKEW_SURE_PPM:
        why = f"standard error {alignment.skew_error_ppm:.0f} ppm"
        result.warn("clock skew uncertain", (), "use the test recording where the clock matters", why)
    flat = result.add_clipping(wave)
    windows = foreign_windows(alignment, rate, wave.size / rate)
    rest = joined(wave, rate, windows)
    result.add_rest(wave, windows)
    if rest.size:
        result.add_ratio(wave[max(round(alignment.start_s * rate), 0) :][: alignment.played.size], rest)
    result.refuse(("irregular",), "it needs the test recording's own sweep.", "Play the test recording.")
    sweep = result.attempt("response", lambda: foreign_response(wave, rate, alignment))
    if sweep is None:
        cut = result.refused[-1]
        result.refuse(("harmonics", "polarity"), cut.why, cut.do)
        return
    result.response = result.attempt(
        "response",
        lambda: frequency_response(
            sweep,
            rest,
            near_field=setting.near_field,
            gate_s=setting.gate_s,
            diameter_m=setting.diameter_m,
            smoothing=setting.smoothing,
        ),
    )
    _polarity(result, sweep, rest)
    if sweep.rate_s > 0 and not flat:
        result.harmonics = result.attempt("harmonics", lambda: harmonics_of(sweep, rest))
    else:
        why = "the recording is clipped." if flat else "the stimulus is not an exponential sweep."
        result.refuse(("harmonics",), why, "Play the test recording, at a lower recording level.")


def quiet_windows(wave: Samples, rate: float, alignment: Alignment) -> Windows:
    """Stretches of the recording, in seconds, in which the test recording is at rest and the room has died away."""
    spans = []
    for gap in alignment.layout.part("rest"):
        begin_s = max(alignment.heard(gap.start_s) + SETTLE_S, 0.0)
        end_s = min(alignment.heard(gap.stop_s) - AHEAD_S, wave.size / rate)
        if end_s - begin_s >= SHORTEST_S:
            spans.append((_died_away(wave, rate, begin_s, end_s), end_s))
    return tuple((begin, end) for begin, end in spans if end - begin >= SHORTEST_S)


def _died_away(wave: Samples, rate: float, begin_s: float, end_s: float) -> float:
    """When the level has come down to that of the second half, looked at without the lows; at half time at the latest.

    Frames of 50 ms, one that is down itself and the median of six, so that one event does not put the moment off.
    """
    piece = np.diff(wave[round(begin_s * rate) : round(end_s * rate)])
    length = round(FRAME_S * rate)
    frames = piece[: piece.size // length * length].reshape(-1, length)
    level = np.sqrt(np.mean(frames**2, axis=1))
    floor = float(np.median(level[level.size // 2 :]))
    for k in range(level.size // 2):
        if max(level[k], np.median(level[k : k + 6])) <= 1.05 * floor:
            return float(begin_s + (k * FRAME_S + AFTERWARDS_S if k else 0.0))
    return float(begin_s + level.size // 2 * FRAME_S)


def _after_sweep(alignment: Alignment, seconds: float) -> Windows:
    """Where no rest was recorded, the second half of the gap after the sweep: the room may still be dying away."""
    decay = alignment.layout.part("decay")[0]
    begin_s = alignment.heard(decay.start_s + decay.seconds / 2)
    end_s = min(alignment.heard(decay.stop_s) - AHEAD_S, seconds)
    return ((begin_s, end_s),) if begin_s > 0 and end_s - begin_s > 0.2 else ()


@dataclass(frozen=True, slots=True)
class _Given:
    """What the blocks of the sweep are made from."""

    alignment: Alignment
    sweep: SweepResponse
    rest: Samples
    spoiled_hz: Ranges


def _sweep_blocks(
    result: ListenResult, wave: Samples, given: _Given, blocks: tuple[str, ...], setting: Setting
) -> None:
    sweep, rest, spoiled = given.sweep, given.rest, given.spoiled_hz
    if "response" in blocks:
        result.response = result.attempt(
            "response",
            lambda: frequency_response(
                sweep,
                rest,
                near_field=setting.near_field,
                gate_s=setting.gate_s,
                diameter_m=setting.diameter_m,
                smoothing=setting.smoothing,
                spoiled_hz=spoiled,
            ),
        )
    result.harmonics = result.attempt("harmonics", lambda: harmonics_of(sweep, rest, spoiled_hz=spoiled))
    _polarity(result, sweep, rest)
    crackle = result.rest.crackle if result.rest else None
    restless = crackle is None or crackle.found  # where it could not be looked for it may be there
    lines_hz = tuple(line.hz for line in result.rest.noise.hum) if result.rest else ()
    result.irregular = result.attempt(
        "irregular",
        lambda: irregular_of(
            wave,
            result.sample_rate,
            given.alignment,
            sweep,
            rest,
            restless=restless,
            lines_hz=lines_hz,
            spoiled_hz=spoiled,
        ),
    )


def _polarity(result: ListenResult, sweep: SweepResponse, rest: Samples) -> None:
    def compute() -> Polarity:
        impulse, gate = impulse_and_gate(sweep, rest)
        return polarity_of(impulse, sweep.rate, BEFORE_S + gate.direct_s, snr_db=result.snr_db or 0.0)

    result.polarity = result.attempt("polarity", compute)


def _clock(result: ListenResult, alignment: Alignment) -> None:
    if not alignment.broken_s:
        result.clock_skew_ppm = alignment.skew_ppm
    for seen, which in zip(alignment.pilots, ("first", "second"), strict=True):
        if not seen:
            do = "start recording before the test recording plays and stop after its last chirp"
            result.warn(f"{which} pilot missing", (), do)
    if alignment.skew_error_ppm > SKEW_SURE_PPM and not alignment.broken_s:
        why = f"standard error {alignment.skew_error_ppm:.1f} ppm"
        result.warn("clock skew uncertain", (), "record the whole test recording, nearer or louder", why)


def _levels(result: ListenResult, wave: Samples, alignment: Alignment, rest: Samples, spoiled: Stretches) -> None:
    """Signal-to-noise ratio, and whether the recording level held still."""
    rate, sweep = result.sample_rate, alignment.layout.sweep
    begin, end = (round(alignment.heard(time_s) * rate) for time_s in (sweep.start_s, sweep.stop_s))
    whole = begin >= 0 and end <= wave.size and rest.size > 0
    if whole and result.add_ratio(wave[begin:end], rest) < LOW_SNR_DB:
        result.warn("low signal-to-noise ratio", (), "go nearer, play louder, or silence the room")
    uneven = uneven_db(alignment, spoiled)
    if uneven > LEVEL_WARN_DB:
        why = f"a chirp stands {uneven:.1f} dB off its due level"
        do = "switch off automatic gain and voice processing; if they are off, the loudspeaker itself limits"
        result.warn("level not held", (), do, why)


def _blocks_left(result: ListenResult, alignment: Alignment, flat: Stretches, holes: Stretches) -> tuple[str, ...]:
    """Blocks of the sweep that the recording's faults leave; the others are refused."""
    sweep = alignment.layout.sweep
    begin_s, end_s = alignment.heard(sweep.start_s), alignment.heard(sweep.stop_s)
    if alignment.broken_s or abs(alignment.skew_ppm) > SKEW_LIMIT * 1e6:
        why = "samples were lost or added: the chirps do not fit one clock."
        result.warn("samples lost or added", (), DROPOUT_DO)
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
