"""A small board that can be worked out by hand: a divider, one power amplifier and a driver."""

from dustcap.board.read import parse_board

TEXT = """
layout = 1

[board]
name = "hand board"
revision = "A"

[parts]
V1 = { kind = "supply", value = "12 V", resistance = "0.1 ohm", pins = ["plus12", "0V"] }
V2 = { kind = "supply", value = "12 V", resistance = "0.1 ohm", pins = ["0V", "minus12"] }
IN1 = { kind = "input", resistance = "50 ohm", pins = ["in", "0V"] }
R1 = { kind = "resistor", value = "1M", tolerance = "1 %", pins = ["plus12", "mid"] }
R2 = { kind = "resistor", value = "1M", tolerance = "1 %", pins = ["mid", "0V"] }
C1 = { kind = "capacitor", value = "1 uF", tolerance = "10 %", pins = ["in", "amp_in"] }
R3 = { kind = "resistor", value = "22k", tolerance = "1 %", pins = ["amp_in", "0V"] }
R4 = { kind = "resistor", value = "22k", tolerance = "1 %", pins = ["out", "fb"] }
R5 = { kind = "resistor", value = "1k", tolerance = "1 %", pins = ["fb", "fb_low"] }
C2 = { kind = "electrolytic", value = "100 uF", voltage = "25 V", esr = "0.3 ohm", pins = ["fb_low", "0V"] }
D1 = { kind = "diode", type = "signal", pins = ["mid", "plus12"] }

[parts.U1]
kind = "power amplifier"
bias = "0 A"
pins = { plus = "amp_in", minus = "fb", out = "out", high = "plus12", low = "minus12" }
[parts.LS1]
kind = "driver"
role = "woofer"
resistance = "6 ohm"
bl = 6
compliance = "0.8 mm/N"
excursion = "4 mm"
pins = ["out", "0V"]

[places]
R1 = [10, 10]
R4 = [20, 10]
R5 = [22, 12]

[areas.glue]
kind = "residue"
outline = [[5, 5], [30, 5], [30, 20], [5, 20]]
"""


def small_board():
    """The board, read."""
    return parse_board(TEXT, "small")
