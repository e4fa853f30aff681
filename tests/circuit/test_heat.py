"""Currents and heat against conservation laws and time stepping."""

import numpy as np
import pytest
from circuit.test_mains import bridge, one_rail
from circuit.wiring import circuit, op_amp, rails, rectifier, resistor, signal_diode, source

from dustcap.circuit.cycle import PHASE, WEIGHT, Network
from dustcap.circuit.elements import LAWS, Element
from dustcap.circuit.operating import operating_point
from dustcap.errors import SolveError


def mixed_board():
    return circuit(
        source("V+", "v+", volts=15.0, ohm=2.0),
        source("V-", "v-", volts=-15.0, ohm=2.0),
        resistor("R1", "v+", "b", 100e3),
        resistor("R2", "b", "0V", 22e3),
        Element("Q", "bipolar", ("c", "b", "e"), {}),
        resistor("RC", "v+", "c", 4.7e3),
        resistor("RE", "e", "0V", 1e3),
        Element("Z", "zener", ("0V", "z"), {"zener_v": 5.1}),
        resistor("RZ", "v+", "z", 1e3),
        Element("REG", "regulator", ("v+", "v5", "0V"), {"volts": 5.0}),
        resistor("RL", "v5", "0V", 100.0),
        Element("G", "gain", ("g", "0V", "e", "0V"), {"gain": -3.0}),
        resistor("RG", "g", "0V", 1e3),
        op_amp("U", "e", "m", "o", bias_plus_a=1e-6, bias_minus_a=1e-6),
        resistor("RF", "o", "m", 10e3),
        resistor("RI", "m", "0V", 10e3),
        Element("M", "mosfet", ("v+", "mg", "ms"), {}),
        resistor("RM1", "v+", "mg", 47e3),
        resistor("RM2", "mg", "0V", 47e3),
        resistor("RS", "ms", "0V", 470.0),
        Element("J", "jfet", ("v+", "0V", "js"), {}),
        resistor("RJ", "js", "0V", 1e3),
        signal_diode("D", "v+", "d"),
        resistor("RD", "d", "v-", 10e3),
        Element("S", "sink", ("v+", "v-"), {"ampere": 5e-3}),
    )


def test_the_currents_into_every_net_sum_to_nothing():
    """Kirchhoff's current law over the terminals of all elements, net by net."""
    board = mixed_board()
    point = operating_point(board)
    into = dict.fromkeys(board.nets, 0.0)

    for element in board.elements:
        for terminal, net in zip(LAWS[element.law].nets, element.nets, strict=True):
            if net in into:
                into[net] += point.amps(element.name, terminal)[0]

    assert point.converged.all()
    # what is left flows through the 1e-12 S that every net has to common
    assert max(map(abs, into.values())) < 1e-8


def test_the_heat_of_all_parts_is_what_the_supplies_give():
    """Conservation of energy: source volts times amps equals the sum of the heat."""
    board = mixed_board()
    point = operating_point(board)

    given = sum(-point.amps(name, "plus")[0] * board.element(name).value("volts") for name in ("V+", "V-"))
    heat = sum(point.watts(element.name)[0] for element in board.elements)

    # amplifier and regulator return their quiescent current to the rails, bias currents come from nowhere
    assert heat == pytest.approx(given, rel=1e-4)


def test_a_divider_dissipates_by_ohms_law():
    """10 V over 1 kohm and 4 kohm: 4 mW and 16 mW."""
    board = circuit(source("V", "a", volts=10.0), resistor("R1", "a", "b", 1e3), resistor("R2", "b", "0V", 4e3))

    point = operating_point(board)

    assert point.watts("R1")[0] == pytest.approx(4e-3, rel=1e-5)
    assert point.watts("R2")[0] == pytest.approx(16e-3, rel=1e-5)
    assert point.amps("R1", "a")[0] == pytest.approx(2e-3, rel=1e-5)


def test_a_rectifier_conserves_energy_over_the_cycle():
    """What the winding's e.m.f. gives over the cycle leaves as heat in winding, fuses, diodes, capacitors and loads."""
    board = bridge()
    point = operating_point(board)
    network_heat = sum(point.watts(element.name)[0] for element in board.elements)

    region = point.solved.work.problem.regions[0]
    v = point.waves[0].v[0]
    network = Network.of(region, point.table, 50.0, np.ones(1))
    given = 0.0
    for winding in range(len(region.transformers)):
        current = network.winding_current(v[None], winding)[0]
        given -= WEIGHT @ (network.emf[0, winding] * np.sin(PHASE) * current)

    assert network_heat == pytest.approx(given, rel=0.02)


def test_a_diode_of_a_full_wave_rectifier_carries_half_the_load_current():
    """Two diodes share 0.5 A in the mean, and the winding has no mean current."""
    point = operating_point(one_rail(18.0, 0.5, 4700e-6, 0.5))

    assert point.amps("D1", "anode")[0] == pytest.approx(0.25, rel=5e-3)
    assert point.amps("T", "tap")[0] == pytest.approx(0.5, rel=5e-3)
    assert 0.15 < point.watts("D1")[0] < 0.35  # a quarter ampere in the mean at 0.8 to 1 V


def test_ripple_current_heats_a_series_resistance():
    """1 ohm in series with the reservoir takes its share; time stepping is not needed to see the order: i_rms > I."""
    point = operating_point(one_rail(18.0, 0.5, 4700e-6, 0.5), {("C", "esr_ohm"): 0.1})

    # the reservoir's r.m.s. current of a two-diode rectifier is 1 to 3 times the load current
    assert 0.1 * 0.5**2 < point.watts("C")[0] < 0.1 * (3 * 0.5) ** 2


def test_names_that_are_not_there_are_refused():
    """An element or a terminal that does not exist."""
    point = operating_point(circuit(*rails(), rectifier("D", "v+", "0V")))

    with pytest.raises(SolveError, match="no element 'R1'"):
        point.watts("R1")
    with pytest.raises(SolveError, match="no terminal 'gate'"):
        point.amps("D", "gate")
