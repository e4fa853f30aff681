"""The frequency response: gated, smoothed, with the band in which it holds and its uncertainty.

====== ===================  =====  ===========================================================
symbol name here            unit   meaning
====== ===================  =====  ===========================================================
T      gate_s               s      from the direct sound to the end of the window
a      piston radius        m      of the diaphragm, for the near field
ka     -                    -      2 pi f a / c
====== ===================  =====  ===========================================================
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from dustcap.errors import SignalError
from dustcap.sound.cut import BEFORE_S, cut_otherwise, cut_out, noise_power, tail_of
from dustcap.sound.gate import LONGEST_S, Gate, find_gate
from dustcap.sound.health import Ranges, outside
from dustcap.sound.spectra import noise_density, smoothed
from dustcap.sound.stimulus import Samples
from dustcap.sound.sweep import SweepResponse, causal_start, impulse_response

POINTS_PER_OCTAVE = 48
SMOOTHING = 24  # a 24th of an octave
LEAST_SNR_DB = 10.0  # of a shown point, after smoothing
COVERAGE = 1.96  # 95 %
FLOOR_DB = 0.02  # clocks, converters and arithmetic: measured against known filters, see tests
SHORT_S = 0.04  # a gate shorter than the slowest wave of the sweep
# What a gate of 0.7 T still moves within a sixth of an octave, half as much again, covers what T has cut off (tests).
TRUNCATION, AROUND = 1.5, 2 * POINTS_PER_OCTAVE // 6 + 1
SPEED_OF_SOUND = 343.2  # m/s at 20 degrees C
PISTON_DIAMETER_M = 0.16  # assumed when none is given: an 8-inch driver, the largest common in near-field units


@dataclass(frozen=True, slots=True)
class FrequencyResponse:
    """A response curve: `db` and `uncertainty_db` (n,) at `hz` (n,), nan outside `valid`.

    `noise_db` (n,) is the share of noise in the uncertainty, 95 %: all that differs between two takes of one set-up.
    """

    hz: Samples
    db: Samples
    valid: tuple[float, float]
    gate_s: float
    smoothing: str
    uncertainty_db: Samples
    noise_db: Samples
    reflection_s: float | None
    near_field: bool


def frequency_response(
    sweep: SweepResponse,
    rest: Samples,
    *,
    near_field: bool = False,
    gate_s: float | None = None,
    diameter_m: float = PISTON_DIAMETER_M,
    smoothing: int = SMOOTHING,
    spoiled_hz: Ranges = (),
) -> FrequencyResponse:
    r"""Response of the loudspeaker from the sweep's transfer function.

    Parameters
    ----------
    sweep : SweepResponse
        Transfer function of the sweep.
    rest : ndarray, shape (n,)
        Noise at rest on the same scale as the recording: it sets the valid band and the uncertainty.
    near_field : bool
        The microphone stands at the diaphragm: no gate, valid up to ka = 1 of a piston of `diameter_m`.
    gate_s : float, optional
        Length of the gate, s; found from the first reflection if left out.
    smoothing : int
        Denominator of the octave fraction over which power is averaged.
    spoiled_hz : tuple of ranges
        Frequencies at which the recording itself is spoiled: never valid.

    Returns
    -------
    FrequencyResponse

    Raises
    ------
    SignalError
        If no band of an octave is left between gate, noise and ends of the sweep.

    Notes
    -----
    A gate of length T tells nothing below 1/T. The uncertainty (95 %, of the shape) adds the noise of the quiet gap
    through the same window, what the curve still moves when the gate is shortened, what smoothing takes off a bend,
    and a floor. A bend sharper than the smoothing is not covered by it.

    References
    ----------
    D. B. Keele, "Low-frequency loudspeaker assessment by nearfield sound-pressure measurement", J. Audio Eng. Soc. 22,
    1974: the near-field limit ka = 1.
    """
    impulse, gate = impulse_and_gate(sweep, rest, near_field=near_field)
    length_s = gate.length_s if gate_s is None else min(gate_s, impulse.size / sweep.rate - BEFORE_S - 0.05)
    if length_s < SHORT_S:
        impulse = causal_start(sweep, BEFORE_S, max(gate.direct_s, 0.0) + length_s + 0.002, gate.direct_s)
    hz = grid_hz(sweep.band_hz)
    density = noise_density(rest, sweep.rate, min(length_s, LONGEST_S), sweep.rounding)
    tail = tail_of(sweep, impulse, gate.direct_s, length_s) if length_s < SHORT_S else None
    cut = cut_out(sweep, impulse, density, gate.direct_s, length_s, tail)
    signal, noise = cut.smoothed(hz, smoothing)
    snr = signal / np.maximum(noise, 1e-30)
    high_hz = SPEED_OF_SOUND / (np.pi * diameter_m) if near_field else sweep.band_hz[1]
    fits = (snr > 10 ** (LEAST_SNR_DB / 10)) & (hz >= 1 / length_s) & (hz <= high_hz) & outside(hz, spoiled_hz)
    valid = longest_run(hz, fits)
    inside = (hz >= valid[0]) & (hz <= valid[1])
    hz_in, snr = hz[inside], snr[inside]
    shorter, _ = cut_otherwise(sweep, impulse, density, gate.direct_s, length_s, tail).smoothed(hz_in, smoothing)
    wider, _ = cut.smoothed(hz_in, smoothing / 2)
    noise_db = 4.343 * np.sqrt((2 / snr + 1 / snr**2) / np.maximum(hz_in * np.log(2) / smoothing * cut.seconds, 1.0))
    cut_off_db = TRUNCATION * maximum_filter1d(np.abs(10 * np.log10(shorter / signal[inside])), AROUND)
    parts_db = (
        COVERAGE * noise_db,
        cut_off_db,
        10 * np.log10(wider / signal[inside]) / 3,  # smoothing takes off a third of what twice the smoothing does
        # the level constant that is removed has errors of its own
        np.full(hz_in.size, COVERAGE * _mean_error(noise_db, hz_in, smoothing, cut.seconds)),
        np.full(hz_in.size, 0.5 * cut_off_db.mean()),
        np.full(hz_in.size, FLOOR_DB),
    )
    return FrequencyResponse(
        hz,
        _spread(inside, 10 * np.log10(signal[inside])),
        valid,
        length_s,
        f"1/{smoothing}",
        _spread(inside, np.sqrt(sum(part**2 for part in parts_db))),
        _spread(inside, COVERAGE * noise_db),
        gate.reflection_s if gate_s is None else None,
        near_field,
    )


def _mean_error(noise_db: Samples, hz: Samples, smoothing: int, seconds: float) -> float:
    """Standard error of the curve's mean, dB: points closer than smoothing and window tell apart share one error."""
    shared = POINTS_PER_OCTAVE * np.maximum(1 / smoothing, np.log2(1 + 1 / (seconds * hz)))
    return float(np.sqrt(np.sum(noise_db**2 * shared)) / noise_db.size)


def _spread(inside: NDArray[np.bool_], values: Samples) -> Samples:
    full = np.full(inside.shape, np.nan)
    full[inside] = values
    return full


def impulse_and_gate(sweep: SweepResponse, rest: Samples, *, near_field: bool = False) -> tuple[Samples, Gate]:
    """Impulse response from `BEFORE_S` ahead of time zero on, and the gate that its reflections leave."""
    after_s = min(LONGEST_S + 0.06, sweep.decay_s)
    impulse = impulse_response(sweep, BEFORE_S, after_s)
    if not near_field:
        return impulse, find_gate(impulse, sweep.rate, BEFORE_S, _usable(sweep, rest))
    peak_s = float(np.argmax(np.abs(impulse))) / sweep.rate - BEFORE_S
    return impulse, Gate(min(max(peak_s, -0.02), 0.05), min(LONGEST_S, after_s - 0.06), None)


def grid_hz(band_hz: tuple[float, float], points: int = POINTS_PER_OCTAVE) -> Samples:
    """Frequencies around 1 kHz, equally spaced on a logarithmic axis, inside a band."""
    low, high = (np.log2(edge / 1000.0) * points for edge in band_hz)
    return np.asarray(1000.0 * 2 ** (np.arange(np.ceil(low), np.floor(high) + 1) / points))


def longest_run(hz: Samples, fits: NDArray[np.bool_], octaves: float = 1.0) -> tuple[float, float]:
    """First and last frequency of the widest stretch on which a condition (n,) holds; refused below `octaves`."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], fits, [False]]).astype(int)))
    runs = [(float(hz[a]), float(hz[b - 1])) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    best = max(runs, key=lambda run: run[1] / run[0], default=(1.0, 1.0))
    if best[1] / best[0] < 2**octaves:
        raise SignalError(
            "the loudspeaker stands out of the noise and the reflections in no band as wide as an octave.",
            where="sound.response",
            mend="Go nearer with the microphone, away from walls, or raise the level.",
        )
    return best


def _usable(sweep: SweepResponse, rest: Samples) -> tuple[float, float]:
    """Widest band in which the raw transfer function stands above the noise of the whole deconvolution."""
    hz = grid_hz(sweep.band_hz, 12)
    window_s = min(0.1, sweep.decay_s)
    signal = smoothed(hz, np.abs(sweep.spectrum) ** 2, 6, sweep.hz)
    noise = noise_power(sweep, noise_density(rest, sweep.rate, window_s, sweep.rounding), hz) * window_s * sweep.rate
    return longest_run(hz, signal > 2 * noise, 0.3)
