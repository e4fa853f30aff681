"""Points, segments and outlines in the plane."""

from __future__ import annotations

from collections.abc import Sequence
from math import hypot

Point = tuple[float, float]


def cross(origin: Point, a: Point, b: Point) -> float:
    """Twice the signed area of a triangle: positive when it runs anticlockwise."""
    return (a[0] - origin[0]) * (b[1] - origin[1]) - (a[1] - origin[1]) * (b[0] - origin[0])


def segments_meet(a: Point, b: Point, c: Point, d: Point) -> bool:
    """Whether two segments have a point in common, ends included."""
    sides = (cross(a, b, c), cross(a, b, d), cross(c, d, a), cross(c, d, b))
    if sides[0] * sides[1] < 0 and sides[2] * sides[3] < 0:
        return True
    ends = ((a, b, c), (a, b, d), (c, d, a), (c, d, b))
    return any(side == 0 and _between(*trio) for side, trio in zip(sides, ends, strict=True))


def _between(a: Point, b: Point, point: Point) -> bool:
    """Whether a point of the line through a and b lies between them."""
    inside_x = min(a[0], b[0]) <= point[0] <= max(a[0], b[0])
    return inside_x and min(a[1], b[1]) <= point[1] <= max(a[1], b[1])


def sides_of(outline: Sequence[Point]) -> list[tuple[Point, Point]]:
    """The sides of a closed outline."""
    return [(outline[place - 1], corner) for place, corner in enumerate(outline)]


def crosses_itself(outline: Sequence[Point]) -> bool:
    """Whether two sides that are not neighbours meet, or two neighbours run back over each other."""
    sides = sides_of(outline)
    count = len(sides)
    for first in range(count):
        for second in range(first + 1, count):
            if second - first in (1, count - 1):
                if _folds_back(sides[first], sides[second]):
                    return True
            elif segments_meet(*sides[first], *sides[second]):
                return True
    return False


def _folds_back(one: tuple[Point, Point], other: tuple[Point, Point]) -> bool:
    """Whether two sides with a common corner lie on one line on the same side of that corner."""
    if one[1] != other[0]:
        one, other = other, one
    corner = one[1]
    if cross(corner, one[0], other[1]) != 0:
        return False
    return (one[0][0] - corner[0]) * (other[1][0] - corner[0]) + (one[0][1] - corner[1]) * (
        other[1][1] - corner[1]
    ) >= 0


def enclosed_area(outline: Sequence[Point]) -> float:
    """Area inside an outline, whichever way round it runs, by the trapezoids of surveying.

    Examples
    --------
    >>> enclosed_area([(0, 0), (4, 0), (4, 3)])
    6.0
    """
    return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in sides_of(outline))) / 2


def inside(outline: Sequence[Point], point: Point) -> bool:
    """Whether a point lies inside an outline: a ray from it crosses the sides an odd number of times."""
    odd = False
    for a, b in sides_of(outline):
        if (a[1] > point[1]) != (b[1] > point[1]):
            at = a[0] + (point[1] - a[1]) * (b[0] - a[0]) / (b[1] - a[1])
            odd ^= point[0] < at
    return odd


def distance_to_segment(point: Point, a: Point, b: Point) -> float:
    """Least distance from a point to a segment."""
    along = (b[0] - a[0], b[1] - a[1])
    length2 = along[0] ** 2 + along[1] ** 2
    share = 0.0
    if length2 > 0:
        share = ((point[0] - a[0]) * along[0] + (point[1] - a[1]) * along[1]) / length2
        share = min(max(share, 0.0), 1.0)
    return hypot(point[0] - a[0] - share * along[0], point[1] - a[1] - share * along[1])


def distance_to_outline(point: Point, outline: Sequence[Point]) -> float:
    """Distance from a point to an outline; 0 inside."""
    if inside(outline, point):
        return 0.0
    return min(distance_to_segment(point, a, b) for a, b in sides_of(outline))


def line_runs_through(outline: Sequence[Point], a: Point, b: Point) -> bool:
    """Whether a segment touches an outline or what it encloses."""
    return inside(outline, a) or any(segments_meet(a, b, c, d) for c, d in sides_of(outline))
