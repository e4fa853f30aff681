"""Blocks of the library with a signal: gains and responses against published values of their design equations."""

import numpy as np
import pytest
from board.bench import block_board, gain_db, solved

from dustcap.circuit.poles import poles, unstable_hz
from dustcap.circuit.signal import small_signal

IN = 'IN1 = { kind = "input", resistance = 0, pins = ["in", "0V"] }\n'
SPEAKER = 'LS1 = { kind = "driver", resistance = "5.6 ohm", pins = ["out", "0V"] }\n'
SMALL = 'in = "in", out = "out", plus = "plus", minus = "minus"'
AMPLIFIER = 'in = "in", out = "out", high = "high", low = "low"'
EXACT = 'round_to = "exact", frequency = "2 kHz"'

# Handbook of check values, cases 5.48 and 5.51 (computed from |H| = 1/(1 + w^4), Linkwitz, JAES 1976): each branch is
# 6.0206 dB down at the crossover and the low one 24.609 dB an octave above; the sum is flat.
AT_CROSSOVER_DB, OCTAVE_BEYOND_DB = -6.0206, -24.609
OP_AMP_DB = 0.03  # what a 3 MHz op amp leaves to be desired at 4 kHz


def test_a_low_pass_band_is_six_decibels_down_at_the_crossover():
    """And a fourth-order filter beyond it; a Butterworth of that order would be 3 dB down."""
    got = gain_db(block_board("low-pass crossover band", f"{SMALL}, {EXACT}", IN), [2000.0, 4000.0, 50.0], "out")

    assert got == pytest.approx([AT_CROSSOVER_DB, OCTAVE_BEYOND_DB, 0.0], abs=OP_AMP_DB)


def test_a_high_pass_band_mirrors_the_low_one():
    """The same figures below the crossover."""
    got = gain_db(block_board("high-pass crossover band", f"{SMALL}, {EXACT}", IN), [2000.0, 1000.0, 19e3], "out")

    assert got == pytest.approx([AT_CROSSOVER_DB, OCTAVE_BEYOND_DB, 0.0], abs=OP_AMP_DB)


def test_both_bands_sum_to_a_flat_response():
    """Linkwitz-Riley branches are in phase at all frequencies and add up to an all-pass (case 5.49: 0 dB)."""
    high = f'[blocks.h]\nfrom = "high-pass crossover band"\nwith = {{ {SMALL.replace("out", "high_out")}, {EXACT} }}\n'
    high = high.replace("high_out =", "out =")
    circuit, point = solved(block_board("low-pass crossover band", f"{SMALL}, {EXACT}", IN, high))
    response = small_signal(circuit, point, np.geomspace(50, 20e3, 60), source="IN1")

    total_db = 20 * np.log10(np.abs(response.volt("out") + response.volt("high_out")))

    assert np.abs(total_db).max() < 0.05


def test_an_infrasonic_filter_is_three_decibels_down_at_its_corner():
    """Second-order Butterworth: 3.0103 dB at the corner, 12.30 dB an octave below, |H|^2 = w^4/(1 + w^4)."""
    board = block_board("infrasonic filter", f'{SMALL}, round_to = "exact", frequency = "25 Hz"', IN)

    assert gain_db(board, [25.0, 12.5, 1000.0], "out") == pytest.approx([-3.0103, -12.304, 0.0], abs=0.01)


@pytest.mark.parametrize("stage", ["power amplifier stage", "input stage with volume control"])
def test_twenty_kilohms_over_one_are_26_decibels(stage):
    """Handbook of check values, case 5.15: 1 + 20k/1k is 26.444 dB."""
    if stage == "power amplifier stage":
        board = block_board(stage, f'{AMPLIFIER}, gain_resistor = "20k", feedback_capacitor = "4700 uF"', IN + SPEAKER)
    else:
        settings = 'feedback_resistor = "20k", ground_resistor = "1k", position = 1, coupling = "100 uF"'
        board = block_board(stage, f"{SMALL}, {settings}", IN)

    assert gain_db(board, 1000.0, "out") == pytest.approx(26.444, abs=0.02)


def test_a_bridge_doubles_the_volts():
    """The difference between both outputs is twice 1 + 22k/2k2 = 11."""
    parts = IN + 'LS1 = { kind = "driver", resistance = "5.6 ohm", pins = ["a", "z"] }\n'
    ports = 'in = "in", out_a = "a", out_b = "z", high = "high", low = "low"'
    board = block_board("bridge-tied amplifier", f'{ports}, feedback_capacitor = "4700 uF"', parts)

    assert gain_db(board, 1000.0, "a", against="z") == pytest.approx(20 * np.log10(2 * 11), abs=0.02)


def test_a_discrete_amplifier_has_the_gain_of_its_feedback():
    """1 + 10k/470, less what its open loop lacks."""
    board = block_board("discrete class-AB amplifier", AMPLIFIER, IN + SPEAKER)

    assert gain_db(board, 200.0, "out") == pytest.approx(20 * np.log10(1 + 10e3 / 470), abs=0.2)


def test_a_bought_in_amplifier_has_the_gain_of_its_label():
    """Twenty times, less what 0.05 ohm before 5.6 ohm takes."""
    board = block_board("class-D amplifier module", AMPLIFIER, IN + SPEAKER)

    assert gain_db(board, 1000.0, "out") == pytest.approx(20 * np.log10(20 * 5.6 / 5.65), abs=0.01)


@pytest.mark.parametrize(("on", "lift_db"), [("true", 6.0), ("false", 0.0)])
def test_a_treble_trim_lifts_when_it_is_on(on, lift_db):
    """The whole lift far above the slope, half of it in the middle, none below."""
    board = block_board("high-frequency trim", f'{SMALL}, lift = "6 dB", round_to = "exact", on = {on}', IN)

    assert gain_db(board, [40.0, 4000.0, 80e3], "out") == pytest.approx([0, lift_db / 2, lift_db], abs=0.06)


def test_a_limiter_passes_what_is_small():
    """Unity gain, inverted, while the zeners rest."""
    assert gain_db(block_board("limiter", SMALL, IN), 1000.0, "out") == pytest.approx(0.0, abs=0.01)


def test_a_balanced_input_passes_the_difference():
    """The gain of its setting between both legs."""
    parts = 'IN1 = { kind = "input", resistance = 0, pins = ["h", "c"] }\n'
    ports = 'hot = "h", cold = "c", out = "out", plus = "plus", minus = "minus"'
    board = block_board("balanced input", f'{ports}, gain = 2, round_to = "exact"', parts)

    assert gain_db(board, 1000.0, "out") == pytest.approx(20 * np.log10(2), abs=0.01)


@pytest.mark.parametrize(
    ("name", "ports"),
    [
        *((name, AMPLIFIER) for name in ("power amplifier stage", "discrete class-AB amplifier")),
        ("bridge-tied amplifier", 'in = "in", out_a = "out", out_b = "z", high = "high", low = "low"'),
        *(
            (name, SMALL)
            for name in (
                "input stage with volume control",
                "low-pass crossover band",
                "high-pass crossover band",
                "infrasonic filter",
                "high-frequency trim",
                "limiter",
            )
        ),
        ("balanced input", 'hot = "in", cold = "0V", out = "out", plus = "plus", minus = "minus"'),
    ],
)
def test_no_block_oscillates(name, ports):
    """Every natural frequency is damped, with a driver at the output of the power stages."""
    load = SPEAKER if "high = " in ports else ""
    circuit, point = solved(block_board(name, ports, IN + load))

    assert np.isnan(unstable_hz(poles(circuit, point))).all()


def test_a_potentiometer_sets_the_level():
    """Half way of a log track is 20 dB below its end (a tenth of the track, common practice)."""
    levels = [
        gain_db(block_board("input stage with volume control", f"{SMALL}, position = {at}", IN), 1000.0, "out")[0]
        for at in (0.5, 1.0)
    ]

    assert levels[1] - levels[0] == pytest.approx(20.0, abs=0.15)
