"""Expected readings in words."""

import pytest

from dustcap.predict.sheet import Range
from dustcap.report.figures import bounds, figure_said, middle

INF = float("inf")


@pytest.mark.parametrize(
    ("figure", "unit", "said"),
    [
        (Range(25.6, 26.9, 28.0), "V", "26.9 V (25.6 V to 28 V)"),
        (Range(-28.0, -26.9, -25.6), "V", "−26.9 V (−28 V to −25.6 V)"),
        (Range(-1.8e-3, 2.9e-5, 1.8e-3), "V", "0 V (−1.8 mV to 1.8 mV)"),
        (Range(-6.6e-3, -3.2e-3, 0.7e-3), "V", "−3.2 mV (−6.6 mV to 700 µV)"),
        (Range(2.84e6, 2.16e7, INF, 0.2), "ohm", "21.6 MΩ (2.84 MΩ to over)"),
        (Range(INF, INF, INF, 1.0), "ohm", "over"),
        (Range(50.0, 50.0, 50.0), "ohm", "50 Ω"),
        (Range(1e-19, 2e-18, 6e-18), "V", "0 V"),
        (Range(0.732, 0.768, 0.801), "%", "76.8 % (73.2 % to 80.1 %)"),
        (None, "V", "–"),
    ],
)
def test_a_figure_is_said_with_its_bounds(figure, unit, said):
    """Digits that say nothing are not printed: a middle about zero, a level far below any meter."""
    assert figure_said(figure, unit) == said


def test_the_middle_and_the_bounds_stand_alone():
    """As the printed sheet sets them, large and small."""
    figure = Range(9.9e3, 10e3, 10.1e3)

    assert middle(figure, "ohm") == "10 kΩ"
    assert bounds(figure, "ohm") == "9.9 kΩ to 10.1 kΩ"
    assert bounds(None, "ohm") == ""
