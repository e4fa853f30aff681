"""Photographs are sent, laid, clicked on and given out; every step works without script."""

import json
import re

import pytest
from board_pictures import CORNERS, HOLES, as_bytes, picture, seen, view

from dustcap.job.describe import put_part
from dustcap.job.drawer import begin, open_board
from dustcap.job.intake import take_in
from dustcap.job.payloads import Intake

PLACES = {"R1": (52.0, 80.0), "R2": (60.0, 80.0)}


@pytest.fixture
def stem(desk):
    """A board with two resistors; its name."""
    stem = begin(desk, "small board", "A", "")
    for name, far in (("R1", "x"), ("R2", "y")):
        put_part(desk, stem, name, "resistor", {"a": far, "b": "0V"}, {"value": "2k2"})
    return stem


def photo(side="component", **camera):
    """A file field with a drawn picture."""
    return {"file": ("IMG_1.jpg", as_bytes(picture(PLACES, side, **camera)), "image/jpeg")}


def clicks(side, places, **camera):
    """Where places are seen, as the page's forms hold them."""
    return "; ".join("{:.1f} {:.1f}".format(*seen(view(side, **camera), place)) for place in places)


@pytest.fixture
def laid(stem, send):
    """Both sides photographed and laid, by forms alone."""
    send(f"/boards/{stem}/photos", files=photo(), side="component")
    send(f"/boards/{stem}/photos", files=photo("solder", tilt=-0.2), side="solder")
    one = send(
        f"/boards/{stem}/points", side="component", width="160", height="110", pixels=clicks("component", CORNERS)
    )
    two = send(
        f"/boards/{stem}/points",
        side="solder",
        places=clicks("component", HOLES),
        pixels=clicks("solder", HOLES, tilt=-0.2),
    )
    assert (one.status_code, two.status_code) == (303, 303)
    return stem


def data_of(pages, stem):
    """What the script reads on the page."""
    text = pages.get(f"/boards/{stem}/photos").text
    return json.loads(re.search(r'id="board-data">(.+?)</script>', text, re.S)[1])


def test_both_sides_are_laid_by_forms_alone(pages, laid):
    """The page says how well the points fit, and both matrices lead a place to where it is seen."""
    text = pages.get(f"/boards/{laid}/photos").text
    sides = data_of(pages, laid)["sides"]

    assert "5 points, off by 0." in text
    assert "pixels a millimetre" in text
    for side, camera in (("component", {}), ("solder", {"tilt": -0.2})):
        x, y, w = (row[0] * 118 + row[1] * 56 + row[2] for row in sides[side]["matrix"])
        assert (x / w, y / w) == pytest.approx(seen(view(side, **camera), (118, 56)), abs=1.0)


def test_a_place_and_an_area_land_in_the_plain_file(pages, send, laid, desk):
    """Millimetres are written to a tenth; the page lists the nets through the area."""
    send(f"/boards/{laid}/places", part="R1", x="52.04", y="80 mm")
    send(f"/boards/{laid}/places", part="R2", x="60", y="80")
    send(f"/boards/{laid}/areas", name="glue", kind="residue", outline="45 75; 65 75; 65 85; 45 85")

    board = open_board(desk, laid)
    assert board.places["R1"] == (52.0, 80.0)
    assert board.areas["glue"].outline[0] == (45.0, 75.0)
    text = pages.get(f"/boards/{laid}/photos").text
    assert "Nets through it: 0V, x, y" in text
    send(f"/boards/{laid}/areas", name="glue", kind="residue", gone="yes")
    send(f"/boards/{laid}/places", part="R1", gone="yes")
    assert open_board(desk, laid).areas == {}
    assert "R1" not in open_board(desk, laid).places


@pytest.mark.parametrize(
    ("path", "fields", "says"),
    [
        (
            "points",
            {"side": "component", "width": "160", "height": "110", "pixels": "1 1; 2 2; 3 3; 4 4"},
            "in one line",
        ),
        ("points", {"side": "component", "width": "160", "height": "", "pixels": "1 1"}, "height|quantity|size"),
        ("points", {"side": "component", "width": "160", "height": "110", "pixels": "[[1, 2], 3]"}, "no points"),
        ("points", {"side": "component", "places": "1 2; 3 4", "pixels": "1 2"}, "2 points on the one view"),
        ("places", {"part": "R1", "x": "wide", "y": "3"}, "no length"),
        ("places", {"part": "R9", "x": "1", "y": "3"}, "no part"),
        ("places", {"part": "R1", "x": "1e9", "y": "3"}, "no point"),
        ("areas", {"name": "", "kind": "residue", "outline": "0 0; 1 0; 1 1"}, "no name"),
        ("areas", {"name": "a", "kind": "jam", "outline": "0 0; 1 0; 1 1"}, "no kind"),
        ("areas", {"name": "a", "kind": "residue", "outline": "0 0; 9 9; 9 0; 0 9"}, "crosses itself"),
        ("areas", {"name": "a", "kind": "residue", "outline": "0 0; 1 0"}, "2 corners"),
        ("areas", {"name": "a", "kind": "residue", "outline": "nan nan; 1 0; 1 1"}, "no point"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_saved(send, laid, desk, path, fields, says):
    """One line on the page that comes back; the description stays as it was."""
    before = open_board(desk, laid).text

    got = send(f"/boards/{laid}/{path}", **fields)

    assert got.status_code == 422
    assert re.search(says, re.search(r'class="problem" role="alert">([^<]+)', got.text)[1])
    assert open_board(desk, laid).text == before


def test_what_is_no_photograph_is_refused(send, stem):
    """Text under a picture's name, and nothing at all."""
    fake = {"file": ("IMG_1.jpg", b"<svg onload='alert(1)'/>", "image/jpeg")}

    assert "This is no photograph" in send(f"/boards/{stem}/photos", files=fake, side="component").text
    assert "No photograph was sent" in send(f"/boards/{stem}/photos", side="component").text


def test_a_photograph_is_given_out_as_a_picture_and_nothing_else_is(pages, laid, desk):
    """By its hash, for good; a description's hash gives a page that says no."""
    hash_ = re.search(r"/photos/([0-9a-f]{64})\.jpg", pages.get(f"/boards/{laid}/photos").text)[1]
    with desk.open() as bench, bench.write() as write:
        text = write.add_file("x", b"layout = 1", desk.now())

    got = pages.get(f"/photos/{hash_}.jpg")

    assert got.headers["content-type"] == "image/jpeg"
    assert "immutable" in got.headers["cache-control"]
    assert pages.get(f"/photos/{text}.jpg").status_code == 404
    assert pages.get("/photos/..%2F..%2Fetc.jpg").status_code in (404, 422)


def test_before_and_after_stand_together_without_script(pages, send, desk):
    """Two pictures with their words, a slider for those with script, and an entry each in the job."""
    job = take_in(desk, Intake(model="model 27", unit="room 1 left")).job
    for when in ("before", "after"):
        got = send(f"/jobs/{job}/photos", files=photo(), when=when, shows=f"glue, {when}")
        assert got.status_code == 303

    text = pages.get(f"/jobs/{job}/photos").text

    assert 'alt="Before the work: glue, before"' in text
    assert 'type="range"' in text
    assert "photograph after the work: glue, after" in pages.get(f"/jobs/{job}").text
    assert send(f"/jobs/{job}/photos", files=photo(), when="meanwhile").status_code == 422
