"""Verdicts as pictures."""

from xml.etree import ElementTree

import pytest

from dustcap.errors import InputError
from dustcap.job.handover_data import VerdictLine
from dustcap.report.svg import DEEP, FADED, SHADE
from dustcap.report.verdict_plot import verdict_gauge, verdict_mark

NS = "{http://www.w3.org/2000/svg}"


def shapes(svg):
    """The kinds of shapes in a drawing, with colour left out."""
    return [child.tag.removeprefix(NS) for child in ElementTree.fromstring(svg)]


def test_verdicts_differ_in_shape():
    """A tick in a disc, a cross in a square, a diamond: told apart without colour."""
    drawn = [tuple(shapes(verdict_mark(word))) for word in ("pass", "fail", "undecided")]

    assert len(set(drawn)) == 3


def test_a_verdict_that_does_not_exist_is_refused():
    """A word other than the three is a mistake of the caller."""
    with pytest.raises(InputError, match="no verdict 'maybe'"):
        verdict_mark("maybe")


@pytest.mark.parametrize(
    ("better", "value", "beyond"),
    [
        ("below", 3.0, True),
        ("below", 1.0, False),
        ("above", 1.0, True),
        ("above", 3.0, False),
        ("within", -3.0, True),
        ("within", 0.5, False),
    ],
)
def test_a_value_beyond_its_limit_stands_in_the_shade(better, value, beyond):
    """The dot lies in a shaded part exactly when the value breaks the limit."""
    root = ElementTree.fromstring(verdict_gauge(VerdictLine("x", "fail", value, 2.0, 0.1, "V", better)))
    dot = next(float(one.get("cx")) for one in root.iter(f"{NS}circle") if one.get("fill") == DEEP)
    parts = [
        (float(box.get("x")), float(box.get("width"))) for box in root.iter(f"{NS}rect") if box.get("fill") == SHADE
    ]

    assert any(left < dot < left + width for left, width in parts) is beyond


def test_the_bar_is_the_uncertainty():
    """Value, limit and uncertainty share one scale: here the bar reaches from the dot to the limit."""
    root = ElementTree.fromstring(verdict_gauge(VerdictLine("x", "undecided", 1.0, 2.0, 1.0, "V")))
    bar = next(line for line in root.iter(f"{NS}line") if line.get("stroke") == DEEP)
    limit = next(line for line in root.iter(f"{NS}line") if line.get("stroke-width") == "1.4")

    assert bar.get("x2") == limit.get("x1")


def test_a_value_before_far_away_does_not_squeeze_the_scale():
    """23.8 V before is an arrow at the edge when the limit is 50 mV."""
    svg = verdict_gauge(VerdictLine("d.c.", "pass", 0.004, 0.05, 0.001, "V", "within", before=-23.8))

    arrow = next(line for line in ElementTree.fromstring(svg).iter(f"{NS}polyline") if line.get("stroke") == FADED)
    assert min(float(spot.split(",")[0]) for spot in arrow.get("points").split()) == 1.0


def test_without_value_or_limit_there_is_no_gauge():
    """A verdict in words alone has no scale."""
    assert verdict_gauge(VerdictLine("polarity", "pass")) is None
