"""What differs between two revisions."""

from board.sample import EXAMPLE, small

from dustcap.board.compare import differences
from dustcap.board.read import parse_board
from dustcap.board.write import add_part, remove_part, set_place, set_value
from dustcap.demo.boards import model_27


def test_a_board_does_not_differ_from_itself():
    """The same text, or one with another place, has no differences."""
    board = parse_board(EXAMPLE)

    assert differences(board, parse_board(EXAMPLE)) == ()
    assert differences(board, set_place(board, "C9", (1, 2))) == ()


def test_each_change_is_one_difference():
    """A value, a part more and a part less are told in words."""
    old = parse_board(EXAMPLE)
    new = set_value(old, "R12", "value", "33k")
    new = remove_part(add_part(new, "R99", "resistor", ["wf_out", "0V"], {"value": "10R"}), "C20")

    assert [entry.words() for entry in differences(old, new)] == [
        "R12 value: 22 kΩ, now 33 kΩ",
        "R99 added: resistor 10 Ω at wf_out, 0V",
        "C20 gone: capacitor 100 nF at rail+, 0V",
    ]


def test_kinds_pins_and_blocks_are_compared():
    """Another kind, another net and another library block are differences."""
    old = small(
        'R1 = { kind = "resistor", value = "1k", pins = ["a", "0V"] }\nD1 = { kind = "diode", pins = ["a", "0V"] }'
    )
    new = small(
        'R1 = { kind = "resistor", value = "1k", pins = ["b", "0V"] }\nD1 = { kind = "link", pins = ["a", "0V"] }',
        "[blocks.s]\nfrom = 'split supply'\nwith = { high = 'p', low = 'n' }",
    )
    found = {(entry.name, entry.what) for entry in differences(old, new)}

    assert {("R1", "pins"), ("D1", "kind"), ("s", "block"), ("s-T1", "added")} <= found


def test_the_revisions_of_the_demonstration_differ_as_a_maker_would():
    """Several values, a few parts, one supply done another way; most parts are the same."""
    old, new = model_27("A"), model_27("C")
    found = differences(old, new)

    assert {entry.name for entry in found if entry.what == "kind"} == {"C12", "C13", "D1", "D2"}
    assert sum(entry.what == "added" for entry in found) == 4
    assert len({entry.name for entry in found}) < len(new.parts) / 3
