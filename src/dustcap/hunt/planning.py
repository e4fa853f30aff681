"""Plans over a finite table: hypotheses, tests with certain outcomes, costs; what the best order of tests costs.

Three planners: exact (every order, feasible to about twelve hypotheses), greedy (most information per cost, one step),
and rollout (the test after which greedy does best: one step of policy improvement). A plan ends where one class is
left, or where `leftover` says that ending is no dearer than going on.

All costs are mass times cost, so that nothing has to be normalised on the way down. A test may need the bench in some
state; getting there from the state that the test before left it in is part of its cost.

References
----------
M. R. Garey, "Optimal binary identification procedures", SIAM J. Appl. Math. 23 (1972) 173: the recursion (from memory).
D. P. Bertsekas, J. N. Tsitsiklis, C. Wu, "Rollout algorithms for combinatorial optimization", J. Heuristics 3 (1997)
245: rollout is never worse than the policy it starts from (from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from math import inf

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dustcap.errors import InputError
from dustcap.hunt.entropy import entropy, information

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Leftover = Callable[[Floats], float]
"""Mass of each class -> mass times cost of ending here."""

MAX_EXACT = 14


@dataclass(frozen=True)
class Table:
    """Hypotheses against tests.

    `mass` (hypotheses,); `outcomes` (tests, hypotheses) small whole numbers; `costs` (tests,); `classes`
    (hypotheses,) whole numbers: hypotheses of one class call for the same action. `states` (tests,) is the state that
    each test needs, `moves` (states, states) the cost from one to another.
    """

    mass: Floats
    outcomes: Ints
    costs: Floats
    classes: Ints
    states: Ints
    moves: Floats
    kept: dict[tuple[str, bytes], float] = field(default_factory=dict, repr=False, compare=False)

    @property
    def class_count(self) -> int:
        """Number of classes."""
        return int(self.classes.max()) + 1

    def prices(self, now: int) -> Floats:
        """Cost of each test with the way to its state, shape (tests,)."""
        return np.asarray(self.costs + self.moves[now, self.states])


def make_table(
    mass: ArrayLike,
    outcomes: ArrayLike,
    costs: ArrayLike,
    classes: ArrayLike | None = None,
    states: ArrayLike | None = None,
    moves: ArrayLike = ((0.0,),),
) -> Table:
    """A checked table; without `classes` each hypothesis is its own, without `states` all tests need the same."""
    weights, codes, prices = np.asarray(mass, float), np.asarray(outcomes, np.int64), np.asarray(costs, float)
    names = np.arange(weights.size) if classes is None else np.asarray(classes, np.int64)
    needs, ways = np.zeros(prices.size, np.int64) if states is None else np.asarray(states, np.int64), np.asarray(moves)
    if codes.shape != (prices.size, weights.size) or names.shape != weights.shape:
        raise InputError(
            f"outcomes have shape {codes.shape} for {prices.size} tests and {weights.size} hypotheses.",
            where="hunt.planning",
            mend="Give one row of outcomes a test, one column a hypothesis.",
        )
    if not (np.all(weights >= 0) and np.all(prices > 0) and np.all(codes >= 0)):
        raise InputError("a mass or outcome is negative, or a cost is not above zero.", where="hunt.planning")
    if needs.shape != prices.shape or needs.max(initial=0) >= len(ways) or ways.shape != (len(ways), len(ways)):
        raise InputError(f"{needs.size} states of tests, {ways.shape} of moves.", where="hunt.planning")
    return Table(weights, codes, prices, names, needs, ways.astype(np.float64))


def identified(classes: Floats) -> float:
    """Ending costs nothing when one class is left, and is not allowed before."""
    return 0.0 if np.count_nonzero(classes) <= 1 else inf


def optimal_cost(table: Table, leftover: Leftover = identified, now: int = 0) -> float:
    """Least expected cost over every plan (mass times cost) from state `now`; refused above `MAX_EXACT` hypotheses."""
    _refuse_many(table)
    return _optimal(table, np.arange(table.mass.size), leftover, now)


def greedy_cost(table: Table, leftover: Leftover = identified, depth: int = 64, now: int = 0) -> float:
    """Expected cost of taking the most information per cost, step by step."""
    return _greedy(table, np.arange(table.mass.size), leftover, depth, now)


def rollout_cost(table: Table, leftover: Leftover = identified, depth: int = 64, now: int = 0) -> float:
    """Expected cost of taking, at each step, the test after which greedy costs least."""
    return _rollout(table, np.arange(table.mass.size), leftover, depth, now)


def first_tests(
    table: Table,
    heads: ArrayLike,
    leftover: Leftover = identified,
    depth: int = 64,
    alive: Ints | None = None,
    now: int = 0,
) -> Floats:
    """Expected cost of each test of `heads` followed by greedy, shape (heads,); inf for one that splits nothing.

    `alive`: the hypotheses that are left, all of them when left out.
    """
    left = np.arange(table.mass.size) if alive is None else alive
    go_on = partial(_greedy, table, leftover=leftover, depth=depth)
    return np.array([_then(table, left, int(t), now, lambda a, n: go_on(a, now=n)) for t in _row(heads)])


def best_first_tests(
    table: Table, heads: ArrayLike, leftover: Leftover = identified, alive: Ints | None = None, now: int = 0
) -> Floats:
    """Expected cost of each test of `heads` followed by the best plan; refused above `MAX_EXACT` hypotheses."""
    _refuse_many(table)
    left = np.arange(table.mass.size) if alive is None else alive
    return np.array(
        [_then(table, left, int(t), now, lambda a, n: _optimal(table, a, leftover, n)) for t in _row(heads)]
    )


def _refuse_many(table: Table) -> None:
    if table.mass.size > MAX_EXACT:
        raise InputError(
            f"{table.mass.size} hypotheses are too many to plan exactly.",
            where="hunt.planning",
            mend=f"Plan at most {MAX_EXACT}, or use the rollout.",
        )


def _row(heads: ArrayLike) -> Ints:
    return np.atleast_1d(np.asarray(heads, np.int64))


def _class_mass(table: Table, alive: Ints) -> Floats:
    return np.bincount(table.classes[alive], table.mass[alive], minlength=table.class_count).astype(np.float64)


def _then(table: Table, alive: Ints, test: int, now: int, go_on: Callable[[Ints, int], float]) -> float:
    """Cost of one test and of what `go_on` does with each outcome; inf when all give the same outcome."""
    codes = table.outcomes[test, alive]
    if np.all(codes == codes[0]):
        return inf
    state = int(table.states[test])
    cost = float((table.costs[test] + table.moves[now, state]) * table.mass[alive].sum())
    for code in np.unique(codes):
        cost += go_on(alive[codes == code], state)
    return cost


def _optimal(table: Table, alive: Ints, leftover: Leftover, now: int) -> float:
    key = (f"best {now}", alive.tobytes())
    if key not in table.kept:
        end = leftover(_class_mass(table, alive))
        tests = range(table.costs.size) if end > 0 else ()
        best = min(
            (_then(table, alive, t, now, lambda a, n: _optimal(table, a, leftover, n)) for t in tests), default=inf
        )
        table.kept[key] = min(end, best)
    return table.kept[key]


def scores(table: Table, alive: Ints, now: int = 0) -> Floats:
    """Information per cost of each test for the hypotheses that are left, bits, shape (tests,)."""
    width = int(table.outcomes.max()) + 1
    tests, classes = table.costs.size, table.class_count
    cell = (np.arange(tests)[:, None] * classes + table.classes[alive]) * width + table.outcomes[:, alive]
    mass = np.broadcast_to(table.mass[alive], cell.shape)
    joint = np.bincount(cell.ravel(), mass.ravel(), minlength=tests * classes * width)
    return np.asarray(information(joint.reshape(tests, classes, width)) / table.prices(now))


def _greedy(table: Table, alive: Ints, leftover: Leftover, depth: int, now: int) -> float:
    key = (f"greedy {depth} {now}", alive.tobytes())
    if key in table.kept:
        return table.kept[key]
    classes = _class_mass(table, alive)
    end = leftover(classes)
    if end > 0 and depth > 0 and entropy(classes) > 0:
        rank = scores(table, alive, now)
        best = int(np.argmax(rank))
        if rank[best] > 1e-12:
            end = min(end, _then(table, alive, best, now, lambda a, n: _greedy(table, a, leftover, depth - 1, n)))
    table.kept[key] = end
    return end


def _rollout(table: Table, alive: Ints, leftover: Leftover, depth: int, now: int) -> float:
    end = leftover(_class_mass(table, alive))
    if end == 0 or depth == 0:
        return end
    ahead = first_tests(table, np.arange(table.costs.size), leftover, depth - 1, alive, now)
    best = int(np.argmin(ahead))
    if ahead[best] >= end:
        return end
    return _then(table, alive, best, now, lambda a, n: _rollout(table, a, leftover, depth - 1, n))
