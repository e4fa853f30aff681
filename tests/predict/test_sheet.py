"""The service sheet of a board that can be worked out by hand; each number is derived beside its check."""

from functools import cache

import numpy as np
import pytest
from predict.small import TEXT, small_board

from dustcap.board.read import parse_board
from dustcap.errors import BoardError, InputError
from dustcap.predict.sheet import range_of, service_sheet


@cache
def sheet():
    return service_sheet(small_board(), 1000.0, 0.1)


def near(figure, value, share=0.01):
    assert figure.low <= figure.median <= figure.high
    assert figure.median == pytest.approx(value, rel=share)


def test_d_c_volts_are_those_of_a_meter_with_a_spread_from_the_tolerances():
    """Derived: 12 V over two of 1 Mohm, the lower one beside the meter's 10 Mohm: 12 x 0.9091 / 1.9091 = 5.714 V.

    Its spread is mostly the supply's +-2 %; of an even spread 90 % lie within +-1.8 %, both dividers add a little.
    """
    figure = sheet().nets["mid"].dc_volts

    near(figure, 5.714, 0.005)
    assert 1.7 < 100 * figure.width / 2 / figure.median < 2.3


def test_ohms_are_those_of_the_unplugged_board():
    """Derived: the supply is off, so `mid` sees R2 = 1 Mohm alone; `fb` sees R4 = 22 k and the voice coil's 6 ohm in
    series, beside R5 and the capacitor's leakage, far above; `minus12` touches nothing that conducts."""
    nets = sheet().nets

    near(nets["mid"].ohms_red_here, 1e6)
    near(nets["fb"].ohms_red_here, 22e3, 0.02)
    near(nets["out"].ohms_black_here, 6.0)
    assert nets["minus12"].ohms_red_here.over == 1.0
    assert np.isinf(nets["minus12"].ohms_red_here.median)


def test_a_diode_of_low_drop_reads_differently_with_the_leads_swapped():
    """A Schottky diode conducts at 0.3 V one way and not the other: both polarities stand in the sheet."""
    text = TEXT.replace('type = "signal", pins = ["mid", "plus12"]', 'type = "schottky", pins = ["mid", "0V"]')

    mid = service_sheet(parse_board(text, "t"), samples=4).nets["mid"]

    assert mid.ohms_red_here.high < 0.2 * mid.ohms_black_here.low


def test_the_level_is_the_gain_times_the_signal():
    """Derived: 100 mV x 22 k / (22 k + 50) x (1 + 22 k / 1 k) = 2.295 V at 1 kHz, ripple none from stiff supplies."""
    out = sheet().nets["out"]

    near(out.level, 2.295)
    assert out.ripple.high == 0.0


def test_volts_watts_and_shares_of_a_part():
    """Derived: 6 V on R1 of 1 Mohm are 36 uW, of 0.25 W a share of 1.44e-4; the amplifier at rest takes 24 V x 50 mA
    = 1.2 W; no rating of it is known."""
    parts = sheet().parts

    near(parts["R1"].volts, 6.0)
    near(parts["R1"].watts, 36e-6, 0.03)
    near(parts["R1"].share_of_rating, 1.44e-4, 0.03)
    assert parts["R1"].of == "power"
    near(parts["U1"].volts, 24.0)
    near(parts["U1"].watts, 1.2, 0.05)
    assert parts["U1"].share_of_rating is None


def test_a_capacitor_across_a_winding_is_rated_by_the_peak():
    """Derived: 20 V r.m.s. from tap to end swing to 28.3 V; each half bare, 56.6 V from end to end, of 100 V."""
    text = TEXT[: TEXT.index("[parts.U1]")] + (
        '[parts.T1]\nkind = "transformer"\nvolts = "20 V"\npins = { secondary = ["a", "0V", "b"] }\n'
        '[parts.BR1]\nkind = "bridge"\npins = ["a", "b", "raw", "low"]\n'
        '[parts.C8]\nkind = "electrolytic"\nvalue = "1000 uF"\nvoltage = "35 V"\npins = ["raw", "0V"]\n'
        '[parts.C9]\nkind = "capacitor"\nvalue = "100n"\nvoltage = "100 V"\npins = ["a", "b"]\n'
    )

    parts = service_sheet(parse_board(text, "t"), samples=8).parts

    near(parts["C9"].share_of_rating, 0.566, 0.05)
    assert abs(parts["C9"].volts.median) < 0.1
    assert 27.0 / 35 < parts["C8"].share_of_rating.median < 28.3 / 35


def test_a_board_without_an_input_has_no_levels():
    """Nothing to inject a signal at: no level, and all else stands."""
    text = TEXT.replace('IN1 = { kind = "input", resistance = "50 ohm", pins = ["in", "0V"] }\n', "")

    nets = service_sheet(parse_board(text, "t"), samples=4).nets

    assert nets["out"].level is None
    near(nets["mid"].dc_volts, 5.714, 0.02)


def test_the_same_seed_gives_the_same_sheet():
    """To the last digit; another seed gives another."""
    again = service_sheet(small_board(), samples=8, seed=3)

    assert again == service_sheet(small_board(), samples=8, seed=3)
    assert again != service_sheet(small_board(), samples=8, seed=4)


def test_over_range_and_no_reading_are_told_apart():
    """Half of the readings over range: the middle of the others is no middle; nan is no reading at all."""
    half = range_of(np.array([1e6, 2e6, np.inf, np.inf]))

    assert half.low == pytest.approx(1.15e6)
    assert np.isinf(half.high)
    assert half.over == 0.5
    assert range_of(np.full(3, np.nan)) is None
    assert range_of(np.array([np.nan, 2.0])).median == 2.0


@pytest.mark.parametrize(("hz", "volts"), [(0, 0.1), (-1e3, 0.1), (1e9, 0.1), (1e3, 0), (1e3, float("nan"))])
def test_a_signal_that_is_none_is_refused(hz, volts):
    """Nothing, the wrong sign, beyond what an amplifier passes, no number."""
    with pytest.raises(InputError, match="signal"):
        service_sheet(small_board(), hz, volts)


def test_a_board_without_parts_is_refused():
    """There is nothing to compute."""
    empty = parse_board('layout = 1\n[board]\nname = "e"\n', "empty")

    with pytest.raises(BoardError, match="no parts"):
        service_sheet(empty)


LOADED = """
layout = 1
[board]
name = "loaded"
[parts]
V1 = { kind = "supply", value = "20 V", resistance = "0.001 ohm", pins = ["fed", "0V"] }
V2 = { kind = "supply", value = "20 V", resistance = "0.001 ohm", pins = ["0V", "low"] }
F1 = { kind = "link", rating = "2 A", pins = ["fed", "high"] }
IN1 = { kind = "input", resistance = "50 ohm", pins = ["in", "0V"] }
R1 = { kind = "resistor", value = "100k", tolerance = "0.1 %", pins = ["in", "0V"] }
R2 = { kind = "resistor", value = "9k", tolerance = "0.1 %", pins = ["out", "fb"] }
R3 = { kind = "resistor", value = "1k", tolerance = "0.1 %", pins = ["fb", "0V"] }
R4 = { kind = "resistor", value = "8 ohm", tolerance = "0.1 %", power = "10 W", pins = ["out", "0V"] }
C1 = { kind = "electrolytic", value = "100 uF", esr = "500m", voltage = "35 V", ripple = "0.5 A", pins = ["out", "c"] }
R5 = { kind = "resistor", value = "100 ohm", tolerance = "0.1 %", pins = ["c", "0V"] }
[parts.U1]
kind = "power amplifier"
quiescent = "50 mA"
offset = "0 V"
pins = { plus = "in", minus = "fb", out = "out", high = "high", low = "low" }
"""


def test_watts_under_a_signal_are_those_of_a_class_b_stage():
    """Derived: 0.8 V r.m.s. x 10 at 8 ohm: 8 V, 1 A, 8 W; 102 mA more through C1 and R5 (8 V / 100.5 ohm at 1 kHz is
    79.6 mA). 1.081 A r.m.s. are 1.529 A peak; each rail gives 50 mA + 1.529 / pi = 536.6 mA, 21.46 W from both, of
    which 8 W and 0.637 W reach the loads. `Malvino and Bates` (from memory): the mean of a half sine is its peak / pi.
    At rest 40 V x 50 mA = 2 W."""
    parts = service_sheet(parse_board(LOADED, "t"), 1000.0, 0.8, samples=8).parts

    near(parts["R4"].watts_signal, 8.0, 0.02)
    near(parts["U1"].watts, 2.0, 0.05)
    near(parts["U1"].watts_signal, 40 * (0.05 + 1.0805 * 2**0.5 / np.pi) - 8 - 0.637, 0.03)
    near(parts["R4"].shares_signal["power"], 0.8, 0.02)
    near(parts["C1"].amps_signal, 0.0796, 0.02)
    near(parts["C1"].shares_signal["ripple current"], 0.159, 0.02)
    assert set(parts["C1"].shares) == {"voltage", "ripple current"}


def test_a_fuse_is_held_against_its_current():
    """Derived: 50 mA at rest are 2.5 % of 2 A; under the signal 50 mA + 1.528 A / pi = 536 mA, 26.8 %."""
    fuse = service_sheet(parse_board(LOADED, "t"), 1000.0, 0.8, samples=8).parts["F1"]

    near(fuse.amps, 0.05, 0.05)
    near(fuse.shares["current"], 0.025, 0.05)
    near(fuse.amps_signal, 0.05 + 1.0805 * 2**0.5 / np.pi, 0.03)
    near(fuse.shares_signal["current"], 0.268, 0.03)


def test_a_signal_that_clips_is_said_to():
    """Derived: 2 V r.m.s. x 10 wants 28 V peak from 20 V rails; 0.8 V wants 11.3 V and fits."""
    assert service_sheet(parse_board(LOADED, "t"), 1000.0, 2.0, samples=4).clips == {"U1": 1.0}
    assert service_sheet(parse_board(LOADED, "t"), 1000.0, 0.8, samples=4).clips == {}
