"""Quantities: technicians' ways of writing are read rightly, everything else is refused with a reason."""

from math import inf, nan

import pytest
import quantiphy
import rkm_codes
from hypothesis import given
from hypothesis import strategies as st

from dustcap.errors import UnitError
from dustcap.quantities import MAX_LENGTH, UNITS, read, show

# rkm_cases.csv of the handbook of check values: IEC 60062 codes, resistors (letter R, K, M, G, L = milliohm) SEEN in
# a published list of examples, capacitors from memory.
IEC_60062_OHMS = {
    "4R7": 4.7,
    "R47": 0.47,
    "470R": 470.0,
    "4K7": 4700.0,
    "47K": 47e3,
    "47K3": 47.3e3,
    "470K": 470e3,
    "4L7": 4.7e-3,
    "470L": 0.47,
    "2K2": 2200.0,
    "4M7": 4.7e6,
    "1G0": 1e9,
    "0R1": 0.1,
    "5R1": 5.1,
}
IEC_60062_FARADS = {"100n": 100e-9, "4n7": 4.7e-9, "p33": 0.33e-12, "33p": 33e-12, "2u2": 2.2e-6, "1m0": 1e-3}


@pytest.mark.parametrize(("text", "ohms"), IEC_60062_OHMS.items())
def test_resistor_codes_read_as_the_standard_says(text, ohms):
    """Each printed example of an IEC 60062 resistor code reads as its value."""
    assert read(text, "ohm") == pytest.approx(ohms, rel=1e-15)


@pytest.mark.parametrize(("text", "farads"), IEC_60062_FARADS.items())
def test_capacitor_codes_read_as_the_standard_says(text, farads):
    """Each example of an IEC 60062 capacitor code (from memory) reads as its value."""
    assert read(text, "F") == pytest.approx(farads, rel=1e-15)


@pytest.mark.parametrize("text", ["4R7", "R47", "470R", "4K7", "47K3", "2K2", "4M7", "1G0", "0R1", "47K"])
def test_resistor_codes_agree_with_a_general_purpose_reader(text):
    """The registry's library for IEC 60062 codes gives the same ohms."""
    assert read(text, "ohm") == pytest.approx(float(rkm_codes.from_rkm(text)), rel=1e-15)


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("2.2k", "ohm"),
        ("0.1 uF", "F"),
        ("1000 µF", "F"),
        ("35 V", "V"),
        ("0.25 W", "W"),
        ("-23.8 V", "V"),
        ("1 kHz", "Hz"),
        ("470 pF", "F"),
        ("22 kΩ", "ohm"),
        ("3.3e-3 A", "A"),
        ("12 mH", "H"),
    ],
)
def test_si_prefixes_agree_with_a_general_purpose_reader(text, unit):
    """The registry's library for quantities gives the same number where both read the form."""
    assert read(text, unit) == pytest.approx(float(quantiphy.Quantity(text)), rel=1e-15)


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("2,2k", "ohm", 2200.0),
        ("0,047 uF", "F", 47e-9),
        ("60 mohm", "ohm", 0.06),
        ("3.3 Mohm", "ohm", 3.3e6),
        ("1 meg", "ohm", 1e6),
        ("2.2 kilohms", "ohm", 2200.0),
        ("22 k\u2126", "ohm", 22e3),  # the ohm sign
        ("22 k\u03a9", "ohm", 22e3),  # the Greek letter
        ("1000 \u00b5F", "F", 1e-3),  # the micro sign
        ("1000 \u03bcF", "F", 1e-3),  # the Greek letter
        ("\u221223.8 V", "V", -23.8),  # the minus sign
        ("+5 V", "V", 5.0),
        ("+ 5 V", "V", 5.0),
        ("1 000 uF", "F", 1e-3),
        ("35VDC", "V", 35.0),
        ("105 degC", "degC", 105.0),
        ("105 \u00b0C", "degC", 105.0),
        ("0.2 A/V2", "A/V2", 0.2),
        ("200 mA/V\u00b2", "A/V2", 0.2),
        ("8 nV/rtHz", "V/rtHz", 8e-9),
        ("0.8 mm/N", "m/N", 0.8e-3),
        ("6 N/A", "T m", 6.0),
        ("4 mm", "m", 4e-3),
        ("2000 h", "h", 2000.0),
        ("5 min", "s", 300.0),
        ("1e5", "", 1e5),
        ("100k", "", 1e5),
        ("5 %", "%", 0.05),
        ("5%", "%", 0.05),
        ("5", "%", 0.05),
        ("\u00b15 %", "%", 0.05),
        ("50 ppm", "%", 50e-6),
        ("4k7 ohm", "ohm", 4700.0),
        ("  2k2  ", "ohm", 2200.0),
    ],
)
def test_technicians_forms_are_read(text, unit, value):
    """Spaces, commas, signs, symbols and spelled units of everyday writing read as meant (law: the SI prefixes)."""
    assert read(text, unit) == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize(
    ("number", "unit", "value"), [(5, "V", 5.0), (5, "%", 0.05), (3, "mm", 3e-3), (2.5, "kHz", 2500)]
)
def test_a_bare_number_is_in_the_unit_asked_for(number, unit, value):
    """A number without a unit, as text or not, is taken in the unit of its key."""
    assert read(number, unit) == read(str(number), unit) == pytest.approx(value, rel=1e-15)


def test_mega_and_milli_are_never_mixed_up():
    """Capital M is mega and small m is milli, in codes and after the number."""
    assert read("4M7", "ohm") / read("4m7", "ohm") == pytest.approx(1e9)
    assert read("10 MΩ", "ohm") / read("10 mΩ", "ohm") == pytest.approx(1e9)


@pytest.mark.parametrize(
    ("value", "unit", "says"),
    [
        ("35 ohm", "V", "is in Ω, where V is asked for"),
        ("35 V", "ohm", "is in V, where Ω is asked for"),
        ("35", "parsec", "no unit 'parsec'"),
        ("5 %", "V", "is in %"),
        ("12 furlong", "m", "unknown unit 'furlong'"),
        ("5 Vpp", "V", "unknown unit"),
        ("2k2k", "ohm", "unknown unit"),
        ("4R7", "V", "unknown unit"),
        ("5 kdegC", "degC", "unknown unit"),
        ("", "V", "does not read"),
        ("   ", "V", "does not read"),
        ("k", "ohm", "does not read"),
        ("nan", "V", "does not read"),
        ("inf", "V", "does not read"),
        ("1.2.3", "V", "does not read"),
        ("--3", "V", "does not read"),
        ("3..5", "V", "does not read"),
        ("\u0661\u0662", "V", "does not read"),  # digits of another script
        ("1,000 uF", "F", "two ways"),
        ("1e999", "V", "not a finite number"),
        ("1e-999", "V", "not a finite number"),
        (nan, "V", "not a finite number"),
        (inf, "V", "not a finite number"),
        (10**400, "V", "not a finite number"),
        (True, "V", "is not a quantity"),
        (None, "V", "is not a quantity"),
        (["5 V"], "V", "is not a quantity"),
        ("5" * (MAX_LENGTH + 1), "V", "too long"),
    ],
)
def test_what_is_not_a_quantity_of_that_kind_is_refused(value, unit, says):
    """Wrong units, garbage, what is not finite and what is ambiguous are refused in one short line with a remedy."""
    with pytest.raises(UnitError, match=says) as why:
        read(value, unit, "parts.R1.value")

    assert why.value.mend
    assert why.value.where in ("parts.R1.value", "quantities")
    assert "\n" not in str(why.value)
    assert len(str(why.value)) < 300


@given(st.text(max_size=80), st.sampled_from(sorted(UNITS)))
def test_any_text_is_read_or_refused(text, unit):
    """No text does anything but give a finite number or the one error."""
    try:
        got = read(text, unit)
    except UnitError:
        return
    assert -inf < got < inf


magnitudes = st.floats(1e-13, 1e12).flatmap(lambda size: st.sampled_from([size, -size]))


@given(magnitudes, st.sampled_from(sorted(UNITS)), st.integers(1, 9))
def test_what_is_shown_reads_back(value, unit, digits):
    """Reading what was shown gives the value back to half the last digit shown."""
    assert read(show(value, unit, digits), unit) == pytest.approx(value, rel=0.5001 * 10 ** (1 - digits))


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (2200, "ohm", "2.2 kΩ"),
        (999.96, "ohm", "1 kΩ"),
        (1e-3, "F", "1000 µF"),
        (100e-9, "F", "100 nF"),
        (-23.84, "V", "-23.8 V"),
        (0.05, "%", "5 %"),
        (0.0, "V", "0 V"),
        (-0.0, "V", "0 V"),
        (105.0, "degC", "105 °C"),
        (inf, "ohm", "∞ Ω"),
        (nan, "ohm", "not known"),
    ],
)
def test_values_are_shown_as_the_trade_writes_them(value, unit, text):
    """Prefixes, digits and the values that are not finite are shown as stated (farads in pF, nF, µF only)."""
    assert show(value, unit) == text
