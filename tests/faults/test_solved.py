"""What each mode does to a solved circuit: the readings that a technician would take move as the fault says.

The expected figures are derived in the docstrings (Ohm's law, dividers) or are signs and orderings of the physics.
"""

from math import inf

import numpy as np
import pytest
from faults.boards import small

from dustcap.board.circuit import to_circuit
from dustcap.circuit.meter import impedance, junction_volts, resistance
from dustcap.circuit.operating import operating_point
from dustcap.faults.severity import overrides
from dustcap.faults.suspects import Leak, PartFault, Suspect

MIDDLE = [[0.5]]


def changed(board, part, mode, u=MIDDLE):
    return overrides(board, Suspect((PartFault(part, mode),)), u)


def ohms(board, part, mode, pair=("a", "0V")):
    """Ohms without and with the fault."""
    circuit = to_circuit(board)
    return tuple(float(resistance(circuit, [pair], values)[0, 0]) for values in ({}, changed(board, part, mode)))


def volts(board, part, mode, net, u=MIDDLE):
    """Volts on a net without and with the fault."""
    circuit = to_circuit(board)
    points = [operating_point(circuit, values) for values in ({}, changed(board, part, mode, u))]
    assert all(point.converged.all() for point in points)
    return tuple(float(point.volt(net)[0]) for point in points)


TWO_PINS = 'X = {{ kind = "{}", {} pins = ["a", "0V"] }}\n'


@pytest.mark.parametrize(
    ("kind", "keys", "mode", "low", "high"),
    [
        ("resistor", 'value = "1k",', "open", 1e9, inf),
        ("resistor", 'value = "1k",', "drifted high", 1300, 10e3),
        ("resistor", 'value = "1k",', "short", 0.05, 2),
        ("capacitor", 'value = "100n",', "short", 0.05, 2),
        ("capacitor", 'value = "100n",', "leaky", 1e3, 10e6),
        ("electrolytic", 'value = "100 uF", voltage = "35 V",', "leaky", 100, 100e3),
        ("electrolytic", 'value = "100 uF", voltage = "35 V",', "short", 0.05, 2),
        ("inductor", 'value = "1 mH", resistance = "5 ohm",', "open", 1e9, inf),
        ("inductor", 'value = "1 mH", resistance = "5 ohm",', "short", 0.04, 2),
        ("link", "", "open", 1e9, inf),
        ("link", "", "resistance", 0.3, 100),
        ("switch", "closed = true,", "stuck open", 1e9, inf),
        ("switch", "closed = true,", "contact resistance", 0.3, 100),
        ("switch", "closed = false,", "stuck closed", 0.0, 0.1),
        ("relay coil", 'resistance = "1k", volts = "24 V",', "open", 1e9, inf),
        ("driver", 'resistance = "5.6 ohm",', "open", 1e9, inf),
        ("driver", 'resistance = "5.6 ohm",', "shorted turns", 0.3 * 5.6, 0.8 * 5.6),
        ("diode", "", "leaky", 100, 100e3),
        ("zener", 'value = "5.1 V",', "short", 0.05, 2),
    ],
)
def test_ohms_across_a_lone_part_show_its_fault(kind, keys, mode, low, high):
    """The meter reads within the mode's own range, and read something else before."""
    healthy, faulty = ohms(small(TWO_PINS.format(kind, keys)), "X", mode)

    assert low <= faulty <= high
    assert faulty > 1.25 * healthy or faulty < 0.81 * healthy


@pytest.mark.parametrize(
    ("mode", "check", "low", "high"),
    [("capacity lost", "farad", 0.05, 0.7), ("esr up", "ohm", 3.0, 100.0)],
)
def test_a_meter_across_a_worn_electrolytic_shows_it(mode, check, low, high):
    """Capacitance at 120 Hz or resistance at 100 kHz is the stated multiple of the good part's."""
    board = small(TWO_PINS.format("electrolytic", 'value = "1000 uF", voltage = "35 V", esr = "60 mohm",'))
    circuit = to_circuit(board)

    def measured(values):
        z_low = complex(impedance(circuit, [("a", "0V")], [120.0], values)[0, 0, 0])
        z_high = complex(impedance(circuit, [("a", "0V")], [100e3], values)[0, 0, 0])
        return {"farad": -1 / (2 * np.pi * 120.0 * z_low.imag), "ohm": z_high.real}[check]

    times = measured(changed(board, "X", mode)) / measured({})

    assert low <= times <= high


def test_an_open_capacitor_is_not_there():
    """At any frequency no current flows through it."""
    board = small(TWO_PINS.format("electrolytic", 'value = "1000 uF", voltage = "35 V",'))

    z = impedance(to_circuit(board), [("a", "0V")], [120.0, 100e3], changed(board, "X", "open"))

    assert (np.abs(z) > 1e9).all()


@pytest.mark.parametrize(
    ("kind", "mode", "low", "high"),
    [("diode", "short", 0.0, 0.01), ("diode", "open", 2.0, inf), ("zener", "open", 2.0, inf)],
)
def test_the_diode_test_shows_a_bad_junction(kind, mode, low, high):
    """1 mA gives millivolts through a short (at most 2 ohm), and no reading below 2 V through an open junction."""
    board = small(f'X = {{ kind = "{kind}", pins = ["a", "0V"] }}\n'.replace('zener"', 'zener", value = "12 V"'))
    circuit = to_circuit(board)
    good, bad = (float(junction_volts(circuit, [("a", "0V")], v)[0, 0]) for v in ({}, changed(board, "X", mode)))

    assert 0.4 < good < 0.9
    assert low <= bad <= high


def test_a_leak_reads_its_own_ohms():
    """Two nets that nothing else joins read the leak."""
    board = small(
        'R1 = { kind = "resistor", value = "1k", pins = ["a", "0V"] }\n'
        'R2 = { kind = "resistor", value = "1k", pins = ["b", "0V"] }\n'
    )
    circuit = to_circuit(board, [("a", "b")])
    leak = overrides(board, Suspect((Leak("b", "a"),)), [[0.0]])

    assert resistance(circuit, [("a", "b")], leak)[0, 0] == pytest.approx(1 / (1 / 1000 + 1 / 2000))


POT = """
V = { kind = "supply", value = "10 V", pins = ["top", "0V"] }
RV = { kind = "potentiometer", value = "10k", position = 0.5, pins = ["top", "w", "0V"] }
RL = { kind = "resistor", value = "1 Mohm", pins = ["w", "0V"] }
"""


def test_a_potentiometers_faults_show_at_its_wiper():
    """Half of 10 V at the wiper; nothing when it is open; a worn track draws less from the top."""
    board = small(POT)

    good, open_wiper = volts(board, "RV", "wiper open", "w")

    assert good == pytest.approx(5.0, abs=0.05)
    assert open_wiper == pytest.approx(0.0, abs=1e-3)
    assert np.divide(*reversed(ohms(board, "RV", "track worn", ("top", "w")))) > 1.3
    assert ohms(board, "RV", "noisy", ("top", "w"))[1] > ohms(board, "RV", "noisy", ("top", "w"))[0] + 25


STAGE = """
V = { kind = "supply", value = "20 V", pins = ["vcc", "0V"] }
RC = { kind = "resistor", value = "10k", pins = ["vcc", "c"] }
R1 = { kind = "resistor", value = "100k", pins = ["vcc", "b"] }
R2 = { kind = "resistor", value = "15k", pins = ["b", "0V"] }
RE = { kind = "resistor", value = "1.8k", pins = ["e", "0V"] }
Q = { kind = "npn", pins = ["c", "b", "e"] }
"""
# 20 V x 15/115 = 2.61 V less 0.65 V at the emitter: 1.1 mA, collector near 9 V (derived)


@pytest.mark.parametrize(
    ("mode", "net", "low", "high"),
    [
        ("collector-emitter short", "c", 2.9, 3.3),  # 20 V x 1.8 / 11.8 = 3.05 V
        ("base-emitter open", "c", 19.9, 20.0),
        ("base-emitter short", "c", 19.0, 20.0),
        ("base-emitter short", "b", 0.2, 0.4),  # 15k || 1.8k from 100k: 0.31 V
        ("base-collector short", "c", 3.3, 3.7),  # 20 V behind 9.09k into 15k and, less 0.65 V, 1.8k: 3.5 V
        ("collector-emitter leaky", "c", 3.0, 8.0),  # 3.2 kohm across
        ("gain lost", "c", 9.6, 19.0),
    ],
)
def test_a_transistor_stage_shows_each_junction_fault(mode, net, low, high):
    """The stage idles near 9 V at its collector; each fault moves it to where Ohm's law says."""
    good, bad = volts(small(STAGE), "Q", mode, net)

    assert net == "b" or 8.0 < good < 10.0
    assert low < bad < high


FET = """
V = { kind = "supply", value = "20 V", pins = ["vdd", "0V"] }
RD = { kind = "resistor", value = "470", pins = ["vdd", "d"] }
RG = { kind = "resistor", value = "1 Mohm", pins = ["vdd", "g"] }
R2 = { kind = "resistor", value = "200k", pins = ["g", "0V"] }
M = { kind = "n-mosfet", pins = ["d", "g", "0V"] }
"""


@pytest.mark.parametrize(
    ("mode", "low", "high"), [("drain-source short", 0.0, 0.05), ("open", 19.9, 20.01), ("gate leaky", 19.9, 20.01)]
)
def test_a_field_effect_stage_shows_each_fault(mode, low, high):
    """3.33 V at the gate lets 22 mA through 470 ohm (k 0.2 A/V2, 3 V); a leaky gate (3.2 kohm) turns it off."""
    good, bad = volts(small(FET), "M", mode, "d")

    assert 5.0 < good < 15.0
    assert low <= bad <= high


FOLLOWER = """
VP = {{ kind = "supply", value = "15 V", pins = ["p", "0V"] }}
VN = {{ kind = "supply", value = "-15 V", resistance = "1 ohm", pins = ["n", "0V"] }}
R1 = {{ kind = "resistor", value = "100k", pins = ["in", "0V"] }}
R2 = {{ kind = "resistor", value = "100k", pins = ["out", "fb"] }}
RL = {{ kind = "resistor", value = "10k", pins = ["out", "0V"] }}
U = {{ kind = "{}", pins = {{ plus = "in", minus = "fb", out = "out", high = "p", low = "n"{} }} }}
"""


@pytest.mark.parametrize(
    ("mode", "low", "high"), [("stuck high", 12.0, 15.0), ("stuck low", -15.0, -12.0), ("dead", -0.2, 0.2)]
)
def test_an_op_amps_output_is_stuck_or_dead(mode, low, high):
    """A follower of nothing sits at zero; stuck, it sits near a rail (1.5 V headroom)."""
    good, bad = volts(small(FOLLOWER.format("op amp", "")), "U", mode, "out")

    assert abs(good) < 0.05
    assert low < bad < high


@pytest.mark.parametrize("u", [[[0.2]], [[0.45]], [[0.7]], [[0.95]]])
def test_input_leakage_moves_the_output_by_its_current_in_100_kohm(u):
    """Every variant shows: at least 0.1 uA x 100 kohm = 10 mV."""
    good, bad = volts(small(FOLLOWER.format("op amp", "")), "U", "input leakage", "out", u)

    assert abs(bad - good) > 0.009


def test_a_supply_short_loads_the_rails():
    """Half an ohm or so between the rails pulls the one with 1 ohm inside by volts."""
    good, bad = volts(small(FOLLOWER.format("op amp", "")), "U", "supply short", "n")

    assert good == pytest.approx(-15.0, abs=0.05)
    assert bad > -5.0


def test_a_power_amplifier_stuck_muted_is_silent():
    """With the mute pin fed it plays (and shows its offset through 100 kohm of bias); stuck, it is held at nothing."""
    text = FOLLOWER.format("power amplifier", ', mute = "m"') + (
        'RM = { kind = "resistor", value = "10k", pins = ["p", "m"] }\n'
        'VI = { kind = "supply", value = "1 V", resistance = "1k", pins = ["in", "0V"] }\n'
    )

    good, bad = volts(small(text), "U", "mute stuck", "out")

    assert good == pytest.approx(1.0, abs=0.1)
    assert abs(bad) < 0.6


REGULATED = """
V = { kind = "supply", value = "25 V", resistance = "1 ohm", pins = ["raw", "0V"] }
U = { kind = "regulator", value = "15 V", pins = { in = "raw", out = "out", common = "0V" } }
RL = { kind = "resistor", value = "1k", pins = ["out", "0V"] }
"""


@pytest.mark.parametrize(("mode", "low", "high"), [("in-out short", 24.5, 25.0), ("no output", -0.1, 0.5)])
def test_a_regulators_faults_show_at_its_output(mode, low, high):
    """15 V when good; the raw volts when shorted; nothing when dead."""
    good, bad = volts(small(REGULATED), "U", mode, "out")

    assert good == pytest.approx(15.0, abs=0.05)
    assert low < bad < high


def test_a_supply_without_output_feeds_nothing():
    """The board behind it is dead."""
    good, bad = volts(small(REGULATED), "V", "no output", "out")

    assert (good, bad) == (pytest.approx(15.0, abs=0.05), pytest.approx(0.0, abs=0.05))


MODULE = """
M = { kind = "module", pins = { five = "v5", raw = "raw", gnd = "0V" }, drives = { v5 = "5 V" }, \
draws = { raw = "50 mA" } }
V = { kind = "supply", value = "12 V", resistance = "10 ohm", pins = ["raw", "0V"] }
RL = { kind = "resistor", value = "1k", pins = ["v5", "0V"] }
"""


@pytest.mark.parametrize(
    ("mode", "net", "low", "high"),
    [("no output", "v5", -0.01, 0.01), ("low output", "v5", 1.0, 4.0), ("draws too much", "raw", 0.0, 10.6)],
)
def test_a_modules_faults_show_at_its_nets(mode, net, low, high):
    """Its drive fails or sags; its draw grows at least threefold (150 mA x 10 ohm = 1.5 V lost of 12)."""
    good, bad = volts(small(MODULE), "M", mode, net)

    assert good > 4.9
    assert low < bad < high


RECTIFIED = """
T = { kind = "transformer", volts = "18 V", pins = { secondary = ["x", "0V", "y"] } }
B = { kind = "bridge", pins = ["x", "y", "p", "n"] }
CP = { kind = "electrolytic", value = "4700 uF", voltage = "35 V", pins = ["p", "0V"] }
CN = { kind = "electrolytic", value = "4700 uF", voltage = "35 V", pins = ["0V", "n"] }
RP = { kind = "resistor", value = "100", pins = ["p", "0V"] }
RN = { kind = "resistor", value = "100", pins = ["n", "0V"] }
"""


@pytest.mark.parametrize(
    ("part", "mode", "u"),
    [
        ("T", "winding open", 0.17),
        ("T", "winding open", 0.5),
        ("T", "winding open", 0.9),
        ("T", "shorted turns", 0.25),
        ("T", "shorted turns", 0.75),
        ("B", "open", 0.1),
        ("B", "open", 0.9),
        ("CP", "capacity lost", 0.0),
    ],
)
def test_a_worn_supply_gives_less_or_ripples_more(part, mode, u):
    """Some 24 V on each rail when good; each fault takes volts from a rail or at least doubles its ripple."""
    board = small(RECTIFIED)
    circuit = to_circuit(board)
    good, bad = (operating_point(circuit, values) for values in ({}, changed(board, part, mode, [[u]])))

    rails = [circuit.nets.index(net) for net in "pn"]
    lost = np.abs(good.volts[0, rails]) - np.abs(bad.volts[0, rails])
    ripples = np.abs(bad.ripple[0, rails]) / np.abs(good.ripple[0, rails])
    assert np.abs(good.volts[0, rails]) == pytest.approx([24.0, 24.0], abs=1.0)
    assert lost.max() > 0.3 or ripples.max() > 2.0


def test_a_dead_primary_leaves_no_volts_at_all():
    """Both rails fall to nothing."""
    board = small(RECTIFIED)

    assert volts(board, "T", "winding open", "p", [[0.9]])[1] == pytest.approx(0.0, abs=1e-3)
