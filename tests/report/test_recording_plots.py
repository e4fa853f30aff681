"""Plots of recordings."""

from xml.etree import ElementTree

import pytest
from report.sample import job, recording

from dustcap.job.handover_data import LimitRegion
from dustcap.report.axes import LEFT, RIGHT
from dustcap.report.crackle_plot import crackle_plot, crackle_words
from dustcap.report.recording_plots import (
    DEEP,
    FADED,
    PAGE_PT,
    harmonics_plot,
    noise_plot,
    response_plot,
)
from dustcap.report.svg import SHADE

NS = "{http://www.w3.org/2000/svg}"
DECADE = (PAGE_PT - LEFT - RIGHT) / 3.0


def curves(svg, stroke):
    """The points of every line of one tone."""
    lines = [line for line in ElementTree.fromstring(svg).iter(f"{NS}polyline") if line.get("stroke") == stroke]
    return [[tuple(map(float, spot.split(","))) for spot in line.get("points").split()] for line in lines]


def said(svg):
    """Every text of a drawing."""
    return [text.text for text in ElementTree.fromstring(svg).iter(f"{NS}text")]


def flat(**changes):
    """A listen document with a response of 0 dB from 20 Hz to 20 kHz."""
    hz = [20.0 * 10 ** (i / 100) for i in range(301)]
    block = {"hz": hz, "db": [0.0] * 301, "valid": [20.0, 20000.0], "uncertainty_db": None}
    return {"response": block | changes}


def test_nothing_is_drawn_outside_the_valid_band():
    """A response valid from 200 Hz to 2 kHz begins one decade in and is one decade long."""
    (line,) = curves(response_plot(flat(valid=[200.0, 2000.0])), DEEP)

    assert line[0][0] == pytest.approx(DECADE, abs=1.5)
    assert line[-1][0] == pytest.approx(2 * DECADE, abs=1.5)


def test_a_gap_in_a_response_is_not_bridged():
    """Nulls part the curve in two."""
    levels = [0.0] * 301
    levels[100:150] = [None] * 50

    first, second = curves(response_plot(flat(db=levels)), DEEP)

    assert first[-1][0] < DECADE < second[0][0]


def test_a_slope_of_25_db_a_decade_is_drawn_at_45_degrees():
    """The proportion of IEC 60263:1982, clause 2, as it comes out of the pen."""
    levels = [-25.0 * i / 100 for i in range(301)]

    (line,) = curves(response_plot(flat(db=levels)), DEEP)
    (left, high), (right, low) = line[0], line[100]

    assert low - high == pytest.approx(right - left, abs=0.05)


def test_before_is_drawn_broken_and_named():
    """Both curves are named where they end, and before is a broken line."""
    svg = response_plot(recording(repaired=True), recording(repaired=False))

    assert {"now", "before"} <= set(said(svg))
    assert curves(svg, FADED)
    assert "stroke-dasharray" in svg


def test_limits_are_shaded_on_their_bad_side_only():
    """A limit of +3 and -5 dB shades two areas inside its band."""
    limit = LimitRegion("response", 200.0, 2000.0, good_low=-5.0, good_high=3.0, words="outside the limit")

    shaded = [
        box
        for box in ElementTree.fromstring(response_plot(flat(), limits=(limit,))).iter(f"{NS}rect")
        if box.get("fill") == SHADE
    ]

    assert [float(box.get("x")) for box in shaded] == pytest.approx([DECADE, DECADE], abs=0.01)
    assert [float(box.get("width")) for box in shaded] == pytest.approx([DECADE, DECADE], abs=0.01)
    assert float(shaded[0].get("height")) < float(shaded[1].get("y"))


def test_harmonics_are_drawn_below_the_fundamental():
    """A second harmonic 40 dB below the fundamental lies at the 1 % mark."""
    hz = [100.0, 1000.0]
    block = {"order": 2, "hz": hz, "db_below_fundamental": [40.0, 40.0], "valid": [60.0, 9000.0]}

    svg = harmonics_plot({"harmonics": [block]})

    (line,) = curves(svg, DEEP)
    marks = [float(text.get("y")) for text in ElementTree.fromstring(svg).iter(f"{NS}text") if text.text == "1 %"]
    assert line[0][1] == pytest.approx(marks[0] + 2, abs=0.02)


def test_with_totals_the_orders_before_are_left_out():
    """Total distortion is drawn of both recordings, the orders of now alone."""
    total = {"hz": [100.0, 1000.0], "db_below_fundamental": [36.0, 36.0], "valid": [60.0, 9000.0]}
    pair = [recording(repaired=repaired) | {"harmonics_total": total} for repaired in (True, False)]

    words = set(said(harmonics_plot(*pair)))

    assert {"total now", "total before", "2nd now", "3rd now"} <= words
    assert not {"2nd before", "3rd before"} & words


def test_a_response_without_a_valid_band_is_not_drawn():
    """No valid band means no curve, whatever numbers stand beside it."""
    assert curves(response_plot(flat(valid=None), flat()), DEEP) == []


def test_a_gap_in_a_harmonic_is_not_bridged():
    """A missing value parts the curve of a harmonic in two."""
    hz = [100.0, 200.0, 400.0, 800.0, 1600.0]
    block = {"order": 3, "hz": hz, "db_below_fundamental": [40.0, 41.0, None, 43.0, 44.0], "valid": [60.0, 9000.0]}

    assert [len(line) for line in curves(harmonics_plot({"harmonics": [block]}), DEEP)] == [2, 2]


def test_hum_lines_carry_their_frequency():
    """Every hum line of now that has room is named."""
    assert {"50", "100", "200"} <= set(said(noise_plot(recording(repaired=True), recording(repaired=False))))


def test_a_third_octave_is_drawn_as_wide_as_it_is():
    """The step of the 1 kHz band spans a tenth of a decade (IEC 61260-1:2014, base 10)."""
    (line,) = curves(noise_plot({"noise": {"bands": {"1000": -60.0}}}), DEEP)

    assert line[-1][0] - line[0][0] == pytest.approx(DECADE / 10, abs=0.02)


def test_crackle_has_one_stroke_an_event_and_a_strip_a_recording():
    """Nine events before, none now, and both say so."""
    svg = crackle_plot(recording(repaired=True), recording(repaired=False))

    strokes = [line for line in ElementTree.fromstring(svg).iter(f"{NS}line") if line.get("stroke-width") == "1.3"]
    assert len(strokes) == 9
    assert any("before: 9 events" in words for words in said(svg))
    assert any("now: 0 events" in words for words in said(svg))


def test_crackle_is_said_with_its_interval():
    """The words carry count, time, rate and interval, and leave out what is not known."""
    crackle = {"events": 41, "seconds": 10.0, "rate": 4.1, "low": 2.94, "high": 5.56}

    assert crackle_words(crackle) == "41 events in 10 s, 4.1 a second (95 %: 2.9 to 5.6)"
    assert crackle_words({"events": 1, "seconds": 6.0}) == "1 event in 6 s"


@pytest.mark.parametrize("plot", [response_plot, harmonics_plot, noise_plot, crackle_plot])
@pytest.mark.parametrize(
    "document",
    [
        {},
        {"response": None, "harmonics": None, "noise": None, "crackle": None},
        {"noise": {"bands": None, "hum": None}},
    ],
)
def test_without_its_block_there_is_no_plot(plot, document):
    """A spoiled or missing block gives no drawing, rather than an empty one."""
    assert plot(document) is None
    assert plot(document, document) is None


@pytest.mark.parametrize("plot", [response_plot, harmonics_plot, noise_plot, crackle_plot])
def test_the_same_recording_is_drawn_the_same(plot):
    """Drawings are the same to the last letter, and hold no number that is not finite."""
    whole = job()

    first, second = plot(whole.after, whole.before), plot(whole.after, whole.before)

    assert first == second
    assert "nan" not in first
    assert "inf" not in first
