"""The picture of a board: every part where it lies, suspects and leaks told without colour."""

import re
import xml.etree.ElementTree as ET

import pytest

from dustcap.demo.boards import model_27
from dustcap.job.board_view import view_of
from dustcap.job.photos import BoardPhotos, Side
from dustcap.report.board_photo import Suspected, board_picture

SVG = "{http://www.w3.org/2000/svg}"
SUSPECTS = (
    Suspected("U8 stuck high", ("U8",), (), 0.62),
    Suspected("leak rail- to wf_fb", (), (("rail-", "wf_fb"),), 0.21),
    Suspected("C9 short", ("C9",), (), 0.004),
)


@pytest.fixture(scope="module")
def board():
    """The demo board, drawn from its places."""
    return view_of("c", model_27("C"), BoardPhotos())


def photo(hash_):
    """Where a photograph lies."""
    return f"/photos/{hash_}.jpg"


def texts(svg):
    """All texts of a picture."""
    return [each.text for each in ET.fromstring(svg).iter(f"{SVG}text")]


def test_every_placed_part_is_drawn_inside_the_picture(board):
    """A name for each part that has a place, none outside the frame."""
    svg = board_picture(board, "component", photo=photo)

    root = ET.fromstring(svg)
    wide, tall = map(float, root.get("viewBox").split()[2:])
    placed = [spot for spot in board.spots if spot.at is not None]
    assert {spot.name.rsplit("-", 1)[-1] for spot in placed} <= set(texts(svg))
    for circle in root.iter(f"{SVG}circle"):
        assert 0 <= float(circle.get("cx")) <= wide
        assert 0 <= float(circle.get("cy")) <= tall


def test_suspects_carry_their_probability_and_the_improbable_are_left_out(board):
    """Figure and words stand beside the ring; under two in a hundred nothing is drawn."""
    svg = board_picture(board, "component", photo=photo, suspects=SUSPECTS)

    said = texts(svg)
    assert {"62 %", "U8 stuck high", "21 %", "leak rail- to wf_fb"} <= set(said)
    assert "C9 short" not in said
    widths = [float(found) for found in re.findall(r'stroke="#0f4c6e" stroke-width="([\d.]+)"', svg)]
    assert max(widths) > 1.5 * min(widths)
    assert "stroke-dasharray" in svg


def test_boxes_of_text_do_not_cover_each_other(board):
    """However many suspects lie close, their labels keep apart or are left out."""
    many = tuple(Suspected(f"R6{n} open", (f"R6{n}",), (), 0.1 + 0.01 * n) for n in range(6))

    svg = board_picture(board, "component", photo=photo, suspects=many)

    boxes = [
        tuple(float(box.get(key)) for key in ("x", "y", "width", "height"))
        for box in ET.fromstring(svg).iter(f"{SVG}rect")
        if box.get("stroke") == "#16202a"
    ]
    assert len(boxes) >= 4
    for i, (x, y, w, h) in enumerate(boxes):
        for ox, oy, ow, oh in boxes[i + 1 :]:
            assert x >= ox + ow or ox >= x + w or y >= oy + oh or oy >= y + h


def test_a_photograph_that_is_not_laid_stands_alone(board):
    """Without points nothing can be drawn on it, and nothing is."""
    bare = view_of("c", board.board, BoardPhotos(component=Side("component", "ab" * 32, 1200, 900)))

    svg = board_picture(bare, "component", photo=photo, suspects=SUSPECTS)

    assert photo("ab" * 32) in svg
    assert texts(svg) == []


def test_links_lead_to_each_part_and_make_a_group_of_the_picture(board):
    """A picture with links is no single image to those who listen to it."""
    svg = board_picture(board, "component", photo=photo, link=lambda spot: f"?part={spot.name}&side=<b>")

    root = ET.fromstring(svg)
    assert root.get("role") == "group"
    links = list(root.iter(f"{SVG}a"))
    assert len(links) == sum(spot.at is not None for spot in board.spots)
    assert all(link.get("aria-label") for link in links)


def test_a_chosen_net_is_drawn_as_its_shortest_tracks(board):
    """One stroke less than parts on the net that lie apart."""
    svg = board_picture(board, "solder", photo=photo, net="wf_fb")

    parts = {spot.at for spot in board.spots if "wf_fb" in spot.nets and spot.at is not None}
    assert len(re.findall(r'<line [^>]*stroke="#ffd34d"', svg)) == len(parts) - 1
