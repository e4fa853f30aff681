"""Boards for the tests of faults: one with every kind of part."""

from dustcap.board.read import parse_board

EVERY_KIND = """
layout = 1
[board]
name = "every kind"
revision = "A"
mains = "230 V 50 Hz"

[parts]
T1 = { kind = "transformer", volts = "20 V", resistance = "0.5 ohm", pins = { secondary = ["ac1", "0V", "ac2"] } }
BR1 = { kind = "bridge", pins = ["ac1", "ac2", "rail+", "rail-"] }
C9 = { kind = "electrolytic", value = "1000 uF", voltage = "35 V", pins = ["rail+", "0V"] }
C10 = { kind = "electrolytic", value = "1000 uF", voltage = "35 V", pins = ["0V", "rail-"] }
F1 = { kind = "link", rating = "2 A", pins = ["rail+", "fused+"] }
J1 = { kind = "link", pins = ["rail-", "fused-"] }
U1 = { kind = "regulator", value = "15 V", pins = { in = "fused+", out = "p15", common = "0V" } }
U4 = { kind = "regulator", value = "-15 V", pins = { in = "fused-", out = "n15", common = "0V" } }
IN1 = { kind = "input", pins = ["in", "0V"] }
R1 = { kind = "resistor", value = "10k", pins = ["in", "top"] }
RV1 = { kind = "potentiometer", value = "10k", pins = ["top", "wiper", "0V"] }
C1 = { kind = "capacitor", value = "1 uF", pins = ["wiper", "pre"] }
R2 = { kind = "resistor", value = "100k", pins = ["pre", "0V"] }
U2 = { kind = "op amp", pins = { plus = "pre", minus = "fb", out = "line", high = "p15", low = "n15" } }
R3 = { kind = "resistor", value = "10k", pins = ["line", "fb"] }
R4 = { kind = "resistor", value = "10k", pins = ["fb", "0V"] }
U3 = { kind = "power amplifier", pins = { plus = "line", minus = "wf_fb", out = "wf_out", high = "fused+", \
low = "fused-", mute = "mute" } }
R5 = { kind = "resistor", value = "22k", pins = ["wf_out", "wf_fb"] }
R6 = { kind = "resistor", value = "1k", pins = ["wf_fb", "0V"] }
R7 = { kind = "resistor", value = "10k", pins = ["fused+", "mute"] }
K1 = { kind = "relay coil", resistance = "1 kohm", volts = "24 V", pins = ["fused+", "coil"] }
Q1 = { kind = "npn", pins = ["coil", "base", "0V"] }
R8 = { kind = "resistor", value = "10k", pins = ["p15", "base"] }
D1 = { kind = "diode", pins = ["coil", "fused+"] }
S1 = { kind = "switch", closed = false, driven_by = "K1", pins = ["wf_out", "ls"] }
L1 = { kind = "inductor", value = "1 mH", resistance = "0.2 ohm", pins = ["ls", "ls2"] }
LS1 = { kind = "driver", role = "woofer", resistance = "5.6 ohm", pins = ["ls2", "0V"] }
Z1 = { kind = "zener", value = "5.1 V", pins = ["0V", "ref"] }
R9 = { kind = "resistor", value = "1k", pins = ["p15", "ref"] }
Q2 = { kind = "pnp", pins = ["q2c", "q2b", "p15"] }
R10 = { kind = "resistor", value = "100k", pins = ["q2b", "0V"] }
R11 = { kind = "resistor", value = "1k", pins = ["q2c", "0V"] }
M1 = { kind = "n-mosfet", pins = ["m1d", "p15", "0V"] }
R12 = { kind = "resistor", value = "1k", pins = ["p15", "m1d"] }
M2 = { kind = "p-mosfet", pins = ["m2d", "0V", "p15"] }
R13 = { kind = "resistor", value = "1k", pins = ["m2d", "0V"] }
Q3 = { kind = "n-jfet", pins = ["q3d", "0V", "q3s"] }
R14 = { kind = "resistor", value = "1k", pins = ["p15", "q3d"] }
R15 = { kind = "resistor", value = "1k", pins = ["q3s", "0V"] }
Q4 = { kind = "p-jfet", pins = ["q4d", "p15", "q4s"] }
R16 = { kind = "resistor", value = "1k", pins = ["q4d", "0V"] }
R17 = { kind = "resistor", value = "1k", pins = ["q4s", "p15"] }
PS1 = { kind = "supply", value = "5 V", resistance = "0.1 ohm", pins = ["five", "0V"] }
R18 = { kind = "resistor", value = "1k", pins = ["five", "0V"] }
MOD1 = { kind = "module", pins = { power = "p15", three = "three", gnd = "0V" }, drives = { three = "3.3 V" }, \
draws = { power = "10 mA" } }
R19 = { kind = "resistor", value = "1k", pins = ["three", "0V"] }
"""

PLACED = """
[places]
C9 = [10, 10]
U3 = [30, 10]
R5 = [32, 10]
R6 = [34, 10]
R1 = [80, 80]
"""
GLUE = """
[areas.glue_1]
kind = "residue"
outline = [[28, 5], [40, 5], [40, 15], [28, 15]]
"""


def every_kind(more=""):
    """The board with every kind, with further sections."""
    return parse_board(EVERY_KIND + more, "every.board.toml")


def small(parts, more=""):
    """A board of a few parts, one to a line as TOML."""
    head = 'layout = 1\n[board]\nname = "small"\nrevision = "A"\nmains = "230 V 50 Hz"\n[parts]\n'
    return parse_board(head + parts + more, "small.board.toml")
