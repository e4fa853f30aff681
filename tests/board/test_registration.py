"""One view of a board laid on another by common points."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import least_squares

from dustcap.board.registration import register
from dustcap.errors import InputError

BOARD = [(0.0, 0.0), (160.0, 0.0), (160.0, 110.0), (0.0, 110.0)]


def seen(h, points):
    """Points through a homography, by plain homogeneous coordinates."""
    x, y, w = h @ np.column_stack([points, np.ones(len(points))]).T
    return [(float(a), float(b)) for a, b in zip(x / w, y / w, strict=True)]


def camera(turn, tilt, distance_mm, pixels=3000.0, mirrored=False):
    """A pinhole camera over a board in the plane z = 0: K [r1 r2 t], in closed form."""
    c, s, ct, st_ = np.cos(turn), np.sin(turn), np.cos(tilt), np.sin(tilt)
    rotation = np.array([[1, 0, 0], [0, ct, -st_], [0, st_, ct]]) @ np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    centre = np.array([80.0, 55.0, 0.0])
    t = np.array([0.0, 0.0, distance_mm]) - rotation @ centre
    k = np.array([[pixels, 0, 2000.0], [0, pixels, 1500.0], [0, 0, 1.0]])
    flip = np.diag([-1.0, 1.0, 1.0]) if mirrored else np.eye(3)
    return flip @ k @ np.column_stack([rotation[:, 0], rotation[:, 1], t])


def test_the_unit_square_goes_to_a_quadrilateral_as_in_the_closed_form():
    """Heckbert's closed form for the unit square holds: g, h from the two determinants.

    Source: P. S. Heckbert, Fundamentals of Texture Mapping and Image Warping, 1989, section 2.2.3 (from memory); the
    corner of this quadrilateral where the answer is plugged back is checked by two lines of algebra besides.
    """
    quad = [(10.0, 20.0), (210.0, 40.0), (180.0, 170.0), (30.0, 140.0)]
    (x0, y0), (x1, y1), (x2, y2), (x3, y3) = quad
    dx1, dx2, sx = x1 - x2, x3 - x2, x0 - x1 + x2 - x3
    dy1, dy2, sy = y1 - y2, y3 - y2, y0 - y1 + y2 - y3
    below = dx1 * dy2 - dx2 * dy1
    g, h = (sx * dy2 - dx2 * sy) / below, (dx1 * sy - sx * dy1) / below
    expected = [[x1 - x0 + g * x1, x3 - x0 + h * x3, x0], [y1 - y0 + g * y1, y3 - y0 + h * y3, y0], [g, h, 1.0]]

    found = register([(0, 0), (1, 0), (1, 1), (0, 1)], quad)

    assert np.array(found.matrix) == pytest.approx(np.array(expected), rel=1e-9)
    assert found.at((0, 0)) == pytest.approx(quad[0])
    assert not found.mirrored
    assert not found.checked


@given(
    turn=st.floats(-3.1, 3.1),
    tilt=st.floats(-0.6, 0.6),
    distance=st.floats(250, 900),
    mirrored=st.booleans(),
    extra=st.integers(0, 6),
)
def test_any_pinhole_view_is_found_again(turn, tilt, distance, mirrored, extra):
    """A point of the board lies where the camera sees it, from either side, and the way back undoes it."""
    h = camera(turn, tilt, distance, mirrored=mirrored)
    inner = [(20.0 + 25 * k, 15.0 + (37 * k) % 80) for k in range(extra)]
    found = register(BOARD + inner, seen(h, BOARD + inner))

    (expected,) = seen(h, [(41.2, 18.7)])

    assert found.at((41.2, 18.7)) == pytest.approx(expected, abs=1e-4)
    assert found.back(expected) == pytest.approx((41.2, 18.7), abs=1e-6)
    assert found.mirrored == mirrored
    assert max(found.residuals) < 1e-4


def test_more_points_are_fitted_by_least_squares():
    """With clicks a pixel off, the sum of squares is the one that a general-purpose solver finds.

    Reference: scipy.optimize.least_squares on the eight numbers, started at the true view.
    """
    rng = np.random.default_rng(5)
    points = BOARD + [(float(x), float(y)) for x, y in rng.uniform((5, 5), (155, 105), (8, 2))]
    h = camera(0.2, 0.3, 400.0)
    clicks = np.array(seen(h, points)) + rng.normal(0, 1.0, (12, 2))

    found = register(points, [tuple(click) for click in clicks])

    def off(free):
        return (np.array(seen(np.append(free, 1.0).reshape(3, 3), points)) - clicks).ravel()

    best = least_squares(off, (h / h[2, 2]).ravel()[:8], x_scale="jac", xtol=1e-15, ftol=1e-15, gtol=1e-15)
    assert np.sum(np.square(found.residuals)) == pytest.approx(2 * best.cost, rel=1e-6)
    assert 0.3 < found.rms < 1.6
    assert found.checked


def test_a_wrong_click_is_the_worst_point():
    """The point that was clicked 40 pixels beside is the one named."""
    points = [*BOARD, (80.0, 20.0), (30.0, 80.0), (120.0, 70.0)]
    clicks = seen(camera(0.0, 0.2, 400.0), points)
    clicks[5] = (clicks[5][0] + 40, clicks[5][1])

    assert register(points, clicks).worst == 5


def test_scale_is_pixels_per_millimetre():
    """A camera straight above sees f / distance pixels for each millimetre."""
    found = register(BOARD, seen(camera(0.4, 0.0, 500.0), BOARD))

    assert found.scale_at((80, 55)) == pytest.approx(3000 / 500)


IN_LINE = [(0, 0), (10, 0.1), (20, 0), (30, 0.05)]


@pytest.mark.parametrize(
    ("source", "target", "says"),
    [
        (BOARD[:3], BOARD[:3], "3 common points"),
        (BOARD, BOARD[:3], "4 points on the one view and 3"),
        (IN_LINE, BOARD, "first view lie in one line"),
        (BOARD, [*IN_LINE[:3], (15, 30)], "second view lie in one line"),
        ([*BOARD[:3], BOARD[0]], BOARD, "points 1 and 4 of the first view are the same"),
        (BOARD, [BOARD[0], BOARD[2], BOARD[1], BOARD[3]], "do not fit two views"),
        ([(float("nan"), 0), *BOARD[1:]], BOARD, "no point"),
        ([(1, 1)] * 4, BOARD, "are the same"),
    ],
)
def test_points_that_say_nothing_are_refused(source, target, says):
    """Too few, in one line, one and the same, or taken for each other: one line each."""
    with pytest.raises(InputError, match=says) as why:
        register(source, target)

    assert why.value.mend
    assert "\n" not in str(why.value)
