"""The bars of what each suspect would read: where they lie says what is expected."""

import re

import pytest

from dustcap.report.expected_plot import ExpectedBar, expected_plot


def boxes(svg):
    """Left edge and width of every bar, the ground left out."""
    found = re.findall(r'<rect x="([\d.-]+)" y="[\d.]+" width="([\d.]+)" height="14"', svg)
    return [(float(x), float(width)) for x, width in found]


def test_a_bar_lies_where_its_values_lie():
    """On a straight scale twice the value is twice as far from zero; on decades equal factors are equal steps."""
    rows = [ExpectedBar(str(v), 0.9 * v, v, 1.1 * v, "") for v in (1.0, 10.0, 100.0)]

    volts = [x + width / 2 for x, width in boxes(expected_plot(rows, "V"))]
    ohms = [x + width / 2 for x, width in boxes(expected_plot(rows, "ohm"))]

    assert volts[2] - volts[0] == pytest.approx(11 * (volts[1] - volts[0]), rel=0.02)
    assert ohms[2] - ohms[1] == pytest.approx(ohms[1] - ohms[0], rel=0.02)


def test_what_has_no_number_is_said_in_words():
    """Over range is written at the right; without any number there is no picture."""
    over = ExpectedBar("R63 open", None, None, None, "over range", 0.2)
    good = ExpectedBar("good board", 95e3, 96e3, 97e3, "95 kΩ to 97 kΩ")

    svg = expected_plot([good, over], "ohm")

    assert len(boxes(svg)) == 1
    assert ">over range</text>" in svg
    assert "R63 open: over range" in svg  # for those who listen to it
    assert expected_plot([over], "ohm") is None


@pytest.mark.parametrize("values", [(0.0, 0.0, 0.0), (-23.9, -23.8, -23.7), (1e-9, 2e-9, None)])
def test_every_value_stays_in_the_picture(values):
    """Zero, negative and open-ended values are drawn inside."""
    svg = expected_plot([ExpectedBar("one", *values, "")], "V", width=520.0)

    ((x, width),) = boxes(svg)
    assert 0 <= x <= x + width <= 520
