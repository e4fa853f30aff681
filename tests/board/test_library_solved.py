"""Blocks of the library at rest: their direct volts and currents against their design equations."""

from itertools import product

import numpy as np
import pytest
from board.bench import block_board, net_volts, source

from dustcap.board.circuit import to_circuit
from dustcap.circuit.operating import operating_point

SPEAKER = 'LS1 = { kind = "driver", resistance = "5.6 ohm", pins = ["out", "0V"] }\n'
IN = 'IN1 = { kind = "input", pins = ["in", "0V"] }\n'
AMPLIFIER = 'in = "in", out = "out", high = "high", low = "low"'
SMALL = 'in = "in", out = "out", plus = "plus", minus = "minus"'


def test_a_split_supply_has_the_peak_of_its_half_winding():
    """Handbook of check values, case 4.13: 18 V r.m.s. a half, one drop of 0.8 V, unloaded 24.66 V.

    The bleeders alone draw 2 mA, where a rectifier drops 0.2 V to 0.3 V less than 0.8 V.
    """
    board = block_board("split supply", 'high = "up", low = "down", volts = "18 V", bleeder = "12k"')

    up, down = net_volts(board, "up", "down")

    assert 24.66 < up < 24.66 + 0.35
    assert down == pytest.approx(-up, abs=0.01)


def test_a_split_supply_has_the_volts_of_the_textbook():
    """Malvino and Bates, Electronic Principles, 7th edition, example 4-7: 17 V into 5 k, 100 uF, 60 Hz, full wave.

    The book's diodes are ideal and it prints the peak: here it is one drop of 0.5 V to 0.8 V less, and half of the
    book's ripple of 0.28 V.
    """
    settings = 'high = "up", low = "down", volts = "12 V", reservoir = "100 uF", bleeder = "5k", winding = "0.1 ohm"'

    (up,) = net_volts(block_board("split supply", settings, mains="120 V 60 Hz"), "up")

    assert 17.0 - 0.8 - 0.14 < up < 17.0 - 0.5 - 0.14


def test_zener_rails_hold_their_volts_under_their_load():
    """With 20 mA drawn the zener has its 8 mA: 15 V and 5 ohm times that."""
    load = 'R9 = { kind = "resistor", value = 750, pins = ["p", "0V"] }\n'
    board = block_board("zener rails", 'high = "high", low = "low", plus = "p", minus = "m", round_to = "exact"', load)

    p, m = net_volts(board, "p", "m")

    assert p == pytest.approx(15.0 + 5 * 8e-3, abs=0.03)
    assert m == pytest.approx(-15.0 - 5 * 28e-3, abs=0.05)  # unloaded: all 28 mA in the zener


def test_regulator_rails_have_their_volts():
    """Plus and minus 12 V from plus and minus 27 V, loaded with 24 mA each."""
    load = 'R8 = { kind = "resistor", value = 500, pins = ["p", "0V"] }\n'
    load += 'R9 = { kind = "resistor", value = 500, pins = ["m", "0V"] }\n'
    board = block_board("regulator rails", 'high = "high", low = "low", plus = "p", minus = "m", volts = "12 V"', load)

    assert net_volts(board, "p", "m") == [pytest.approx(12.0, abs=0.01), pytest.approx(-12.0, abs=0.01)]


def test_a_power_stage_plays_and_has_no_direct_volts():
    """Equal resistors at both inputs cancel the bias currents; the mute pin carries V/(2 R + 1k) (Ohm's law)."""
    board = block_board("power amplifier stage", AMPLIFIER, IN + SPEAKER)

    out, pin = net_volts(board, "out", "b-mute")

    assert abs(out) < 1e-3
    assert pin / 1e3 == pytest.approx(-27 / (2 * 8200 + 1000), rel=3e-3)  # the delay capacitor leaks a little


@pytest.mark.parametrize(("amp_v", "joined"), [(0.5, True), (-0.5, True), (2.0, False), (-2.0, False), (-20.0, False)])
def test_driver_protection_lets_go_on_either_polarity(amp_v, joined):
    """Half a volt is let through, two volts are not, and a rail is not."""
    parts = source("amp", amp_v) + SPEAKER
    board = block_board("driver protection", 'amplifier = "amp", driver = "out", high = "high"', parts)

    (got,) = net_volts(board, "out")

    assert got == pytest.approx(amp_v if joined else 0.0, abs=0.02)


def test_relay_muting_joins_the_driver_in_the_end():
    """Long after switch-on the contact is closed and the transistor carries the coil."""
    board = block_board(
        "relay muting", 'amplifier = "amp", driver = "out", high = "high"', source("amp", 1.0) + SPEAKER
    )

    out, switched = net_volts(board, "out", "b-switched")

    assert out == pytest.approx(1.0, abs=0.01)
    assert switched < 0.3


@pytest.mark.parametrize(("on", "plays"), [("true", True), ("false", False)])
def test_standby_holds_the_mute_line(on, plays):
    """Awake the pin carries more than the 0.5 mA that unmutes, asleep next to nothing."""
    stage = f'[blocks.stage]\nfrom = "power amplifier stage"\nwith = {{ {AMPLIFIER}, mute = "line" }}\n'
    settings = f'mute = "line", plus = "plus", minus = "minus", on = {on}'
    board = block_board("standby circuit", settings, IN + SPEAKER, stage)

    (line,) = net_volts(board, "line")

    assert (abs(line) / 1e3 > 0.5e-3) is plays
    assert plays or abs(line) / 1e3 < 0.05e-3


@pytest.mark.parametrize(("in_v", "out_v"), [(1.0, -1.0), (-2.5, 2.5), (12.0, -5.75), (-12.0, 5.75)])
def test_a_limiter_holds_its_level(in_v, out_v):
    """Below its level it inverts, beyond it holds 5.75 V (within the softness of its zeners)."""
    board = block_board("limiter", SMALL, source("in", in_v))

    (out,) = net_volts(board, "out")

    assert out == pytest.approx(out_v, rel=0.03)


def test_a_discrete_amplifier_rests_near_nothing():
    """Its output is within 20 mV, its output pair idles between 10 mA and 100 mA, as is common practice."""
    board = block_board("discrete class-AB amplifier", AMPLIFIER, IN + SPEAKER)

    out, high, low = net_volts(board, "out", "b-source_high", "b-source_low")

    assert abs(out) < 20e-3
    assert 10e-3 < (high - low) / 0.66 < 100e-3


def test_both_halves_of_a_bridge_rest_at_nothing():
    """No direct volts across the driver."""
    parts = IN + 'LS1 = { kind = "driver", resistance = "5.6 ohm", pins = ["a", "z"] }\n'
    board = block_board(
        "bridge-tied amplifier", 'in = "in", out_a = "a", out_b = "z", high = "high", low = "low"', parts
    )

    a, z = net_volts(board, "a", "z")

    assert abs(a - z) < 1e-3


def test_bought_in_modules_do_what_their_label_says():
    """A supply of 30 V a rail feeds an amplifier that draws 40 mA from each of them."""
    amplifier = (
        '[blocks.amp]\nfrom = "class-D amplifier module"\nwith = { in = "in", out = "out", high = "p", low = "m" }\n'
    )
    board = block_board("switch-mode supply module", 'high = "p", low = "m"', IN + SPEAKER, amplifier)

    p, m, out = net_volts(board, "p", "m", "out")

    assert (p, m) == (pytest.approx(30.0, abs=0.01), pytest.approx(-30.0, abs=0.01))
    assert abs(out) < 1e-3


def test_a_balanced_input_rejects_what_both_legs_carry():
    """Worst corner of 1 % resistors at a gain of 1: 33.98 dB (Sedra and Smith, problem 2.67, (K + 1)/(4 eps)).

    Rejection is the gain for a difference over that for what is common, at the same corner.
    """
    ports = 'hot = "h", cold = "c", out = "out", plus = "plus", minus = "minus"'
    corners = np.array(list(product((0.99, 1.01), repeat=4)))
    values = {(f"b-R{n + 1}", "ohm"): 10e3 * corners[:, n] for n in range(4)}
    quiet = {("b-U1", value): 0.0 for value in ("bias_plus_a", "bias_minus_a")}

    def gain(hot, cold):
        circuit = to_circuit(block_board("balanced input", ports, source("h", hot) + source("c", cold)))
        return operating_point(circuit, {**values, **quiet}).volt("out")

    rejection_db = 20 * np.log10(np.abs(gain(0.5, -0.5) / gain(1.0, 1.0)))

    assert rejection_db.min() == pytest.approx(33.98, abs=0.01)
