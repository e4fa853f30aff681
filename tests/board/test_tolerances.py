"""What varies on a healthy board, and how far."""

import numpy as np
import pytest
from board.sample import EXAMPLE, small

from dustcap.board.circuit import to_circuit
from dustcap.board.read import parse_board
from dustcap.board.tolerances import groups_of, tolerances, values_at
from dustcap.circuit.operating import operating_point
from dustcap.demo.boards import REVISIONS, model_27


def _by_value(board):
    return {(entry.element, entry.value): entry for entry in tolerances(board)}


@pytest.mark.parametrize("revision", REVISIONS)
def test_every_tolerance_names_a_value_of_the_circuit_and_holds_its_nominal(revision):
    """Element and value exist, nominal is the circuit's own and lies inside the range."""
    board = model_27(revision)
    circuit = to_circuit(board)

    for entry in tolerances(board):
        assert circuit.element(entry.element).value(entry.value) == entry.nominal
        assert entry.low <= entry.nominal <= entry.high
        assert entry.low < entry.high


def test_parts_vary_by_their_own_tolerance():
    """A resistor of 22 k, 5 % lies between 20.9 k and 23.1 k."""
    entry = _by_value(parse_board(EXAMPLE))["R12", "ohm"]

    assert (entry.low, entry.high) == (pytest.approx(20.9e3), pytest.approx(23.1e3))
    assert entry.at(0.5) == pytest.approx(22e3)


def test_an_amplifiers_offset_lies_on_both_sides_of_nothing():
    """Nominal 0, from minus to plus the described offset; each bias current from nothing to the described one."""
    found = _by_value(parse_board(EXAMPLE))

    assert (found["U3", "offset_v"].low, found["U3", "offset_v"].high) == (-3e-3, 3e-3)
    assert (found["U3", "bias_plus_a"].low, found["U3", "bias_plus_a"].high) == (0.0, 200e-9)
    assert found["U3", "bias_plus_a"].group != found["U3", "bias_minus_a"].group


def test_a_negative_rail_varies_on_its_own_side():
    """A regulator of -15 V lies between -15.6 V and -14.4 V."""
    board = small('U1 = { kind = "regulator", value = "-15 V", pins = { in = "a", out = "b", common = "0V" } }')
    entry = _by_value(board)["U1", "volts"]

    assert (entry.low, entry.high) == (pytest.approx(-15.6), pytest.approx(-14.4))


def test_both_halves_of_a_track_vary_together():
    """The elements of one potentiometer, and of one bridge, share a group; those of two parts do not."""
    board = small(
        'RV1 = { kind = "potentiometer", value = "10k", pins = ["a", "w", "0V"] }\n'
        'RV2 = { kind = "potentiometer", value = "10k", pins = ["a", "v", "0V"] }\n'
        'B1 = { kind = "bridge", pins = ["a", "b", "c", "0V"] }'
    )
    groups = {entry.element: entry.group for entry in tolerances(board)}

    assert groups["RV1.end1"] == groups["RV1.end2"] != groups["RV2.end1"]
    assert len({group for element, group in groups.items() if element.startswith("B1")}) == 1


def test_drawn_values_go_group_by_group():
    """Two cases: the track's halves keep their ratio, another part lies elsewhere."""
    board = small(
        'RV1 = { kind = "potentiometer", value = "10k", position = 0.25, pins = ["a", "w", "0V"] }\n'
        'R1 = { kind = "resistor", value = "1k", pins = ["a", "0V"] }'
    )
    entries = tolerances(board)
    assert groups_of(entries) == ("RV1.ohm", "R1.ohm")

    got = values_at(entries, np.array([[0.0, 1.0], [0.5, 0.75]]))

    assert got["RV1.end2", "ohm"] / got["RV1.end1", "ohm"] == pytest.approx([3.0, 3.0])
    assert got["RV1.end1", "ohm"] == pytest.approx([2000.0, 3000.0])
    assert got["R1", "ohm"] == pytest.approx([1000.0, 1025.0])


def test_a_logarithmic_spread_is_even_in_the_logarithm():
    """Half way of a gain between x0.5 and x2 is the nominal gain."""
    board = small('Q1 = { kind = "npn", pins = ["c", "b", "0V"] }')
    entry = _by_value(board)["Q1", "gain"]

    assert (entry.at(0.0), entry.at(0.5), entry.at(1.0)) == (100.0, pytest.approx(200.0), pytest.approx(400.0))


def test_a_given_series_resistance_varies_less_than_an_assumed_one():
    """An esr read off the data sheet is known to 30 %, an assumed one only up to the maker's limit."""
    board = small(
        'C1 = { kind = "electrolytic", value = "100 uF", esr = "0.2 ohm", pins = ["a", "0V"] }\n'
        'C2 = { kind = "electrolytic", value = "100 uF", pins = ["a", "0V"] }'
    )
    found = _by_value(board)

    assert found["C1", "esr_ohm"].high == pytest.approx(0.26)
    assert found["C2", "esr_ohm"].high == pytest.approx(1.8568, rel=1e-4)  # the maker's limit, see test_defaults


def test_a_resistor_without_tolerance_does_not_vary():
    """A range without width is left out."""
    board = small('R1 = { kind = "resistor", value = "1k", tolerance = 0, pins = ["a", "0V"] }')

    assert tolerances(board) == ()


def test_the_ends_of_all_ranges_solve():
    """A board with every value at the low, and at the high end of its range has an operating point."""
    board = parse_board(
        EXAMPLE + '\n[parts.T1]\nkind = "transformer"\nvolts = "20 V"\n'
        'pins = { secondary = ["x", "0V", "y"] }\n[parts.B1]\nkind = "bridge"\npins = ["x", "y", "rail+", "rail-"]\n'
    )
    circuit = to_circuit(board)

    for share in (0.0, 1.0):
        entries = tolerances(board)
        values = values_at(entries, np.full((len(groups_of(entries)), 1), share))
        assert operating_point(circuit, values).converged.all()


def test_an_electrolytic_without_described_leakage_may_show_an_ohm_meter_nothing():
    """From its maker's limit (0.01 CV: 25 uA of 100 uF at 25 V) to far over range, 50 Mohm (contract)."""
    board = small('C1 = { kind = "electrolytic", value = "100 uF", voltage = "25 V", pins = ["a", "0V"] }')
    entry = _by_value(board)["C1", "leak_ohm"]

    assert entry.low == pytest.approx(25.0 / 25e-6)
    assert entry.at(0.7) > 50e6
