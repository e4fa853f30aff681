"""Everything that one recording tells, in one result.

Each block is computed by itself; a block that cannot be given is none and named in `refused` with the reason, and the
rest goes on. Only a recording that carries no answer at all is refused as a whole.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from dustcap.errors import InputError, SignalError
from dustcap.sound.align import align
from dustcap.sound.evidence import evidence_of
from dustcap.sound.foreign import align_foreign
from dustcap.sound.health import held
from dustcap.sound.pair_take import pair_in_take
from dustcap.sound.pilots import Found, find_layout
from dustcap.sound.played import DROPOUT_DO, SWEEP_BLOCKS, Setting, add_foreign, add_played
from dustcap.sound.response import PISTON_DIAMETER_M, SMOOTHING
from dustcap.sound.result import SHORTEST_S, ListenResult
from dustcap.sound.stimulus import RATES_HZ, Samples, Stimulus
from dustcap.sound.thump import thump_of

AFTER_SWITCH_S = 1.0  # after the switch, or after the mute lets go


def listen_to(
    samples: NDArray[np.floating],
    rate: float,
    *,
    channel: int | None = None,
    near_field: bool = False,
    power_on: bool = False,
    stimulus: Stimulus | None = None,
    gate_s: float | None = None,
    diameter_m: float = PISTON_DIAMETER_M,
    smoothing: int = SMOOTHING,
    pair: bool = False,
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
    power_on : bool
        Nothing is played; the recording begins before the mains switch is thrown.
    stimulus : Stimulus, optional
        What was played, if not the test recording.
    gate_s : float, optional
        Length of the response's gate, s.
    diameter_m : float
        Of the diaphragm, for the near field: it is valid up to ka = 1.
    smoothing : int
        Denominator of the octave fraction over which the response is averaged, 1 to 48.
    pair : bool
        Channels 1 and 2 hold two loudspeakers in one take: they are compared.

    Raises
    ------
    InputError
        If the rate, the channel or a sample is outside its domain.
    SignalError
        If the recording is silent or shorter than a second.
    """
    channels = _channels(samples, rate)
    if not 0.01 <= diameter_m <= 1.0:
        raise InputError(
            f"a diaphragm of {diameter_m * 1000:g} mm is outside the range.", where="diameter", mend="10 to 1000 mm."
        )
    if not 1 <= smoothing <= 48:
        raise InputError(
            f"smoothing over 1/{smoothing} octave is outside the range.", where="smoothing", mend="Give 1 to 48."
        )
    if gate_s is not None and not 1e-3 <= gate_s <= 0.5:
        raise InputError(f"a gate of {gate_s * 1e3:g} ms is outside the range.", where="gate", mend="Give 1 to 500 ms.")
    number, wave, found, all_found = _choose(channels, rate, channel, every=pair)
    if found is not None or stimulus is not None or power_on:
        wave = wave.astype(float)  # hours of mere noise are worked on piece by piece, as they come
    result = ListenResult(rate, number)
    setting = Setting(near_field, gate_s, diameter_m, smoothing)
    if power_on:
        _add_switch(result, wave)
    elif found is not None:
        add_played(result, wave, align(wave, rate, found), setting)
    else:
        foreign = align_foreign(wave, rate, stimulus.samples, stimulus.rate) if stimulus is not None else None
        if foreign is not None:
            add_foreign(result, wave, foreign, setting)
        else:
            _add_unplayed(result, wave, stimulus is not None)
    if pair:
        result.pair = result.attempt("pair", lambda: pair_in_take(channels, rate, all_found))
    result.evidence = evidence_of(result.rest, result.irregular, result.sweep_dbfs, result.response, result.polarity)
    return result


def _add_switch(result: ListenResult, wave: Samples) -> None:
    """Thump, and the noise after things have settled."""
    rate = result.sample_rate
    result.add_clipping(wave)
    result.thump = result.attempt("thump", lambda: thump_of(wave, rate))
    if result.thump is None:
        return
    settled_s = result.thump.switch_s + (result.thump.unmute_after_s or 0.0) + AFTER_SWITCH_S
    if settled_s + SHORTEST_S < wave.size / rate:
        result.add_rest(wave, ((settled_s, wave.size / rate),))
    else:
        result.refuse(("noise", "crackle"), "the recording ends before things settle.", "Wait ten seconds longer.")


def _add_unplayed(result: ListenResult, wave: Samples, named: bool) -> None:
    """A recording in which no stimulus was found, although one may have been named: all of it is noise."""
    if named:
        why = "the stimulus that was named is not in the recording."
        result.refuse(SWEEP_BLOCKS, why, "Check which file was played.")
    result.add_clipping(wave)
    holes = held(wave, result.sample_rate)
    if holes:
        result.warn("dropouts", holes, DROPOUT_DO)
    result.add_rest(wave, ((0.0, wave.size / result.sample_rate),))


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


def _choose(
    channels: NDArray[np.floating], rate: float, channel: int | None, *, every: bool
) -> tuple[int, Samples, Found | None, tuple[Found | None, ...]]:
    """Number from 1, samples, and layout of the channel to analyse; layouts of all channels that were looked at."""
    if channel is not None and not 1 <= channel <= len(channels):
        count = f"{len(channels)} channel{'s' if len(channels) > 1 else ''}"
        raise InputError(
            f"there is no channel {channel}: the recording has {count}.",
            where="channel",
            mend=f"Choose 1 to {len(channels)}.",
        )
    numbers = range(1, len(channels) + 1) if channel is None or every else (channel,)
    alive = [number for number in numbers if np.ptp(channels[number - 1]) > 0]
    if not alive:
        raise SignalError(
            "the recording is silent: every sample is the same.",
            where="sound.listen",
            mend="Check the input and its level, and record again.",
        )
    found = {number: find_layout(channels[number - 1], rate) for number in alive}
    clear = {number: each.score for number, each in found.items() if each is not None}
    best = channel or (max(clear, key=lambda number: clear[number]) if clear else alive[0])
    return best, channels[best - 1], found.get(best), tuple(found.get(number) for number in numbers)
