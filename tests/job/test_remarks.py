"""What looking a description over says about it."""

from dustcap.board.read import parse_board
from dustcap.hunt.evidence import Evidence
from dustcap.job.boards import summary_of
from dustcap.job.hunt import Hunter

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

SMOOTHED = """
layout = 1

[board]
name = "smoothed board"
revision = "1"
mains = "230 V 50 Hz"

[parts]
T1 = { kind = "transformer", volts = "12 V", resistance = "1 ohm", pins = { secondary = ["a", "0V"] } }
D1 = { kind = "diode", pins = ["a", "rail"] }
C1 = { kind = "electrolytic", value = "1000 uF", voltage = "25 V", pins = ["rail", "0V"] }
R1 = { kind = "resistor", value = "470R", pins = ["rail", "clamped"] }
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


def test_the_hunt_says_so_beside_its_answer():
    """The same words among the notes that the command line and the page print, and none where a reservoir follows."""
    board = parse_board(BOARD, "watching board")
    (said,) = [remark for remark in summary_of(board).remarks if "mean" in remark]

    assert said in Hunter(board).ask(Evidence()).document["notes"]
    assert Hunter(parse_board(SMOOTHED, "smoothed board")).remarks == ()
