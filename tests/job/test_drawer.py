"""Descriptions lie in one drawer, as plain files whose comments survive."""

from importlib.resources import files

import pytest

from dustcap.board.write import set_area, set_place, set_value
from dustcap.errors import BoardError, InputError, RecordError
from dustcap.job.drawer import begin, boards, bring, change, open_board, stem_of
from dustcap.job.intake import take_in
from dustcap.job.known_boards import board_file, known_boards
from dustcap.job.payloads import Intake

TEXT = """layout = 1
[board]
name = "small board"
revision = "A"
[parts]
V1 = { kind = "supply", value = "15 V", pins = ["+15", "0V"] }   # from the bench
R1 = { kind = "resistor", value = "2k2", pins = ["+15", "0V"] }
"""


def test_a_new_board_is_a_plain_file(desk):
    """A board that was begun is found by its name, and its file reads like any other."""
    stem = begin(desk, "Model 27, main board", "C", "230 V 50 Hz")

    assert stem == "model_27_main_board_c"
    assert [line.stem for line in boards(desk)] == [stem]
    assert (desk.folder / "boards" / f"{stem}.board.toml").read_text().startswith("layout = 1")
    with pytest.raises(InputError, match="already"):
        begin(desk, "Model 27 main board", "c", "")


def test_places_and_areas_are_written_and_comments_survive(desk):
    """What is clicked lands in the file; the rest of the file stays word for word."""
    stem = bring(desk, TEXT.encode(), "small.board.toml")

    change(desk, stem, lambda board: set_place(board, "R1", (41.2, 18.7)))
    board = change(desk, stem, lambda board: set_area(board, "glue", "residue", [(1, 1), (9, 1), (9, 9)]))

    text = (desk.folder / "boards" / f"{stem}.board.toml").read_text()
    assert "# from the bench" in text
    assert text.startswith(TEXT)
    assert board.places["R1"] == (41.2, 18.7)
    assert open_board(desk, stem).areas["glue"].kind == "residue"


def test_a_change_that_cannot_be_leaves_the_file(desk):
    """A wrong value is refused and the file is as before."""
    stem = bring(desk, TEXT.encode(), "small.board.toml")

    with pytest.raises(BoardError, match="R1"):
        change(desk, stem, lambda board: set_value(board, "R1", "value", "a lot"))

    assert open_board(desk, stem).text == TEXT


def test_every_saved_text_is_kept(desk):
    """An earlier state of a description is still among the files of the record."""
    stem = bring(desk, TEXT.encode(), "small.board.toml")
    change(desk, stem, lambda board: set_value(board, "R1", "value", "3k3"))

    kept = [path.read_bytes() for path in (desk.folder / "files").rglob("*") if path.is_file()]

    assert TEXT.encode() in kept


def test_a_board_that_a_job_brought_is_found(desk, tmp_path):
    """It has its name in the list, and gets its file with the first change."""
    source = files("dustcap.demo.boards") / "model_27_c.board.toml"
    path = tmp_path / "c.board.toml"
    path.write_bytes(source.read_bytes())
    take_in(desk, Intake(model="model 27", unit="room 1 left"), path)
    stem = stem_of("model 27 main board", "C")

    assert [(line.stem, line.filed) for line in boards(desk)] == [(stem, False)]
    change(desk, stem, lambda board: set_place(board, "R3", (50.0, 50.0)))

    assert [(line.stem, line.filed) for line in boards(desk)] == [(stem, True)]
    assert open_board(desk, stem).places["R3"] == (50.0, 50.0)


def test_a_described_board_is_offered_at_the_intake(desk):
    """A board of the drawer can be taken in with, before any job used it and after it was edited by hand."""
    stem = bring(desk, TEXT.encode(), "small.board.toml")
    path = desk.folder / "boards" / f"{stem}.board.toml"
    path.write_text(TEXT.replace("2k2", "3k3"))

    (known,) = known_boards(desk)
    with board_file(desk, known.hash) as file:
        job = take_in(desk, Intake(model="model 27", unit="room 1 left"), file).job

    assert (known.name, known.job) == ("small board", 0)
    assert [(one.name, one.job) for one in known_boards(desk)] == [("small board", job)]


def test_a_broken_file_is_told_in_the_list(desk):
    """One broken file does not hide the others."""
    bring(desk, TEXT.encode(), "small.board.toml")
    (desk.folder / "boards" / "broken.board.toml").write_text("layout = 9")

    lines = {line.stem: line for line in boards(desk)}

    assert "layout" in lines["broken"].problem
    assert lines["small_board_a"].parts == 2


@pytest.mark.parametrize("stem", ["../secret", "", "A B", "x" * 90, "-rf", "a/b", "a.b"])
def test_names_that_lead_elsewhere_are_refused(desk, stem):
    """A name is small letters, digits and lines only."""
    with pytest.raises(InputError, match="no name of a board"):
        open_board(desk, stem)


def test_what_is_not_there_or_not_text_is_refused(desk):
    """An unknown board, an unnamed one, bytes that are no text, another text under the same name."""
    bring(desk, TEXT.encode(), "small.board.toml")

    with pytest.raises(RecordError, match="no board"):
        open_board(desk, "nothing")
    with pytest.raises(InputError, match="no name"):
        begin(desk, "  ", "", "")
    with pytest.raises(BoardError, match="UTF-8"):
        bring(desk, b"\xff\xfe", "x")
    with pytest.raises(InputError, match="another description"):
        bring(desk, TEXT.replace("2k2", "3k3").encode(), "small.board.toml")
