"""What a listening document says about each limited quantity: a value with its uncertainty, or why there is none."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from dustcap.errors import SignalError
from dustcap.proof.limits import Limit
from dustcap.proof.verdicts import FAIL, PASS, UNDECIDED, verdict
from dustcap.sound.against import BandDifference, band_differences, band_levels, mean_level
from dustcap.sound.rates import rate_interval

Document = Mapping[str, Any]

TAKE_DB = 1.0  # ours: expanded uncertainty of a level from one take to the next
FRAME_S = 0.02  # of the time at which a mute lets go
HUM_BANDS = ("50", "63", "100", "125", "160", "200", "250", "315")


@dataclass(frozen=True, slots=True)
class Measure:
    """A value with its expanded uncertainty in the limit's unit, and the verdict against that limit with its reason."""

    value: float | None
    uncertainty: float
    verdict: str
    why: str = ""


def measure(document: Document, limit: Limit, twin: Document | None, gain_changed: bool) -> Measure:
    """Value and verdict of one quantity.

    Raises
    ------
    SignalError
        If the document has no value for it, with the reason.
    """
    if limit.what in _PAIR:
        if twin is None:
            raise _missing("there is no recording of the twin")
        return _PAIR[limit.what](document, twin, limit, gain_changed)
    if limit.what not in _SINGLE:
        raise _missing("it is read with a meter")
    return _SINGLE[limit.what](document, limit)


def _missing(why: str) -> SignalError:
    return SignalError(why, where="proof.measures", mend="Record what is missing.")


def judged(value: float, uncertainty: float, limit: Limit, why: str = "") -> Measure:
    """A measure with the plain verdict of its guard band."""
    return Measure(value, uncertainty, verdict(value, limit.value, uncertainty, limit.better), why)


def _worst(values: list[tuple[float, float, float]], limit: Limit) -> Measure:
    """The verdict over many (hertz, value, uncertainty): one that fails decides, else one that is undecided."""
    measures = [judged(value, spread, limit, f"at {_hz(hz)}") for hz, value, spread in values]
    order = {FAIL: 0, UNDECIDED: 1, PASS: 2}
    sign = -1.0 if limit.better == "above" else 1.0
    reach = [sign * (abs(one.value or 0.0) if limit.better == "within" else one.value or 0.0) for one in measures]
    first = min(range(len(measures)), key=lambda i: (order[measures[i].verdict], -reach[i]))
    return measures[first]


def _inside(bands: Sequence[BandDifference], limit: Limit) -> list[BandDifference]:
    """Bands whose nominal frequencies lie in the limit's band: exact centres are up to 1 % off them."""
    return [band for band in bands if limit.low_hz <= 1.01 * band.hz and band.hz <= 1.01 * limit.high_hz]


def _hz(hz: float) -> str:
    return f"{hz / 1000:.3g} kHz" if hz >= 1000 else f"{hz:.3g} Hz"


def _block(document: Document, name: str) -> Any:
    """A block of the document, or the reason why it is not there."""
    block = document.get(name)
    if block is None:
        refused = [row["why"] for row in document.get("refused") or [] if row["what"] == name]
        raise _missing(refused[0].rstrip(".") if refused else f"the recording holds no {name}")
    return block


def _sweep_dbfs(document: Document) -> float:
    level = document.get("sweep_dbfs")
    if level is None:
        raise _missing("there is no sweep in the recording to compare with")
    return float(level)


def _response(document: Document, limit: Limit) -> Measure:
    bands = band_levels(_block(document, "response"))
    mean = mean_level(bands)
    inside = _inside(bands, limit)
    if mean is None or not inside:
        raise _missing("the response is not valid in any whole third octave of the limit")
    return _worst([(band.hz, band.db - mean, band.uncertainty_db) for band in inside], limit)


def _distortion(document: Document, limit: Limit) -> Measure:
    total = document.get("harmonics_total")
    if total is None:
        _block(document, "harmonics")
        raise _missing("no harmonic stands out of the noise")
    hz, below, spread = (np.array(total[key], dtype=float) for key in ("hz", "db_below_fundamental", "uncertainty_db"))
    inside = (hz >= limit.low_hz) & (hz <= limit.high_hz) & np.isfinite(below) & np.isfinite(spread)
    if not inside.any():
        raise _missing("no harmonic is valid in that band")
    return _worst(list(zip(hz[inside].tolist(), below[inside].tolist(), spread[inside].tolist(), strict=True)), limit)


def _rub(document: Document, limit: Limit) -> Measure:
    block = _block(document, "irregular")
    if block["events"]:
        worst = max(block["events"], key=lambda event: event["db"])
        return judged(worst["db"], TAKE_DB, limit, f"at {_hz(worst['hz'])}")
    floor = [
        (hz, value)
        for hz, value in zip(block["hz"], block.get("floor_db", ()), strict=False)
        if value is not None and limit.low_hz <= hz <= limit.high_hz
    ]
    if not floor:
        raise _missing("the sweep tells nothing where a cone moves far enough to rub")
    hz, highest = max(floor, key=lambda each: each[1])
    if highest <= limit.value:
        return Measure(highest, 0.0, PASS, "no event; weaker ones than this would not be seen")
    hidden = sum(value > limit.value for _, value in floor) / len(floor)
    why = f"no event, but the noise could hide one of this size at {_hz(hz)}, and one over the limit in {hidden:.0%}"
    return Measure(highest, 0.0, UNDECIDED, f"{why} of the band: play louder, or go nearer")


def _hum(document: Document, limit: Limit) -> Measure:
    noise, sweep = _block(document, "noise"), _sweep_dbfs(document)
    if noise["mains_hz"] is not None:
        power = np.array([10 ** (line["db"] / 10) for line in noise["hum"]])
        spread = np.array([line.get("uncertainty_db") or 0.0 for line in noise["hum"]])
        share = float(np.sqrt(np.sum((power * spread) ** 2)) / power.sum())
        return judged(10 * float(np.log10(power.sum())) - sweep, float(np.hypot(TAKE_DB, share)), limit)
    low = [10 ** (noise["bands"][name] / 10) for name in HUM_BANDS if noise["bands"].get(name) is not None]
    if not low:
        raise _missing("the low bands are not in the recording")
    most = 10 * float(np.log10(sum(low))) - sweep
    if most <= limit.value:
        return Measure(most, 0.0, PASS, "no mains line; this is all the noise there is from 50 to 315 Hz")
    return Measure(most, 0.0, UNDECIDED, "no mains line stands out, but the noise from 50 to 315 Hz could hide one")


def _noise(document: Document, limit: Limit) -> Measure:
    noise = _block(document, "noise")
    value = noise["dbfs_a"] - _sweep_dbfs(document)
    found = judged(value, float(np.hypot(TAKE_DB, noise.get("uncertainty_db") or 0.0)), limit)
    if found.verdict != FAIL:
        return found
    return Measure(
        value, found.uncertainty, UNDECIDED, "the room's own noise is in it: record with the unit switched off"
    )


def _crackle(document: Document, limit: Limit) -> Measure:
    block = _block(document, "crackle")
    interval = rate_interval(block["events"], block["seconds"], confidence=0.90)  # each bound one-sided 95 %
    value, low, high = (60 * bound for bound in (interval.value, interval.low, interval.high))
    why = "the events keep to one phase of the mains: buzz" if block.get("mains_locked") else ""
    if high <= limit.value:
        return Measure(value, high - value, PASS, why)
    if low > limit.value:
        return Measure(value, value - low, FAIL, why)
    if block["events"] == 0:
        needed = 60 * rate_interval(0, 1.0, confidence=0.90).high / limit.value
        why = f"{needed:.0f} s without an event are needed to show it, {block['seconds']:.0f} s were heard"
    return Measure(value, high - value, UNDECIDED, why)


def _dip(document: Document, limit: Limit) -> Measure:
    drivers = _block(document, "polarity_drivers")
    if drivers.get("sum_at_crossover") is None and None in (drivers.get("woofer"), drivers.get("tweeter")):
        raise _missing("only one driver is heard")
    if drivers.get("dip_db") is None:
        raise _missing("the recording does not say how deep it is")
    return judged(drivers["dip_db"], TAKE_DB, limit, f"at {_hz(drivers['dip_hz'])}")


def _unmute(document: Document, limit: Limit) -> Measure:
    thump = document.get("thump")
    if thump is None:
        raise _missing("there is no power-on recording")
    if thump.get("unmute_after_s") is None:
        raise _missing("no rise of the hiss tells when the mute lets go")
    return judged(thump["unmute_after_s"], FRAME_S, limit)


def _pair_level(document: Document, twin: Document, limit: Limit, gain_changed: bool) -> Measure:
    if gain_changed:
        raise _missing("the recorder's gain was changed between the two")
    bands = _inside(band_differences(document.get("response"), twin.get("response")), limit)
    if not bands:
        raise _missing("the two recordings share no valid band")
    mean = float(np.mean([band.db for band in bands]))
    return judged(mean, float(np.mean([band.uncertainty_db for band in bands])), limit)


def _pair_response(document: Document, twin: Document, limit: Limit, gain_changed: bool) -> Measure:
    differences = band_differences(document.get("response"), twin.get("response"))
    mean, bands = mean_level(differences), _inside(differences, limit)
    if mean is None or not bands:
        raise _missing("the two recordings share no valid band")
    return _worst([(band.hz, band.db - mean, band.uncertainty_db) for band in bands], limit)


_SINGLE: Mapping[str, Callable[[Document, Limit], Measure]] = {
    "response": _response,
    "distortion below 250 Hz": _distortion,
    "distortion from 250 Hz": _distortion,
    "rub and buzz": _rub,
    "hum": _hum,
    "noise": _noise,
    "crackle": _crackle,
    "dip at the crossover": _dip,
    "unmute delay": _unmute,
}
_PAIR: Mapping[str, Callable[[Document, Document, Limit, bool], Measure]] = {
    "pair level": _pair_level,
    "pair response": _pair_response,
}
