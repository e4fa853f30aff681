"""Harmonic distortion against frequency, from one sweep.

====== ==================  =====  =======================================================================
symbol name here           unit   meaning
====== ==================  =====  =======================================================================
n      order               -      of the harmonic, 1 is the fundamental
L      rate_s              s      growth time of the sweep
====== ==================  =====  =======================================================================

The response of harmonic n arrives L ln n before the linear one, so each is cut out of the impulse response by itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft as fft

from dustcap.errors import SignalError
from dustcap.sound.cut import noise_power
from dustcap.sound.health import Ranges, outside
from dustcap.sound.response import COVERAGE, grid_hz, longest_run
from dustcap.sound.spectra import noise_density, smoothed
from dustcap.sound.stimulus import Samples
from dustcap.sound.sweep import HIGH_EDGE_HZ, LOW_EDGE_HZ, SweepResponse

ORDERS = range(2, 8)
POINTS_PER_OCTAVE = 24
SMOOTHING = 12  # a twelfth of an octave
LARGEST_ERROR_DB = 0.6  # of a shown point, 95 %, from noise
FLOOR_DB = -100.0  # below the fundamental: nothing that deep is shown, whatever the noise
EDGE_CYCLES = 7.0  # of the window: an order is shown this far, in its own frequency, from where it sets in
NOISE_WINDOW_S = 0.3
LONGEST_S = 0.35
AHEAD = 0.15  # share of the distance to the next higher order that a window opens early
FADE = 0.3  # share of the window that fades at its end


@dataclass(frozen=True, slots=True)
class Harmonic:
    """One order against excitation frequency `hz` (n,): `db_below_fundamental` (n,), positive, nan outside `valid`.

    `uncertainty_db` (n,) is the share of noise in it, 95 %.
    """

    order: int
    hz: Samples
    db_below_fundamental: Samples
    uncertainty_db: Samples
    valid: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Harmonics:
    """Orders 2 to 7 as far as they stand out of the noise, and all of those together as `total` (order 0)."""

    orders: tuple[Harmonic, ...]
    total: Harmonic | None


def harmonics_of(sweep: SweepResponse, rest: Samples, *, spoiled_hz: Ranges = ()) -> Harmonics:
    r"""Levels of the harmonics as recorded, against the fundamental at the excitation frequency, as recorded.

    Parameters
    ----------
    sweep : SweepResponse
        Transfer function of the sweep.
    rest : ndarray, shape (n,)
        Noise at rest on the same scale: its power is taken off, and where it leaves more than `LARGEST_ERROR_DB`
        of doubt nothing is shown.
    spoiled_hz : tuple of ranges
        Excitation frequencies at which the recording itself is spoiled: never valid.

    Returns
    -------
    Harmonics

    Raises
    ------
    SignalError
        If the fundamental itself is lost in noise.

    Notes
    -----
    .. math:: d_n(f) = |H_1(f)| \,/\, |H_n(n f)|

    Order n ends where n f reaches the end of the sweep. It is told from order n + 1 only if the room has died away
    within L ln((n + 1)/n).

    References
    ----------
    A. Farina, 108th AES Convention, 2000; A. Novak, P. Lotton, L. Simon, J. Audio Eng. Soc. 63 (10), 2015.
    """
    impulse = fft.irfft(sweep.spectrum, sweep.size)
    hz = grid_hz(sweep.band_hz, POINTS_PER_OCTAVE)
    density = noise_density(rest, sweep.rate, NOISE_WINDOW_S, sweep.rounding)
    fundamental = _order_power(sweep, impulse, density, 1, hz)
    clean = outside(hz, spoiled_hz)
    band = longest_run(hz, clean & (fundamental.error_db < LARGEST_ERROR_DB))
    orders, powers = [], []
    for order in ORDERS:
        power = _order_power(sweep, impulse, density, order, hz)
        # where the next order sets in, its edge rings into this one's window
        starts_hz = LOW_EDGE_HZ[1] * (order + 1) / order + EDGE_CYCLES / (order * power.window_s)
        fits = (hz >= max(starts_hz, band[0])) & (hz <= min(HIGH_EDGE_HZ[0] / order, band[1]))
        fits &= (
            clean & (power.error_db < LARGEST_ERROR_DB) & (power.signal > 10 ** (FLOOR_DB / 10) * fundamental.signal)
        )
        try:
            valid = longest_run(hz, fits, 0.25)
        except SignalError:
            continue  # below the noise everywhere: nothing to show
        inside = (hz >= valid[0]) & (hz <= valid[1])
        below = np.where(inside, 10 * np.log10(fundamental.signal / power.signal), np.nan)
        orders.append(Harmonic(order, hz, below, np.where(inside, power.error_db, np.nan), valid))
        powers.append(np.where(inside, power.signal, 0.0))
    return Harmonics(tuple(orders), _total(hz, fundamental.signal, orders, powers))


def _total(hz: Samples, fundamental: Samples, orders: list[Harmonic], powers: list[Samples]) -> Harmonic | None:
    """Power sum of the orders shown, where any is."""
    if not orders:
        return None
    total = np.sum(powers, axis=0)
    valid = (min(each.valid[0] for each in orders), max(each.valid[1] for each in orders))
    below = np.full(hz.size, np.nan)
    any_shown = total > 0
    below[any_shown] = 10 * np.log10(fundamental[any_shown] / total[any_shown])
    error_db = np.nanmax([np.where(np.isnan(each.uncertainty_db), 0.0, each.uncertainty_db) for each in orders], axis=0)
    return Harmonic(0, hz, below, np.where(any_shown, error_db, np.nan), valid)


@dataclass(frozen=True, slots=True)
class _OrderPower:
    """Power of an order with the noise taken off, its error from noise (dB, 95 %), and the window in seconds."""

    signal: Samples
    error_db: Samples
    window_s: float


def _order_power(
    sweep: SweepResponse, impulse: Samples, density: tuple[Samples, Samples], order: int, hz: Samples
) -> _OrderPower:
    """Power of one order at `order` x `hz`."""
    ahead_s = AHEAD * sweep.rate_s * np.log((order + 1) / order)
    room_s = sweep.decay_s if order == 1 else sweep.rate_s * np.log(order / (order - 1))
    after_s = min(LONGEST_S, (1 - 1.5 * AHEAD) * room_s)
    window = _window(round(ahead_s * sweep.rate), round(after_s * sweep.rate))
    begin = round((-sweep.rate_s * np.log(order) - ahead_s) * sweep.rate)
    cut = np.take(impulse, np.arange(begin, begin + window.size), mode="wrap") * window
    size = fft.next_fast_len(max(window.size, round(1.5 * sweep.rate)), real=True)
    axis = np.arange(size // 2 + 1) * sweep.rate / size
    axis = axis[: int(np.searchsorted(axis, sweep.band_hz[1] * 1.06))]
    weight = np.maximum(np.interp(axis, sweep.hz, sweep.weight), 0.05)
    at_hz = np.minimum(order * hz, axis[-2])
    noise_axis = noise_power(sweep, density, axis) * np.sum(window**2)
    noise = np.maximum(smoothed(at_hz, noise_axis, SMOOTHING, axis), 1e-30)
    power = smoothed(at_hz, np.abs(fft.rfft(cut, size)[: axis.size] / weight) ** 2, SMOOTHING, axis)
    signal = np.maximum(power - noise, 1e-30)
    seconds = np.sum(window**2) ** 2 / np.sum(window**4) / sweep.rate
    independent = np.maximum(at_hz * np.log(2) / SMOOTHING * seconds, 1.0)
    error_db = COVERAGE * 4.343 * np.sqrt((2 * noise / signal + (noise / signal) ** 2) / independent)
    return _OrderPower(signal, error_db, ahead_s + after_s)


def _window(ahead: int, after: int) -> Samples:
    """Half a Hann window of `ahead` samples up to time zero, flat, half a Hann window at the end of `after` samples."""
    fade = max(round(FADE * after), 1)
    rise = 0.5 - 0.5 * np.cos(np.pi * (np.arange(ahead) + 0.5) / max(ahead, 1))
    drop = 0.5 + 0.5 * np.cos(np.pi * (np.arange(fade) + 0.5) / fade)
    return np.concatenate([rise, np.ones(after - fade), drop])
