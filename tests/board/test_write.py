"""Changing a description: comments and order stay, an invalid change is refused, a file is written whole or not."""

import os

import pytest
from board.sample import EXAMPLE

from dustcap.board.read import parse_board, read_board
from dustcap.board.write import (
    add_block,
    add_part,
    new_board,
    remove_block,
    remove_part,
    set_area,
    set_block,
    set_place,
    set_value,
    write_board,
)
from dustcap.demo.boards import model_27
from dustcap.errors import BoardError

TEXT = EXAMPLE.replace('pins = ["wf_out", "wf_fb"] }', 'pins = ["wf_out", "wf_fb"] }  # read off the board')


@pytest.fixture
def board():
    return parse_board(TEXT, "main.board.toml")


def test_a_changed_value_leaves_the_rest_of_the_text_alone(board):
    """Only the one value differs; the comment behind it stays."""
    changed = set_value(board, "R12", "value", "33k")

    assert changed.part("R12").number("value") == 33e3
    assert changed.text == TEXT.replace('value = "22k", tolerance', 'value = "33k", tolerance')


def test_a_value_that_was_not_there_is_added(board):
    """A first reading of a value makes it a given one."""
    changed = set_value(board, "C20", "voltage", "63 V")

    assert changed.part("C20").given == {"value", "voltage"}
    assert len(changed.text.splitlines()) == len(TEXT.splitlines())


def test_a_value_of_a_library_part_is_written_out(board):
    """A part of a library block is refined by standing under [parts]; its other values stay what they were."""
    changed = set_value(board, "tweeter_amplifier-C3", "value", "100 uF")
    part, before = changed.part("tweeter_amplifier-C3"), board.part("tweeter_amplifier-C3")

    assert part.number("value") == pytest.approx(100e-6)
    assert part.pins == before.pins
    assert part.number("voltage") == before.number("voltage")
    assert part.block == "tweeter_amplifier"


@pytest.mark.parametrize("name", [name for name in model_27("C").parts if name.startswith("infrasonic")])
def test_a_library_part_written_out_reads_the_same(name):
    """Writing a part out changes nothing but what is given."""
    board = model_27("C")
    part = board.part(name)

    written = set_value(board, name, "sealed", False).part(name)

    assert (written.kind, written.pins, written.block) == (part.kind, part.pins, part.block)
    assert written.values == part.values


def test_parts_places_and_areas_come_and_go(board):
    """What was added and taken away again leaves the text as it was."""
    more = add_part(board, "R99", "resistor", ["wf_out", "0V"], {"value": "10R", "power": "1 W"})
    more = set_place(more, "R99", (12.5, 30.0))
    more = set_area(more, "scorch", "scorching", [(0, 0), (4, 0), (4, 4)])

    assert more.part("R99").number("value") == 10
    assert more.places["R99"] == (12.5, 30.0)
    assert more.areas["scorch"].kind == "scorching"
    less = set_area(remove_part(more, "R99"), "scorch", "", None)
    assert less.text.strip() == TEXT.strip()


def test_a_removed_part_leaves_its_block_and_its_place(board):
    """No block and no place names it any more."""
    changed = remove_part(board, "R12")

    assert changed.blocks["woofer_amplifier"].parts == ("U3", "R10", "R11", "C20")
    assert "R12" not in changed.text


def test_an_area_can_be_redrawn(board):
    """The outline of a known area is replaced; None as a place takes the place away."""
    changed = set_area(board, "glue_1", "corrosion", [(0, 0), (1, 0), (1, 1)])

    assert changed.areas["glue_1"].outline == ((0, 0), (1, 0), (1, 1))
    assert "R12" not in set_place(changed, "R12", None).places


def test_a_board_is_built_from_nothing():
    """A new board takes a library block and a part."""
    board = new_board("model 9", "B", "120 V 60 Hz")
    board = add_block(board, "supply", "split supply", {"high": "p", "low": "n", "volts": "18 V"})
    board = add_part(board, "LS1", "driver", ["p", "0V"], {"resistance": "8 ohm"})

    assert (board.revision, board.mains_v, board.mains_hz) == ("B", 120.0, 60.0)
    assert board.part("supply-T1").number("volts") == 18
    assert parse_board(board.text).parts == board.parts


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda board: set_value(board, "R99", "value", "1k"), "no part 'R99'"),
        (lambda board: set_value(board, "R12", "valeu", "1k"), "Did you mean 'value'"),
        (lambda board: set_value(board, "R12", "value", "35 V"), "part 'R12', key 'value'"),
        (lambda board: add_part(board, "R12", "resistor", ["a", "b"], {"value": "1k"}), "a part 'R12' already"),
        (lambda board: add_part(board, "R99", "resistor", ["a"], {"value": "1k"}), "has 1 pins"),
        (lambda board: remove_part(board, "tweeter_amplifier-R1"), "comes with block 'tweeter_amplifier'"),
        (lambda board: set_place(board, "R12", (float("nan"), 0)), "is no point"),
        (lambda board: set_area(board, "a", "residue", [(0, 0), (1, 1)]), "2 corners"),
        (lambda board: add_block(board, "woofer_amplifier", "split supply", {}), "already"),
        (lambda board: add_block(board, "s", "split supply", {}), "no net at its port 'high'"),
    ],
)
def test_a_change_that_cannot_be_is_refused(board, change, words):
    """The board stays as it was; the sentence says why."""
    with pytest.raises(BoardError, match=words):
        change(board)


def test_a_file_is_written_and_reads_back(board, tmp_path):
    """What was written is what is read, to the letter, and nothing else lies beside it."""
    path = tmp_path / "main.board.toml"
    write_board(set_place(board, "C9", (1, 2)), path)

    assert read_board(path).places["C9"] == (1, 2)
    assert os.listdir(tmp_path) == ["main.board.toml"]


def test_a_file_that_cannot_be_written_leaves_the_old_one(board, tmp_path, monkeypatch):
    """When the disk refuses, the old file is whole and no half file is left."""
    path = tmp_path / "main.board.toml"
    write_board(board, path)

    def refuse(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", refuse)
    with pytest.raises(BoardError, match="cannot be written: No space left"):
        write_board(set_value(board, "R12", "value", "1k"), path)

    assert path.read_text(encoding="utf-8") == TEXT
    assert os.listdir(tmp_path) == ["main.board.toml"]


def test_a_folder_that_is_not_there_is_told(board, tmp_path):
    """Writing into a missing folder is one line."""
    with pytest.raises(BoardError, match="cannot be written"):
        write_board(board, tmp_path / "none" / "main.board.toml")


LIBRARY_BOARD = """layout = 1
[board]
name = "x"
[blocks.filter]   # as on the bench
from = "low-pass section"
with = { in = "a", out = "b", plus = "+15", minus = "-15" }  # rails
[parts]
V1 = { kind = "supply", value = "15 V", pins = ["+15", "0V"] }
filter-R1 = { kind = "resistor", value = "4k7", pins = ["a", "filter-mid"] }
[places]
filter-R1 = [3, 4]
V1 = [1, 2]
"""


def test_a_library_block_is_set_and_given_back():
    """A value is set, and taken out again; comments stay."""
    board = parse_board(LIBRARY_BOARD)

    changed = set_block(board, "filter", {"frequency": "500 Hz", "out": "c"})
    back = set_block(changed, "filter", {"frequency": None, "out": "b"})

    assert changed.blocks["filter"].ports["out"] == "c"
    assert "500 Hz" in changed.text
    assert "# as on the bench" in changed.text
    assert "frequency" not in back.text
    with pytest.raises(BoardError, match="no block 'nothing' of the library"):
        set_block(board, "nothing", {})


def test_a_library_block_is_removed_with_its_parts():
    """Its parts that were written out and their places go with it; the others stay."""
    left = remove_block(parse_board(LIBRARY_BOARD), "filter")

    assert set(left.parts) == {"V1"}
    assert set(left.places) == {"V1"}
    assert "filter" not in left.text
