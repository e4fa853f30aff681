"""Which checks are worth considering: every fault that can be read without power has a check that reads it."""

from functools import cache

import numpy as np

from dustcap.board.read import parse_board
from dustcap.predict.checks import Check
from dustcap.predict.predictor import Predictor

TEXT = """
layout = 1

[board]
name = "two rails"
revision = "A"

[parts]
V1 = { kind = "supply", value = "15 V", resistance = "0.1 ohm", pins = ["plus15", "0V"] }
V2 = { kind = "supply", value = "15 V", resistance = "0.1 ohm", pins = ["0V", "minus15"] }
R1 = { kind = "resistor", value = "10k", pins = ["a", "0V"] }
R2 = { kind = "resistor", value = "10k", pins = ["plus15", "c"] }
R3 = { kind = "resistor", value = "10k", pins = ["c", "b"] }
R4 = { kind = "resistor", value = "10k", pins = ["b", "0V"] }
Q1 = { kind = "npn", pins = ["c", "b", "minus15"] }
U1 = { kind = "op amp", pins = { plus = "a", minus = "out", out = "out", high = "plus15", low = "minus15" } }
U2 = { kind = "regulator", value = "5 V", pins = { in = "plus15", out = "five", common = "0V" } }
T1 = { kind = "transformer", volts = "12 V", resistance = "0.5 ohm", pins = { secondary = ["w1", "0V", "w2"] } }
BR1 = { kind = "bridge", pins = ["w1", "w2", "raw", "low"] }
C1 = { kind = "electrolytic", value = "1000 uF", voltage = "25 V", pins = ["raw", "0V"] }
C2 = { kind = "electrolytic", value = "1000 uF", voltage = "25 V", pins = ["0V", "low"] }
R5 = { kind = "resistor", value = "1k", pins = ["five", "0V"] }
"""


@cache
def predictor():
    return Predictor(parse_board(TEXT, "two rails"), particles=4)


def median(check, suspect):
    row = [each.words() for each in predictor().suspects].index(suspect)
    return float(np.median(predictor().readings(check)[row]))


def test_a_chip_shorted_from_rail_to_rail_has_a_check_that_reads_it():
    """The rails are not joined by any part of two pins, and a blown fuse leaves only the unplugged checks."""
    check = Check("ohms", "plus15", "minus15")

    assert check in predictor().candidates()
    assert median(check, "U1 supply short") < 2.1  # the bounds of a short: 0.05 to 2 ohm
    assert median(check, "no fault") > 1e3


def test_a_transistor_and_a_regulator_are_read_across_what_they_switch():
    """Collector to emitter, input to output; a bridge diode by diode, for beside a winding a junction tells nothing."""
    assert {Check("ohms", "c", "minus15"), Check("ohms", "plus15", "five")} <= set(predictor().candidates())
    assert Check("ohms", "w1", "raw") in predictor().candidates()
    assert median(Check("ohms", "c", "minus15"), "Q1 collector-emitter short") < 2.1
    assert median(Check("ohms", "plus15", "five"), "U2 in-out short") < 2.1
