"""Where a board's parts lie on each picture, and the leaks that an area may join."""

import pytest
from board_pictures import CORNERS, HOLES, as_bytes, picture, seen, view

from dustcap.board.read import parse_board
from dustcap.demo.boards import model_27
from dustcap.errors import BoardError, InputError
from dustcap.job.board_view import between, board_view, draw_area, net_tracks, place_part, view_of
from dustcap.job.describe import put_part
from dustcap.job.drawer import begin, open_board
from dustcap.job.photos import COMPONENT, SOLDER, BoardPhotos, keep_photo, set_points

TEXT = """layout = 1
[board]
name = "three parts"
[parts]
R1 = { kind = "resistor", value = "1k", pins = ["a", "0V"] }
R2 = { kind = "resistor", value = "1k", pins = ["b", "0V"] }
R3 = { kind = "resistor", value = "1k", pins = ["a", "b"] }
[places]
R1 = [10, 10]
R2 = [30, 10]
R3 = [12, 40]
[areas.stain]
kind = "corrosion"
outline = [[8, 8], [14, 8], [14, 14], [8, 14]]
"""


@pytest.fixture
def drawn():
    """A board that was never photographed."""
    return view_of("three_parts", parse_board(TEXT), BoardPhotos())


def test_a_drawn_side_is_seen_from_its_own_side(drawn):
    """On the component side x runs right, on the solder side left; y runs up on both (ten pixels a millimetre)."""
    top, under = drawn.planes

    assert top.at((30, 10))[0] - top.at((10, 10))[0] == pytest.approx(200)
    assert under.at((30, 10))[0] - under.at((10, 10))[0] == pytest.approx(-200)
    for plane in (top, under):
        assert plane.at((12, 40))[1] - plane.at((12, 10))[1] == pytest.approx(-300)
        for spot in drawn.spots:
            x, y = plane.at(spot.at)
            assert 0 < x < plane.width
            assert 0 < y < plane.height


def test_an_area_names_its_nets_and_their_pairs(drawn):
    """R1 lies in the stain, and the track of net a runs out of it: a and 0V, and what is near."""
    (stain,) = drawn.areas

    assert set(stain.nets) == {"0V", "a"}
    assert [pair.nets for pair in stain.pairs] == [("0V", "a")]


def test_the_demo_boards_glue_lists_its_leaks():
    """Every pair of the nets through the glue, neighbours marked: n (n - 1) / 2 of them."""
    board = view_of("c", model_27("C"), BoardPhotos())
    (glue,) = board.areas

    n = len(glue.nets)
    assert len(glue.pairs) == n * (n - 1) // 2
    assert 0 < sum(pair.near for pair in glue.pairs) < len(glue.pairs)
    assert {"rail-", "wf_fb"} <= set(glue.nets)


def test_nets_are_joined_by_the_shortest_tracks(drawn):
    """Net a joins R1 and R3; the nearest parts of a and b are one part that has both."""
    assert net_tracks(drawn, "a") == (((10, 10), (12, 40)),)
    assert between(drawn, ("a", "b")) == ((12, 40), (12, 40))
    assert between(drawn, ("a", "nowhere")) is None


def test_solder_side_follows_through_the_component_side(desk):
    """Millimetres to the solder side's pixels: through both registrations at once."""
    stem = begin(desk, "small board", "", "")
    keep_photo(desk, stem, COMPONENT, as_bytes(picture({})))
    keep_photo(desk, stem, SOLDER, as_bytes(picture({}, SOLDER, tilt=-0.2)))
    assert board_view(desk, stem).plane(SOLDER).matrix is None
    top, under = view(), view(SOLDER, tilt=-0.2)
    set_points(desk, stem, COMPONENT, CORNERS, [seen(top, place) for place in CORNERS])
    set_points(desk, stem, SOLDER, [seen(top, hole) for hole in HOLES], [seen(under, hole) for hole in HOLES])

    found = board_view(desk, stem).plane(SOLDER)

    assert found.at((118, 56)) == pytest.approx(seen(under, (118, 56)), abs=0.1)
    with pytest.raises(InputError, match="not laid"):
        view_of("x", parse_board(TEXT), BoardPhotos(solder=board_view(desk, stem).photos.solder)).plane(SOLDER).at(
            (1, 1)
        )


def test_places_and_outlines_are_written_to_a_tenth(desk):
    """What a click gives is rounded; what cannot be is refused."""
    stem = begin(desk, "small board", "", "")
    put_part(desk, stem, "R1", "resistor", {"a": "x", "b": "0V"}, {"value": "1k"})

    place_part(desk, stem, "R1", (41.2345, 18.66))
    draw_area(desk, stem, " glue ", "residue", [(0, 0), (9.99, 0), (9.99, 5.04)])

    board = open_board(desk, stem)
    assert board.places == {"R1": (41.2, 18.7)}
    assert board.areas["glue"].outline == ((0.0, 0.0), (10.0, 0.0), (10.0, 5.0))
    with pytest.raises(BoardError, match="R7"):
        place_part(desk, stem, "R7", (1, 1))
    place_part(desk, stem, "R1", None)
    draw_area(desk, stem, "glue", "residue", None)
    assert (open_board(desk, stem).places, open_board(desk, stem).areas) == ({}, {})
