"""Faults that come and go are lowered by a good reading and not deleted; warmth and volume turn the list round."""

import numpy as np
import pytest
from hunt.tables import HEALTHY, Tables, flat, leak, part
from predict.small import small_board

from dustcap.board.read import parse_board
from dustcap.faults.intermittent import ALWAYS, COLD, SHOWS, SOMETIMES, STEADY, TIMES, UNKNOWN, WARM, shows
from dustcap.faults.suspects import PartFault, Suspect
from dustcap.hunt.evidence import Complaint, Evidence, Reading, Sighting
from dustcap.hunt.joint import with_joint
from dustcap.hunt.posterior import posterior
from dustcap.predict.checks import Check
from dustcap.predict.predictor import Predictor

OHMS = Check("ohms", "a", "b")
BOARD = parse_board(
    """
layout = 1
[board]
name = "joints"
revision = "A"
[parts]
J1 = { kind = "link", pins = ["a", "b"] }
R1 = { kind = "resistor", value = "1k", pins = ["b", "0V"] }
C1 = { kind = "electrolytic", value = "10 uF", voltage = "25 V", pins = ["b", "0V"] }
D1 = { kind = "diode", type = "signal", pins = ["b", "a"] }
""",
    "joints",
)
SUSPECTS = (HEALTHY, part("J1", "open"), part("R1", "open"), part("C1", "esr up"), part("D1", "leaky"))


class Placed(Tables):
    """A table about the parts of a board."""

    board = BOARD

    def follows(self, complaint, driver):
        """The link's noise follows the volume, the others' does not."""
        return np.repeat(np.array([0.5, 0.9, 0.1, 0.1, 0.1])[:, None], self.particles, axis=1)


def table(kind=Placed):
    """One check that reads 1 kohm on a good board and 100 kohm with any of the two opens."""
    return kind(SUSPECTS, np.array([0.1, 0.2, 0.2, 0.2, 0.2]), {OHMS: flat(1e3, 1e5, 1e5, 1e3, 1e3)})


def probability(source, *entries):
    """Of every suspect."""
    return posterior(source, Evidence(entries)).probability


def test_a_good_reading_lowers_a_fault_that_comes_and_goes_and_keeps_it():
    """An open joint shows in 85 of 100 checks: against C1 its odds fall by 0.15 once, 0.15 squared over two checks."""
    other = Check("ohms", "b", "a2")
    source = table()
    source.rows = {**source.rows, other: flat(2e3, 2e5, 2e5, 2e3, 2e3)}

    before = probability(source)
    once = probability(source, Reading(OHMS, 1e3, 1e3))
    twice = probability(source, Reading(OHMS, 1e3, 1e3), Reading(other, 2e3, 2e3))

    assert before[1] == pytest.approx(before[3])
    assert once[1] / once[3] == pytest.approx(0.15, rel=0.1)
    assert twice[1] / twice[3] == pytest.approx(0.15**2, rel=0.15)
    assert once[2] / once[3] < 0.05  # a resistor that is open stays open: 0.03 and what may be odd


def test_a_fault_that_showed_is_not_held_down():
    """When the reading shows it, the open joint and the open resistor are as likely as before, but for the 0.85."""
    found = probability(table(), Reading(OHMS, 1e5, 1e5))

    assert found[1] / found[2] == pytest.approx(0.85 / 0.97, rel=0.02)


def test_a_complaint_that_was_not_heard_spares_what_comes_and_goes():
    """A crackle that is absent today speaks less against the joint than against the resistor that makes it."""
    source = table()
    source.hears = {("crackle", ""): flat(0.02, 0.9, 0.9, 0.02, 0.02)}

    found = probability(source, Complaint("crackle", seen=False))

    assert found[1] / found[3] == pytest.approx((1 - 0.85 * 0.9 - 0.15 * 0.02) / 0.98, rel=0.02)
    assert found[2] < found[1]


@pytest.mark.parametrize(("when", "first"), [("cold", 3), ("warm", 4), ("sometimes", 1)])
def test_when_it_is_heard_points_at_what_changes_so(when, first):
    """Until warm: the dried capacitor; once warm: the leaking junction; now and then: the joint."""
    source = table()
    source.hears = {("hum", ""): flat(0.02, 0.9, 0.9, 0.9, 0.9)}

    plain, found = probability(source, Complaint("hum")), probability(source, Complaint("hum", when=when))

    assert np.ptp(plain[1:]) < 1e-6
    assert int(np.argmax(found)) == first
    assert found[first] > 1.5 * plain[first]


def test_noise_that_follows_the_volume_lies_before_the_control():
    """Nine to one for the suspect before it when it follows, and the other way round when it stays."""
    source = table()
    source.hears = {("hum", ""): flat(0.02, 0.9, 0.9, 0.9, 0.9)}

    follows = probability(source, Complaint("hum", with_volume="follows"))
    constant = probability(source, Complaint("hum", with_volume="constant"))

    assert follows[1] / follows[2] == pytest.approx(9.0)
    assert constant[2] / constant[1] == pytest.approx(9.0)


def test_a_table_without_a_board_says_nothing_of_circumstances():
    """The same complaint with and without its circumstances gives the same list."""
    source = table(Tables)
    source.hears = {("hum", ""): flat(0.02, 0.9, 0.9, 0.9, 0.9)}

    with_them = probability(source, Complaint("hum", with_volume="follows", when="cold"))

    np.testing.assert_allclose(with_them, probability(source, Complaint("hum")))


def test_the_tables_are_probabilities_of_modes_that_there_are():
    """Words of when sum to one; every family and mode is one that can fail."""
    from dustcap.faults.modes import AGED

    for times in (*TIMES.values(), STEADY, UNKNOWN):
        assert sum(times.values()) == pytest.approx(1.0)
        assert set(times) == {COLD, WARM, ALWAYS, SOMETIMES}
    for kind, mode in (*SHOWS, *TIMES):
        assert mode in AGED[kind]
    assert shows(BOARD, Suspect((PartFault("J1", "open"), PartFault("R1", "open")))) == pytest.approx(0.85 * 0.97)


def test_residue_on_a_part_adds_leaks_between_its_nets():
    """Residue seen on the amplifier, which no area holds, makes leaks across its pins suspects that can be found."""
    source = Predictor(small_board(), particles=16, seed=3)
    pair = {"minus12", "amp_in"}
    assert not any({getattr(f, "a", ""), getattr(f, "b", "")} == pair for s in source.suspects for f in s.faults)
    ohms, volts = Check("ohms", "amp_in", "minus12"), Check("dc volts", "amp_in", "0V")
    told = Evidence((Sighting("U1", "residue"), Reading(ohms, 5e3, 5e3), Reading(volts, -9.77, -9.77)))

    found = posterior(with_joint(source, told), told)

    best = found.predictions.suspects[int(np.argmax(found.probability))].faults[0]
    assert {best.a, best.b} == pair
    assert len(found.predictions.suspects) > len(source.suspects)


def test_a_doubtful_reading_counts_less_than_a_sure_one():
    """A reading that is out of line moves the odds of two suspects by far less when it is marked doubtful."""
    source = Tables((HEALTHY, part("J1"), leak("a", "b")), np.array([0.1, 0.4, 0.4]), {OHMS: flat(1e3, 1e5, 1e3)})

    sure, doubtful = (probability(source, Reading(OHMS, 1e5, 1e5, doubtful=mark)) for mark in (False, True))

    assert sure[1] / sure[2] > 10 * doubtful[1] / doubtful[2] > 10
    np.testing.assert_allclose(probability(source, Reading(OHMS, 1e5, 1e5, withdrawn=True)), probability(source))
