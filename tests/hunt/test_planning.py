"""Planning on finite tables against published bounds and exact instances."""

import numpy as np
import pytest

from dustcap.errors import InputError
from dustcap.hunt.entropy import entropy, information
from dustcap.hunt.planning import best_first_tests, first_tests, greedy_cost, make_table, optimal_cost, rollout_cost

# references/diagnosis section 4.3, cases S1 to S6, COMPUTED there by exhaustive recursion (an independent program).
CHAIN_6 = (0.30, 0.05, 0.25, 0.05, 0.25, 0.10)
D_MATRIX = ("11001001", "10100101", "01100011", "11110000", "00011000", "00000110")
D_PRIOR = (0.25, 0.20, 0.15, 0.12, 0.10, 0.08, 0.06, 0.04)
BEATEN = ("00111111", "11110010", "11101110", "00111011", "01101010", "10011110", "00100011")
BEATEN_PRIOR = np.array([30, 5, 2, 15, 2, 5, 30, 2]) / 91


def chain(stages):
    """A probe after each stage but the last tells whether the fault lies before it."""
    return [[int(stage > probe) for stage in range(stages)] for probe in range(stages - 1)]


def bits_of(rows):
    return [[int(digit) for digit in row] for row in rows]


@pytest.mark.parametrize("plan", [optimal_cost, greedy_cost])
@pytest.mark.parametrize(
    ("prior", "tests", "costs", "expected"),
    [
        ([1 / 8] * 8, chain(8), [1] * 7, 3.0),  # S1
        (CHAIN_6, chain(6), [1] * 5, 2.6),  # S2
        (CHAIN_6, chain(6), [1, 1, 5, 1, 1], 3.85),  # S3
        (D_PRIOR, bits_of(D_MATRIX), [1, 2, 1, 3, 1, 2], 3.45),  # S4
    ],
)
def test_the_best_and_the_greedy_plan_cost_what_is_published(plan, prior, tests, costs, expected):
    """On S1 to S4 greedy finds the optimum, and both give its cost."""
    assert plan(make_table(prior, tests, costs)) == pytest.approx(expected, rel=1e-9)


def test_unit_costs_of_the_matrix_cost_three():
    """S4 with unit costs has its optimum at 3.0."""
    assert optimal_cost(make_table(D_PRIOR, bits_of(D_MATRIX), [1] * 6)) == pytest.approx(3.0, rel=1e-9)


def test_the_entropies_are_those_printed():
    """H of S2, of S4 and of the classes of S5 have the printed digits."""
    assert entropy(CHAIN_6) == pytest.approx(2.285475, abs=5e-7)
    assert entropy(D_PRIOR) == pytest.approx(2.794987, abs=5e-7)
    assert entropy([0.45, 0.15, 0.22, 0.14, 0.04]) == pytest.approx(1.992384, abs=5e-7)


def test_faults_of_one_action_need_not_be_told_apart():
    """S5: with classes the optimum falls to 2.41, and greedy information of the class costs 2.56."""
    table = make_table(D_PRIOR, bits_of(D_MATRIX), [1] * 6, [0, 0, 1, 2, 2, 3, 3, 4])

    assert optimal_cost(table) == pytest.approx(2.41, rel=1e-9)
    assert greedy_cost(table) == pytest.approx(2.56, rel=1e-9)


def test_rollout_mends_what_greedy_misses():
    """S6: optimum 249/91, greedy 300/91, rollout 250/91."""
    table = make_table(BEATEN_PRIOR, bits_of(BEATEN), [1] * 7)

    assert optimal_cost(table) == pytest.approx(249 / 91, rel=1e-9)
    assert greedy_cost(table) == pytest.approx(300 / 91, rel=1e-9)
    assert rollout_cost(table) == pytest.approx(250 / 91, rel=1e-9)


def test_the_first_test_of_the_rollout_is_its_cheapest():
    """Looking ahead from the heads gives the rollout's own cost at its best head or better than greedy's."""
    table = make_table(BEATEN_PRIOR, bits_of(BEATEN), [1] * 7)

    ahead = first_tests(table, range(7))

    assert ahead.min() < greedy_cost(table) - 1e-9
    assert ahead.min() >= optimal_cost(table) - 1e-12


def random_tables(count, costs):
    rng = np.random.default_rng(3)
    while count:
        table = make_table(rng.dirichlet(np.ones(10)), rng.integers(0, 2, (12, 10)), rng.choice(costs, 12))
        if np.isfinite(greedy_cost(table)):
            count -= 1
            yield table


@pytest.mark.parametrize("costs", [(1,), (1, 2, 5, 10)])
def test_rollout_stays_within_a_hundredth_of_the_optimum_on_average(costs):
    """Ten faults, twelve tests: mean ratio at most 1.01 (references 4.2: 1.0044 and 1.0070), never above greedy."""
    ratios = []
    for table in random_tables(20, costs):
        best, greedy, rolled = optimal_cost(table), greedy_cost(table), rollout_cost(table)
        assert best - 1e-9 <= rolled <= greedy + 1e-9
        ratios.append(rolled / best)

    assert np.mean(ratios) <= 1.01


def test_information_of_a_noisy_channel_is_its_capacity():
    """A binary symmetric channel with one error in ten carries 1 - H(0.1) = 0.531004 bits (Shannon 1948)."""
    assert information([[0.45, 0.05], [0.05, 0.45]]) == pytest.approx(0.5310044, abs=1e-7)


def test_independent_outcomes_tell_nothing():
    """A table whose rows are alike carries no information."""
    assert information([[0.2, 0.3], [0.2, 0.3]]) == pytest.approx(0.0, abs=1e-12)


def test_tables_that_do_not_fit_are_refused():
    """Shapes, negative masses and too many hypotheses are told apart."""
    with pytest.raises(InputError, match="outcomes have shape"):
        make_table([0.5, 0.5], [[0, 1, 0]], [1])
    with pytest.raises(InputError, match="negative"):
        make_table([0.5, 0.5], [[0, 1]], [0])
    with pytest.raises(InputError, match="too many to plan exactly"):
        optimal_cost(make_table(np.ones(15), np.eye(15, dtype=int), np.ones(15)))


def walk(mass, tests, costs, states, moves, alive, now):
    """Least cost over every order of tests: the recursion of Garey (1972, from memory) written out plainly."""
    if len(alive) < 2:
        return 0.0
    best = np.inf
    for test, row in enumerate(tests):
        parts = [[h for h in alive if row[h] == code] for code in (0, 1)]
        if all(parts):
            price = (costs[test] + moves[now][states[test]]) * sum(mass[h] for h in alive)
            best = min(best, price + sum(walk(mass, tests, costs, states, moves, p, states[test]) for p in parts))
    return best


@pytest.mark.parametrize("seed", range(4))
def test_the_way_from_state_to_state_is_planned_along_the_whole_order(seed):
    """Against the recursion written out: tests of two states of the bench, and moves that cost more than tests."""
    rng = np.random.default_rng(seed)
    mass, tests = rng.dirichlet(np.ones(6)), rng.integers(0, 2, (7, 6))
    tests[:3] = bits_of(("000111", "001001", "010010"))  # all can be told apart
    costs, states, moves = rng.uniform(0.5, 2, 7), rng.integers(0, 2, 7), np.array([[0.0, 3.0], [1.0, 0.0]])
    table = make_table(mass, tests, costs, None, states, moves)

    best = optimal_cost(table)

    assert best == pytest.approx(walk(mass, tests, costs, states, moves, list(range(6)), 0), rel=1e-9)
    assert best_first_tests(table, np.arange(7)).min() == pytest.approx(best, rel=1e-9)
    assert best <= rollout_cost(table) * (1 + 1e-9)
