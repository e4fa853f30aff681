"""The case of a part: cleared by what was read, merely unlikely, or still a suspect."""

import numpy as np
import pytest
from hunt.tables import HEALTHY, Tables, flat, part

from dustcap.errors import InputError
from dustcap.faults.suspects import PartFault, Suspect
from dustcap.hunt.cleared import CLEARED, SUSPECTED, UNLIKELY, cleared
from dustcap.hunt.evidence import Evidence, Reading, Work
from dustcap.hunt.hunt import hunt
from dustcap.hunt.posterior import posterior
from dustcap.hunt.results import to_json
from dustcap.predict.checks import Check

AT_A, AT_B = Check("ohms", "a", "0V"), Check("ohms", "b", "0V")
SUSPECTS = (
    HEALTHY,
    part("R1"),
    part("R2"),
    part("R2", "short"),
    part("R3"),
    Suspect((PartFault("R1", "open"), PartFault("R3", "open"))),
)


def case(name, *entries, rows=None):
    """At `a` R2 reads wrong in both modes and R1 and R3 as a good board does; at `b` R1 alone reads wrong."""
    rows = rows or {AT_A: flat(1e3, 1e3, 1e5, 1.0, 1e3, 1e3), AT_B: flat(1e3, 2e3, 1e3, 1e3, 1e3, 2e3)}
    table = Tables(SUSPECTS, np.array([0.1, 0.3, 0.15, 0.15, 0.2, 0.05]), rows)
    return cleared(posterior(table, Evidence(entries)), name)


def test_a_part_that_reads_well_is_cleared_by_that_reading():
    """1 kohm at `a` clears R2 in both modes; that it does not explain what is read at `b` clears nothing."""
    found = case("R2", Reading(AT_A, 1e3, 1e3), Reading(AT_B, 2e3, 2e3))

    assert found.verdict == CLEARED
    assert found.probability < 0.01 < 0.3 < found.started < 0.35
    assert [mode.mode for mode in found.modes if mode.against] == ["open", "short"]
    assert all(mode.against == ("ohms a 1 kΩ",) for mode in found.modes)
    assert all(mode.leaves == ("ohms b 2 kΩ",) for mode in found.modes)
    assert found.why == "R2 is cleared by: ohms a 1 kΩ."


def test_a_part_of_which_nothing_tells_is_still_a_suspect():
    """R3 is a suspect as long as nothing tells of it, and goes by the reading that R2 explains and it does not."""
    blind = {AT_A: flat(1e3, 5e3, 1e5, 1.0, 1e3, 5e3)}

    before = case("R3", rows=blind)
    after = case("R3", Reading(AT_A, 1e5, 1e5), rows=blind)

    assert before.verdict == SUSPECTED
    assert before.why == "R3 open is still a suspect."
    assert after.verdict == UNLIKELY
    assert after.modes[0].leaves == ("ohms a 100 kΩ",)
    assert "would not explain: ohms a 100 kΩ; nothing that was found shows it to be good" in after.why


def test_a_part_with_likelier_rivals_alone_is_unlikely_and_not_cleared():
    """R1 and R3 read alike everywhere; when R1 is a hundred times commoner, R3 is unlikely, and no reading is named."""
    table = Tables(SUSPECTS[:2] + SUSPECTS[4:5], np.array([0.01, 0.95, 0.004]), {AT_B: flat(1e3, 2e3, 2e3)})

    found = cleared(posterior(table, Evidence((Reading(AT_B, 2e3, 2e3),))), "R3")

    assert found.verdict == UNLIKELY
    assert found.why == "nothing that was found shows it to be good, and it may still be a second fault."


def test_a_joint_fault_counts_for_each_of_its_parts():
    """R1's probability is that of R1 alone and of R1 with R3."""
    found = case("R1", Reading(AT_B, 2e3, 2e3))

    assert found.verdict == SUSPECTED
    assert found.probability > 0.97
    assert case("R3", Reading(AT_B, 2e3, 2e3)).probability == pytest.approx(found.probability * 0.05 / 0.35, rel=0.02)


def test_after_work_only_what_was_read_since_counts():
    """A reading of the faulty board clears nothing on the mended one."""
    found = case("R1", Reading(AT_A, 1e5, 1e5), Work("replaced", part="R2"), Reading(AT_B, 1e3, 1e3))

    assert found.modes[0].against == ("ohms b 1 kΩ",)


def test_a_part_that_cannot_fail_has_no_case():
    """The message says which parts have one."""
    with pytest.raises(InputError, match="no fault of 'J1'"):
        case("J1")


def test_the_case_stands_in_the_document():
    """`why` is asked for by name, and only then in the answer."""
    table = Tables(SUSPECTS, np.array([0.1, 0.3, 0.15, 0.15, 0.2, 0.05]), {AT_A: flat(1e3, 1e3, 1e5, 1.0, 1e3, 1e3)})
    told = Evidence((Reading(AT_A, 1e3, 1e3),))

    document = to_json(hunt(table, told, why="R2"))

    assert document["why"]["part"] == "R2"
    assert [mode["mode"] for mode in document["why"]["modes"]] == ["open", "short"]
    assert "why" not in to_json(hunt(table, told))
