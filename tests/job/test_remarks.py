"""What looking a description over says about it."""

from dustcap.board.read import parse_board
from dustcap.job.boards import summary_of

BOARD = """
layout = 1

[board]
name = "watching board"
revision = "1"
mains = "230 V 50 Hz"

[parts]
T1 = { kind = "transformer", volts = "12 V", resistance = "1 ohm", pins = { secondary = ["a", "0V", "b"] } }
R1 = { kind = "resistor", value = "470R", pins = ["a", "lit"] }
D1 = { kind = "diode", type = "led", pins = ["lit", "0V"] }
R2 = { kind = "resistor", value = "470R", pins = ["b", "clamped"] }
Z1 = { kind = "zener", value = "5.1 V", pins = ["0V", "clamped"] }
"""


def test_the_description_says_so():
    """In the line that `dustcap board` and the service sheet print."""
    board = parse_board(BOARD, "watching board")

    said = [remark for remark in summary_of(board).remarks if "mean" in remark]

    assert said == [
        "D1, Z1: fed by a winding with no reservoir before it, and computed from the mean over the mains cycle: do not"
        " trust the readings around it"
    ]
