r"""Impedance from the voltages before and behind a known resistor.

The source drives resistor and driver in series. Channel A is the source side of the resistor, channel B its driver
side, both against the driver's other terminal.

==========  ================  ====  ==========================================================
symbol      name here         unit  meaning
==========  ================  ====  ==========================================================
A, B        source, driver    --    spectra of the two channels
T           ratio             --    B / A, with the channels' own ratio C taken out
R           resistor_ohm      ohm   the known resistor
Z           ohm               ohm   impedance, R T / (1 - T)
sigma       sigma             ohm   standard uncertainty of Z: root of the mean square of the
                                    complex error
==========  ================  ====  ==========================================================
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft
from scipy.interpolate import PchipInterpolator

from dustcap.errors import InputError, SignalError
from dustcap.sound.coil import Complex, Floats
from dustcap.sound.health import Remark, clipped
from dustcap.sound.hum import NOMINAL_HZ, hum_of, hum_part
from dustcap.sound.impedance_ratio import Ratio, channel_ratio, spread_over, windowed_ratio

LOWEST_DBFS = -80.0  # ours: below this the converter's own steps and hum are what is measured
VALID_SHARE = 0.05  # ours: where the 95 % range is wider than this share of the modulus to a side, nothing is shown
FLOOR = 1e-4  # ours: of the ratio, what smoothing and rounding leave
MOST_OHM = 1e6
OPEN_OHM, SHORT_OHM, EXTREME_HZ, LEAST_EXTREME = 500.0, 0.3, (20.0, 1000.0), 30  # ours: no driver lies beyond
MOST_DB = 200.0  # of a recording without any noise
LEAST_MAINS_S = 2.5  # shorter recordings do not show the mains
MAINS_HALF_HZ, MAINS_SHARE, MAINS_HIGHEST_HZ = 0.5, 0.012, 450.0  # ours: where lines may lie


@dataclass(frozen=True, slots=True)
class ImpedanceCurve:
    """Impedance against frequency: `hz` (n,), complex `ohm` (n,), standard uncertainty `sigma` (n,) in ohm.

    `valid` is the band in which the 95 % range is within 5 % of the modulus; the arrays hold nothing outside it.
    `snr_db` is the r.m.s. of the driver's voltage over that of what the other channel does not explain; nan for a
    table. `mains_hz` is the mains frequency of the lines that were taken out. `extreme` is "open" or "short" where
    that is the answer; the arrays are empty then.
    """

    hz: Floats
    ohm: Complex
    sigma: Floats
    valid: tuple[float, float]
    snr_db: float
    mains_hz: float | None
    warnings: tuple[Remark, ...]
    extreme: str = ""


def impedance_of(
    source: Floats,
    driver: Floats,
    rate: float,
    resistor_ohm: float,
    *,
    channels: Ratio | None = None,
    leads_ohm: float = 0.0,
) -> ImpedanceCurve:
    """Impedance of what hangs behind the resistor.

    Parameters
    ----------
    source, driver : ndarray of shape (n,)
        Both sides of the resistor, recorded at once; any sound with energy at the frequencies of interest.
    rate : float
        Sample rate in Hz.
    resistor_ohm : float
        Above zero.
    channels : Ratio, optional
        Ratio of the channels with both on the source side; taken as one when left out, and said so.
    leads_ohm : float
        Resistance of the leads to the driver, taken off.

    Raises
    ------
    InputError
        If the resistor is not above zero or the channels differ in length.
    SignalError
        If a channel is silent, or nothing is found in any band.
    """
    if not (0 < resistor_ohm < MOST_OHM and np.isfinite(leads_ohm)):
        raise InputError(
            f"a resistor of {resistor_ohm:g} ohm is not usable.", where="resistor", mend="Give its ohms, 1 to 1000."
        )
    warnings = list(_level_remarks(source, driver, rate))
    if channels is None:
        what = "the channels of the interface are taken as equal"
        warnings.append(Remark(what, (), "record once with both inputs on the source side: --calibration"))
    measured, mains_hz, snr_db = _without_mains(source, driver, rate)
    if mains_hz is not None:
        what = f"mains lines at multiples of {mains_hz:.2f} Hz were taken out"
        warnings.append(Remark(what, (), "keep the wires short and away from transformers"))
    ratio, sigma_t = measured.value, np.hypot(measured.sigma, FLOOR * np.abs(measured.value))
    if channels is not None:
        own, own_sigma = spread_over(channels, measured.hz)
        sigma_t = np.hypot(sigma_t / np.abs(own), np.abs(ratio / own**2) * own_sigma)
        ratio = ratio / own
    if np.median(np.abs(ratio)) > 1.05:
        raise SignalError(
            "the driver side is louder than the source side.",
            where="impedance",
            mend="Swap the channels with --source-channel 2, and set both inputs to the same gain.",
        )
    with np.errstate(divide="ignore", invalid="ignore"):
        ohm = resistor_ohm * ratio / (1 - ratio)
        sigma = resistor_ohm * sigma_t / np.abs(1 - ratio) ** 2
    extreme = _extreme(measured.hz, ratio, resistor_ohm)
    if extreme:
        none = np.empty(0)
        ends = (float(measured.hz[0]), float(measured.hz[-1]))
        return ImpedanceCurve(none, none.astype(complex), none, ends, snr_db, mains_hz, tuple(warnings), extreme)
    low, high = _band(measured.hz, ohm, sigma)
    inside = (measured.hz >= low) & (measured.hz <= high)
    return ImpedanceCurve(
        measured.hz[inside],
        ohm[inside] - leads_ohm,
        sigma[inside],
        (low, high),
        snr_db,
        mains_hz,
        tuple(warnings),
    )


def impedance_from_table(hz: Floats, ohm: Complex) -> ImpedanceCurve:
    """A curve from a table of frequency and complex impedance, each of shape (n,); its scatter is left to the fit."""
    return ImpedanceCurve(hz, ohm, 0.01 * np.abs(ohm), (float(hz[0]), float(hz[-1])), float("nan"), None, ())


def _without_mains(source: Floats, driver: Floats, rate: float) -> tuple[Ratio, float | None, float]:
    """The ratio with the mains lines taken out of both channels, the mains frequency, and S/N in dB.

    The lines are looked for in B - T A, which no longer holds what was played; each line is then taken from both
    channels, with what was played at that very frequency.
    """
    mains_hz, lines = None, []
    if source.size >= LEAST_MAINS_S * rate:
        first = _over_mains(windowed_ratio(source, driver, rate))
        hum = hum_of([_unexplained(first, source, driver, rate)], rate)
        if hum.mains_hz is not None:
            mains_hz, lines = hum.mains_hz, [hum.mains_hz * line.order for line in hum.lines]
            source, driver = (one - hum_part(one, rate, hum) for one in (source, driver))
    measured = channel_ratio(source, driver, rate, without_hz=lines)
    left = _unexplained(measured, source, driver, rate)
    share = float(np.mean(np.abs(measured.value) ** 2))
    noise = float(np.var(left)) / (1 + share)  # of the driver's channel, both being equally noisy
    snr_db = 10 * np.log10(_loud_power(driver, rate) / noise) if noise > 0 else MOST_DB
    return measured, mains_hz, float(min(snr_db, MOST_DB))


def _over_mains(measured: Ratio) -> Ratio:
    """The ratio with a cubic drawn over where mains lines of 50 and 60 Hz may lie."""
    near = np.zeros(measured.hz.size, bool)
    for mains in NOMINAL_HZ:
        order = np.maximum(np.round(measured.hz / mains), 1)
        near |= np.abs(measured.hz - order * mains) < MAINS_HALF_HZ + MAINS_SHARE * order * mains
    near &= (measured.hz < MAINS_HIGHEST_HZ) & (measured.hz > measured.hz[0]) & (measured.hz < measured.hz[-1])
    near |= ~np.isfinite(measured.sigma)
    kept = ~near
    if kept.sum() < LEAST_EXTREME:
        return measured
    bridged = PchipInterpolator(
        np.log(measured.hz[kept]), np.stack([measured.value.real, measured.value.imag], 1)[kept]
    )
    over = bridged(np.log(measured.hz))
    return Ratio(measured.hz, np.where(near, over[:, 0] + 1j * over[:, 1], measured.value), measured.sigma)


def _loud_power(samples: Floats, rate: float) -> float:
    """Mean square where the sound is: blocks of a tenth of a second within 30 dB of the loudest."""
    size = max(round(0.1 * rate), 1)
    blocks = samples[: samples.size // size * size].reshape(-1, size)
    powers = np.var(blocks, axis=1)
    return float(np.mean(powers[powers >= powers.max() * 1e-3]))


def _unexplained(measured: Ratio, source: Floats, driver: Floats, rate: float) -> Floats:
    size = fft.next_fast_len(source.size, real=True)
    a, b = fft.rfft(source - source.mean(), size), fft.rfft(driver - driver.mean(), size)
    value, _ = spread_over(measured, np.arange(a.size) * rate / size)
    return np.asarray(fft.irfft(b - value * a, size)[: source.size])


def _level_remarks(source: Floats, driver: Floats, rate: float) -> list[Remark]:
    if source.shape != driver.shape or source.ndim != 1:
        raise InputError("the two channels differ in length.", where="impedance", mend="Record both at once.")
    if not source.size >= rate:
        raise SignalError("lasts less than a second.", where="impedance", mend="Record the whole sweep.")
    found = []
    for name, samples in (("source", source), ("driver", driver)):
        level = np.sqrt(np.var(samples))
        if not level > 0 or 20 * np.log10(level * np.sqrt(2)) < LOWEST_DBFS:
            if name == "driver" and np.var(source) > 0 and level > 0:
                continue  # a short: the source side says that something was played
            side = "the driver side is silent: a short, or a wire off" if name == "driver" else "it is silent"
            raise SignalError(
                f"{side} ({name} channel).", where="impedance", mend="Check wiring, level and channel numbers."
            )
        places = clipped(np.asarray(samples, float), rate)
        if places:
            found.append(Remark(f"clipping in the {name} channel", places, "lower the recording level by 6 dB"))
    return found


def _extreme(hz: Floats, ratio: Complex, resistor_ohm: float) -> str:
    """Whether what hangs behind the resistor is no driver but an open circuit or a short, by the middle of the band."""
    inside = (hz > EXTREME_HZ[0]) & (hz < EXTREME_HZ[1])
    if inside.sum() < LEAST_EXTREME:
        return ""
    modulus = float(np.median(resistor_ohm * np.abs(ratio[inside]) / np.maximum(np.abs(1 - ratio[inside]), 1e-9)))
    return "open" if modulus > OPEN_OHM else "short" if modulus < SHORT_OHM else ""


def _band(hz: Floats, ohm: Complex, sigma: Floats) -> tuple[float, float]:
    """The widest stretch of frequency in which nearly every point is good; gaps of a third of an octave are bridged."""
    good = np.isfinite(sigma) & (1.96 * sigma <= VALID_SHARE * np.abs(ohm))
    places = hz[good]
    if places.size < 30:
        raise SignalError(
            "no band carries the impedance: too much noise, or too little sound.",
            where="impedance",
            mend="Play the sweep louder, set the inputs to equal gain, and shorten the wires.",
        )
    breaks = np.flatnonzero(places[1:] > places[:-1] * 2 ** (1 / 3))
    starts, stops = np.concatenate([[0], breaks + 1]), np.concatenate([breaks, [places.size - 1]])
    widest = int(np.argmax(np.log(places[stops] / places[starts])))
    return float(places[starts[widest]]), float(places[stops[widest]])
