"""A listening result as the JSON document of `dustcap listen`: plain numbers, never a NaN or an infinity."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from dustcap.sound.crackle import Crackle
from dustcap.sound.evidence import Evidence
from dustcap.sound.harmonics import Harmonic
from dustcap.sound.health import Refusal, Remark
from dustcap.sound.irregular import Irregular
from dustcap.sound.noise import Noise
from dustcap.sound.pair import Pair
from dustcap.sound.polarity import Polarity
from dustcap.sound.response import FrequencyResponse
from dustcap.sound.result import ListenResult
from dustcap.sound.thump import Thump

Document = dict[str, Any]


def to_json(result: ListenResult) -> Document:
    """The document; blocks that were refused are null and stand in ``refused``."""
    rest = result.rest
    return {
        "layout": 1,
        "sample_rate": int(result.sample_rate) if result.sample_rate == int(result.sample_rate) else result.sample_rate,
        "channel": result.channel,
        "found_stimulus": result.found_stimulus,
        "stimulus": result.stimulus,
        "reference": "full-scale sine",
        "frequencies": "in the recorder's clock, uncorrected",
        "clock_skew_ppm": figure(result.clock_skew_ppm, 3),
        "snr_db": figure(result.snr_db, 2),
        "sweep_dbfs": figure(result.sweep_dbfs, 2),
        "warnings": [_remark(each) for each in result.warnings],
        "refused": [_refusal(each) for each in result.refused],
        "response": _response(result.response) if result.response else None,
        "harmonics": [_harmonic(each) for each in result.harmonics.orders] if result.harmonics else None,
        "harmonics_total": _harmonic(result.harmonics.total) if result.harmonics and result.harmonics.total else None,
        "irregular": _irregular(result.irregular) if result.irregular else None,
        "noise": _noise(rest.noise) if rest else None,
        "crackle": crackle_document(rest.crackle, rest.mains_locked) if rest and rest.crackle else None,
        "polarity": result.polarity.woofer if result.polarity else None,
        "polarity_drivers": _drivers(result.polarity) if result.polarity else None,
        "thump": _thump(result.thump) if result.thump else None,
        "pair": _pair(result.pair) if result.pair else None,
        "evidence": evidence_document(result.evidence),
        "verdicts": [],
        "against": None,
    }


def figure(value: float | None, digits: int) -> float | None:
    """A number rounded to decimals; none for none and for what is not finite."""
    if value is None or not np.isfinite(value):
        return None
    return round(float(value), digits)


def figures(values: ArrayLike, digits: int) -> list[float | None]:
    """Numbers rounded to decimals, null where not finite."""
    return [figure(value, digits) for value in np.asarray(values, dtype=float).tolist()]


def _remark(remark: Remark) -> Document:
    why = {"why": remark.why} if remark.why else {}
    return {"what": remark.what, "where": [figures(stretch, 4) for stretch in remark.where], "do": remark.do} | why


def _refusal(refusal: Refusal) -> Document:
    return {"what": refusal.what, "why": refusal.why, "do": refusal.do}


def _response(response: FrequencyResponse) -> Document:
    return {
        "hz": figures(response.hz, 3),
        "db": figures(response.db, 3),
        "valid": figures(response.valid, 3),
        "gate_s": figure(response.gate_s, 6),
        "reflection_s": figure(response.reflection_s, 6),
        "smoothing": response.smoothing,
        "near_field": response.near_field,
        "uncertainty_db": figures(response.uncertainty_db, 3),
        "noise_uncertainty_db": figures(response.noise_db, 3),
    }


def _harmonic(harmonic: Harmonic) -> Document:
    order = {"order": harmonic.order} if harmonic.order else {}
    return order | {
        "hz": figures(harmonic.hz, 3),
        "db_below_fundamental": figures(harmonic.db_below_fundamental, 3),
        "valid": figures(harmonic.valid, 3),
        "uncertainty_db": figures(harmonic.uncertainty_db, 3),
    }


def _irregular(irregular: Irregular) -> Document:
    return {
        "hz": figures(irregular.hz, 3),
        "crest_db": figures(irregular.crest_db, 2),
        "floor_db": figures(irregular.floor_db, 2),
        "events": [
            {"hz": figure(event.hz, 2), "s": figure(event.s, 4), "db": figure(event.db, 2)}
            for event in irregular.events
        ],
    }


def _noise(noise: Noise) -> Document:
    return {
        "dbfs_a": figure(noise.dbfs_a, 2),
        "uncertainty_db": figure(noise.uncertainty_db, 2),
        "dbfs_468_quasi_peak": figure(noise.dbfs_468_quasi_peak, 2),
        "bands": {nominal: figure(db, 2) for nominal, db in noise.bands.items()},
        "mains_hz": figure(noise.mains_hz, 4),
        "mains_uncertainty_hz": figure(noise.mains_uncertainty_hz, 4),
        "hum": [
            {
                "order": line.order,
                "hz": figure(line.hz, 4),
                "db": figure(line.db, 2),
                "uncertainty_db": figure(line.uncertainty_db, 2),
            }
            for line in noise.hum
        ],
        "hum_kind": noise.hum_kind,
        "twice_mains_share": figure(noise.twice_mains_share, 4),
        "crackle_share": figure(noise.crackle_share, 6),
        "crackle_db": figure(noise.crackle_db, 2),
    }


def _drivers(polarity: Polarity) -> Document:
    return {
        "woofer": polarity.woofer,
        "tweeter": polarity.tweeter,
        "sum_at_crossover": polarity.sum_at_crossover,
        "dip_db": figure(polarity.dip_db, 2),
        "dip_hz": figure(polarity.dip_hz, 1),
        "why": list(polarity.why),
    }


def _thump(thump: Thump) -> Document:
    return {
        "switch_s": figure(thump.switch_s, 4),
        "peak_dbfs": figure(thump.peak_dbfs, 2),
        "peak_s": figure(thump.peak_s, 4),
        "energy_db": figure(thump.energy_db, 2),
        "unmute_after_s": figure(thump.unmute_after_s, 3),
    }


def _pair(pair: Pair) -> Document:
    return {
        "level_db": figure(pair.level_db, 3),
        "delay_s": figure(pair.delay_s, 8),
        "polarity": "same" if pair.same_polarity else "opposite",
        "bands": [
            {
                "nominal": band.nominal,
                "hz": figure(band.hz, 2),
                "db": figure(band.db, 3),
                "uncertainty_db": figure(band.uncertainty_db, 3),
                "delay_s": figure(band.delay_s, 8),
                "delay_uncertainty_s": figure(band.delay_uncertainty_s, 8),
            }
            for band in pair.bands
        ],
    }


def evidence_document(found: tuple[Evidence, ...]) -> list[Document]:
    """Evidence as it stands in the document."""
    return [_evidence(each) for each in found]


def _evidence(evidence: Evidence) -> Document:
    return {
        "complaint": evidence.complaint,
        "driver": evidence.driver,
        "value": figure(evidence.value, 3),
        "unit": evidence.unit,
        "spread": figure(evidence.spread, 3),
        "with_volume": evidence.with_volume,
    }


def crackle_document(crackle: Crackle, mains_locked: bool) -> Document:
    """The crackle block of a document."""
    return {
        "found": crackle.found,
        "events": crackle.events,
        "seconds": figure(crackle.seconds, 3),
        "rate": figure(crackle.rate, 4),
        "low": figure(crackle.low, 4),
        "high": figure(crackle.high, 4),
        "times": figures(crackle.times, 5),
        "sizes_db": figures(crackle.sizes_db, 2),
        "levels_dbfs": figures(crackle.levels_dbfs, 2),
        "windows": [figures(window, 3) for window in crackle.windows],
        "threshold_db": figure(crackle.threshold_db, 2),
        "false_alarms_per_hour": figure(crackle.false_alarms_per_hour, 4),
        "mains_locked": mains_locked,
    }
