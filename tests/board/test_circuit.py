"""From a board to its circuit: names, laws, nominal values."""

from math import inf, log

import pytest
from board.sample import EXAMPLE, small

from dustcap.board.circuit import leak_name, to_circuit
from dustcap.board.kinds import KINDS
from dustcap.board.read import parse_board
from dustcap.circuit.operating import operating_point
from dustcap.errors import BoardError


def _net_volts(board, net, values=None):
    circuit = to_circuit(board)
    point = operating_point(circuit, values or {})
    assert point.converged.all()
    return float(point.volts[0, circuit.nets.index(net)])


def test_a_part_of_one_element_gives_its_name_to_it():
    """Resistor, capacitor, amplifier and driver keep their names and nets."""
    circuit = to_circuit(parse_board(EXAMPLE))

    assert circuit.element("R12").nets == ("wf_out", "wf_fb")
    assert circuit.element("U3").nets == ("wf_in", "wf_fb", "wf_out", "rail+", "rail-", "wf_mute")
    assert circuit.element("LS1").law == "driver"
    assert {element.part for element in circuit.elements} == set(parse_board(EXAMPLE).parts)


def test_the_elements_of_a_bridge_run_from_anode_to_cathode():
    """Four diodes with the contract's names."""
    circuit = to_circuit(small('B1 = { kind = "bridge", pins = ["x", "y", "p", "0V"] }'))

    assert {element.name: element.nets for element in circuit.elements} == {
        "B1.ac1_plus": ("x", "p"),
        "B1.ac2_plus": ("y", "p"),
        "B1.minus_ac1": ("0V", "x"),
        "B1.minus_ac2": ("0V", "y"),
    }


@pytest.mark.parametrize(("law", "position", "share"), [("linear", 0.3, 0.3), ("log", 0.5, 0.1), ("log", 1.0, 1.0)])
def test_a_potentiometer_is_divided_at_its_position(law, position, share):
    """The wiper sits at that share of the track; a log track has a tenth at half way (common practice)."""
    board = small(
        'V1 = { kind = "supply", value = "10 V", pins = ["top", "0V"] }\n'
        f'RV1 = {{ kind = "potentiometer", value = "10k", law = "{law}", position = {position}, '
        'pins = ["0V", "wiper", "top"] }'
    )

    assert _net_volts(board, "wiper") == pytest.approx(10 * share, rel=1e-4)
    assert to_circuit(board).element("RV1.wiper").nets == ("RV1:wiper", "wiper")


@pytest.mark.parametrize(
    ("word", "ampere", "low", "high"),
    [("signal", 1e-3, 0.6, 0.7), ("rectifier", 1.0, 0.8, 1.0), ("schottky", 0.1, 0.28, 0.32), ("led", 5e-3, 1.8, 2.0)],
)
def test_a_diode_drops_its_usual_volts(word, ampere, low, high):
    """Forward volts at the usual current.

    Signal and rectifier diodes: handbook of check values, section 4 (from memory); Schottky and LED: common practice,
    no published source.
    """
    ohm = 100.0 / ampere
    board = small(
        f'V1 = {{ kind = "supply", value = 100, pins = ["top", "0V"] }}\n'
        f'R1 = {{ kind = "resistor", value = {ohm}, pins = ["top", "a"] }}\n'
        f'D1 = {{ kind = "diode", type = "{word}", pins = ["a", "0V"] }}'
    )

    assert low <= _net_volts(board, "a") <= high


def test_a_module_drives_draws_and_passes_on():
    """5 V less what 20 mA drops in 0.05 ohm; a load on a negative rail draws towards common as well."""
    board = small(
        'M1 = { kind = "module", pins = { p = "five", n = "minus", i = "in", o = "out", g = "0V" }, '
        'drives = { five = "5 V", minus = "-5 V" }, gain = [{ from = "in", to = "out", value = -3 }] }\n'
        'M2 = { kind = "module", pins = { p = "five", n = "minus", g = "0V" }, '
        'draws = { five = "20 mA", minus = "20 mA" } }\n'
        'V1 = { kind = "supply", value = "2 V", pins = ["in", "0V"] }'
    )

    assert _net_volts(board, "five") == pytest.approx(5 - 0.02 * 0.05, abs=1e-5)
    assert _net_volts(board, "minus") == pytest.approx(-5 + 0.02 * 0.05, abs=1e-5)
    assert _net_volts(board, "out") == pytest.approx(-6.0, abs=1e-6)
    assert to_circuit(board).element("M2.n_below").nets == ("0V", "minus")


def test_regulation_raises_the_volts_of_a_winding():
    """The loaded volts of the description plus their regulation stand behind the winding's resistance."""
    board = small(
        'T1 = { kind = "transformer", volts = "20 V", regulation = "8 %", resistance = "0.3 ohm", '
        'pins = { secondary = ["a", "0V", "b"] } }'
    )

    assert to_circuit(board).element("T1").value("volts_rms") == pytest.approx(21.6)


def test_a_leak_is_there_but_absent_until_it_is_overridden():
    """Each pair is one infinite resistor, whichever net is named first."""
    circuit = to_circuit(parse_board(EXAMPLE), [("wf_fb", "rail+"), ("rail+", "wf_fb")])

    assert leak_name("a", "b") == leak_name("b", "a")
    assert circuit.element(leak_name("rail+", "wf_fb")).value("ohm") == inf
    assert len(circuit.elements) == len(to_circuit(parse_board(EXAMPLE)).elements) + 1


@pytest.mark.parametrize("pair", [("rail+", "nowhere"), ("rail+", "rail+")])
def test_an_impossible_leak_is_refused(pair):
    """A leak needs two nets of the board."""
    with pytest.raises(BoardError, match="no leak between"):
        to_circuit(parse_board(EXAMPLE), [pair])


def test_a_board_without_parts_has_no_circuit():
    """There is nothing to solve yet, and that is said."""
    with pytest.raises(BoardError, match="no parts yet"):
        to_circuit(parse_board("layout = 1\n"))


def test_a_contact_follows_the_coil_that_it_names():
    """The coil pulls in at 24 V and the contact that rests open joins its nets."""
    board = small(
        'V1 = { kind = "supply", value = "24 V", pins = ["rail", "0V"] }\n'
        'K1 = { kind = "relay coil", resistance = "1k", volts = "24 V", pins = ["rail", "0V"] }\n'
        'S1 = { kind = "switch", closed = false, driven_by = "K1", pins = ["rail", "x"] }\n'
        'R1 = { kind = "resistor", value = "1k", pins = ["x", "0V"] }'
    )

    assert _net_volts(board, "x") == pytest.approx(24.0, rel=1e-3)


def test_a_transistors_base_volts_follow_its_gain():
    """Emitter follower by hand: base current is emitter current over gain + 1, junction 25.69 mV ln(Ic / 1e-14 A)."""
    board = small(
        'V1 = { kind = "supply", value = "10 V", pins = ["rail", "0V"] }\n'
        'R1 = { kind = "resistor", value = "100k", pins = ["rail", "base"] }\n'
        'Q1 = { kind = "npn", gain = 99, pins = ["rail", "base", "emitter"] }\n'
        'R2 = { kind = "resistor", value = "1k", pins = ["emitter", "0V"] }'
    )
    emitter = _net_volts(board, "emitter")

    base_a = emitter / 1e3 / 100
    assert 10 - base_a * 100e3 - emitter == pytest.approx(0.02569 * log(emitter * 0.99e-3 / 1e-14), rel=2e-3)


def test_every_kind_becomes_elements():
    """No kind of the table is without a law."""
    for kind, spec in KINDS.items():
        if kind == "module":
            continue
        nets = [f"n{number}" for number in range(len(spec.pins) - 1)] + ["0V"]
        needed = "".join(f', {key} = "{entry.example}"' for key, entry in spec.keys.items() if entry.needed)
        more = ', volts = "24 V"' if kind == "relay coil" else ""
        pairs = ", ".join(f'{pin} = "{net}"' for pin, net in zip(spec.pins, nets, strict=True))
        pins = 'secondary = ["n0", "0V", "n1"]' if kind == "transformer" else pairs
        board = small(f'X1 = {{ kind = "{kind}"{needed}{more}, pins = {{ {pins} }} }}')

        assert {element.part for element in to_circuit(board).elements} == {"X1"}, kind
