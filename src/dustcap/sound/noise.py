"""The rest of a recording: noise, hum and crackle of its quiet windows, each kept out of the others' way.

Where somebody talks is left out altogether. Crackle is taken out first; hum and noise are measured on what is left. Hum
belongs to the noise and is counted in it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dustcap.errors import SignalError
from dustcap.sound.bands import Band, band_powers, dbfs, power_density, third_octaves
from dustcap.sound.crackle import Crackle, Slices, Windows, piece_edges, pieces_of, without_crackle
from dustcap.sound.health import Stretches
from dustcap.sound.hum import NO_HUM, Hum, Line, hum_of
from dustcap.sound.quasi_peak import SETTLING_S, quasi_peak
from dustcap.sound.speech import joined, speech_in, without
from dustcap.sound.weighting import gain_of, weighted_power

Floats = NDArray[np.float64]

LOWEST_HZ, HIGHEST_HZ = 20.0, 20000.0
MAINS_CHANCE = 0.01  # chance that evenly spread events huddle so close about the mains phase


@dataclass(frozen=True, slots=True)
class Noise:
    """Levels against a full-scale sine, crackle taken out.

    `bands` maps the nominal third octaves from 20 Hz to 20 kHz, as far as the rate carries them, to dBFS.
    `dbfs_468_quasi_peak` is None when no window lasts longer than the meter's settling second. `uncertainty_db` is that
    of `dbfs_a` (95 %, from the length of the recording). `crackle_share` is the share of the time that was taken out
    and `crackle_db` by how much the A-weighted level was higher with it; the noise is short of its power by that share.
    """

    dbfs_a: float
    uncertainty_db: float
    dbfs_468_quasi_peak: float | None
    bands: Mapping[str, float]
    mains_hz: float | None
    mains_uncertainty_hz: float | None
    hum: tuple[Line, ...]
    hum_kind: str | None
    twice_mains_share: float | None
    crackle_share: float
    crackle_db: float


@dataclass(frozen=True, slots=True)
class Rest:
    """Noise and crackle of the quiet windows; `crackle` is None, with the reason, when it could not be looked for.

    `mains_locked`: the events keep to one phase of the mains, so that they are buzz rather than crackle. `speech` are
    the stretches (s) that were left out because somebody talks there.
    """

    noise: Noise
    crackle: Crackle | None
    crackle_refused: SignalError | None
    mains_locked: bool
    speech: Stretches = ()


@dataclass(frozen=True, slots=True)
class _Levels:
    """Powers (FS²) of the windows: A-weighted, its relative variance, quasi-peak reading (FS), bands."""

    weighted: float
    variance: float
    reading: float | None
    bands: Floats


def noise_of(samples: NDArray[np.floating], rate: float, windows: Windows | None = None) -> Noise:
    """Noise and hum of the quiet windows of a recording, as `rest_of`."""
    return rest_of(samples, rate, windows).noise


def rest_of(samples: NDArray[np.floating], rate: float, windows: Windows | None = None) -> Rest:
    """Noise, hum and crackle of the quiet windows of a recording.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Samples of one channel, full scale 1; only slices of it are read, 20 s at a time.
    rate : float
        Sample rate in Hz, 44.1 kHz or more.
    windows : sequence of (start, stop), optional
        Seconds in which nothing is played; the whole recording when left out.

    Raises
    ------
    SignalError
        If a window is shorter than half a second, there is nothing but digital silence, or somebody talks throughout.

    References
    ----------
    IEC 61672-1 (A), ITU-R BS.468-4 (quasi-peak), IEC 61260-1 (third octaves), AES17 (dBFS).
    """
    windows, speech = quiet_of(samples, rate, windows)
    raw = pieces_of(samples, rate, windows)
    hum, refused = _hum(raw, rate), None
    crackle: Crackle | None = None
    try:
        crackle, pieces = without_crackle(samples, rate, windows, hum=hum)
        if crackle.found:
            lines = len(hum.lines)
            hum = _hum(pieces, rate)
            if len(hum.lines) > lines:  # the crackle had hidden some
                crackle, pieces = without_crackle(samples, rate, windows, hum=hum)
                hum = _hum(pieces, rate)
    except SignalError as error:
        if not any(np.any(piece != 0) for piece in raw):
            raise
        crackle, pieces, refused = None, raw, error
    levels = _levels(pieces, rate, hum)
    with_crackle = levels.weighted if not (crackle and crackle.found) else _weighted(raw, rate)
    noise = Noise(
        dbfs_a=dbfs(levels.weighted),
        uncertainty_db=float(1.96 * 10 / np.log(10) * np.sqrt(levels.variance)),
        dbfs_468_quasi_peak=None if levels.reading is None else dbfs(levels.reading**2),
        bands={band.nominal: dbfs(power) for band, power in zip(_bands(rate), levels.bands, strict=True)},
        mains_hz=hum.mains_hz,
        mains_uncertainty_hz=hum.uncertainty_hz,
        hum=hum.lines,
        hum_kind=hum.kind,
        twice_mains_share=hum.twice_mains_share,
        crackle_share=crackle.share if crackle else 0.0,
        crackle_db=dbfs(with_crackle) - dbfs(levels.weighted),
    )
    return Rest(noise, crackle, refused, mains_locked(crackle, hum), speech)


def quiet_of(samples: Slices, rate: float, windows: Windows | None = None) -> tuple[Windows, Stretches]:
    """The windows (s) without the stretches in which somebody talks, and those stretches.

    Raises
    ------
    SignalError
        If a window is shorter than half a second, or somebody talks throughout.
    """
    windows = tuple(windows) if windows is not None else ((0.0, len(samples) / rate),)
    pieces = [(start / rate, samples[start:stop]) for start, stop in piece_edges(len(samples), rate, windows)]
    heard = joined((at_s + a, at_s + b) for at_s, piece in pieces for a, b in speech_in(piece, rate))
    left = without(windows, heard)
    if not left:
        raise SignalError(
            "somebody talks, or music plays, throughout.", where="sound.noise", mend="Record in a quiet room."
        )
    return left, heard


def _bands(rate: float) -> tuple[Band, ...]:
    return tuple(band for band in third_octaves(LOWEST_HZ, HIGHEST_HZ) if band.high_hz < rate / 2)


def _levels(pieces: Sequence[NDArray[np.floating]], rate: float, hum: Hum) -> _Levels:
    """Powers of each piece, averaged by its length; the quasi-peak reading is the largest of all."""
    total = sum(piece.size for piece in pieces)
    weighted, variance, reading = 0.0, 0.0, None
    bands = np.zeros(len(_bands(rate)))
    for piece in pieces:
        share = piece.size / total
        hz, density = power_density(piece, rate)
        power = weighted_power(hz, density, "A")
        weighted += share * power
        # variance of a mean power over the time T: integral of the squared density over T; steady lines have none
        steady = np.any([np.abs(hz - line.hz) <= 3 * hz[1] for line in hum.lines], axis=0) if hum.lines else False
        squared = float(np.sum(np.where(steady, 0.0, density * gain_of("A", hz) ** 2) ** 2) * hz[1])
        variance += share**2 * squared / (piece.size / rate)
        bands += share * band_powers(hz, density, _bands(rate))
        if piece.size > 1.5 * SETTLING_S * rate:
            reading = max(reading or 0.0, quasi_peak(piece, rate))
    return _Levels(weighted, variance / max(weighted, 1e-40) ** 2, reading, bands)


def _weighted(pieces: Sequence[NDArray[np.floating]], rate: float) -> float:
    total = sum(len(piece) for piece in pieces)
    return sum(len(piece) / total * weighted_power(*power_density(piece, rate), "A") for piece in pieces)


def _hum(pieces: Sequence[NDArray[np.floating]], rate: float) -> Hum:
    try:
        return hum_of(pieces, rate)
    except SignalError:  # too short: no line can be told from noise
        return NO_HUM


def mains_locked(crackle: Crackle | None, hum: Hum) -> bool:
    """Whether event times huddle about one phase of twice the mains (Rayleigh test)."""
    if crackle is None or hum.mains_hz is None or hum.uncertainty_hz is None or crackle.events < 10:
        return False
    times = np.array(crackle.times)
    span = np.ptp(times)
    turns = np.exp(2j * np.pi * 2 * hum.mains_hz * times)
    # the phase drifts by no more than the frequency is uncertain over the span: beyond a quarter turn nothing is said
    if 2 * hum.uncertainty_hz * span > 0.25:
        return False
    return bool(np.exp(-times.size * abs(turns.mean()) ** 2) < MAINS_CHANCE and abs(turns.mean()) > 0.7)
