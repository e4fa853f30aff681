"""One recording against another, from documents with known differences."""

from __future__ import annotations

import json

import numpy as np
import pytest

from dustcap.sound.against import against, against_document

HZ = (20 * 2.0 ** np.arange(0, 9.96, 1 / 24)).tolist()


def document(curve, *, valid=(100.0, 16000.0), noise_a=-70.0, lines=(), polarity="+", crackle=None, spread=0.1):
    """A listening document with that response curve (dB against Hz)."""
    db = [curve(hz) if valid[0] <= hz <= valid[1] else None for hz in HZ]
    return {
        "layout": 1,
        "response": {"hz": HZ, "db": db, "valid": list(valid), "uncertainty_db": spread},
        "noise": {
            "dbfs_a": noise_a,
            "uncertainty_db": 0.3,
            "mains_hz": 49.98 if lines else None,
            "hum": [{"hz": 49.98 * order, "db": db, "uncertainty_db": 0.2} for order, db in lines],
        },
        "polarity": polarity,
        "crackle": crackle,
    }


def crackling(events, level_dbfs, seconds=10.0):
    return {
        "found": events > 0, "events": events, "seconds": seconds, "rate": events / seconds, "low": 0.0, "high": 9.0,
        "times": np.linspace(0.1, 9.9, events).tolist(), "sizes_db": np.linspace(16, 30, events).tolist(),
        "levels_dbfs": (level_dbfs + np.linspace(16, 30, events)).tolist(), "windows": [[0.0, seconds]],
        "threshold_db": 15.0, "false_alarms_per_hour": 1.0,
    }  # fmt: skip


def test_a_tilt_is_found_band_by_band():
    """A level step of 0.4 dB and a tilt of 1 dB a decade come out within 0.05 dB in each third octave (arithmetic)."""
    flat = document(lambda hz: -20.0)
    tilted = document(lambda hz: -20.4 + np.log10(hz / 1000))

    got = against(tilted, flat)

    for band in got.bands:
        assert band.db == pytest.approx(-0.4 + np.log10(band.hz / 1000), abs=0.05)
        assert band.uncertainty_db == pytest.approx(np.hypot(0.1, 0.1))
    middle = 1000 * 10 ** (np.arange(-6, 4) / 10)  # exact centres from 250 Hz to 2 kHz
    assert got.level_db == pytest.approx(-0.4 + np.mean(np.log10(middle / 1000)), abs=0.02)


def test_only_what_both_recordings_hold_is_compared():
    """Bands reach from the higher lower limit to the lower upper limit, whole bands only."""
    got = against(document(lambda hz: 0.0, valid=(180.0, 16000.0)), document(lambda hz: 0.0, valid=(50.0, 8000.0)))

    assert [band.nominal for band in (got.bands[0], got.bands[-1])] == ["250", "6300"]


def test_a_changed_gain_leaves_shapes_only():
    """With another recorder gain there is no level; bands are given about their mean, and no noise or crackle."""
    got = against(
        document(lambda hz: -10.0 + np.log10(hz / 1000), crackle=crackling(9, -60)),
        document(lambda hz: 0.0, crackle=crackling(9, -60)),
        gain_changed=True,
    )

    assert got.level_db is None
    middle = [band.db for band in got.bands if band.hz * 1.01 >= 250 and band.hz <= 2020]
    assert np.mean(middle) == pytest.approx(0.0, abs=1e-9)
    assert (got.noise_db, got.hum, got.crackle) == (None, (), None)


def test_hum_is_compared_line_by_line():
    """Lines of the same order differ by their levels; a line that one recording lacks is said to be in the other."""
    this = document(lambda hz: 0.0, noise_a=-75.0, lines=[(2, -80.0), (4, -90.0)])
    other = document(lambda hz: 0.0, noise_a=-62.0, lines=[(1, -70.0), (2, -52.0)])

    got = against(this, other)

    assert [(line.order, line.db, line.only) for line in got.hum] == [
        (1, None, "other"), (2, -28.0, None), (4, None, "this")
    ]  # fmt: skip
    assert got.noise_db == pytest.approx(-13.0)
    assert got.noise_uncertainty_db == pytest.approx(np.hypot(0.3, 0.3))


@pytest.mark.parametrize(
    ("louder_db", "crackle_db", "answer"), [(12.0, 0.0, "no"), (12.0, 12.0, "yes"), (0.0, 0.0, "undecided")]
)
def test_crackle_is_judged_by_the_level_of_the_programme(louder_db, crackle_db, answer):
    """Louder programme with the same crackle: it does not follow the volume."""
    this = document(lambda hz: louder_db, crackle=crackling(40, -60 + crackle_db))
    other = document(lambda hz: 0.0, crackle=crackling(40, -60))

    assert against(this, other).crackle.follows_volume == answer


def test_what_is_missing_stays_empty():
    """Without response, noise and polarity nothing is compared and nothing is made up."""
    empty = {"layout": 1, "response": None, "noise": None, "polarity": None, "crackle": None}

    got = against(empty, document(lambda hz: 0.0))

    assert (got.level_db, got.bands, got.noise_db, got.polarity, got.crackle) == (None, (), None, None, None)


@pytest.mark.parametrize(("this", "answer"), [("+", "same"), ("-", "opposite"), (None, None)])
def test_polarity_is_relative(this, answer):
    """Two equal signs are the same polarity whatever the recorder does."""
    assert against(document(lambda hz: 0.0, polarity=this), document(lambda hz: 0.0)).polarity == answer


def test_the_comparison_is_a_plain_document():
    """The document has the contract's fields and holds no number that JSON cannot write."""
    this = document(lambda hz: 0.0, lines=[(2, -80.0)], crackle=crackling(3, -60))
    other = document(lambda hz: 1.0, crackle=crackling(0, -60))

    got = against_document(against(this, other), "before.wav")

    assert {"recording", "level_db", "bands", "hum", "crackle"} <= got.keys()
    assert json.loads(json.dumps(got, allow_nan=False)) == got
    assert got["crackle"]["rate_ratio"] is None
    assert got["bands"][0].keys() >= {"hz", "db", "uncertainty_db"}
