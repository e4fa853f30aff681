"""Values as they are typed off a part."""

import pytest

from dustcap.errors import InputError
from dustcap.job.typed_values import Typed, typed_value
from dustcap.quantities import read


@pytest.mark.parametrize(
    ("text", "unit", "value", "tolerance"),
    [
        ("2k2", "ohm", 2200, ""),
        ("4R7", "ohm", 4.7, ""),
        ("3,3 kohm", "ohm", 3300, ""),
        ("22", "ohm", 22, ""),
        ("yellow violet red gold", "ohm", 4700, "5 %"),
        ("Brown, Black, Black, Red, Brown", "ohm", 10e3, "1 %"),
        ("gray-red-black", "ohm", 82, "20 %"),
        ("01C", "ohm", 10e3, ""),
        ("473", "F", 47e-9, ""),
        ("104K", "F", 100e-9, "10 %"),
        ("4n7J", "F", 4.7e-9, "5 %"),
        ("47", "F", 47e-12, ""),
        ("1000 uF", "F", 1e-3, ""),
        ("0.1 uF", "F", 1e-7, ""),
    ],
)
def test_what_is_printed_is_understood(text, unit, value, tolerance):
    """Quantities, digit and letter codes and colour bands (IEC 60062) read back to the value they stand for."""
    found = typed_value(text, unit)

    assert read(found.value, unit) == pytest.approx(value, rel=1e-9)
    assert found.tolerance == tolerance


@pytest.mark.parametrize(
    ("text", "unit", "polar", "says"),
    [
        ("470", "ohm", False, "470 Ω as a value and 47 Ω as a code. Write 470R, or 47R"),
        ("4702", "ohm", False, "4.7 kΩ as a value and 47 kΩ as a code. Write 4702R, or 47k"),
        ("1000", "F", True, "Write 1000 uF"),
        ("a lot", "ohm", False, "does not read"),
        ("10 V", "ohm", False, "is in V"),
        ("red red", "ohm", False, "does not read"),
        ("green gold gold gold", "ohm", False, "no meaning in band 2"),
    ],
)
def test_what_could_be_two_things_is_refused_with_both(text, unit, polar, says):
    """One line, beside its field, with what to write instead."""
    with pytest.raises(InputError) as why:
        typed_value(text, unit, "R1", polar=polar)

    assert says in str(why.value)
    assert why.value.where == "R1"
    assert "\n" not in str(why.value)


def test_other_units_are_left_to_their_key():
    """Volts and the like carry no codes."""
    assert typed_value(" 20  V ", "V") == Typed("20 V")
