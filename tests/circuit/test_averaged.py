"""Which elements follow the mains cycle unseen: simple supplies (common practice, no published source)."""

from circuit.wiring import capacitor, circuit, rectifier, resistor

from dustcap.circuit.averaged import averaged_elements
from dustcap.circuit.elements import Element

WINDING = Element("T", "transformer", ("a", "0V", "b"), {"volts_rms": 12.0, "ohm_a": 1.0, "ohm_b": 1.0})
ZENER = Element("Z", "zener", ("0V", "out"), {"zener_v": 5.1})
REGULATOR = Element("U", "regulator", ("raw", "out", "0V"), {"volts": 5.0})


def test_a_zener_behind_a_reservoir_sees_a_mean_that_is_the_truth():
    """Full-wave rectifier, 1000 uF, resistor, zener; the regulator beside it as well."""
    supply = circuit(
        WINDING,
        rectifier("D1", "a", "raw"),
        rectifier("D2", "b", "raw"),
        capacitor("C", "raw", "0V", 1e-3),
        resistor("R", "raw", "out", 470.0),
        ZENER,
        REGULATOR,
    )

    assert averaged_elements(supply) == ()


def test_what_a_winding_feeds_without_a_reservoir_is_named():
    """A zener on a resistor from the winding, a regulator on bare rectifiers, a transistor that watches the mains."""
    clamped = circuit(WINDING, resistor("R", "a", "out", 470.0), resistor("R2", "out", "0V", 1e4), ZENER)
    bare = circuit(WINDING, rectifier("D1", "a", "raw"), rectifier("D2", "b", "raw"), resistor("R", "raw", "0V", 1e3))
    watch = Element("Q", "bipolar", ("c", "base", "0V"), {})
    watching = circuit(
        WINDING,
        rectifier("D1", "a", "pulse"),
        resistor("R1", "pulse", "base", 1e4),
        resistor("R2", "base", "0V", 1e3),
        resistor("R3", "c", "0V", 1e3),
        watch,
    )

    assert averaged_elements(clamped) == ("Z",)
    assert averaged_elements(circuit(*bare.elements, REGULATOR)) == ("U",)
    assert averaged_elements(watching) == ("Q",)


def test_a_capacitor_of_the_watching_stage_holds_it():
    """22 uF at the base: its volts are a mean."""
    held = circuit(
        WINDING,
        rectifier("D1", "a", "pulse"),
        resistor("R1", "pulse", "base", 1e4),
        capacitor("C", "base", "0V", 22e-6),
        Element("Q", "bipolar", ("c", "base", "0V"), {}),
        resistor("R3", "c", "0V", 1e3),
    )

    assert averaged_elements(held) == ()
