"""Small invented boards for the tests of the command line."""

SMALL = """\
layout = 1

[board]
name = "small board"
revision = "A"

[parts]
V1 = { kind = "supply", value = "24 V", pins = ["rail+", "0V"] }
V2 = { kind = "supply", value = "24 V", pins = ["0V", "rail-"] }
J1 = { kind = "input", pins = ["in", "0V"] }
R1 = { kind = "resistor", value = "10k", pins = ["in", "plus"] }
R2 = { kind = "resistor", value = "22k", pins = ["plus", "0V"] }
R3 = { kind = "resistor", value = "22k", pins = ["out", "minus"] }
R4 = { kind = "resistor", value = "1k", pins = ["minus", "0V"] }
C1 = { kind = "electrolytic", value = "1000 uF", voltage = "35 V", pins = ["rail+", "0V"] }
C2 = { kind = "electrolytic", value = "1000 uF", voltage = "35 V", pins = ["0V", "rail-"] }
LS1 = { kind = "driver", role = "woofer", resistance = "5.6 ohm", pins = ["out", "0V"] }

[parts.U1]
kind = "power amplifier"
pins = { plus = "plus", minus = "minus", out = "out", high = "rail+", low = "rail-" }

[areas.glue]
kind = "residue"
outline = [[0, 0], [10, 0], [10, 10], [0, 10]]

[places]
C1 = [5, 5]
R3 = [8, 5]
"""


def changed(old, new):
    """The small board with one text in place of another."""
    assert SMALL.count(old) >= 1
    return SMALL.replace(old, new, 1)
