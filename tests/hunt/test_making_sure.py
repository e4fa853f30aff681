"""What is made sure of before a unit counts as mended."""

import numpy as np
from hunt.tables import HEALTHY, Tables, flat, part

from dustcap.hunt.evidence import Complaint, Evidence, Reading, Work
from dustcap.hunt.hunt import HuntResult, hunt
from dustcap.hunt.known import Known
from dustcap.predict.checks import Check

RAIL, OTHER = Check("dc volts", "rail", "0V"), Check("dc volts", "other", "0V")
KNOWN = Known(frozenset({"rail", "other"}), {"C9": "F"}, drivers={"woofer": "LS1", "LS1": "LS1"}, proof=(RAIL, OTHER))
MENDED = (Complaint("hum", "LS1"), Reading(RAIL, 0.1, 0.1), Work("replaced", part="C9"))


def told(*more: object) -> HuntResult:
    """The hunt on one part that pulls the rail down, and one that does nothing to be heard at the other."""
    table = Tables(
        (HEALTHY, part("C9", "short"), part("R3")),
        np.array([0.1, 0.6, 0.25]),
        {RAIL: flat(30, 0.1, 30), OTHER: flat(15, 15, 9)},
        {("hum", "LS1"): flat(0.02, 0.9, 0.02)},
    )
    return hunt(table, Evidence((*MENDED, *more)), known=KNOWN)


def asked(got: HuntResult) -> str:
    assert got.advice.do == "check"
    return got.next[0].proposal.check.words()


def test_what_no_complaint_tells_is_read_once_after_work():
    """The complaint is gone: the rails that were not read since the work come first, then it is done."""
    gone = Complaint("hum", "woofer", seen=False)
    assert asked(told(gone)) == "dc volts rail against 0V"
    assert asked(told(gone, Reading(RAIL, 30.1, 30.1))) == "dc volts other against 0V"
    good = told(gone, Reading(RAIL, 30.1, 30.1), Reading(OTHER, 15.1, 15.1))
    assert good.advice.do == "done"


def test_a_second_fault_that_nobody_hears_is_met_there():
    """The other rail reads low: the part that pulls it down is the next one, though no complaint speaks of it."""
    got = told(Complaint("hum", "LS1", seen=False), Reading(RAIL, 30.0, 30.0), Reading(OTHER, 9.0, 9.0))
    assert got.advice.do == "replace"
    assert got.advice.parts == ("R3",)


def test_a_complaint_is_listened_for_again():
    """Nothing was said of the hum since the work: it is the last thing to ask for."""
    got = told(Reading(RAIL, 30.0, 30.0), Reading(OTHER, 15.0, 15.0))
    assert asked(got) == "listen LS1: hum"


def test_a_unit_that_still_complains_is_never_done():
    """Good readings and a hum that stands: once more listened for, and then no word of done."""
    good = (Reading(RAIL, 30.0, 30.0), Reading(OTHER, 15.0, 15.0))
    first = told(Complaint("hum", "LS1"), *good)
    again = told(Complaint("hum", "LS1"), *good, Complaint("hum", "LS1"))
    assert first.advice.do != "done"
    assert again.advice.do != "done"
    assert told(Complaint("hum", "LS1"), *good, Complaint("hum", "LS1", seen=False)).advice.do == "done"


def test_what_may_cause_a_hum_that_stands_is_read_before_the_advice_is_to_stop():
    """Heard twice with one rail good: the other is read, and only with both good is there nothing left to say."""
    hum = Complaint("hum", "LS1")
    stands = (hum, Reading(RAIL, 30.0, 30.0), hum)
    assert asked(told(*stands)) == "dc volts other against 0V"
    assert told(*stands, Reading(OTHER, 15.0, 15.0)).advice.do == "stop"


def test_a_reading_that_nothing_explains_is_made_once_more():
    """300 V on a rail of 30 V, all else good: read again, and with 30 V then it is done; not while a hum stands."""
    gone, slip = Complaint("hum", "LS1", seen=False), Reading(RAIL, 300.0, 300.0)
    again = told(gone, slip, Reading(OTHER, 15.0, 15.0))
    assert asked(again) == "dc volts rail against 0V"
    assert "once more" in again.advice.why
    assert told(gone, slip, Reading(OTHER, 15.0, 15.0), Reading(RAIL, 30.0, 30.0)).advice.do == "done"
    hum = Complaint("hum", "LS1")
    stands = told(hum, Reading(RAIL, 30.0, 30.0), Reading(OTHER, 150.0, 150.0), hum)
    assert stands.advice.do == "stop"  # not powered again for it


def test_rails_are_read_before_a_part_is_changed_again():
    """C9 was changed and the rail is still down: the other rail comes first, which was never read, then C9 again."""
    still = (Complaint("hum", "LS1"), Reading(RAIL, 0.1, 0.1))
    assert asked(told(*still)) == "dc volts other against 0V"
    assert told(*still, Reading(OTHER, 15.0, 15.0)).advice.parts == ("C9",)
    assert told(*still, Complaint("blows fuse")).advice.parts == ("C9",)  # nothing is read on a powered unit then
