"""The board of the contract's example, and a way to write small ones."""

from dustcap.board.read import parse_board

# the example of the description's contract, word for word, with the rest of its parts
EXAMPLE = """layout = 1

[board]
name = "model 27 main board"
revision = "C"
mains = "230 V 50 Hz"

[parts]
R12 = { kind = "resistor", value = "22k", tolerance = "5 %", power = "0.25 W", pins = ["wf_out", "wf_fb"] }
C9  = { kind = "electrolytic", value = "1000 uF", voltage = "35 V", esr = "60 mohm", pins = ["rail+", "0V"] }
U3  = { kind = "power amplifier", pins = { plus = "wf_in", minus = "wf_fb", out = "wf_out", high = "rail+", \
low = "rail-", mute = "wf_mute" } }
LS1 = { kind = "driver", role = "woofer", resistance = "5.6 ohm", pins = ["wf_out", "0V"] }
R10 = { kind = "resistor", value = "1k", pins = ["wf_fb", "0V"] }
R11 = { kind = "resistor", value = "47k", pins = ["wf_in", "0V"] }
C20 = { kind = "capacitor", value = "100n", pins = ["rail+", "0V"] }

[blocks.woofer_amplifier]
parts = ["U3", "R10", "R11", "R12", "C20"]

[blocks.tweeter_amplifier]                 # a block can come from the library of blocks instead
from = "power amplifier stage"
with = { in = "tw_in", out = "tw_out", high = "rail+", low = "rail-", gain_resistor = "22k" }

[places]                                   # millimetres on the component side, seen from above; optional
R12 = [41.2, 18.7]

[areas.glue_1]                             # residue, corrosion, scorching: an outline on the same plane; optional
kind = "residue"
outline = [[30, 12], [52, 12], [52, 26], [30, 26]]
"""

HEAD = 'layout = 1\n[board]\nname = "small"\n[parts]\n'
"""The first part stands on line 5."""


def small(parts, more=""):
    """A board of a few parts, one to a line."""
    return parse_board(f"{HEAD}{parts}\n{more}", "small.board.toml")
