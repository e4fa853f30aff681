"""An invented job for the tests of the sheet and the plots: model 27, room 1 left."""

import math

from dustcap.job.handover_data import (
    HandoverData,
    HuntStep,
    LimitRegion,
    ReadingLine,
    SuspectLine,
    UnitLine,
    VerdictLine,
    WorkLine,
)

LOW_BANDS = ("31.5", "40", "50", "63", "80", "100", "125", "160", "200", "250", "315", "400", "500", "630")
HIGH_BANDS = ("800", "1000", "1250", "1600", "2000", "2500", "3150", "4000", "5000", "6300", "8000", "10000")
LEAK = "leak rail+ to wf_fb"


def recording(*, repaired):
    """A listen document: a two-way response, two harmonics, noise, hum lines and, before the work, crackle."""
    hz = [20.0 * 10 ** (3 * i / 400) for i in range(401)]
    hum = [(50.0, -71.0), (100.0, -58.0), (150.0, -76.0), (200.0, -69.0), (300.0, -74.0)]
    drop = 24.0 if repaired else 0.0
    times = [] if repaired else [0.61, 0.94, 1.7, 2.02, 2.05, 3.3, 4.16, 5.9, 6.02]
    return {
        "layout": 1,
        "response": {
            "hz": hz,
            "db": [_level(f, 0.0 if repaired else 4.0) if 62.0 <= f <= 20000.0 else None for f in hz],
            "valid": [62.0, 20000.0],
            "smoothing": "1/12",
            "uncertainty_db": 0.4,
        },
        "harmonics": [
            {
                "order": order,
                "hz": hz,
                "db_below_fundamental": [
                    38.0 + 6.0 * order + 8 * math.log10(f / 60.0) - (0 if repaired else 9) for f in hz
                ],
                "valid": [62.0, 20000.0 / order],
            }
            for order in (2, 3)
        ],
        "noise": {
            "dbfs_a": -71.2,
            "bands": {name: -78.0 - 0.5 * i - drop / 4 for i, name in enumerate((*LOW_BANDS, *HIGH_BANDS))},
            "hum": [{"hz": f, "db": level - drop} for f, level in hum],
        },
        "crackle": {
            "found": bool(times),
            "events": len(times),
            "seconds": 6.0,
            "rate": len(times) / 6.0,
            "low": 0.0 if repaired else 0.686,
            "high": 0.615 if repaired else 2.85,
            "times": times,
            "sizes_db": [18.0 + 3.0 * (i % 4) for i in range(len(times))],
            "windows": [[0.5, 6.5]],
            "threshold_db": 14.0,
        },
    }


def _level(f, dip):
    low = -10 * math.log10(1 + (75.0 / f) ** 6)
    high = -10 * math.log10(1 + (f / 17000.0) ** 8)
    return low + high + 1.5 * math.sin(3 * math.log(f)) - dip * math.exp(-(math.log(f / 2500) ** 2) * 4)


def job(**changes):
    """The whole job as it is handed over; `changes` replace fields."""
    fields = {
        "job": "14",
        "made": "2026-11-25T09:30:00+00:00",
        "unit": UnitLine(
            "model 27",
            "C",
            "room 1 left",
            "0113",
            "room 1 right",
            "230 V 50 Hz",
            "Seven damp winters in a rehearsal room on an estuary. Bought as one of four.",
        ),
        "shop": "The bench",
        "technician": "R. K.",
        "complaints": ("cone pushed out, woofer", "hum: looked for and absent"),
        "sightings": ("residue, area glue_1", "clean, C9"),
        "readings": (
            ReadingLine(
                "dc volts wf_out against 0V", -23.8, "V", "", "handheld", "drivers disconnected", -0.012, 0.012
            ),
            ReadingLine("dc volts wf_fb against 0V", -1.13, "V", "", "handheld", "drivers disconnected", -0.01, 0.01),
            ReadingLine("dc volts rail+ against 0V", 24.1, "V", "", "handheld", "drivers disconnected", 23.1, 25.0),
            ReadingLine("leakage rail+ against wf_fb", 1.42e6, "ohm", "", "handheld", "unplugged", 2.1e4, 2.3e4),
            ReadingLine("ohms rail+ against 0V", None, "ohm", "over range", "handheld", "unplugged", 4.7e3, 4.9e3),
            ReadingLine(
                "dc volts wf_out against 0V", 0.004, "V", "", "handheld", "drivers disconnected", -0.012, 0.012, True
            ),
        ),
        "fault": SuspectLine(
            LEAK + " (1.2 MΩ to 1.6 MΩ)",
            0.94,
            ("complaint: cone pushed out, woofer", "dc volts wf_out against 0V −23.8 V", "sighting: residue, glue_1"),
            (),
        ),
        "others": (
            SuspectLine("U3 stuck low", 0.03, ("dc volts wf_out against 0V −23.8 V",), ("dc volts wf_fb −1.13 V",)),
            SuspectLine("R12 open", 0.01, (), ("leakage rail+ against wf_fb 1.42 MΩ",)),
        ),
        "unexplained": 0.01,
        "steps": (
            HuntStep("complaint: cone pushed out", {LEAK: 0.22, "U3 stuck low": 0.35, "R12 open": 0.12}, 0.05),
            HuntStep("residue in glue_1", {LEAK: 0.48, "U3 stuck low": 0.22, "R12 open": 0.08}, 0.04),
            HuntStep("dc volts wf_out −23.8 V", {LEAK: 0.55, "U3 stuck low": 0.26, "R12 open": 0.09}, 0.02),
            HuntStep("dc volts wf_fb −1.13 V", {LEAK: 0.85, "U3 stuck low": 0.05, "R12 open": 0.06}, 0.02),
            HuntStep("leakage 1.42 MΩ", {LEAK: 0.94, "U3 stuck low": 0.03, "R12 open": 0.01}, 0.01),
        ),
        "work": (
            WorkLine("cleaned", "area glue_1", "glue softened and lifted, rinsed with isopropanol, dried 2 h"),
            WorkLine("replaced", "C9, C10", "1000 µF 50 V 105 °C for 1000 µF 35 V 85 °C", precaution=True),
        ),
        "before": recording(repaired=False),
        "after": recording(repaired=True),
        "limits": (LimitRegion("response", 100.0, 10000.0, good_high=4.0, good_low=-5.0, words="outside the limit"),),
        "verdicts": (
            VerdictLine(
                "d.c. at the woofer", "pass", 0.004, 0.05, 0.001, "V", "within", before=-23.8, source="common practice"
            ),
            VerdictLine("hum, 100 Hz line", "pass", -82.0, -60.0, 1.0, "dB", before=-58.0, source="EBU Tech 3276"),
            VerdictLine("pair match", "undecided", 0.9, 1.0, 0.2, "dB", why="too near the limit", source="BS.1116"),
            VerdictLine("crackle", "pass", 0.0, 0.7, 0.6, "1/s", before=1.5),
            VerdictLine("2nd harmonic at 100 Hz", "fail", -38.0, -40.0, 0.5, "dB"),
            VerdictLine("response floor", "pass", -2.1, -5.0, 0.4, "dB", better="above"),
        ),
        "soak": "40 clean switch-ons: at most 7.2 % of switch-ons may still fail (95 %).",
        "not_measured": ("Response below 62 Hz: the room's gate ends there.", "Impedance: no sweep was made."),
        "remaining": (
            "The same glue holds the rail capacitors of the other three units.",
            "The new capacitors should last about 11 years at 6 hours a day and 45 °C inside.",
        ),
        "cautions": ("The rail capacitors keep 24 V for 90 s after the plug is pulled.",),
    }
    return HandoverData(**(fields | changes))
