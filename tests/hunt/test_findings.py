"""Findings files: what is read, and one clear line for every mistake."""

import pytest
from hunt.ladder import KNOWN
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dustcap.errors import InputError
from dustcap.hunt.evidence import Complaint, Reading, Sighting, Work
from dustcap.hunt.findings import parse_findings
from dustcap.hunt.findings_text import rounding_of
from dustcap.hunt.known import Known
from dustcap.predict.checks import Check

NAMES = Known(
    nets=frozenset({"0V", "rail+", "wf_out", "wf_fb"}),
    parts={"C9": "F", "R12": "ohm", "U3": ""},
    areas=frozenset({"glue_1"}),
    drivers={"woofer": "LS1", "LS1": "LS1"},
)

# the example of the contract (formats/board.md, "Findings file"), with an area added
EXAMPLE = """
layout = 1

[[complaint]]
is = "cone pushed out"            # a word from the list
driver = "woofer"
seen = true

[[sighting]]
part = "C9"
is = "bulged"

[[reading]]
check = "dc volts"
at = "wf_out"
against = "0V"
value = "-23.8 V"
meter = "handheld"
state = "drivers disconnected"

[[work]]
did = "replaced"
part = "C9"

[[reading]]
check = "ohms"
at = "rail+"
over = true

[[work]]
did = "cleaned"
between = ["rail+", "wf_fb"]
"""


def parse(body, known=NAMES):
    return parse_findings(f"layout = 1\n{body}", "unit.findings.toml", known).entries


def reading(body):
    return parse(f"[[reading]]\n{body}")[0]


def test_the_example_of_the_contract_is_read_in_its_order():
    """Complaint, sighting, reading, work, reading, work come out as they stand."""
    entries = parse_findings(EXAMPLE, "unit.findings.toml", NAMES).entries

    assert [type(entry) for entry in entries] == [Complaint, Sighting, Reading, Work, Reading, Work]
    assert entries[0] == Complaint("cone pushed out", "woofer", True)
    assert entries[2].check == Check("dc volts", "wf_out", "0V", state="drivers disconnected")
    assert entries[2].low == entries[2].high == -23.8
    assert entries[4].over
    assert entries[4].check.against == "0V"
    assert entries[5].between == ("rail+", "wf_fb")


@pytest.mark.parametrize(
    ("written", "unit", "half"),
    [("-23.8 V", "V", 0.05), ("2k2", "ohm", 50.0), ("4R7", "ohm", 0.05), ("R47", "ohm", 0.005),
     ("140 kohm", "ohm", 500.0), ("3,3k", "ohm", 50.0), ("1 000 uF", "F", 0.5e-6), (24, "V", 0.5),
     (23.8, "V", 0.05), ("0.00 V", "V", 0.005),
     ("2.38e1 V", "V", 0.05), ("garbage", "V", 0.0)],
)  # fmt: skip
def test_what_was_written_is_known_to_half_its_last_digit(written, unit, half):
    """The last digit written stands for half a step to either side, whatever the notation."""
    assert rounding_of(written, unit) == pytest.approx(half, rel=1e-9)


def test_a_range_and_marks_are_kept():
    """Low and high make a range; doubtful and withdrawn are kept."""
    entry = reading('check = "dc volts"\nat = "wf_fb"\nlow = "1 V"\nhigh = "2 V"\ndoubtful = true\nwithdrawn = true')

    assert (entry.low, entry.high, entry.doubtful, entry.withdrawn) == (1.0, 2.0, True, True)


def test_a_lifted_capacitor_gives_farads_and_its_series_resistance():
    """`lifted` with `esr` beside it becomes two readings of the part itself."""
    farads, ohms = parse('[[reading]]\ncheck = "lifted"\npart = "C9"\nvalue = "900 uF"\nesr = "0.2 ohm"')

    assert (farads.low, farads.unit) == (pytest.approx(900e-6), "F")
    assert (ohms.low, ohms.unit, ohms.check.word) == (0.2, "ohm", "esr")


def test_looking_and_listening_are_entered_as_what_was_seen_and_heard():
    """`look` becomes a sighting and `listen` a complaint that was heard or not."""
    looked, heard = parse(
        '[[reading]]\ncheck = "look"\narea = "glue_1"\nvalue = "residue"\n'
        '[[reading]]\ncheck = "listen"\ndriver = "woofer"\nvalue = "hum"\nseen = false'
    )

    assert looked == Sighting("glue_1", "residue")
    assert heard == Complaint("hum", "woofer", seen=False)


def test_a_signal_and_a_test_voltage_reach_the_check():
    """`signal` and `test_voltage` are part of what is compared with the prediction."""
    driven = reading('check = "ac volts"\nat = "wf_out"\nsignal = "400 Hz 50 mV"\nvalue = "1.2 V"')
    tested = reading('check = "leakage"\nat = "rail+"\nagainst = "wf_fb"\ntest_voltage = "24 V"\nvalue = "3 Mohm"')

    assert (driven.check.signal_hz, driven.check.signal_v) == (400.0, 0.05)
    assert tested.check.test_v == 24.0


def test_the_own_meter_can_state_its_accuracy():
    """meter = "own" takes its per cent from `accuracy`."""
    assert reading('check = "ohms"\nat = "rail+"\nvalue = "1k"\nmeter = "own"\naccuracy = "1.5 %"').meter.share == 0.015


MISTAKES = {
    "empty": ("", None, "the file is empty"),
    "no layout": ('[[complaint]]\nis = "hum"', 1, "layout is 1, read nothing"),
    "another layout": ("layout = 2", 1, "layout is 1, read 2"),
    "not TOML": ("layout = 1\n[[reading]\n", 2, "not TOML"),
    "unknown table": ('layout = 1\n[[readings]]\ncheck = "ohms"', 2, "Did you mean 'reading'"),
    "single table": ('layout = 1\n[reading]\ncheck = "ohms"', 1, "tables of its own"),
    "unknown key": ('layout = 1\n[[sighting]]\nprat = "C9"\nis = "bulged"', 3, "Did you mean 'part'"),
    "unknown part": ('layout = 1\n[[sighting]]\npart = "C90"\nis = "bulged"', 3, "Did you mean 'C9'"),
    "unknown net": ('layout = 1\n[[reading]]\ncheck = "ohms"\nat = "rail"\nvalue = "1k"', 4, "Did you mean 'rail+'"),
    "unknown driver": ('layout = 1\n[[complaint]]\nis = "hum"\ndriver = "tweeter"', 4, "not known"),
    "unknown word": ('layout = 1\n[[complaint]]\nis = "humm"', 3, "Did you mean 'hum'"),
    "unknown check": ('layout = 1\n[[reading]]\ncheck = "volts"\nat = "rail+"\nvalue = "1 V"', 3, "not known"),
    "no check": ('layout = 1\n[[reading]]\nat = "rail+"\nvalue = "1 V"', 2, "no 'check'"),
    "no value": ('layout = 1\n[[reading]]\ncheck = "ohms"\nat = "rail+"', 2, "needs one result, got nothing"),
    "two values": (
        'layout = 1\n[[reading]]\ncheck = "ohms"\nat = "rail+"\nvalue = "1k"\nover = true', 5, "value and over"
    ),
    "half a range": ('layout = 1\n[[reading]]\ncheck = "ohms"\nat = "rail+"\nlow = "1k"', 2, "no 'high'"),
    "range turned round": (
        'layout = 1\n[[reading]]\ncheck = "ohms"\nat = "rail+"\nlow = "2k"\nhigh = "1k"', 2, "is not a range"
    ),
    "wrong unit": (
        'layout = 1\n[[reading]]\ncheck = "dc volts"\nat = "rail+"\nvalue = "35 ohm"', 5, "where V is asked"
    ),
    "not finite": ('layout = 1\n[[reading]]\ncheck = "ohms"\nat = "rail+"\nvalue = nan', 5, "not a finite number"),
    "negative ohms": ('layout = 1\n[[reading]]\ncheck = "ohms"\nat = "rail+"\nvalue = "-5 ohm"', 5, "below zero"),
    "volts over range": ('layout = 1\n[[reading]]\ncheck = "dc volts"\nat = "rail+"\nover = true', 5, "over or under"),
    "same net": ('layout = 1\n[[reading]]\ncheck = "ohms"\nat = "0V"\nvalue = "1k"', 2, "both leads are on"),
    "wrong state": (
        'layout = 1\n[[reading]]\ncheck = "ohms"\nat = "rail+"\nvalue = "1k"\nstate = "drivers connected"', 2,
        "cannot be made in the state",
    ),
    "circuit lifted": ('layout = 1\n[[reading]]\ncheck = "lifted"\npart = "U3"\nvalue = "1k"', 4, "when lifted"),
    "text as truth": ('layout = 1\n[[complaint]]\nis = "hum"\nseen = "yes"', 4, "neither true nor false"),
    "work on nothing": ('layout = 1\n[[work]]\ndid = "replaced"', 2, "needs to say on what"),
    "one net between": ('layout = 1\n[[work]]\ndid = "cleaned"\nbetween = ["rail+"]', 4, "not two nets"),
    "bad signal": (
        'layout = 1\n[[reading]]\ncheck = "ac volts"\nat = "rail+"\nsignal = "loud"\nvalue = "1 V"', 5,
        "not a frequency",
    ),
    "unknown meter": (
        'layout = 1\n[[reading]]\ncheck = "ohms"\nat = "rail+"\nvalue = "1k"\nmeter = "hand"', 6, "handheld"
    ),
    "esr of a resistor": (
        'layout = 1\n[[reading]]\ncheck = "lifted"\npart = "R12"\nvalue = "1k"\nesr = "1 ohm"', 6, "lifted capacitor"
    ),
}  # fmt: skip


@pytest.mark.parametrize(("text", "line", "says"), MISTAKES.values(), ids=MISTAKES)
def test_each_mistake_is_named_with_its_line(text, line, says):
    """The error is one line that names file and line, what was read and what would be right."""
    with pytest.raises(InputError) as why:
        parse_findings(text, "unit.findings.toml", NAMES)

    assert says in str(why.value)
    assert "\n" not in str(why.value)
    assert why.value.mend
    assert why.value.where == (f"unit.findings.toml:{line}" if line else "unit.findings.toml")


def test_large_and_deep_files_are_refused_quickly():
    """A file over 1 MB and brackets nested by the thousand are refused, without a hang."""
    with pytest.raises(InputError, match="over 1 MB"):
        parse_findings("#" * 1_000_001, "big", KNOWN)
    with pytest.raises(InputError, match=r"deeply|TOML"):
        parse_findings(f"layout = 1\na = {'[' * 20_000}", "deep", KNOWN)


def test_lines_are_found_past_texts_over_several_lines():
    """A header inside a text of several lines is no header."""
    text = 'layout = 1\n[[sighting]]\npart = """C9"""\nis = """\n[[work]]\n"""\n'

    with pytest.raises(InputError, match="is not known"):
        parse_findings(text, "odd", NAMES)


WORDS = st.sampled_from(
    ("check", "at", "against", "part", "value", "low", "high", "over", "is", "did", "between", "state")
)
VALUES = st.one_of(
    st.sampled_from(('"ohms"', '"dc volts"', '"lifted"', '"look"', '"rail+"', '"C9"', '"0V"', '"replaced"', '"hum"')),
    st.floats().map(repr),
    st.booleans().map(lambda b: str(b).lower()),
    st.text(max_size=12).map(lambda t: '"' + t.replace("\\", "").replace('"', "") + '"'),
    st.just('["rail+", "wf_fb"]'),
)
TABLES = st.tuples(
    st.sampled_from(("reading", "complaint", "sighting", "work")), st.dictionaries(WORDS, VALUES, max_size=5)
)


def refusal(body):
    """The error that a text meets, if any."""
    try:
        parse(body)
    except InputError as error:
        return error
    return None


@settings(deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(TABLES, max_size=4))
def test_whatever_is_written_is_read_or_refused_in_one_line(tables):
    """No mixture of known words and any values ends in anything but entries or one clear refusal."""
    lines = [f"[[{name}]]\n" + "\n".join(f"{key} = {value}" for key, value in keys.items()) for name, keys in tables]

    refused = refusal("\n".join(lines))

    assert refused is None or (refused.mend and "\n" not in str(refused))
