"""What a recording adds to a hunt: complaint words with a measured value, its unit and its spread."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dustcap.sound.against import Against, BandDifference
from dustcap.sound.crackle import Crackle
from dustcap.sound.irregular import Irregular
from dustcap.sound.noise import Noise, Rest
from dustcap.sound.polarity import MISSING_DB, NOT_HEARD, Polarity
from dustcap.sound.response import FrequencyResponse

WOOFER_BELOW_HZ = 1000.0  # ours: where a two-way loudspeaker's woofer radiates most of it
HUM_SPREAD_DB, RATTLE_SPREAD_DB = 1.0, 3.0  # ours: one take against the next
DRIVER_HZ = {"woofer": (200.0, 800.0), "tweeter": (5000.0, 12500.0)}  # ours: bands that one driver has to itself
WEAK_DB, NOTHING_DB = 10.0, 26.0
"""Ours: a sound two-way unit is even within 4 dB between these bands, a driver that does not play leaves 26 dB or more
to the other's skirt."""
WEAK_AGAINST_DB = 5.0  # ours: against a recording of the healthy unit in the same place
ALONE_SPREAD_DB, AGAINST_SPREAD_DB = 3.0, 1.0
NOISIER_DB, VOLUME_DB = 6.0, 6.0  # ours: a smaller difference, or a smaller change of the control, shows nothing
HELD_DB = 2.0  # ours: noise that changes by less stands still

_LETS_FOLLOW = {"yes": "follows", "no": "constant"}


@dataclass(frozen=True, slots=True)
class Evidence:
    """A complaint that was measured. `driver` is none where the recording cannot tell.

    `with_volume` is ``follows`` or ``constant`` where two settings of the control were compared.
    """

    complaint: str
    driver: str | None
    value: float
    unit: str
    spread: float
    with_volume: str | None = None


def evidence_of(
    rest: Rest | None,
    irregular: Irregular | None,
    sweep_dbfs: float | None,
    response: FrequencyResponse | None = None,
    polarity: Polarity | None = None,
) -> tuple[Evidence, ...]:
    """Hum (dB against the sweep as recorded, so that the recorder's gain drops out), crackle (events per second),
    rattle (dB against the fundamental), a driver that is weak or silent (dB against the other driver's band) and
    drivers that work against each other (depth of the dip, dB), each only where found.

    `sweep_dbfs` is the r.m.s. of the recorded sweep against a full-scale sine; hum is left out without it.
    """
    found = []
    if rest is not None and rest.noise.hum and sweep_dbfs is not None:
        found.append(_hum(rest.noise, sweep_dbfs))
    if rest is not None and rest.crackle is not None and rest.crackle.found:
        found.append(crackle_evidence(rest.crackle))
    if irregular is not None and irregular.events:
        worst = max(irregular.events, key=lambda event: event.db)
        driver = "woofer" if worst.hz < WOOFER_BELOW_HZ else None
        found.append(Evidence("rattle", driver, worst.db, "dB", RATTLE_SPREAD_DB))
    if response is not None and not response.near_field:
        found += _uneven(response) or _unheard(polarity)
    if polarity is not None and polarity.sum_at_crossover == "cancels":
        found.append(Evidence("polarity reversed", None, -polarity.dip_db, "dB", ALONE_SPREAD_DB))
    return tuple(found)


def crackle_evidence(crackle: Crackle) -> Evidence:
    """Events per second; the spread is that of a normal distribution with the same 95 % range."""
    return Evidence("crackle", None, crackle.rate, "1/s", (crackle.high - crackle.low) / 3.92)


def evidence_against(found: tuple[Evidence, ...], against: Against) -> tuple[Evidence, ...]:
    """The same with what the comparison adds: how crackle, hum and noise go with the volume, and drivers that are
    weaker, or noise that is stronger, than in the other recording.

    Where the programme's level differs by 6 dB or more the two takes are two settings of the volume control; else the
    other recording is taken to be that of a healthy unit, in the same place.
    """
    level = against.level_db
    if level is not None and abs(level) >= VOLUME_DB and _even(against.bands, level):
        return tuple(replace(one, with_volume=_with_volume(one, against, level)) for one in found)
    told = [one for one in found if one.complaint not in ("weak output", "no output")]
    told += _weaker(against.bands)
    if (
        against.noise_db is not None
        and against.noise_db >= NOISIER_DB
        and not any(one.complaint == "hum" for one in told)
    ):
        told.append(Evidence("hiss", None, against.noise_db, "dB", against.noise_uncertainty_db or AGAINST_SPREAD_DB))
    return tuple(told)


def _hum(noise: Noise, sweep_dbfs: float) -> Evidence:
    hz = np.array([line.hz for line in noise.hum])
    power = 10 ** (np.array([line.db for line in noise.hum]) / 10)
    low = power[hz < WOOFER_BELOW_HZ].sum() > 0.5 * power.sum()
    value = 10 * float(np.log10(power.sum())) - sweep_dbfs
    return Evidence("hum", "woofer" if low else None, value, "dB", HUM_SPREAD_DB)


def _uneven(response: FrequencyResponse) -> list[Evidence]:
    """A driver whose own band lies far below the other's."""
    levels = {driver: _mean_db(response, band) for driver, band in DRIVER_HZ.items()}
    told = {driver: level for driver, level in levels.items() if level is not None}
    if len(told) < 2:
        return []
    low = min(told, key=lambda driver: told[driver])
    return _weak(low, told[low] - max(told.values()), WEAK_DB, ALONE_SPREAD_DB)


def _unheard(polarity: Polarity | None) -> list[Evidence]:
    """A driver whose band lies under the noise, or so low that its arrival is not found."""
    reasons = polarity.why if polarity is not None else ()
    return [
        Evidence("no output", driver, -MISSING_DB, "dB", ALONE_SPREAD_DB)
        for driver in DRIVER_HZ
        if NOT_HEARD.format(driver) in reasons
    ]


def _mean_db(response: FrequencyResponse, band: tuple[float, float]) -> float | None:
    """Mean level of a band, noise where the curve is not valid left out; none where less than half of it was heard."""
    inside: NDArray[np.bool_] = (response.hz >= band[0]) & (response.hz <= band[1])
    heard = response.db[inside & np.isfinite(response.db)]
    return float(np.mean(heard)) if heard.size > 0.5 * np.count_nonzero(inside) else None


def _weaker(bands: tuple[BandDifference, ...]) -> list[Evidence]:
    """Drivers weaker than in the other recording by their own band, the other driver's level being the same."""
    levels = {}
    for driver, (low, high) in DRIVER_HZ.items():
        inside = [band.db for band in bands if low <= band.hz * 1.01 and band.hz <= high * 1.01]
        if inside:
            levels[driver] = float(np.mean(inside))
    return [one for driver, level in levels.items() for one in _weak(driver, level, WEAK_AGAINST_DB, AGAINST_SPREAD_DB)]


def _weak(driver: str, db: float, limit_db: float, spread_db: float) -> list[Evidence]:
    if db > -limit_db:
        return []
    return [Evidence("no output" if db < -NOTHING_DB else "weak output", driver, db, "dB", spread_db)]


def _even(bands: tuple[BandDifference, ...], level_db: float) -> bool:
    """Whether every third octave changed as much as the level: a control was moved, no driver lost."""
    return all(abs(band.db - level_db) <= max(3.0, 2 * band.uncertainty_db) for band in bands)


def _with_volume(one: Evidence, against: Against, level_db: float) -> str | None:
    if one.complaint == "crackle":
        return _LETS_FOLLOW.get(against.crackle.follows_volume) if against.crackle else None
    if one.complaint == "hum":
        lines = [line.db for line in against.hum if line.db is not None]
        return _held(float(np.median(lines)), level_db) if lines else None
    if one.complaint == "hiss" and against.noise_db is not None:
        return _held(against.noise_db, level_db)
    return None


def _held(change_db: float, level_db: float) -> str | None:
    if abs(change_db) <= HELD_DB:
        return "constant"
    return "follows" if abs(change_db - level_db) <= HELD_DB else None
