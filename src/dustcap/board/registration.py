r"""Lay one flat view of a board on another by common points: photo on millimetres, solder side on component side.

A flat board seen by a camera from two places, or from two sides, is related by a homography: eight numbers, four common
points. With more points the sum of squared distances in the target is least. A view of the other side comes out
mirrored.

======  ===========  ==============================================
symbol  name here    meaning
======  ===========  ==============================================
H       ``matrix``   3 by 3, target = H source, homogeneous
w                    third coordinate of H (x, y, 1); never changes sign inside a view
J                    derivative of the target by the source at a point; negative determinant: mirrored
======  ===========  ==============================================

References
----------
.. [1] R. Hartley, A. Zisserman, Multiple View Geometry in Computer Vision, algorithm 4.2 (normalised DLT; from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from dustcap.board.geometry import Point
from dustcap.errors import InputError

Floats = NDArray[np.float64]

LEAST_POINTS, MOST_POINTS = 4, 60
THIN = 0.02
"""Points that keep within this share of their extent from one line count as in one line: a choice of ours."""
SAME = 1e-3
STEPS = 20
WHERE = "common points"


@dataclass(frozen=True, slots=True)
class Registration:
    """How a source view lies on a target view.

    Attributes
    ----------
    matrix : rows of H, scaled to a last element or a norm of 1
    residuals : distance of each common point from where H puts it, in units of the target
    mirrored : the source shows the other side of the board
    """

    matrix: tuple[tuple[float, float, float], ...]
    residuals: tuple[float, ...]
    mirrored: bool

    @property
    def rms(self) -> float:
        """Root mean square of the residuals, per point."""
        return sqrt(sum(each**2 for each in self.residuals) / len(self.residuals))

    @property
    def worst(self) -> int:
        """Which common point fits worst, 0 for the first."""
        return max(range(len(self.residuals)), key=lambda place: self.residuals[place])

    @property
    def checked(self) -> bool:
        """Whether there is a point more than the four that fit by force, so that the residual says something."""
        return len(self.residuals) > LEAST_POINTS

    def at(self, point: Point) -> Point:
        """Where a point of the source lies in the target."""
        x, y = _mapped(np.array(self.matrix), np.array([point]))[0]
        return float(x), float(y)

    def back(self, point: Point) -> Point:
        """Where a point of the target lies in the source: the inverse of `at`."""
        x, y = _mapped(np.linalg.inv(np.array(self.matrix)), np.array([point]))[0]
        return float(x), float(y)

    def scale_at(self, point: Point) -> float:
        """How long one unit of the source is in the target near a point: the root of the area's growth."""
        return sqrt(abs(float(_growth(np.array(self.matrix), np.array([point]))[0])))


def register(source: Sequence[Point], target: Sequence[Point]) -> Registration:
    """The homography that lays the source points on the target points.

    Parameters
    ----------
    source, target : the same points of the board in both views, four or more, in the same order

    Raises
    ------
    InputError
        Fewer than four points, two that coincide, all but one in one line, or pairs that no camera can see so.

    Notes
    -----
    Both sets are moved and scaled to a mean distance of root two from the origin, the equations are solved by singular
    values, and the squared distances in the target are then brought to their least by Gauss and Newton's steps.

    Examples
    --------
    >>> mirror = register([(0, 0), (4, 0), (4, 3), (0, 3)], [(4, 0), (0, 0), (0, 3), (4, 3)])
    >>> mirror.mirrored, [round(x, 6) for x in mirror.at((1, 2))]
    (True, [3.0, 2.0])
    """
    _check(source, target)
    a, b = np.array(source, dtype=float), np.array(target, dtype=float)
    for points, view in ((a, "first"), (b, "second")):
        _check_spread(points, view)
    to_a, to_b = _normaliser(a), _normaliser(b)
    h = _direct(_mapped(to_a, a), _mapped(to_b, b))
    h = np.linalg.inv(to_b) @ _refined(h, _mapped(to_a, a), _mapped(to_b, b)) @ to_a
    w = np.column_stack([a, np.ones(len(a))]) @ h[2]
    growth = _growth(h, a) if np.all(w * w[0] > 0) else np.zeros(1)
    if not (np.all(growth > 0) or np.all(growth < 0)):
        raise InputError(
            "the pairs do not fit two views of one flat board.",
            where=WHERE,
            mend="Two points were taken for each other: number 1 here has to be number 1 there.",
        )
    h = h / (h[2, 2] if abs(h[2, 2]) > 1e-9 * np.linalg.norm(h) else np.linalg.norm(h))
    residuals = np.hypot(*(_mapped(h, a) - b).T)
    rows = tuple((float(row[0]), float(row[1]), float(row[2])) for row in h)
    return Registration(rows, tuple(float(each) for each in residuals), bool(growth[0] < 0))


def _check(source: Sequence[Point], target: Sequence[Point]) -> None:
    if len(source) != len(target):
        raise InputError(
            f"{len(source)} points on the one view and {len(target)} on the other.",
            where=WHERE,
            mend="Each point needs its fellow: click it in both.",
        )
    if not LEAST_POINTS <= len(source) <= MOST_POINTS:
        raise InputError(
            f"{len(source)} common points.",
            where=WHERE,
            mend=f"Give {LEAST_POINTS} to {MOST_POINTS}, far apart and not in one line.",
        )
    if not np.isfinite([*source, *target]).all():
        raise InputError("a point is no point.", where=WHERE, mend="Give finite numbers.")


def _check_spread(points: Floats, view: str) -> None:
    """Refuse points that coincide, and points of which all but one lie in one line."""
    extent = float(np.hypot(*np.ptp(points, axis=0)))
    for place, point in enumerate(points[1:], 1):
        gaps = np.hypot(*(points[:place] - point).T)
        if extent == 0 or gaps.min() < SAME * extent:
            raise InputError(
                f"points {int(gaps.argmin()) + 1} and {place + 1} of the {view} view are the same.",
                where=WHERE,
                mend="Take another hole or corner for one of them.",
            )
    for left_out in range(len(points)):
        rest = np.delete(points, left_out, axis=0)
        wide = np.linalg.svd(rest - rest.mean(axis=0), compute_uv=False)
        if wide[1] < THIN * wide[0]:
            raise InputError(
                f"the points of the {view} view lie in one line but for one at most.",
                where=WHERE,
                mend="Take points towards all four corners of the board.",
            )


def _normaliser(points: Floats) -> Floats:
    """Matrix that puts the centre at the origin and the mean distance at root two."""
    centre = points.mean(axis=0)
    scale = sqrt(2.0) / float(np.mean(np.hypot(*(points - centre).T)))
    return np.array([[scale, 0.0, -scale * centre[0]], [0.0, scale, -scale * centre[1]], [0.0, 0.0, 1.0]])


def _direct(a: Floats, b: Floats) -> Floats:
    """Direct linear transform: two rows for each pair, the right singular vector of the smallest singular value."""
    one, nought = np.ones(len(a)), np.zeros((len(a), 3))
    homogeneous = np.column_stack([a, one])
    above = np.hstack([homogeneous, nought, -b[:, :1] * homogeneous])
    below = np.hstack([nought, homogeneous, -b[:, 1:] * homogeneous])
    h: Floats = np.linalg.svd(np.vstack([above, below]))[2][-1].reshape(3, 3)
    return h


def _refined(h: Floats, a: Floats, b: Floats) -> Floats:
    """Least squares of the distances in the target; each step is kept only when it makes them less."""
    if len(a) == LEAST_POINTS:
        return h
    h = h / np.linalg.norm(h)
    homogeneous = np.column_stack([a, np.ones(len(a))])
    best = _squares(h, a, b)
    for _ in range(STEPS):
        w = homogeneous @ h[2]
        at = _mapped(h, a)
        rows = homogeneous / w[:, None]
        nought = np.zeros_like(rows)
        slope = np.vstack([np.hstack([rows, nought, -at[:, :1] * rows]), np.hstack([nought, rows, -at[:, 1:] * rows])])
        step = np.linalg.lstsq(slope, (b - at).T.ravel(), rcond=1e-10)[0].reshape(3, 3)
        new = (h + step) / np.linalg.norm(h + step)
        squares = _squares(new, a, b)
        if not squares < best:
            break
        h, best = new, squares
    return h


def _squares(h: Floats, a: Floats, b: Floats) -> float:
    return float(np.sum((_mapped(h, a) - b) ** 2))


def _mapped(h: Floats, points: Floats) -> Floats:
    """Points (n, 2) through a homography."""
    at = np.column_stack([points, np.ones(len(points))]) @ h.T
    mapped: Floats = at[:, :2] / at[:, 2:]
    return mapped


def _growth(h: Floats, points: Floats) -> Floats:
    """Determinant of J at each point: det H / w^3."""
    w = np.column_stack([points, np.ones(len(points))]) @ h[2]
    growth: Floats = np.linalg.det(h) / w**3
    return growth
