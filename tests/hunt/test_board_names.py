"""Names of a board: what entries may say of it."""

from dustcap.board.read import parse_board
from dustcap.hunt.board_names import known_of

BOARD = """
layout = 1
[board]
name = "pair of reservoirs"
mains = "230 V 50 Hz"
[parts]
PS1 = { kind = "supply", value = "24 V", pins = ["rail+", "0V"] }
C9  = { kind = "electrolytic", value = "1000 uF", voltage = "35 V", pins = ["rail+", "0V"] }
C10 = { kind = "electrolytic", value = "1000 uF", voltage = "35 V", pins = ["rail+", "0V"] }
C11 = { kind = "electrolytic", value = "10 uF", voltage = "35 V", pins = ["rail+", "0V"] }
D1  = { kind = "diode", pins = ["0V", "rail+"] }
R1  = { kind = "resistor", value = "1k", pins = ["rail+", "out"] }
LS1 = { kind = "driver", role = "woofer", resistance = "5.6 ohm", pins = ["out", "0V"] }
[areas.glue_1]
kind = "residue"
outline = [[0, 0], [1, 0], [1, 1]]
"""


def test_the_names_and_units_of_a_board_are_known():
    """Nets, areas, drivers by role and part, and the unit of each part with one end lifted."""
    known = known_of(parse_board(BOARD, "board"))

    assert known.nets == {"0V", "rail+", "out"}
    assert known.areas == {"glue_1"}
    assert known.drivers == {"woofer": "LS1", "LS1": "LS1"}
    assert (known.parts["R1"], known.parts["C9"], known.parts["D1"], known.parts["PS1"]) == ("ohm", "F", "V", "")


def test_reservoirs_are_changed_in_pairs_and_small_ones_are_not():
    """The partner of a failed reservoir is replaced with it (common practice, no published source)."""
    known = known_of(parse_board(BOARD, "board"))

    assert known.partners == {"C9": ("C10",), "C10": ("C9",)}
