"""The invented boards are sane: they read, rest at nothing, play as they should, and carry the story."""

import numpy as np
import pytest

from dustcap.board.circuit import to_circuit
from dustcap.board.places import nets_in_area
from dustcap.board.tolerances import groups_of, tolerances, values_at
from dustcap.circuit.operating import operating_point
from dustcap.circuit.poles import poles, unstable_hz
from dustcap.circuit.signal import small_signal
from dustcap.demo.boards import REVISIONS, model_27, model_27_text
from dustcap.errors import InputError

CROSSOVER_HZ = {"A": 2200.0, "C": 2000.0}
# gain of the woofer's stage 1 + Rf/Rg by its resistors, 23 and 22.36
STAGE = {"A": 1 + 33 / 1.5, "C": 1 + 47 / 2.2}


@pytest.fixture(scope="module", params=REVISIONS)
def solved(request):
    """Board, circuit and operating point of a revision."""
    board = model_27(request.param)
    circuit = to_circuit(board)
    return board, circuit, operating_point(circuit)


def _decibels(response, net):
    return 20 * np.log10(np.abs(response.volt(net)[0]))


def test_a_board_has_the_size_of_a_real_one(solved):
    """Between 110 and 160 parts, every pin joined to another, every part on the board at a place of its own."""
    board, _, _ = solved

    assert 110 <= len(board.parts) <= 160
    assert board.loose_nets == ()
    assert set(board.parts) - set(board.places) == {"LS1", "LS2"}
    assert len(set(board.places.values())) == len(board.places)
    assert all(part.block for part in board.parts.values())


def test_both_drivers_rest_within_20_millivolts(solved):
    """Nominal parts; 10 mV to 20 mV are called normal at a loudspeaker's terminals (common practice)."""
    _, _, point = solved

    assert point.converged.all()
    assert abs(float(point.volt("woofer")[0])) < 20e-3
    assert abs(float(point.volt("tweeter")[0])) < 20e-3


def test_the_rails_stand_where_the_supply_puts_them(solved):
    """24 V to 30 V raw and 15 V small, on either side."""
    _, _, point = solved

    for sign, raw, small in ((1, "rail+", "+15"), (-1, "rail-", "-15")):
        assert 24 < sign * float(point.volt(raw)[0]) < 30
        assert sign * float(point.volt(small)[0]) == pytest.approx(15.0, abs=0.3)


def test_both_amplifiers_are_let_go_by_the_mute(solved):
    """More than the 0.5 mA that unmutes flows into 1 kohm at each pin, with a third to spare."""
    _, _, point = solved

    assert float(point.volt("wf_mute")[0]) / 1e3 < -0.67e-3
    assert float(point.volt("tw_mute")[0]) / 1e3 < -0.67e-3


def test_the_woofer_has_the_gain_of_its_stages(solved):
    """What the input divides, the volume control at 0.7 of its log track, four times, and the power stage.

    At 300 Hz the infrasonic filter and the crossover take less than 0.1 dB each.
    """
    board, circuit, point = solved
    response = small_signal(circuit, point, 300.0, source="IN1")
    share = (81**0.7 - 1) / 80
    above, below = (1 - share) * 10e3, 1 / (1 / (share * 10e3) + 1 / 220e3)
    feedback = board.part("R62").number("value")

    expected = 20e3 / 20.3e3 * below / (above + below) * (1 + 10 / 3.3) * STAGE[board.revision]
    expected *= feedback / (feedback + 1e3)  # 1 kohm before the amplifier's input resistor

    assert _decibels(response, "woofer")[0] == pytest.approx(20 * np.log10(expected), abs=0.2)


def test_the_branches_cross_where_they_should(solved):
    """Each is 6 dB down at the crossover (Linkwitz-Riley), within what rounded resistors make of it."""
    board, circuit, point = solved
    response = small_signal(circuit, point, CROSSOVER_HZ[board.revision], source="IN1")

    for net in ("lp2", "hp2"):
        assert _decibels(response, net)[0] - _decibels(response, "band")[0] == pytest.approx(-6.02, abs=0.5)


def test_the_branches_sum_flat(solved):
    """Within 0.3 dB from 100 Hz to 20 kHz, at the crossover's outputs."""
    _, circuit, point = solved
    response = small_signal(circuit, point, np.geomspace(100, 20e3, 50), source="IN1")
    total = (response.volt("lp2") + response.volt("hp2")) / response.volt("band")

    assert np.abs(20 * np.log10(np.abs(total))).max() < 0.3


def test_nothing_oscillates(solved):
    """Every natural frequency is damped."""
    _, circuit, point = solved
    natural = poles(circuit, point)

    assert np.isnan(unstable_hz(natural)).all()
    assert (natural.real < 0).all()


def test_healthy_boards_rest_within_50_millivolts(solved):
    """Twenty-four boards drawn from the tolerances: rails up, amplifiers playing, no more than 50 mV at a driver."""
    board, circuit, nominal = solved
    entries = tolerances(board)
    shares = np.random.default_rng(27).random((len(groups_of(entries)), 24))

    point = operating_point(circuit, values_at(entries, shares), start=nominal)

    assert point.converged.all()
    assert np.abs(point.volt("woofer")).max() < 50e-3
    assert np.abs(point.volt("tweeter")).max() < 50e-3
    assert (point.volt("wf_mute") < -0.5).all()


def test_the_glue_lies_where_the_story_needs_it(solved):
    """It touches a raw rail, the woofer's feedback, its mute and its input."""
    board, _, _ = solved

    touched = nets_in_area(board, board.areas["glue_1"])

    assert {"rail+", "rail-", "wf_fb", "wf_mute", "wf_in"} <= set(touched)
    assert not {"tw_fb", "tw_in", "source", "received"} & set(touched)


def test_glue_that_conducts_pushes_the_cone(solved):
    """1 Mohm from the raw rail into the woofer's feedback shifts its output by rail over leak times feedback resistor.

    At 0 Hz the stage has unity gain (its ground branch ends in a capacitor), so the shift is -V Rf/R (Ohm's law).
    """
    board, _, _ = solved
    circuit = to_circuit(board, [("rail+", "wf_fb")])
    point = operating_point(circuit, {("leak:rail+|wf_fb", "ohm"): 1e6})

    shift = -float(point.volt("rail+")[0]) * board.part("R62").number("value") / 1e6

    assert float(point.volt("woofer")[0]) == pytest.approx(shift, rel=0.02)
    assert shift < -0.8


def test_there_is_no_other_revision():
    """Revision B was never made."""
    with pytest.raises(InputError, match="no revision 'B'"):
        model_27("B")
    assert model_27_text("A") != model_27_text("C")
