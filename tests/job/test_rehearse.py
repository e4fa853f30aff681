"""A rehearsed unit answers as a meter on that board would, and only as long as its fault is in it."""

import pytest
from cli.boards import SMALL

from dustcap.board.read import parse_board
from dustcap.errors import InputError
from dustcap.job.payloads import Complaint, Reading, Sighting, Work
from dustcap.job.rehearse import as_shown, check_of, rehearse
from dustcap.predict.checks import Check
from dustcap.quantities import read

LEAK = {"leak": ["rail+", "minus"], "area": "glue"}
LEAK_OHM = 1e3 * 10 ** (5 * 0.5)  # the middle of 1 kohm to 100 Mohm on a logarithmic scale
AT_OUT = Check("dc volts", "out", "0V")
BOARD = parse_board(SMALL)
METER = 0.01  # handheld: 0.8 % and 3 counts of 6000, rounded up


def unit(fault=LEAK, severity=0.5, seed=3):
    """The small board with that fault."""
    return rehearse(BOARD, [fault], [severity], seed)


def volts(rehearsed, check=AT_OUT):
    """What the meter shows, as a number."""
    return read(rehearsed.read(check).value, "V")


def test_a_leak_into_the_feedback_moves_the_output_by_ohms_law():
    """With R4 to ground the leak's current through R3 shows at the output: within the resistors' 5 % and the meter."""
    # derived: minus stays at 0 V, so the current 24 V / leak flows through R3 = 22 kohm; 23 offsets add up to 70 mV
    expected_v = -24.0 / LEAK_OHM * 22e3

    assert volts(unit()) == pytest.approx(expected_v, rel=0.05 + METER, abs=0.1)


def test_after_the_right_work_the_unit_is_well():
    """Cleaning the area takes the leak away; the same part values are still in it."""
    rehearsed = unit()
    rehearsed.work_done(Work(did="replaced", part="C1"))
    assert volts(rehearsed) < -0.5

    rehearsed.work_done(Work(did="cleaned", area="glue"))

    assert abs(volts(rehearsed)) < 0.1


@pytest.mark.parametrize(
    "work", [Work(did="cleaned", between=("minus", "rail+")), Work(did="cleaned", area="glue")], ids=["nets", "area"]
)
def test_a_leak_is_cleaned_by_its_nets_or_its_area(work):
    """Either name of the place will do."""
    rehearsed = unit()
    rehearsed.work_done(work)

    assert rehearsed.cured


def test_a_part_is_mended_by_replacing_it():
    """Cleaning does not mend a part, replacing another one neither."""
    rehearsed = unit({"part": "C1", "mode": "capacity lost"})
    for work in (Work(did="cleaned", area="glue"), Work(did="replaced", part="C2"), Work(did="removed", part="C1")):
        rehearsed.work_done(work)
        assert not rehearsed.cured

    rehearsed.work_done(Work(did="replaced", part="C1"))

    assert rehearsed.cured


def test_each_seed_is_a_unit_of_its_own_and_always_the_same():
    """The same seed reads the same to the last digit; another has other part values."""
    lifted = Check("lifted", part="R3")

    assert unit(seed=3).read(lifted) == unit(seed=3).read(lifted)
    assert unit(seed=3).read(lifted).value != unit(seed=4).read(lifted).value
    assert read(unit(seed=3).read(lifted).value, "ohm") == pytest.approx(22e3, rel=0.05 + METER)


def test_a_meter_shows_no_more_digits_than_it_has():
    """At most 6000 counts: 24 V on the 60 V range has two decimals."""
    shown = unit().read(Check("dc volts", "rail+", "0V")).value

    assert len(shown.split()[0].split(".")[1]) == 2


@pytest.mark.parametrize(
    ("value", "digit", "unit", "shown"),
    [
        (0.00899, 1e-5, "F", "8.99 mF"),
        (-0.0034, 1e-4, "V", "-3.4 mV"),
        (4.1e3, 1.0, "ohm", "4.100 kohm"),
        (0.0, 1e-4, "V", "0.0 mV"),
        (1.2e-9, 1e-12, "F", "1.200 nF"),
        (-0.0, 1e-4, "V", "0.0 mV"),
    ],
)
def test_a_shown_value_keeps_the_last_digit_of_its_range(value, digit, unit, shown):
    """What is written down says how finely it was read, and reads back as the same value."""
    assert as_shown(value, digit, unit) == shown
    assert read(shown, unit) == pytest.approx(value, abs=1e-18)


def test_over_range_is_told_as_such():
    """An open path on ohms has no value."""
    cut = unit({"part": "R1", "mode": "open"})
    assert cut.read(Check("lifted", part="R1")) == Reading(
        check="lifted", part="R1", state="unplugged", meter="handheld", over=True
    )


def test_listening_and_looking_are_answered_in_words():
    """A listened-for complaint is there or not; a part looks so or clean."""
    rehearsed = unit(severity=0.25)
    heard = rehearsed.answer(Check("listen", part="LS1", state="drivers connected", word="cone pushed out"))
    seen = rehearsed.answer(Check("look", part="glue", word="residue"))

    assert heard == Complaint.model_validate({"is": "cone pushed out", "driver": "LS1"})
    assert seen == Sighting.model_validate({"is": "residue", "area": "glue"})


def test_a_proposed_check_is_understood():
    """What a hunt's document proposes can be made."""
    assert check_of({"check": "dc volts", "at": "out", "against": "0V", "state": "drivers disconnected"}) == AT_OUT
    assert check_of({"check": "listen", "driver": "LS1", "word": "hum"}).part == "LS1"


@pytest.mark.parametrize(
    ("faults", "severities"),
    [
        ([LEAK], []),
        ([LEAK], [1.5]),
        ([{"part": "R3", "mode": "melted"}], [0.5]),
        ([{"part": "U1", "mode": "open"}], [0.5]),
    ],
)
def test_an_impossible_fault_is_refused(faults, severities):
    """A severity each, and modes that the kind has."""
    with pytest.raises(InputError):
        rehearse(BOARD, faults, severities, 1)


def test_a_proposed_look_at_an_area_is_a_check_of_that_area():
    """The document names an area as such; the check, and the sighting that answers it, are of that place."""
    look = check_of({"check": "look", "area": "glue", "word": "residue", "state": "unplugged"})

    assert look == Check("look", part="glue", word="residue")
    assert unit().answer(look).area == "glue"
