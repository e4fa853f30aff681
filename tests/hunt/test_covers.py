"""Covers in the advice: opened once, ordered as the published rule has it, and what is changed while one is off."""

import numpy as np
import pytest
from hunt.tables import HEALTHY, Tables, flat, part

from dustcap.hunt.actions import Action, Costs, first_repair, group_by_action
from dustcap.hunt.evidence import Evidence, Reading, Sighting, Work
from dustcap.hunt.hunt import hunt
from dustcap.hunt.known import Known
from dustcap.hunt.stop import with_covers
from dustcap.predict.checks import Check

VOLTS = Check("dc volts", "a", "0V")
SHIELD = {"R1": ("shield", 20.0), "R2": ("shield", 20.0)}
ALIKE = tuple(part(f"R{number}") for number in range(1, 6))


@pytest.mark.parametrize("seed", range(30))
def test_the_first_repair_is_the_first_of_the_best_order(seed):
    """Against the exact order of five repairs behind two covers or none (`with_covers`, itself tested on case D7 of the
    references: T. J. Ottosen, F. V. Jensen, arXiv:1203.3502)."""
    rng = np.random.default_rng(seed)
    chance, minutes = rng.dirichlet(np.ones(5)), {"lid": 10.0, "can": 4.0}
    behind = [str(one) for one in rng.choice(["", "lid", "can"], 5)]
    plan = with_covers(chance, [3.5] * 5, behind, minutes)

    costs = Costs(replace=3.0, wear=0.0, power_up=0.0, prove=0.5).on(
        {f"R{i + 1}": (cover, minutes[cover]) for i, cover in enumerate(behind) if cover}, Evidence(())
    )
    groups = group_by_action((HEALTHY, *ALIKE))
    assert first_repair(groups, np.array([0.0, *chance, 0.0]), groups.costs(costs), costs) == 1 + plan.order[0]


@pytest.mark.parametrize(
    "entry",
    [Work("replaced", part="R2"), Sighting("R1", "clean"), Reading(Check("lifted", part="R1"), 1e3, 1e3, unit="ohm")],
)
def test_a_cover_that_was_opened_costs_nothing_more(entry):
    """By work, a look or a lifted part behind it; before, once for all that is behind it."""
    closed, opened = (Costs().on(SHIELD, Evidence(tuple(some))) for some in ((), (entry,)))
    plain = Costs().of(Action(("R1", "R2")))
    assert closed.of(Action(("R1", "R2"))) == plain + 20.0
    assert opened.of(Action(("R1", "R2"))) == plain
    assert closed.reaching(Check("lifted", part="R1")) == 20.0
    assert closed.reaching(VOLTS) == opened.reaching(Check("lifted", part="R1")) == 0.0


def told(prior, minutes=20.0, *entries):
    """R1 and R2 behind one cover, R3 in the open; nothing tells them apart."""
    table = Tables((HEALTHY, *ALIKE[:3]), np.array([0.0, *prior]), {VOLTS: flat(0, 5, 5, 5)})
    covers = {"R1": ("shield", minutes), "R2": ("shield", minutes)}
    known = Known(frozenset({"a"}), {"R1": "ohm", "R2": "ohm", "R3": "ohm"}, covers=covers)
    return hunt(table, Evidence((Reading(VOLTS, 5.0, 5.0), *entries)), known=known).advice


def test_what_is_in_the_open_comes_first_where_it_is_nearly_as_likely():
    """Twenty minutes of opening turn the order about; once the cover is off they do not."""
    prior = (0.4, 0.2, 0.37)
    assert told(prior).parts == ("R3",)
    assert told(prior, 0.1).parts == ("R1",)
    looked = told(prior, 20.0, Sighting("R2", "clean"))
    assert looked.parts == ("R1",)
    assert "opened" not in looked.why


def test_the_answer_says_what_has_to_be_opened_and_what_goes_with_it():
    """Behind a potted lid of an hour a second part at four in ten is changed too; behind a clip it is not."""
    lid = told((0.55, 0.4, 0.02), 60.0)
    assert "shield has to be opened (60 min)" in lid.why
    assert lid.also == ("R2",)
    assert "cheaper than to open it again" in lid.why
    assert told((0.55, 0.4, 0.02), 1.0).also == ()
