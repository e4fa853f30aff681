"""Operating point against printed examples, laws and a general root finder."""

import numpy as np
import pytest
from circuit.wiring import capacitor, circuit, latching_amplifier, op_amp, rails, resistor, signal_diode, source
from scipy.optimize import brentq, fsolve

from dustcap.circuit.elements import Element
from dustcap.circuit.floating import check_floating, floating_nets
from dustcap.circuit.operating import operating_point
from dustcap.circuit.supplies import SENSE_OHM
from dustcap.errors import SolveError

VT = 1.380649e-23 * 298.15 / 1.602176634e-19  # kT/q, SI constants


def ladder():
    """1 mA into n1 as a large source, as in case F1."""
    return circuit(
        source("I", "n1", volts=1e6, ohm=1e9),
        resistor("R1", "n1", "0V", 1e3),
        resistor("R2", "n1", "n2", 1e3),
        resistor("R3", "n2", "0V", 1e3),
    )


@pytest.mark.parametrize(
    ("changes", "volts"),
    [
        ({}, (2 / 3, 1 / 3)),
        ({"R2": np.inf}, (1.0, 0.0)),
        ({"R2": 2e3}, (0.75, 0.25)),
        ({"R2": 500.0}, (0.6, 0.4)),
        ({"R2": 0.0}, (0.5, 0.5)),
        ({"R2": 2e3, "R3": 3e3}, (0.8333333, 0.5)),
    ],
)
def test_a_ladder_reads_as_in_the_worked_example(changes, volts):
    """Case F1 of the diagnosis references (computed there): a ladder with its middle resistor changed."""
    point = operating_point(ladder(), {(name, "ohm"): ohm for name, ohm in changes.items()})

    # the source of 1e9 ohm instead of a current source and the floor of 1 mohm cost 1e-6
    assert point.volts[0] == pytest.approx(volts, rel=2e-6, abs=1e-8)


def offset_stage(r1, rf, **values):
    return circuit(
        *rails(),
        resistor("R1", "m", "0V", r1),
        resistor("Rf", "m", "out", rf),
        op_amp("U", "0V", "m", "out", **values),
    )


@pytest.mark.parametrize(
    ("r1", "rf", "values", "volts"),
    [
        (470.0, 47e3, {"offset_v": 6e-3}, 0.606),  # case 5.18 (textbook example 4.4a, read in a stored file)
        (470.0, 47e3, {"bias_minus_a": 500e-9}, 0.0235),  # case 5.19, the same example
        (5e3, 500e3, {"offset_v": 4e-3, "bias_minus_a": 150e-9}, 0.479),  # case 5.17 (example 5.1, stored file)
    ],
)
def test_offset_of_an_inverting_stage_is_the_printed_one(r1, rf, values, volts):
    """Offset voltage and bias current give the output that the textbook prints."""
    point = operating_point(offset_stage(r1, rf, **values))

    # the printed examples leave the finite gain of 1e5 out: 101 / 1e5
    assert point.volt("out")[0] == pytest.approx(volts, rel=1.1e-3)


def test_a_diode_with_a_resistor_agrees_with_a_root_finder():
    """Shockley's law with series resistance, solved by scipy.optimize.brentq."""
    law = {"saturation_a": 2e-9, "ideality": 1.8, "series_ohm": 2.0}
    board = circuit(source("V", "a", volts=9.0), resistor("R", "a", "d", 470.0), signal_diode("D", "d", "0V", **law))

    def mesh(i):
        return 9.0 - i * (470.0 + 2.0 + 1e-3) - 1.8 * VT * np.log1p(i / 2e-9)

    amps = brentq(mesh, 1e-6, 0.1, xtol=1e-15)
    point = operating_point(board)

    assert point.volt("d")[0] == pytest.approx(9.0 - amps * (470.0 + 1e-3), rel=1e-7)


def test_a_transistor_stage_agrees_with_a_root_finder():
    """Ebers-Moll equations of a common-emitter stage, solved by scipy.optimize.fsolve."""
    board = circuit(
        source("V", "v", volts=12.0),
        resistor("RB", "v", "b", 470e3),
        resistor("RC", "v", "c", 2.2e3),
        resistor("RE", "e", "0V", 220.0),
        Element("Q", "bipolar", ("c", "b", "e"), {"gain": 150.0, "saturation_a": 2e-14, "reverse_gain": 3.0}),
    )

    def nodes(v):
        b, c, e = v
        forward, back = np.exp((b - e) / VT), np.exp((b - c) / VT)
        ib = 2e-14 / 150 * (forward - 1) + 2e-14 / 3 * (back - 1)
        ic = 2e-14 * (forward - back) - 2e-14 / 3 * (back - 1)
        return [(12 - b) - 470e3 * ib, (12 - c) - 2.2e3 * ic, 220.0 * (ib + ic) - e]

    expected = fsolve(nodes, [1.3, 6.0, 0.65], xtol=1e-11)
    point = operating_point(board)

    assert [point.volt(net)[0] for net in "bce"] == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize(
    ("v_in", "load", "volts"),
    [
        (20.0, 100.0, 12.0),  # regulating
        (13.0, 100.0, 11.0),  # input less dropout
        (20.0, 6.0, 6.0),  # limit of 1 A into 6 ohm
        (1.0, 100.0, 0.0),  # nothing left after the dropout
    ],
)
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_regulator_clamps_drops_out_and_limits(sign, v_in, load, volts):
    """The pass element's law in its four zones, for both signs of the output."""
    board = circuit(
        source("V", "in", volts=sign * v_in),
        resistor("RL", "out", "0V", load),
        Element("U", "regulator", ("in", "out", "0V"), {"volts": sign * 12.0, "dropout_v": 2.0, "limit_a": 1.0}),
    )

    point = operating_point(board)

    # output resistance of 20 mohm and the input's floor of 1 mohm
    assert point.converged.all()
    assert sign * point.volt("out")[0] == pytest.approx(volts, rel=3e-3, abs=0.03)


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("leak", [20.0, 50.0, 107.0, 200.0])
def test_a_regulator_that_a_leak_feeds_past_carries_nothing(sign, leak):
    """Its output stands above its volts, nearer to its input than the drop-out: by hand, a divider of leak and load.

    A case is begun from the sound board, as every fault's is.
    """
    board = circuit(
        source("V", "in", volts=sign * 30.0, ohm=0.5),
        Element("U", "regulator", ("in", "out", "0V"), {"volts": sign * 15.0, "dropout_v": 2.0, "quiescent_a": 5e-3}),
        resistor("LEAK", "in", "out", 1e9),
        resistor("R", "out", "0V", 6e3),
    )
    point = operating_point(board, {("LEAK", "ohm"): leak}, start=operating_point(board), thorough=False)
    load = 1.0 / (1.0 / 6e3 + 1.0 / SENSE_OHM)
    rail = np.linalg.solve([[2.0 + 1.0 / leak, -1.0 / leak], [-1.0 / leak, 1.0 / leak + 1.0 / load]], [59.995, 0.0])

    assert point.converged.all()
    assert [point.volts[0, board.nets.index(net)] for net in ("in", "out")] == pytest.approx(sign * rail, rel=1e-4)


@pytest.mark.parametrize(("way", "limit"), [(1.0, 12.0), (-1.0, -12.0)])
def test_a_saturated_amplifier_stays_within_a_millivolt_of_its_limit(way, limit):
    """An open loop with 10 V across the inputs ends at rail minus headroom."""
    board = circuit(
        *rails(), source("S", "p", volts=10 * way), op_amp("U", "p", "0V", "out", headroom_v=3.0, quiescent_a=0.0)
    )

    point = operating_point(board)

    assert point.volt("out")[0] == pytest.approx(limit, abs=1e-3)


def test_an_amplifier_limits_its_current_and_draws_it_from_the_rail_that_sources_it():
    """30 mA is all that a short gets; it comes out of the positive rail, beside the quiescent current."""
    board = circuit(
        source("V+", "v+", volts=15.0, ohm=10.0),
        source("V-", "v-", volts=-15.0, ohm=10.0),
        source("S", "p", volts=1.0),
        resistor("RL", "out", "0V", 1.0),
        op_amp("U", "p", "0V", "out", limit_a=30e-3, quiescent_a=2e-3),
    )

    point = operating_point(board)

    assert point.volt("out")[0] == pytest.approx(0.030, rel=1e-3)
    assert point.volt("v+")[0] == pytest.approx(15 - 10 * 0.032, abs=2e-3)
    assert point.volt("v-")[0] == pytest.approx(-15 + 10 * 0.002, abs=2e-3)


@pytest.mark.parametrize(
    ("values", "volts"),
    [({}, 1.0), ({"force": 1.0}, 13.5), ({"force": -1.0}, -13.5), ({"drive": 0.0}, 0.0), ({"muted": 1.0}, 0.0)],
)
def test_a_failed_amplifier_reads_as_its_failure_says(values, volts):
    """A follower of 1 V: stuck high, stuck low, dead, mute stuck."""
    board = circuit(
        *rails(),
        source("S", "p", volts=1.0),
        op_amp("U", "p", "out", "out", **values),
        resistor("RL", "out", "0V", 10e3),
    )

    point = operating_point(board)

    assert point.volt("out")[0] == pytest.approx(volts, abs=0.09)  # 60 ohm against 10 kohm is 81 mV


@pytest.mark.parametrize(("mute_ohm", "volts"), [(4.7e3, 1.0), (1e5, 0.0)])
def test_a_power_amplifier_plays_only_with_its_mute_current(mute_ohm, volts):
    """0.5 mA must flow through the mute pin: 24 V over 5.7 kohm does it, over 101 kohm not."""
    board = circuit(
        *rails(24.0),
        source("S", "p", volts=1.0),
        resistor("RM", "v+", "mute", mute_ohm),
        op_amp("U", "p", "out", "out", mute="mute", mute_a=0.5e-3, out_ohm=0.05, limit_a=4.0),
    )

    point = operating_point(board)

    assert point.volt("out")[0] == pytest.approx(volts, abs=2e-4)


def relay_board(volts):
    return circuit(
        source("V", "v", volts=volts),
        Element("K", "coil", ("v", "0V"), {"ohm": 400.0, "pull_in_v": 8.4}),
        Element("K1", "contact", ("v", "no"), {"closed": 0.0}, drives="K"),
        Element("K2", "contact", ("v", "nc"), {"closed": 1.0}, drives="K"),
        resistor("R1", "no", "0V", 1e3),
        resistor("R2", "nc", "0V", 1e3),
    )


@pytest.mark.parametrize(("volts", "no", "nc"), [(8.0, 0.0, 8.0), (9.0, 9.0, 0.0)])
def test_a_relay_turns_its_contacts_over_at_its_pull_in_voltage(volts, no, nc):
    """Below pull-in the contacts are at rest, above it they have changed over."""
    point = operating_point(relay_board(volts))

    assert point.volt("no")[0] == pytest.approx(no, abs=1e-3)
    assert point.volt("nc")[0] == pytest.approx(nc, abs=1e-3)


def test_a_stuck_contact_ignores_its_coil():
    """force +1 is stuck closed, -1 stuck open, whatever the coil does."""
    point = operating_point(relay_board(9.0), {("K1", "force"): -1.0, ("K2", "force"): 1.0})

    assert point.volt("no")[0] == pytest.approx(0.0, abs=1e-3)
    assert point.volt("nc")[0] == pytest.approx(9.0, abs=1e-3)


def latch():
    """Two transistors that hold each other off or on; a capacitor-free switch-on leaves them off."""
    return circuit(
        source("V", "v", volts=12.0),
        Element("Q1", "bipolar", ("c1", "b1", "0V"), {}),
        Element("Q2", "bipolar", ("b1", "b2", "v"), {"sign": -1.0}),
        resistor("R1", "b1", "0V", 10e3),
        resistor("R2", "v", "b2", 10e3),
        resistor("R3", "c1", "b2", 4.7e3),
        resistor("RT", "v", "b1", np.inf),
    )


def test_a_latch_ends_where_a_slow_switch_on_leaves_it_and_fires_when_triggered():
    """Raised from zero the latch stays off; a trigger current into its base fires it."""
    point = operating_point(latch(), {("RT", "ohm"): np.array([np.inf, 22e3])})

    assert point.converged.all()
    assert point.volt("b1")[0] == pytest.approx(0.0, abs=1e-3)
    assert point.volt("c1")[1] < 0.5


@pytest.mark.parametrize("start", ["cold", "warm"])
def test_an_amplifier_with_more_positive_than_negative_feedback_falls_to_the_side_of_its_offset(start):
    """A leak from output to plus pin: above the share 1/11 of the negative feedback nothing holds the middle.

    Share of a leak R against the 10 kohm at the plus pin: 10k / (R + 10k), so that R below 100 kohm latches. With more
    the output is 11 x offset / (1 - 11 share).
    """
    board = latching_amplifier()
    values = {
        ("leak", "ohm"): np.array([np.inf, 1e6, 200e3, 80e3, 10e3, 10e3]),
        ("U", "offset_v"): np.array([2e-3, 2e-3, 2e-3, 2e-3, 2e-3, -2e-3]),
    }
    healthy = operating_point(board)

    point = operating_point(board, values, start=healthy if start == "warm" else None)

    share = 10e3 / (values["leak", "ohm"][:3] + 10e3)
    assert point.converged.all()
    assert point.volt("out")[:3] == pytest.approx(11 * 2e-3 / (1 - 11 * share), rel=2e-3)
    assert point.volt("out")[3:] == pytest.approx([13.4, 13.4, -13.4], abs=0.1)


def test_a_warm_start_gives_the_same_answer_as_a_cold_one():
    """Faults solved from the healthy point equal those solved from nothing."""
    board = offset_stage(1e3, 100e3, offset_v=2e-3)
    faults = {("Rf", "ohm"): np.array([1e5, 3e5, np.inf, 0.0]), ("U", "force"): np.array([0.0, 0.0, 0.0, 1.0])}
    healthy = operating_point(board)

    cold, warm = operating_point(board, faults), operating_point(board, faults, start=healthy)

    assert cold.converged.all()
    assert warm.converged.all()
    assert warm.volts == pytest.approx(cold.volts, rel=1e-6, abs=1e-7)


def test_a_bias_current_cannot_pull_its_pin_beyond_the_rail():
    """A pin without a path goes to the rail and no further."""
    board = circuit(*rails(), capacitor("C", "p", "0V", 1e-6), op_amp("U", "p", "out", "out", bias_plus_a=100e-9))

    point = operating_point(board)

    assert -15.0 <= point.volt("p")[0] <= -14.0


def test_what_does_not_exist_or_fit_is_refused():
    """Unknown elements and values, not-a-numbers and batches that do not agree."""
    board = ladder()
    for values, says in [
        ({("R9", "ohm"): 1.0}, "no element 'R9'"),
        ({("R1", "farad"): 1.0}, "no value 'farad'"),
        ({("R1", "ohm"): np.nan}, "not a number"),
        ({("R1", "ohm"): np.ones(2), ("R2", "ohm"): np.ones(3)}, "different numbers of cases"),
    ]:
        with pytest.raises(SolveError, match=says):
            operating_point(board, values)


def test_a_net_that_only_capacitors_reach_is_named():
    """The description is at fault, and the sentence says which net and what touches it."""
    board = circuit(source("V", "a", volts=5.0), capacitor("C1", "a", "x", 1e-6), capacitor("C2", "x", "0V", 1e-6))

    assert floating_nets(ladder()) == {}
    with pytest.raises(SolveError, match="'x' touches only capacitor C1, capacitor C2"):
        check_floating(board)


def test_a_meter_loads_what_it_reads():
    """Case 7.06: 10 Mohm on a source of 1 Mohm reads 0.90909 of it; case 7.07: 5 V through 990 Mohm reads 50 mV."""
    board = circuit(source("V", "a", volts=5.0), resistor("R", "a", "b", 1e6), resistor("M", "b", "0V", 10e6))

    point = operating_point(board, {("R", "ohm"): np.array([1e6, 990e6])})

    # each net has 1e-12 S to common, 1e-5 of the meter
    assert point.volt("b") == pytest.approx([5.0 * 0.90909, 0.050], rel=2e-5)
