"""The picture of a hunt."""

from xml.etree import ElementTree

import pytest
from report.sample import job

from dustcap.job.handover_data import HuntStep
from dustcap.report.suspect_plot import WORDS_SHARE, suspect_plot

NS = "{http://www.w3.org/2000/svg}"


def bars(svg):
    """Widths of the pieces of each bar, from top to bottom."""
    rows = {}
    for box in ElementTree.fromstring(svg).iter(f"{NS}rect"):
        if box.get("stroke"):
            rows.setdefault(box.get("y"), []).append(float(box.get("width")))
    return list(rows.values())


def test_every_bar_is_whole():
    """The pieces of a bar are as wide as the shares, and fill the bar with the others and the unexplained."""
    steps = job().steps
    room = 480.0 * (1 - WORDS_SHARE)

    drawn = bars(suspect_plot(steps))

    assert [sum(row) for row in drawn] == pytest.approx([room] * len(steps), abs=0.05)
    assert [row[0] / room for row in drawn] == pytest.approx([0.22, 0.48, 0.55, 0.85, 0.94], abs=1e-3)


def test_a_long_hunt_says_what_it_leaves_out():
    """Of 100 findings 12 rows are drawn, and the row between counts the rest."""
    steps = [HuntStep(f"finding {i}", {"C9 short": 0.5}, 0.1) for i in range(100)]

    words = [text.text for text in ElementTree.fromstring(suspect_plot(steps)).iter(f"{NS}text")]

    findings = [word for word in words if word.startswith("finding ")]
    assert (len(findings), findings[0], findings[-1]) == (11, "finding 0", "finding 99")
    assert "… 89 more findings …" in words


def test_without_findings_there_is_no_picture():
    """An empty hunt gives no drawing."""
    assert suspect_plot(()) is None
