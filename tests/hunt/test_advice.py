"""What the advice is and why: going on, cleaning with the leaking pair in mind, well again, not in the model."""

import numpy as np
import pytest
from hunt.tables import HEALTHY, Tables, flat, leak, part

from dustcap.hunt.actions import group_by_action, group_each
from dustcap.hunt.advice import oddest
from dustcap.hunt.evidence import Complaint, Evidence, Reading, Work
from dustcap.hunt.hunt import hunt
from dustcap.hunt.posterior import posterior
from dustcap.predict.checks import Check

FIRST, SECOND = Check("ohms", "a", "b"), Check("ohms", "c", "d")
VOLTS = Check("dc volts", "a", "0V")


def glued(first=(1e6, 5e4, 1e6), second=(1e6, 1e6, 5e4)):
    """Two pairs of one area, each shown by its own ohms."""
    suspects = (HEALTHY, leak("a", "b"), leak("c", "d"))
    rows = {FIRST: flat(*first), SECOND: flat(*second)}
    return Tables(suspects, np.array([0.0, 0.49, 0.48]), rows)


def test_each_leak_of_an_area_is_a_group_of_its_own_when_the_pair_matters():
    """The leaks are groups 1 and 2, everything else is group 0, what is not in the model the last."""
    suspects = (HEALTHY, leak("a", "b"), part("R1"), leak("c", "d"))
    groups = group_by_action(suspects)

    each = group_each(suspects, groups, int(groups.of[1]))

    assert each.of.tolist() == [0, 1, 0, 2, 3]
    assert each.unexplained == 3


def test_a_cheap_check_that_tells_the_pairs_apart_comes_before_cleaning():
    """A bit for 0.7 min: the ohms are proposed though cleaning is what either pair calls for, then cleaning."""
    table = glued()

    before = hunt(table, Evidence(()))
    after = hunt(table, Evidence((Reading(FIRST, 5e4, 5e4),)))

    assert before.advice.do == "check"
    assert "glue" in before.advice.why
    assert before.next[0].proposal.check in (FIRST, SECOND)
    assert after.advice.do == "clean"
    assert after.advice.area == "glue"


def test_pairs_that_no_check_tells_apart_are_cleaned_at_once():
    """With equal readings the advice is to clean."""
    assert hunt(glued((1e6, 5e4, 5e4), (1e6, 5e4, 5e4)), Evidence(())).advice.do == "clean"


def test_a_place_that_was_cleaned_in_vain_is_cleaned_under_its_parts():
    """The same ohms after the cleaning: clean it again, with the parts lifted."""
    told = (Reading(FIRST, 5e4, 5e4), Work("cleaned", area="glue"), Reading(FIRST, 5e4, 5e4))
    again = hunt(glued(), Evidence(told)).advice
    assert again.do == "clean"
    assert "lift the parts" in again.why
    assert "lift the parts" not in hunt(glued(), Evidence(told[:1])).advice.why


def repaired(*values):
    """R1 was replaced, and then the volts read."""
    suspects = (HEALTHY, part("R1"), part("R2"))
    table = Tables(suspects, np.array([0.0, 0.6, 0.37]), {VOLTS: flat(5.0, 1.0, 1.02)})
    readings = tuple(Reading(VOLTS, value, value) for value in values)
    before = (Complaint("hum"), Reading(VOLTS, 1.0, 1.0), Work("replaced", part="R1"))
    return hunt(table, Evidence((*before, *readings)))


def test_good_readings_after_the_work_end_the_hunt_and_bad_ones_do_not():
    """5 V as on a healthy board is done; 1 V as before is not, and R2 is next."""
    well, ill = repaired(5.0), repaired(1.0)

    assert well.advice.do == "done"
    assert well.healthy > 0.8
    assert ill.advice.do in ("check", "replace")
    assert ill.advice.parts in ((), ("R2",))
    assert ill.suspects[0].suspect == part("R2")


def test_nothing_is_done_before_anything_was_found_after_the_work():
    """Without a reading after the work there is something left to check."""
    assert repaired().advice.do == "check"


def test_what_no_suspect_explains_is_to_be_measured_again():
    """12 V where every suspect reads about 5 V: the share of the unknown is high, and the advice names that reading."""
    rows = {VOLTS: flat(5.0, 5.1, 4.9), FIRST: flat(1e3, 1e3, 2e3)}
    table = Tables((HEALTHY, part("R1"), part("R2")), np.array([0.0, 0.5, 0.47]), rows)
    evidence = Evidence((Reading(VOLTS, 12.0, 12.0), Reading(FIRST, 1e3, 1e3)))

    result = hunt(table, evidence)

    assert oddest(posterior(table, evidence)) == ("dc volts a against 0V",)
    assert result.unexplained > 0.25
    assert "dc volts a against 0V again" in result.advice.why


@pytest.mark.parametrize("value", [5.0, 5.1])
def test_a_reading_that_fits_is_not_called_odd(value):
    """What a likely suspect foretells need not be measured again."""
    table = Tables((HEALTHY, part("R1")), np.array([0.5, 0.47]), {VOLTS: flat(5.0, 5.1)})

    assert oddest(posterior(table, Evidence((Reading(VOLTS, value, value),)))) == ()


def across_a_rail(count=10, particles=16):
    """So many parts of which each, shorted, pulls the same rail down; one reading tells them a hair apart."""
    suspects = (HEALTHY, *(part(f"U{number}", "supply short") for number in range(count)))
    draws = np.random.default_rng(3)
    rail = np.vstack([np.full(particles, 1e4), draws.uniform(1.0, 8.0, (count, particles))])
    rows = {FIRST: rail, SECOND: flat(1e3, *np.linspace(1e3, 1.004e3, count), particles=particles)}
    rows |= {Check("ohms", f"n{i}", "0V"): flat(1e3, *([1e3] * count), particles=particles) for i in range(5)}
    return Tables(suspects, np.array([0.0, *([0.97 / count] * count)]), rows)


def test_parts_across_one_rail_that_read_the_same_end_the_checks():
    """Ten parts that no check tells apart: soon the advice is one of them with the others named, and to lift a pin."""
    table, entries = across_a_rail(), []
    for _ in range(8):
        result = hunt(table, Evidence(tuple(entries)))
        if result.advice.do != "check":
            break
        check = result.next[0].proposal.check
        value = float(table.rows[check][4].mean())
        entries.append(Reading(check, value, value))

    assert result.advice.do == "replace"
    assert len(result.advice.alike) >= 5
    assert "lift one leg or supply pin" in result.advice.why


def test_a_place_that_was_cleaned_three_times_in_vain_is_left():
    """The fourth answer says what to do in place of cleaning."""
    once = (Work("cleaned", area="glue"), Reading(FIRST, 5e4, 5e4))
    advice = hunt(glued(), Evidence((Reading(FIRST, 5e4, 5e4), *once, *once, *once))).advice
    assert advice.do == "stop"
    assert advice.why.startswith("3 times in vain: clean glue")


def test_a_part_that_was_replaced_twice_is_not_replaced_again():
    """What still speaks of a new part twice over has its cause elsewhere."""
    table = Tables((HEALTHY, part("R1")), np.array([0.0, 0.999999]), {VOLTS: flat(5.0, 1.0)})
    ill, replaced = Reading(VOLTS, 1.0, 1.0), Work("replaced", part="R1")

    once = hunt(table, Evidence((ill, replaced, ill))).advice
    twice = hunt(table, Evidence((ill, replaced, ill, replaced, ill))).advice

    assert (once.do, once.parts) == ("replace", ("R1",))
    assert "replaced before" in once.why
    assert twice.do == "stop"
    assert "replaced 2 times" in twice.why
