"""Switch-on of a board that can be worked out by hand."""

import pytest

from dustcap.board.read import parse_board
from dustcap.predict.sheet_power_up import power_up_sheet

TEXT = """
layout = 1
[board]
name = "switch-on"
[parts]
V1 = { kind = "supply", value = "12 V", resistance = "0.1 ohm", pins = ["fed", "0V"] }
R1 = { kind = "resistor", value = "5.9 ohm", tolerance = "1 %", pins = ["fed", "out"] }
K1 = { kind = "relay coil", resistance = "1k", pull_in = "20 V", pins = ["fed", "0V"] }
S1 = { kind = "switch", closed = false, driven_by = "K1", pins = ["fed", "b"] }
R2 = { kind = "resistor", value = "10k", pins = ["b", "0V"] }
LS1 = { kind = "driver", resistance = "6 ohm", inductance = "0.1 mH", resonance = "50 Hz", qms = "0.5", qes = "5",
        bl = "6 T m", excursion = "5 mm", pins = ["out", "0V"] }
""".replace(",\n        bl", ", bl")


def test_a_driver_across_a_supply_moves_as_far_as_its_current_pushes():
    """Derived: 12 V over 0.1 + 5.9 + 6 ohm are 1 A from the supply and 6 V at the driver; its compliance follows from
    the other figures: wr = 2 pi 50, Qes = wr Mms Re / Bl^2 gives Mms = 95.5 g and Cms = 1 / (wr^2 Mms) = 0.106 mm/N;
    6 N push 0.637 mm. With Qts 0.45 it swings past by exp(-pi / sqrt(4 Q^2 - 1)), nothing for Q below 0.5."""
    found = power_up_sheet(parse_board(TEXT, "t"), seconds=0.3, samples=2)

    assert found.inrush_a["V1"].median == pytest.approx(1.0, rel=0.05)
    assert found.thump_v["LS1"].low >= 5.8
    assert found.excursion["LS1"].median == pytest.approx(found.cone_m["LS1"].median / 5e-3)
    assert found.cone_m["LS1"].median == pytest.approx(0.637e-3, rel=0.06)


def test_a_relay_that_never_pulls_in_is_said_so():
    """Derived: 12 V are below its 20 V."""
    assert power_up_sheet(parse_board(TEXT, "t"), seconds=0.1, samples=2).unmute_s == {"S1": None}
