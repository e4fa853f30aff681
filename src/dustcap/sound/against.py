"""One recording against another: before and after, a unit against its twin or its model's reference, two volumes.

Works on the documents of `dustcap listen`, so that a recording made last year can be compared with one made today.
Everything is this recording minus the other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dustcap.sound.bands import third_octaves
from dustcap.sound.crackle import Crackle
from dustcap.sound.follows import CrackleAgainst, follows_volume

Floats = NDArray[np.float64]
Document = Mapping[str, Any]

LEVEL_HZ = (250.0, 2000.0)  # EBU Tech 3276, 2.1 (from memory): the band in which a pair's levels are compared
FEWEST_POINTS = 3


@dataclass(frozen=True, slots=True)
class BandDifference:
    """A level, or a difference of levels, in one third octave, dB, with its uncertainty (95 %)."""

    nominal: str
    hz: float
    db: float
    uncertainty_db: float


@dataclass(frozen=True, slots=True)
class HumDifference:
    """Difference of one mains line, dB; None when only one of the recordings has the line: `only` says which."""

    order: int
    hz: float
    db: float | None
    uncertainty_db: float | None
    only: str | None


@dataclass(frozen=True, slots=True)
class Against:
    """This recording minus the other; what one of them lacks is None or empty.

    `level_db` is the mean difference from 250 Hz to 2 kHz (or over what both share), None when the recorder's gain was
    changed between the takes: then the bands are given about that mean. `noise_db` is the A-weighted noise's.
    `polarity` is "same" or "opposite".
    """

    level_db: float | None
    bands: tuple[BandDifference, ...]
    hum: tuple[HumDifference, ...]
    noise_db: float | None
    noise_uncertainty_db: float | None
    polarity: str | None
    crackle: CrackleAgainst | None


@dataclass(frozen=True, slots=True)
class _NoiseLevels:
    db: float | None
    uncertainty_db: float | None
    hum: tuple[HumDifference, ...]


def against(this: Document, other: Document, *, gain_changed: bool = False) -> Against:
    """Compare two documents of `dustcap listen`.

    Parameters
    ----------
    this, other : mapping
        Documents of layout 1.
    gain_changed : bool
        The recorder's gain was changed between the takes: levels do not compare.
    """
    bands = band_differences(this.get("response"), other.get("response"))
    level = mean_level(bands)
    if gain_changed and level is not None:
        bands = tuple(BandDifference(b.nominal, b.hz, b.db - level, b.uncertainty_db) for b in bands)
    noise, other_noise = this.get("noise"), other.get("noise")
    levels = _NoiseLevels(None, None, ())
    if noise and other_noise and not gain_changed:
        levels = _NoiseLevels(
            noise["dbfs_a"] - other_noise["dbfs_a"], _root_sum(noise, other_noise), _hum(noise, other_noise)
        )
    return Against(
        level_db=None if gain_changed else level,
        bands=bands,
        hum=levels.hum,
        noise_db=levels.db,
        noise_uncertainty_db=levels.uncertainty_db,
        polarity=_polarity(this.get("polarity"), other.get("polarity")),
        crackle=None if gain_changed else _crackle(this.get("crackle"), other.get("crackle"), level),
    )


def against_document(result: Against, recording: str) -> dict[str, Any]:
    """The comparison as it stands under `against` in the document of `dustcap listen`; `recording` names the other."""
    crackle = result.crackle
    return {
        "recording": recording,
        "level_db": _rounded(result.level_db),
        "bands": [
            {"nominal": band.nominal, "hz": _rounded(band.hz), "db": _rounded(band.db)}
            | {"uncertainty_db": _rounded(band.uncertainty_db)}
            for band in result.bands
        ],
        "hum": [
            {"order": line.order, "hz": _rounded(line.hz), "db": _rounded(line.db), "only": line.only}
            | {"uncertainty_db": _rounded(line.uncertainty_db)}
            for line in result.hum
        ],
        "noise_db": _rounded(result.noise_db),
        "noise_uncertainty_db": _rounded(result.noise_uncertainty_db),
        "polarity": result.polarity,
        "crackle": None
        if crackle is None
        else {
            "follows_volume": crackle.follows_volume,
            "rate_ratio": _rounded(crackle.rate_ratio),
            "low": _rounded(crackle.low),
            "high": _rounded(crackle.high),
            "size_db": _rounded(crackle.size_db),
            "why": crackle.why,
        },
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 3)


def band_levels(response: Document) -> tuple[BandDifference, ...]:
    """Mean power of a response over each third octave that lies wholly in its valid range, dB, with its uncertainty."""
    if not response["valid"]:
        return ()
    low, high = response["valid"]
    hz = np.asarray(response["hz"], dtype=float)
    db = _numbers(response["db"], hz.size)
    spread = _numbers(response["uncertainty_db"], hz.size)
    levels = []
    for band in third_octaves():
        inside = (hz >= band.low_hz) & (hz <= band.high_hz) & np.isfinite(db) & np.isfinite(spread)
        if low <= band.low_hz and band.high_hz <= high and np.count_nonzero(inside) >= FEWEST_POINTS:
            mean = float(10 * np.log10(np.mean(10 ** (db[inside] / 10))))
            levels.append(BandDifference(band.nominal, band.centre_hz, mean, float(np.mean(spread[inside]))))
    return tuple(levels)


def _numbers(values: Any, count: int) -> Floats:
    """One number for each point, nan for null; a single number holds everywhere."""
    listed = values if isinstance(values, list) else [values] * count
    return np.array([np.nan if value is None else value for value in listed], dtype=float)


def band_differences(this: Document | None, other: Document | None) -> tuple[BandDifference, ...]:
    """Levels of a response less those of the other, in the bands that both hold; none where one is missing."""
    if not this or not other:
        return ()
    theirs = {band.nominal: band for band in band_levels(other)}
    return tuple(
        BandDifference(
            mine.nominal,
            mine.hz,
            mine.db - theirs[mine.nominal].db,
            float(np.hypot(mine.uncertainty_db, theirs[mine.nominal].uncertainty_db)),
        )
        for mine in band_levels(this)
        if mine.nominal in theirs
    )


def mean_level(bands: tuple[BandDifference, ...]) -> float | None:
    """Mean from 250 Hz to 2 kHz, or over all bands where none lies there; None without bands."""
    if not bands:
        return None
    middle = [band.db for band in bands if LEVEL_HZ[0] <= band.hz * 1.01 and band.hz <= LEVEL_HZ[1] * 1.01]
    return float(np.mean(middle or [band.db for band in bands]))


def _hum(this: Document, other: Document) -> tuple[HumDifference, ...]:
    mine, theirs = _lines(this), _lines(other)
    differences = []
    for order in sorted(mine.keys() | theirs.keys()):
        line, twin = mine.get(order), theirs.get(order)
        if line is not None and twin is not None:
            spread = float(np.hypot(line.get("uncertainty_db") or 0.0, twin.get("uncertainty_db") or 0.0))
            differences.append(HumDifference(order, line["hz"], line["db"] - twin["db"], spread, None))
        elif line is not None:
            differences.append(HumDifference(order, line["hz"], None, None, "this"))
        elif twin is not None:
            differences.append(HumDifference(order, twin["hz"], None, None, "other"))
    return tuple(differences)


def _lines(noise: Document) -> dict[int, Document]:
    """Lines by their order: the frequency over that of the mains, whole."""
    mains = noise.get("mains_hz")
    return {round(line["hz"] / mains): line for line in noise["hum"]} if mains else {}


def _root_sum(this: Document, other: Document) -> float:
    return float(np.hypot(this.get("uncertainty_db") or 0.0, other.get("uncertainty_db") or 0.0))


def _polarity(this: str | None, other: str | None) -> str | None:
    if this is None or other is None:
        return None
    return "same" if this == other else "opposite"


def _crackle(this: Document | None, other: Document | None, level_db: float | None) -> CrackleAgainst | None:
    if this is None or other is None:
        return None
    return follows_volume(_events(this), _events(other), level_db)


def _events(document: Document) -> Crackle:
    return Crackle(
        found=document["found"],
        events=document["events"],
        seconds=document["seconds"],
        rate=document["rate"],
        low=document["low"],
        high=document["high"],
        times=tuple(document["times"]),
        sizes_db=tuple(document["sizes_db"]),
        levels_dbfs=tuple(document["levels_dbfs"]),
        windows=tuple((window[0], window[1]) for window in document["windows"]),
        threshold_db=document["threshold_db"],
        false_alarms_per_hour=document["false_alarms_per_hour"],
        share=0.0,
    )
