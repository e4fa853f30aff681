"""Polarity of the drivers from the impulse response: the sign with which each one's first arrival sets out.

A crossover, the box and a microphone turn the phase but not the sign of the very first movement, so the first lobe of
the impulse response counts, seen in the woofer's low band and, for the tweeter, over the whole band.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from dustcap.errors import SignalError

Floats = NDArray[np.float64]

LEAST_SNR_DB = 20.0
WOOFER_HZ, TWEETER_HZ = 800.0, 13000.0  # ours: -6 dB of the Gaussian low-pass in which the first lobe is looked for
FIRST_LOBE = 0.3  # ours: share of the largest lobe from which one counts as the arrival
AHEAD_S, BEHIND_S = 4e-3, 8e-3
MISSING_DB = 20.0  # ours: a driver's band so far below the middle is not that driver
NOT_HEARD = "the {}'s band is not heard"
GATE_S, SMOOTHING = 2.5e-3, 6
FILLS_DB, CANCELS_DB = 6.0, 11.0  # ours: reflections alone dip by 6 dB at most, a reversed driver by 12 or more
CROSSOVER_HZ = (900.0, 6000.0)


@dataclass(frozen=True, slots=True)
class Polarity:
    """Signs against the stimulus, "+" or "-", None with its reason in `why`.

    `sum_at_crossover` is "fills" or "cancels": whether the response has the dip of two drivers that work against each
    other between 0.9 and 6 kHz; `dip_db` and `dip_hz` say how deep and where the deepest one is.
    """

    woofer: str | None
    tweeter: str | None
    sum_at_crossover: str | None
    dip_db: float
    dip_hz: float
    why: tuple[str, ...]


def polarity_of(impulse: Floats, rate: float, arrival_s: float, *, snr_db: float) -> Polarity:
    """Polarity of woofer and tweeter and their sum at the crossover.

    Parameters
    ----------
    impulse : ndarray, shape (n,)
        Impulse response of the whole loudspeaker, with 5 ms or more ahead of the arrival and 10 ms behind it.
    rate : float
        Sample rate in Hz.
    arrival_s : float
        Time of the direct sound on the axis of `impulse`, within a millisecond.
    snr_db : float
        Signal-to-noise ratio of the recording.

    Raises
    ------
    SignalError
        If the recording is not 20 dB above its noise, or the impulse response does not reach far enough.

    Notes
    -----
    The recorder may invert: against a twin, or a recording before, the sign is relative. A crossover may turn one
    driver on purpose.
    """
    _check(impulse, rate, arrival_s, snr_db)
    hz, db = _smoothed_db(impulse, rate, arrival_s)
    why: list[str] = []
    middle = _level(hz, db, 1000.0, 1600.0)
    woofer = tweeter = None
    if _level(hz, db, 300.0, 500.0) > middle - MISSING_DB:
        woofer = _first_sign(impulse, rate, arrival_s, WOOFER_HZ, "woofer", why)
    else:
        why.append(NOT_HEARD.format("woofer"))
    if _level(hz, db, 7000.0, 12000.0) > middle - MISSING_DB:
        tweeter = _first_sign(impulse, rate, arrival_s, TWEETER_HZ, "tweeter", why)
    else:
        why.append(NOT_HEARD.format("tweeter"))
    dip_db, dip_hz = _dip(hz, db)
    both = woofer is not None and tweeter is not None
    return Polarity(woofer, tweeter, _sum(dip_db) if both else None, dip_db, dip_hz, tuple(why))


def _check(impulse: Floats, rate: float, arrival_s: float, snr_db: float) -> None:
    if not snr_db >= LEAST_SNR_DB:
        raise SignalError(
            f"the recording is {snr_db:.0f} dB above its noise, {LEAST_SNR_DB:g} dB are needed to tell the polarity.",
            where="sound.polarity",
            mend="Record closer, or play louder.",
        )
    if arrival_s < AHEAD_S or arrival_s + BEHIND_S > impulse.size / rate:
        raise SignalError(
            "the impulse response does not reach around the arrival.",
            where="sound.polarity",
            mend="Record the whole test recording.",
        )


def _first_sign(
    impulse: Floats, rate: float, arrival_s: float, low_pass_hz: float, driver: str, why: list[str]
) -> str | None:
    """Sign of the first lobe that reaches a share of the largest one and stands out of what is ahead of it."""
    size = fft.next_fast_len(impulse.size + int(0.01 * rate), real=True)
    hz = fft.rfftfreq(size, 1.0 / rate)
    smooth = fft.irfft(fft.rfft(impulse, size) * 2.0 ** -((hz / low_pass_hz) ** 2), size)
    start = int((arrival_s - AHEAD_S) * rate)
    near = smooth[start : int((arrival_s + BEHIND_S) * rate)]
    largest = float(np.max(np.abs(near)))
    ahead = float(np.std(smooth[: max(start, int(0.001 * rate))]))
    if not largest > 10 ** (LEAST_SNR_DB / 20) * ahead:
        why.append(f"the {driver}'s arrival does not stand out of the noise")
        return None
    first = int(np.flatnonzero(np.abs(near) >= FIRST_LOBE * largest)[0])
    return "+" if near[first] > 0 else "-"


def _smoothed_db(impulse: Floats, rate: float, arrival_s: float) -> tuple[Floats, Floats]:
    """Level over sixths of an octave of the first 2.5 ms, shape (points,), from 200 Hz to 14 kHz."""
    arrival, length, ahead = int(arrival_s * rate), int(GATE_S * rate), int(0.0005 * rate)
    gated = impulse[arrival - ahead : arrival + length] * np.concatenate(
        [np.ones(ahead), 0.5 * (1 + np.cos(np.pi * np.arange(length) / length))]
    )
    size = fft.next_fast_len(int(0.2 * rate), real=True)
    power = np.concatenate([[0.0], np.cumsum(np.abs(fft.rfft(gated, size)) ** 2)])
    edges = (np.arange(power.size) - 0.5) * rate / size
    hz = 1000.0 * 2.0 ** np.arange(-2.33, 3.81, 1 / 24)
    half = 2.0 ** (0.5 / SMOOTHING)
    band = (np.interp(hz * half, edges, power) - np.interp(hz / half, edges, power)) / hz
    return hz, 10 * np.log10(np.maximum(band, 1e-30))


def _level(hz: Floats, db: Floats, low_hz: float, high_hz: float) -> float:
    return float(np.median(db[(hz >= low_hz) & (hz <= high_hz)]))


def _dip(hz: Floats, db: Floats) -> tuple[float, float]:
    """Depth below the lower of both sides (0.6 to 1.3 octaves away) of the deepest dip, and its frequency."""
    deepest, where = 0.0, float(CROSSOVER_HZ[0])
    for at, level in zip(hz, db, strict=True):
        if CROSSOVER_HZ[0] <= at <= CROSSOVER_HZ[1]:
            sides = min(_level(hz, db, at / 2.5, at / 1.5), _level(hz, db, at * 1.5, at * 2.5))
            if sides - level > deepest:
                deepest, where = float(sides - level), float(at)
    return deepest, where


def _sum(dip_db: float) -> str | None:
    if dip_db <= FILLS_DB:
        return "fills"
    return "cancels" if dip_db >= CANCELS_DB else None
