"""An outline of a few parts, for tests of the way to an answer without a description."""

from __future__ import annotations

from dustcap.board.read import parse_board

SMALL_OUTLINE = parse_board(
    """\
layout = 1

[board]
name = "a small loudspeaker, not described"

[parts]
V1 = { kind = "supply", value = "24 V", pins = ["plus rail", "0V"] }
V2 = { kind = "supply", value = "24 V", pins = ["0V", "minus rail"] }
C1 = { kind = "electrolytic", value = "1000 uF", voltage = "35 V", pins = ["plus rail", "0V"] }
C2 = { kind = "electrolytic", value = "1000 uF", voltage = "35 V", pins = ["0V", "minus rail"] }
IN1 = { kind = "input", pins = ["input hot", "0V"] }
R1 = { kind = "resistor", value = "10k", pins = ["input hot", "woofer amplifier input"] }
R2 = { kind = "resistor", value = "22k", pins = ["woofer amplifier input", "0V"] }
R3 = { kind = "resistor", value = "22k", pins = ["woofer amplifier output", "wf_fb"] }
R4 = { kind = "resistor", value = "1k", pins = ["wf_fb", "0V"] }
J1 = { kind = "link", pins = ["woofer amplifier output", "woofer terminals"] }
woofer = { kind = "driver", role = "woofer", resistance = "5.6 ohm", pins = ["woofer terminals", "0V"] }

[parts."woofer amplifier"]
kind = "power amplifier"

[parts."woofer amplifier".pins]
plus = "woofer amplifier input"
minus = "wf_fb"
out = "woofer amplifier output"
high = "plus rail"
low = "minus rail"

[blocks.supply]
parts = ["V1", "V2", "C1", "C2"]

[blocks.connector]
parts = ["IN1", "R1"]

[blocks."woofer amplifier"]
parts = ["woofer amplifier", "R2", "R3", "R4", "J1"]

[blocks.woofer]
parts = ["woofer"]
""",
    "small outline",
)
