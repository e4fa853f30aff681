"""Which nets are neighbours, and which run through a marked area."""

from itertools import combinations
from math import dist

import numpy as np
import pytest
from board.sample import small
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse.csgraph import minimum_spanning_tree

from dustcap.board.geometry import crosses_itself, distance_to_outline, enclosed_area, inside, line_runs_through
from dustcap.board.places import neighbours, nets_in_area, shortest_tracks

PARTS = """
R1 = { kind = "resistor", value = "1k", pins = ["a", "b"] }
R2 = { kind = "resistor", value = "1k", pins = ["c", "0V"] }
C1 = { kind = "electrolytic", value = "10 uF", pitch = "5 mm", pins = ["d", "0V"] }
"""
SQUARE = "[areas.glue]\nkind = 'residue'\noutline = [[0, 0], [10, 0], [10, 10], [0, 10]]\n"


def test_parts_within_three_millimetres_make_neighbours():
    """Every net of the one part is a neighbour of every net of the other, up to the distance and not beyond."""
    near = small(PARTS, "[places]\nR1 = [0, 0]\nR2 = [2.9, 0]\nC1 = [50, 0]")
    far = small(PARTS, "[places]\nR1 = [0, 0]\nR2 = [3.1, 0]\nC1 = [50, 0]")

    assert neighbours(near) == (("0V", "a"), ("0V", "b"), ("a", "c"), ("b", "c"))
    assert neighbours(far) == ()
    assert neighbours(far, within_mm=4.0) == neighbours(near)


def test_a_known_pitch_makes_a_part_reach_further():
    """Half the pitch of 5 mm counts towards the neighbour."""
    board = small(PARTS, "[places]\nR1 = [0, 0]\nR2 = [50, 0]\nC1 = [5.4, 0]")

    assert ("a", "d") in neighbours(board)


def test_without_places_only_pins_of_one_chip_are_neighbours():
    """The pins of an amplifier's row, and the leads of a transistor; two resistors are not."""
    board = small(
        PARTS + 'U1 = { kind = "op amp", pins = { plus = "p", minus = "m", out = "o", high = "h", low = "l" } }\n'
        'Q1 = { kind = "npn", pins = ["x", "y", "z"] }'
    )

    assert set(neighbours(board)) == {
        ("m", "o"),
        ("m", "p"),
        ("l", "p"),
        ("h", "o"),
        ("x", "y"),
        ("x", "z"),
        ("y", "z"),
    }


def test_a_net_runs_through_an_area_by_its_part():
    """Inside the outline or within 1.5 mm of it."""
    board = small(PARTS, "[places]\nR1 = [5, 5]\nR2 = [11.4, 5]\nC1 = [11.6, 5]\n" + SQUARE)

    assert nets_in_area(board, board.areas["glue"]) == ("0V", "a", "b", "c")


def test_a_net_runs_through_an_area_by_its_track():
    """Two parts on opposite sides: the straight track between them crosses the area; one beside it does not."""
    parts = (
        'R1 = { kind = "resistor", value = "1k", pins = ["net", "0V"] }\n'
        'R2 = { kind = "resistor", value = "1k", pins = ["net", "q"] }\n'
        'R3 = { kind = "resistor", value = "1k", pins = ["other", "q"] }\n'
        'R4 = { kind = "resistor", value = "1k", pins = ["other", "0V"] }'
    )
    board = small(parts, "[places]\nR1 = [-20, 5]\nR2 = [20, 5]\nR3 = [20, 30]\nR4 = [-20, 30]\n" + SQUARE)

    assert nets_in_area(board, board.areas["glue"]) == ("net",)


points = st.tuples(st.integers(-20, 20), st.integers(-20, 20))


@settings(deadline=None)
@given(st.lists(points, min_size=1, max_size=9, unique=True))
def test_the_tracks_of_a_net_are_the_shortest(places):
    """Their total length is that of scipy's minimum spanning tree."""
    tracks = shortest_tracks(places)
    lengths = np.array([[dist(a, b) for b in places] for a in places])

    assert sum(dist(a, b) for a, b in tracks) == pytest.approx(minimum_spanning_tree(lengths).sum())
    assert len(tracks) == len(places) - 1


def test_an_outline_knows_its_inside():
    """An L-shape: area by halves, a point in its notch is outside, a line through the notch misses it."""
    shape = [(0, 0), (4, 0), (4, 2), (2, 2), (2, 4), (0, 4)]

    assert enclosed_area(shape) == 12  # 4 x 4 less the notch of 2 x 2
    assert inside(shape, (1, 3))
    assert not inside(shape, (3, 3))
    assert distance_to_outline((3, 3), shape) == 1
    assert distance_to_outline((1, 1), shape) == 0
    assert not line_runs_through(shape, (2.5, 5), (5, 2.5))
    assert line_runs_through(shape, (-1, 1), (5, 1))


@given(st.lists(points, min_size=3, max_size=6, unique=True))
def test_a_convex_outline_never_crosses_itself(places):
    """The convex hull of points, in order, has no crossing; its corners swapped crosswise do."""
    hull = _hull(places)
    if len(hull) < 4:
        return

    assert not crosses_itself(hull)
    assert crosses_itself([hull[0], hull[2], hull[1], *hull[3:]])


def _hull(places):
    def half(ordered):
        chain = []
        for point in ordered:
            while len(chain) > 1 and _turn(chain[-2], chain[-1], point) <= 0:
                chain.pop()
            chain.append(point)
        return chain[:-1]

    return half(sorted(places)) + half(sorted(places, reverse=True))


def _turn(a, b, c):
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def test_many_parts_are_compared_soon():
    """Neighbours of a grid of parts are those of all pairs, found by trying them all."""
    count = 12
    parts = "\n".join(
        f'R{n} = {{ kind = "resistor", value = "1k", pins = ["n{n}", "0V"] }}' for n in range(count * count)
    )
    spots = {f"R{n}": (2.5 * (n % count), 2.5 * (n // count)) for n in range(count * count)}
    board = small(parts, "[places]\n" + "\n".join(f"{name} = [{x}, {y}]" for name, (x, y) in spots.items()))

    near = [(a, b) for a, b in combinations(spots, 2) if dist(spots[a], spots[b]) <= 3]
    expected = {tuple(sorted((f"n{a[1:]}", f"n{b[1:]}"))) for a, b in near}

    assert {pair for pair in neighbours(board) if "0V" not in pair} == expected
