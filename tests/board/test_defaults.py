"""Values that follow from others: against the makers' tables, and where they come from."""

from math import pi, sqrt

import pytest
from board.sample import small

from dustcap.board.circuit import to_circuit
from dustcap.board.defaults import ESR_SHARE, LEAK_SHARE

# Lelon RGA data sheet: tan delta 0.14 at 25 V, so 0.18568 ohm for 1000 uF and 1.8568 ohm for 100 uF at 120 Hz;
# the same sheet's leakage limit 0.01 CV or 3 uA; Nippon Chemi-Con's FAQ prints 770 uA for 2200 uF 35 V.
ESR_LIMIT = {("1000 uF", "25 V"): 0.18568, ("100 uF", "25 V"): 1.8568}
LEAKAGE_LIMIT = {("2200 uF", "35 V"): 770e-6, ("10 uF", "16 V"): 3e-6}


def _electrolytic(value, voltage):
    return small(f'C1 = {{ kind = "electrolytic", value = "{value}", voltage = "{voltage}", pins = ["a", "0V"] }}')


@pytest.mark.parametrize(("marking", "printed"), ESR_LIMIT.items())
def test_the_series_resistance_is_a_share_of_the_makers_limit(marking, printed):
    """Without an esr, a part has two fifths of what its maker's loss factor allows."""
    part = _electrolytic(*marking).part("C1")

    assert part.number("esr") == pytest.approx(ESR_SHARE * printed, rel=1e-4)
    assert "esr" not in part.given


@pytest.mark.parametrize(("marking", "printed"), LEAKAGE_LIMIT.items())
def test_the_leakage_is_a_share_of_the_makers_limit(marking, printed):
    """Without a leakage, a well-formed part has a tenth of its maker's limit, and the circuit holds it as ohms."""
    board = _electrolytic(*marking)
    rated_v = float(marking[1].split()[0])

    assert board.part("C1").number("leakage") == pytest.approx(LEAK_SHARE * printed, rel=1e-9)
    leak_ohm = to_circuit(board).element("C1").value("leak_ohm")
    assert leak_ohm == pytest.approx(rated_v / (LEAK_SHARE * printed), rel=1e-9)


def test_what_is_given_is_never_replaced():
    """A written esr and leakage stay; a leakage of nothing is no path at all."""
    board = small('C1 = { kind = "electrolytic", value = "1000 uF", esr = "60 mohm", leakage = 0, pins = ["a", "0V"] }')

    assert board.part("C1").number("esr") == 0.06
    assert to_circuit(board).element("C1").value("leak_ohm") == float("inf")


def test_a_capacitor_without_rated_volts_is_taken_as_one_of_25_volts():
    """The limits need rated volts; the assumption does not appear among the values."""
    bare = small('C1 = { kind = "electrolytic", value = "100 uF", pins = ["a", "0V"] }').part("C1")

    assert bare.number("esr") == _electrolytic("100 uF", "25 V").part("C1").number("esr")
    assert "voltage" not in bare.values


@pytest.mark.parametrize("role", ["woofer", "tweeter", "full range", "something else"])
def test_a_drivers_compliance_fits_its_other_figures(role):
    """Mass from Qes and compliance from it give back the resonance (Small, JAES 1972, from memory)."""
    part = small(
        f'LS1 = {{ kind = "driver", role = "{role}", resistance = "5.6 ohm", bl = 8, pins = ["a", "0V"] }}'
    ).part("LS1")
    mass_kg = part.number("qes") * part.number("bl") ** 2 / (2 * pi * part.number("resonance") * 5.6)

    assert part.number("bl") == 8
    assert 1 / (2 * pi * sqrt(mass_kg * part.number("compliance"))) == pytest.approx(part.number("resonance"))


def test_a_given_compliance_is_kept():
    """The compliance is computed only where none was given."""
    part = small('LS1 = { kind = "driver", resistance = "5.6 ohm", compliance = "1.1 mm/N", pins = ["a", "0V"] }').part(
        "LS1"
    )

    assert part.number("compliance") == pytest.approx(1.1e-3)
