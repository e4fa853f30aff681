"""A board is photographed once: both sides laid on millimetres and on each other."""

import pytest
from board_pictures import CORNERS, HEIGHT_MM, HOLES, SIZE, WIDTH_MM, as_bytes, picture, seen, view

from dustcap.errors import DustcapError, InputError, RecordError
from dustcap.job.desk import view as view_job
from dustcap.job.drawer import begin
from dustcap.job.payloads import Photo
from dustcap.job.photos import (
    COMPONENT,
    SOLDER,
    corners_mm,
    keep_photo,
    photograph_job,
    photos_of,
    set_points,
)
from dustcap.job.photos import (
    picture as kept_picture,
)
from dustcap.job.words import said

PLACES = {"C9": (118.0, 56.0), "R3": (52.0, 80.0)}


@pytest.fixture
def board(desk):
    """A board in the drawer with both sides photographed; its name there."""
    stem = begin(desk, "model 27 main board", "C", "")
    keep_photo(desk, stem, COMPONENT, as_bytes(picture(PLACES)))
    keep_photo(desk, stem, SOLDER, as_bytes(picture(PLACES, SOLDER, tilt=-0.2)))
    return stem


def test_a_place_is_found_on_both_sides(desk, board):
    """By four corners and five holes, clicked to whole pixels, a part is found within a few pixels on either side."""
    top, under = view(), view(SOLDER, tilt=-0.2)

    def click(h, places):
        return [tuple(map(round, seen(h, place))) for place in places]

    set_points(desk, board, COMPONENT, corners_mm("160", "110 mm"), click(top, CORNERS))
    fit = set_points(desk, board, SOLDER, click(top, HOLES), click(under, HOLES))

    photos = photos_of(desk, board)
    pixel = photos.component.registration.at(PLACES["C9"])
    below = photos.solder.registration.at(pixel)
    assert pixel == pytest.approx(seen(top, PLACES["C9"]), abs=1.5)
    assert below == pytest.approx(seen(under, PLACES["C9"]), abs=2.5)
    assert photos.component.registration.back(pixel) == pytest.approx(PLACES["C9"], abs=1e-6)
    assert fit.checked
    assert 0 < fit.rms_px < 1.5
    assert fit.remark == ""
    assert "5 points, off by" in fit.said


def test_pixels_per_millimetre_are_told(desk, board):
    """The scale at the middle of the board is that of the drawn view (5.6 pixels per mm, tilt aside)."""
    fit = set_points(desk, board, COMPONENT, CORNERS, [seen(view(), corner) for corner in CORNERS])

    assert fit.pixels_per_mm == pytest.approx(5.6, rel=0.01)
    assert "a fifth one" in fit.said


def test_a_side_that_comes_out_the_wrong_way_round_is_remarked(desk, board):
    """Corners named clockwise, or a solder side that is not mirrored, are pointed out."""
    clicks = [seen(view(), corner) for corner in CORNERS]

    round_the_other_way = set_points(desk, board, COMPONENT, CORNERS, [clicks[i] for i in (1, 0, 3, 2)])
    same_side = set_points(desk, board, SOLDER, clicks, [(x / 2 + 40, y / 2 + 30) for x, y in clicks])

    assert "mirrored" in round_the_other_way.remark
    assert "should come out mirrored" in same_side.remark


def test_a_new_photograph_drops_the_points_of_the_old(desk, board):
    """Points belong to one picture; the solder side's rest on the component side's too."""
    clicks = [seen(view(), hole) for hole in HOLES]
    under = [seen(view(SOLDER, tilt=-0.2), hole) for hole in HOLES]
    set_points(desk, board, COMPONENT, HOLES, clicks)
    set_points(desk, board, SOLDER, clicks, under)

    keep_photo(desk, board, COMPONENT, as_bytes(picture(PLACES, tilt=0.3)))

    photos = photos_of(desk, board)
    assert photos.component.registration is None
    assert photos.solder.registration is None
    assert photos.solder.width == SIZE[0]


def test_points_that_cannot_be_are_refused_and_nothing_changes(desk, board):
    """Outside the picture, in one line, or without a photograph: one line, and the file stays as it was."""
    before = photos_of(desk, board)
    in_line = [(100.0 * k, 50.0 * k) for k in range(1, 5)]

    for side, places, pixels, says in (
        (COMPONENT, CORNERS, in_line, "in one line"),
        (COMPONENT, CORNERS, [(-5, 0), *in_line[1:]], "point 1 lies outside"),
        ("edge", CORNERS, in_line, "no side"),
    ):
        with pytest.raises(InputError, match=says):
            set_points(desk, board, side, places, pixels)
    assert photos_of(desk, board) == before


def test_the_solder_side_waits_for_the_component_side(desk):
    """Without the component side there is nothing to lay it on."""
    stem = begin(desk, "other board", "", "")
    keep_photo(desk, stem, SOLDER, as_bytes(picture(PLACES, SOLDER)))

    with pytest.raises(InputError, match="no photograph"):
        set_points(desk, stem, SOLDER, CORNERS, CORNERS)


@pytest.mark.parametrize(("width", "height"), [("2", "110"), ("160", "2 m"), ("wide", "110"), ("", "")])
def test_a_size_that_is_no_board_is_refused(width, height):
    """A board is between 5 mm and a metre."""
    with pytest.raises(InputError):
        corners_mm(width, height)


def test_sizes_are_millimetres_unless_said():
    """A bare number is in millimetres."""
    assert corners_mm("160", "110")[2] == (WIDTH_MM, HEIGHT_MM)


def test_a_job_keeps_its_own_photographs(desk, job):
    """Before and after the work are entries of the job; the picture comes back by its hash."""
    position = photograph_job(desk, job, as_bytes(picture(PLACES)), when="before", shows="glue at C9")

    (photo,) = view_job(desk, job).state.all(Photo)
    assert position == 2
    assert said(photo) == "photograph before the work: glue at C9"
    assert kept_picture(desk, photo.file).startswith(b"\xff\xd8\xff")
    with pytest.raises(InputError, match="before"):
        photograph_job(desk, job, as_bytes(picture(PLACES)), when="meanwhile")
    with pytest.raises(RecordError):
        photograph_job(desk, 99, as_bytes(picture(PLACES)), when="after")


def test_only_photographs_are_given_out(desk, board):
    """A board's text that lies among the files is not given out as a picture."""
    with desk.open() as bench, bench.write() as write:
        text = write.add_file("x.board.toml", b"layout = 1", desk.now())

    with pytest.raises(RecordError, match="no photograph"):
        kept_picture(desk, text)
    with pytest.raises(RecordError):
        kept_picture(desk, "0" * 64)


@pytest.mark.parametrize(
    "text", ["layout = ", "[component]\nfile = 3", "[component]\nfile='a'\nwidth='x'\nheight=3", "component = 4"]
)
def test_a_damaged_file_of_points_is_one_line(desk, board, text):
    """Whatever stands in the file of points, a mistake is ours and one line."""
    (desk.folder / "boards" / f"{board}.photos.toml").write_text(text)

    with pytest.raises(DustcapError) as why:
        photos_of(desk, board)
    assert "\n" not in str(why.value)
