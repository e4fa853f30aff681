"""Scales, grid and labels of a plot."""

from itertools import pairwise

import pytest

from dustcap.report.axes import frequency_frame, level_range, spread, tick_step, ticks


@pytest.mark.parametrize("width", [246.0, 480.0, 900.0])
@pytest.mark.parametrize("span_db", [30.0, 60.0])
def test_a_decade_is_as_long_as_25_db(width, span_db):
    """The proportion of IEC 60263:1982, clause 2, holds at every size."""
    frame = frequency_frame("", "", "dB", width, 20.0, 20000.0, 0.0, span_db)

    decade = frame.spot(1000.0, 0.0)[0] - frame.spot(100.0, 0.0)[0]
    height = frame.spot(100.0, -25.0)[1] - frame.spot(100.0, 0.0)[1]

    assert decade == pytest.approx(height, rel=1e-9)


def test_an_axis_of_150_mm_has_2_mm_a_decibel():
    """20 Hz to 20 kHz on 150 mm gives 2 mm a dB (three decades of 25 dB, derived from IEC 60263:1982, clause 2)."""
    frame = frequency_frame("", "", "dB", 150.0 + 98.0, 20.0, 20000.0, 0.0, 30.0)

    assert frame.x.length == 150.0
    assert frame.y.length / 30.0 == pytest.approx(2.0)


def test_ticks_are_round_and_few():
    """Steps are 1, 2 or 5 times a power of ten."""
    assert tick_step(6.5, 8) == 1.0
    assert tick_step(60.0, 8) == 10.0
    assert tick_step(0.013, 8) == pytest.approx(0.002)
    assert ticks(-12.0, 21.0, 10.0) == [-10.0, 0.0, 10.0, 20.0]


def test_the_level_range_holds_the_levels_within_its_limits():
    """Ten by ten, at least 40 dB and at most 70 dB; the loud end is kept."""
    assert level_range([3.0, -8.0, None]) == (10.0, 40.0)
    assert level_range([0.0, -53.0]) == (10.0, 70.0)
    assert level_range([-41.0, -300.0]) == (-40.0, 70.0)
    assert level_range([]) == (0.0, 40.0)


def test_labels_do_not_touch_and_stay_inside():
    """Labels keep their order and their distance, even when all want the lowest place."""
    placed = spread([(99.0, "a", ""), (100.0, "b", ""), (100.0, "c", ""), (10.0, "d", "")], 12.0, 100.0)

    heights = [height for height, _, _ in placed]
    assert [label for _, label, _ in placed] == ["d", "a", "b", "c"]
    assert all(after - before >= 12.0 for before, after in pairwise(heights))
    assert heights[-1] <= 100.0
