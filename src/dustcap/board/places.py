"""Which nets lie next to each other, and which run through a marked area.

A description gives the place of a part, not of its pads. A part therefore reaches from its place by half its pitch, or
half its diameter where that is known and larger; without either by nothing. Between two parts on one net the track is
taken to be straight, and a net to join its parts by the shortest set of such tracks.

Where no places are known, only nets that meet at neighbouring pins of one integrated circuit or transistor count as
neighbours. Which pins are neighbours follows the usual eight-pin amplifier (out, minus, plus, low in a row, and high
beside the next out) and three-lead cases: common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import combinations
from math import hypot

import numpy as np

from dustcap.board.geometry import Point, distance_to_outline, line_runs_through
from dustcap.board.model import Area, Board, Part

Pair = tuple[str, str]

WITHIN_MM = 3.0
AREA_MARGIN_MM = 1.5
_AMPLIFIER_ROW = (
    ("out", "minus"),
    ("minus", "plus"),
    ("plus", "low"),
    ("high", "out"),
    ("plus", "mute"),
    ("minus", "mute"),
)
_PIN_PAIRS = {
    "op amp": _AMPLIFIER_ROW,
    "power amplifier": _AMPLIFIER_ROW,
    "regulator": (("in", "common"), ("common", "out"), ("in", "out")),
}
_THREE_LEADS = ("npn", "pnp", "n-mosfet", "p-mosfet", "n-jfet", "p-jfet")


def neighbours(board: Board, within_mm: float = WITHIN_MM) -> tuple[Pair, ...]:
    """Pairs of nets that come within a distance of each other, each pair and the pairs sorted by name.

    Parameters
    ----------
    board : Board
    within_mm : float
        Greatest gap between two parts, from the reach of one to the reach of the other, in mm.

    Notes
    -----
    Two parts that are near make neighbours of every net of the one and every net of the other, for it is not known
    which pads face each other.
    """
    pairs = {pair for part in board.parts.values() for pair in _own_pairs(part, within_mm)}
    for one, other in _near_parts(board, within_mm):
        pairs |= {_pair(a, b) for a in one.nets for b in other.nets if a != b}
    return tuple(sorted(pairs))


def nets_in_area(board: Board, area: Area) -> tuple[str, ...]:
    """Nets that run through a marked area, in the order of the board.

    A net does when one of its parts has its place inside the outline or within 1.5 mm of it, or when the straight track
    between two of its parts crosses it.
    """
    touched = {
        net
        for name, place in board.places.items()
        if distance_to_outline(place, area.outline) <= AREA_MARGIN_MM
        for net in board.parts[name].nets
    }
    points = _points_by_net(board)
    return tuple(net for net in board.nets if net in touched or _track_crosses(points.get(net, ()), area))


def reach_mm(part: Part) -> float:
    """How far a part reaches from its place: half its pitch or diameter, 0 when neither is known."""
    return max((part.number(key) for key in ("pitch", "diameter") if key in part.values), default=0.0) * 1e3 / 2


def _own_pairs(part: Part, within_mm: float) -> Iterable[Pair]:
    """Nets that are neighbours at the pins of one part."""
    if part.kind in _THREE_LEADS:
        return {_pair(a, b) for a, b in combinations(part.nets, 2)}
    named = _PIN_PAIRS.get(part.kind, ())
    pairs = {(part.pins[a], part.pins[b]) for a, b in named if a in part.pins and b in part.pins}
    pitch = part.values.get("pitch")
    if isinstance(pitch, float) and pitch * 1e3 <= within_mm:
        pairs |= set(combinations(part.nets, 2))
    return {_pair(a, b) for a, b in pairs if a != b}


def _near_parts(board: Board, within_mm: float) -> list[tuple[Part, Part]]:
    parts = [board.parts[name] for name in board.places]
    if len(parts) < 2:
        return []
    from scipy.spatial import cKDTree  # loads longer than all else here

    points = np.array([board.places[part.name] for part in parts])
    reach = np.array([reach_mm(part) for part in parts])
    tree = cKDTree(points)
    near = []
    for i, j in tree.query_pairs(within_mm + 2 * float(reach.max()), output_type="ndarray"):
        gap = hypot(*(points[i] - points[j])) - reach[i] - reach[j]
        if gap <= within_mm:
            near.append((parts[i], parts[j]))
    return near


def _points_by_net(board: Board) -> dict[str, list[Point]]:
    points: dict[str, list[Point]] = {}
    for name, place in board.places.items():
        for net in board.parts[name].nets:
            points.setdefault(net, []).append(place)
    return points


def _track_crosses(points: Sequence[Point], area: Area) -> bool:
    """Whether the shortest set of straight tracks that joins the points runs through an area."""
    return any(line_runs_through(area.outline, a, b) for a, b in shortest_tracks(points))


def shortest_tracks(points: Sequence[Point]) -> list[tuple[Point, Point]]:
    """The tracks of least total length that join all points.

    References
    ----------
    .. [1] R. C. Prim, "Shortest connection networks and some generalizations", Bell System Technical Journal 36, 1957
       (from memory).

    Examples
    --------
    >>> shortest_tracks([(0, 0), (10, 0), (4, 0)])
    [((0, 0), (4, 0)), ((4, 0), (10, 0))]
    """
    left = list(dict.fromkeys(points))[1:]
    best = {point: (hypot(point[0] - points[0][0], point[1] - points[0][1]), points[0]) for point in left}
    tracks = []
    while best:
        point = min(best, key=lambda each: best[each][0])
        tracks.append((best.pop(point)[1], point))
        for other, (length, _) in best.items():
            nearer = hypot(other[0] - point[0], other[1] - point[1])
            if nearer < length:
                best[other] = (nearer, point)
    return tracks


def _pair(a: str, b: str) -> Pair:
    return (a, b) if a < b else (b, a)
