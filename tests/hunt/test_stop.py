"""Troubleshooting decisions against published and exhaustively computed cases."""

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dustcap.errors import InputError
from dustcap.hunt.planning import make_table, optimal_cost
from dustcap.hunt.stop import (
    best_sequence,
    expected_cost,
    greedy_sequence,
    inspect_and_repair,
    order_by_ratio,
    repair_cost,
    with_covers,
    with_service,
    worth_of_question,
)

# references/diagnosis section 1.2, cases D3 to D9, COMPUTED there by brute force (independent programs); the forms are
# Kadane & Simon 1977 and Heckerman, Breese & Rommelse 1995 (from memory).
P3, C3 = (0.40, 0.25, 0.20, 0.10, 0.05), (20, 4, 15, 3, 5)


def test_probability_over_cost_is_the_best_order():
    """D3: order 2 4 1 3 5 costs 23.25, the least of all 120."""
    order = order_by_ratio(P3, C3)

    assert [i + 1 for i in order] == [2, 4, 1, 3, 5]
    assert expected_cost(order, P3, C3) == pytest.approx(23.25, abs=1e-9)
    costs = sorted(expected_cost(one, P3, C3) for one in permutations(range(5)))
    assert costs[0] == pytest.approx(23.25, abs=1e-9)
    assert costs[1] == pytest.approx(23.50, abs=1e-9)
    assert costs[-1] == pytest.approx(36.30, abs=1e-9)


def test_the_likeliest_and_the_cheapest_first_cost_more():
    """D3: 28.35 by probability alone, 26.85 by cost alone."""
    assert expected_cost((0, 1, 2, 3, 4), P3, C3) == pytest.approx(28.35, abs=1e-9)
    assert expected_cost((3, 1, 4, 2, 0), P3, C3) == pytest.approx(26.85, abs=1e-9)


def test_parts_that_are_inspected_first_go_by_probability_over_inspection():
    """D4: order 4 2 1 3, expected 38.20."""
    plan = inspect_and_repair((0.35, 0.30, 0.25, 0.10), (5, 3, 8, 1), (30, 12, 60, 4))

    assert [i + 1 for i in plan.order] == [4, 2, 1, 3]
    assert plan.cost == pytest.approx(38.20, abs=1e-9)


@pytest.mark.parametrize(("service", "cost", "actions"), [(15, 15.0, 0), (30, 21.15, 5), (100, 21.15, 5)])
def test_giving_up_pays_only_when_service_is_cheap(service, cost, actions):
    """D5: at 15 call at once; at 30 and 100 try all five first."""
    plan = with_service(P3, (20, 5, 10, 2, 1), service)

    assert plan.cost == pytest.approx(cost, abs=1e-9)
    assert len(plan.order) == actions
    assert plan.gives_up == (actions == 0)


def test_actions_that_cure_several_faults_are_not_ordered_by_ratio():
    """D6: greedy costs 1.50, the optimum is 1.45 and starts with the second action."""
    faults, repairs = (0.20, 0.25, 0.40, 0.15), ((1, 2), (2, 3), (0, 1))

    greedy, best = greedy_sequence(faults, repairs, (1, 1, 1)), best_sequence(faults, repairs, (1, 1, 1))

    assert greedy.cost == pytest.approx(1.50, abs=1e-9)
    assert greedy.order == (0, 2, 1)
    assert best.cost == pytest.approx(1.45, abs=1e-9)
    assert best.order[:2] == (1, 2)


def test_a_cover_is_paid_for_once():
    """D7: with a cover of 10 over two actions the order is 3 1 2 4 at 15.15."""
    plan = with_covers((0.45, 0.25, 0.20, 0.10), (2, 3, 4, 5), ("lid", "lid", "", ""), {"lid": 10})

    assert [i + 1 for i in plan.order] == [3, 1, 2, 4]
    assert plan.cost == pytest.approx(15.15, abs=1e-9)


def test_a_question_is_worth_what_it_saves():
    """D8: 23.00 without, 0.45 net for the question at 2, and 9.00 for being told the fault."""
    p, c = np.array([0.5, 0.3, 0.2]), np.array([10.0, 20.0, 15.0])
    answers = np.array([[0.9, 0.2, 0.1], [0.1, 0.8, 0.9]])

    assert repair_cost(p, c) == pytest.approx(23.0, abs=1e-9)
    assert worth_of_question(p, c, answers, asking=2) == pytest.approx(0.45, abs=1e-9)
    assert worth_of_question(p, c, np.eye(3)) == pytest.approx(9.0, abs=1e-9)


@pytest.mark.parametrize(("tests", "cost"), [((), 15.0), ((0,), 15.0), ((1,), 15.0), ((0, 1), 10.0)])
def test_two_questions_can_pay_where_none_pays_alone(tests, cost):
    """D9: no test 15, either one 15, both 10; a one-step look-ahead would ask none."""
    outcomes = np.array([[0, 0, 1, 1], [0, 1, 0, 1]])[list(tests)]
    table = make_table(np.full(4, 0.25), outcomes.reshape(len(tests), 4), np.full(len(tests), 1e-12))

    def leftover(mass):
        return best_sequence(mass, ((0, 3), (1, 2)), (10, 10)).cost

    assert optimal_cost(table, leftover) == pytest.approx(cost, abs=1e-6)


masses = st.lists(st.tuples(st.floats(0.01, 1.0), st.floats(0.1, 50.0)), min_size=1, max_size=6)


@settings(deadline=None, derandomize=True)
@given(masses)
def test_no_order_beats_probability_over_cost(pairs):
    """For any probabilities and costs no order is cheaper (Kadane & Simon 1977)."""
    p = np.array([pair[0] for pair in pairs]) / sum(pair[0] for pair in pairs)
    c = [pair[1] for pair in pairs]

    best = expected_cost(order_by_ratio(p, c), p, c)

    assert all(best <= expected_cost(order, p, c) + 1e-9 for order in permutations(range(len(c))))


@settings(deadline=None, derandomize=True)
@given(masses, st.floats(1.0, 200.0))
def test_the_plain_cost_agrees_with_the_plan(pairs, service):
    """`repair_cost` is the cost of the plan of `with_service`, and never above the service alone."""
    p = np.array([pair[0] for pair in pairs]) / sum(pair[0] for pair in pairs)
    c = np.array([pair[1] for pair in pairs])

    got = repair_cost(p, c, service)

    assert got == pytest.approx(with_service(p, c, service).cost, rel=1e-9)
    assert got <= service + 1e-9


def test_what_no_action_cures_ends_in_service():
    """Half of the mass beyond all actions pays for the action and then for service: 10 + 0.5 x 100."""
    assert repair_cost(np.array([0.5]), np.array([10.0]), 100.0, beyond=0.5) == pytest.approx(60.0, abs=1e-9)


def test_numbers_that_do_not_go_together_are_refused():
    """Lengths, sums above one, free actions and answers that do not sum to one are refused."""
    for p, c in (((0.5,), (1, 2)), ((0.8, 0.4), (1, 1)), ((0.5, 0.5), (0, 1))):
        with pytest.raises(InputError, match="do not go together"):
            order_by_ratio(p, c)
    with pytest.raises(InputError, match="not probabilities"):
        worth_of_question((0.5, 0.5), (1, 1), [[0.5, 0.5], [0.4, 0.5]])
    with pytest.raises(InputError, match="too many to order exactly"):
        with_covers(np.full(13, 1 / 13), np.ones(13), [""] * 13, {})
