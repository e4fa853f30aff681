"""The outcomes that readings fall into."""

import numpy as np

from dustcap.hunt.outcomes import labels


def test_readings_apart_are_told_apart_and_far_ones_need_no_room():
    """Three readings, one of them a hundred million bins away, are three outcomes beside "none" and "over range"."""
    place = np.array([[0.0, 5.0, 1e8, 5.0, np.nan, np.inf]])

    lower, upper, share = labels(place, np.full(6, 1 / 6), 16)

    assert np.unique(lower[0]).size == 5
    assert lower[0, 1] == lower[0, 3]
    assert lower[0, 4] == 0
    assert lower[0, 5] == 1
    assert not share.any()
    assert int(upper.max()) < 16
