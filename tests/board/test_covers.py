"""Covers of a board: read, refused with the line at fault, and kept true when something behind one goes away."""

import pytest

from dustcap.board.read import parse_board
from dustcap.board.write import remove_part, set_area
from dustcap.errors import BoardError

PARTS = """layout = 1
[board]
name = "covered"
[parts]
R1 = { kind = "resistor", value = "1k", pins = ["a", "0V"] }
R2 = { kind = "resistor", value = "1k", pins = ["a", "0V"] }
[areas.glue]
kind = "residue"
outline = [[0, 0], [10, 0], [10, 10]]
"""
SHIELD = '[covers.shield]\nminutes = 6\nparts = ["R1"]\nareas = ["glue"]\n'


def test_a_cover_says_what_is_behind_it_and_what_it_takes():
    """Names and minutes; a board without covers has none."""
    shield = parse_board(PARTS + SHIELD).covers["shield"]
    assert (shield.minutes, shield.parts, shield.areas) == (6.0, ("R1",), ("glue",))
    assert not parse_board(PARTS).covers


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ('[covers.shield]\nparts = ["R1"]\n', 10, "has the minutes"),
        ("[covers.shield]\nminutes = 0\n", 11, "minutes = 6"),
        ("[covers.shield]\nminutes = true\n", 11, "minutes = 6"),
        ('[covers.shield]\nminutes = 6\nparts = ["R11"]\n', 12, "Did you mean 'R1'?"),
        ('[covers.shield]\nminutes = 6\nparts = "R1"\n', 12, "Write names"),
        ("[covers.shield]\nminutes = 6\nbehind = []\n", 12, "unknown key 'behind'"),
        (SHIELD + '[covers.lid]\nminutes = 2\nparts = ["R1"]\n', 14, "behind one cover"),
    ],
)
def test_mistakes_are_named_with_their_line(text, line, words):
    """What was read and what would be right."""
    with pytest.raises(BoardError) as caught:
        parse_board(PARTS + text, "b.toml")
    assert f"b.toml:{line}" in str(caught.value)
    assert words in str(caught.value)


def test_what_is_taken_off_the_board_is_behind_nothing():
    """A part and an area that go take their mention with them."""
    board = set_area(remove_part(parse_board(PARTS + SHIELD), "R1"), "glue", "residue", None)
    assert board.covers["shield"].parts == board.covers["shield"].areas == ()
