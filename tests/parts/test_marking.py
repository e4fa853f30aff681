"""Printed codes and colour bands read as the standard and makers' sheets say."""

import pytest

from dustcap.errors import InputError
from dustcap.parts.marking import read_bands, read_marking

# rkm_cases.csv of the handbook of check values: digit codes and the E96 letter code, SEEN in the label sheet
# https://github.com/user-attachments/files/21391261/ResistorLabels.pdf; capacitor digit codes from memory (153 is the
# capacitor of the worked example of MIL-HDBK-217F, 0.015 uF).
RESISTORS = {
    "474": 470e3,
    "102": 1e3,
    "1001": 1e3,
    "1271": 1270.0,
    "4702": 47e3,
    "01C": 10e3,
    "01X": 10.0,
    "30A": 200.0,
    "18D": 150e3,
    "11B": 1270.0,
    "2K2": 2200.0,
    "R47": 0.47,
    "47R": 47.0,
}
CAPACITORS = {"104": 100e-9, "473": 47e-9, "153": 15e-9, "4n7": 4.7e-9, "33": 33e-12}


@pytest.mark.parametrize(("code", "ohms"), RESISTORS.items())
def test_resistor_codes_read_as_printed(code, ohms):
    """Digit, letter and E96 codes on resistors give the printed ohms."""
    assert read_marking(code, "ohm").value == pytest.approx(ohms, rel=1e-12)


@pytest.mark.parametrize(("code", "farads"), CAPACITORS.items())
def test_capacitor_codes_count_picofarads(code, farads):
    """Digit and letter codes on capacitors give farads."""
    assert read_marking(code, "F").value == pytest.approx(farads, rel=1e-12)


@pytest.mark.parametrize(
    ("code", "unit", "value", "below", "above"),
    [
        # tolerance letters of IEC 60062, from memory
        ("104K", "F", 100e-9, -0.10, 0.10),
        ("4n7J", "F", 4.7e-9, -0.05, 0.05),
        ("473M", "F", 47e-9, -0.20, 0.20),
        ("103Z", "F", 10e-9, -0.20, 0.80),
        ("4K7J", "ohm", 4700.0, -0.05, 0.05),
        ("2R2F", "ohm", 2.2, -0.01, 0.01),
    ],
)
def test_a_last_letter_is_the_tolerance(code, unit, value, below, above):
    """The letter after the value gives both limits as fractions."""
    got = read_marking(code, unit)

    assert (got.value, got.below, got.above) == pytest.approx((value, below, above), rel=1e-12)


@pytest.mark.parametrize(("code", "unit"), [("97C", "ohm"), ("", "F"), ("hello", "F"), ("0.1", "F"), ("47KK", "F")])
def test_a_code_without_meaning_is_refused(code, unit):
    """A rank beyond the series, an empty code or a number with two meanings is refused."""
    with pytest.raises(InputError, match="not a marking"):
        read_marking(code, unit)


def test_only_two_kinds_of_part_carry_codes():
    """Asking for a code in volts is refused."""
    with pytest.raises(InputError, match="no marking code"):
        read_marking("104", "V")


@pytest.mark.parametrize(
    ("bands", "ohms", "tolerance"),
    [
        # computed from the colour table (IEC 60062, SEEN in a secondary text)
        (("brown", "black", "orange", "gold"), 10e3, 0.05),
        (("yellow", "violet", "black", "brown", "brown"), 4700.0, 0.01),
        (("red", "red", "gold", "silver"), 2.2, 0.10),
        (("brown", "black", "brown"), 100.0, 0.20),
    ],
)
def test_bands_read_by_the_colour_table(bands, ohms, tolerance):
    """Three, four and five bands give value and tolerance."""
    got = read_bands(bands)

    assert (got.value, got.above, -got.below) == pytest.approx((ohms, tolerance, tolerance), rel=1e-12)


def test_the_sixth_band_is_the_drift():
    """A sixth band gives parts per million per kelvin (red: 50)."""
    assert read_bands(["Yellow", "violet", "black", "brown", "brown", "red"]).drift_ppm_k == 50.0


@pytest.mark.parametrize(
    ("bands", "says"),
    [
        (("red", "red"), "2 colour bands"),
        (("gold", "red", "red", "gold"), "band 1"),
        (("red",) * 3 + ("black",), "band 4"),
    ],
)
def test_bands_without_meaning_are_refused(bands, says):
    """Too few bands and colours in the wrong place are refused."""
    with pytest.raises(InputError, match=says):
        read_bands(bands)
