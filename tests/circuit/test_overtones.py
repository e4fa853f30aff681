"""What moves in a net above twice the mains frequency: with the ripple it makes up the true r.m.s."""

import numpy as np
import pytest
from circuit.test_mains import one_rail, stepped_wave, winding
from circuit.wiring import capacitor, circuit, rectifier, resistor

from dustcap.circuit.operating import operating_point


def whole(point, net):
    """True r.m.s. of all that moves in a net, (cases,)."""
    at = point.circuit.nets.index(net)
    parts = (point.ripple_mains, point.ripple, point.overtones)
    return np.sqrt(sum(np.abs(part[:, at]) ** 2 for part in parts))


@pytest.mark.parametrize("half", [False, True])
@pytest.mark.parametrize(("ohm", "farad"), [(0.5, 4700e-6), (0.05, 470e-6)])
def test_true_r_m_s_of_a_rail_agrees_with_time_stepping(ohm, farad, half):
    """scipy's LSODA on the same rail, to a closed cycle; without the overtones it is 5 to 20 % short."""
    rail = {"volts": 18.0, "ohm": ohm, "farad": farad, "ampere": 0.2, "half": half}

    assert whole(operating_point(one_rail(**rail)), "rail") == pytest.approx(stepped_wave(**rail).std(), rel=0.03)


def test_a_rectified_sine_has_the_r_m_s_of_the_sine():
    """Full wave into a resistor: the r.m.s. about the mean is 0.4834 of the mean, half wave 1.2114.

    Ripple factors: check cases 4.06 and 4.07 of the electrical references.
    """
    ideal = {"saturation_a": 1e-5, "ideality": 0.1, "series_ohm": 0.0}
    wires = [winding(40.0, 0.0), rectifier("D1", "a", "r", **ideal), resistor("R", "r", "0V", 20.0)]

    half = operating_point(circuit(*wires))
    full = operating_point(circuit(*wires, rectifier("D2", "b", "r", **ideal)))

    # chords between the phases lift the valleys: 3 %
    assert whole(half, "r") == pytest.approx(1.2114 * half.volt("r"), rel=0.04)
    assert whole(full, "r") == pytest.approx(0.4834 * full.volt("r"), rel=0.04)


def test_behind_a_filter_the_overtones_fade_faster_than_the_ripple():
    """100 ohm and 1000 uF, loaded with 10 kohm: order n falls by 2 pi n 50 Hz R C against d.c., derived."""
    rail = one_rail(18.0, 0.5, 1000e-6, 0.2)
    filtered = (resistor("RF", "rail", "f", 100.0), capacitor("CF", "f", "0V", 1000e-6), resistor("RL", "f", "0V", 1e4))
    point = operating_point(circuit(*rail.elements, *filtered))
    before, after = (point.overtones[0, point.circuit.nets.index(net)] for net in ("rail", "f"))

    corner = 2 * np.pi * 50 * 100 * 1000e-6
    # orders 4, 6, 8 ... of a saw: between the 4th alone and all at the pace of the 4th
    assert 0.85 / (4 * corner) < after / before < 1.0 / (4 * corner)
