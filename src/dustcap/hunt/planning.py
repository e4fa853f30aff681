"""Plans over a finite table: hypotheses, tests with certain outcomes, costs; what the best order of tests costs.

Three planners: exact (every order, feasible to about twelve hypotheses), greedy (most information per cost, one step),
and rollout (the test after which greedy does best: one step of policy improvement). A plan ends where one class is
left, or where `leftover` says that ending is no dearer than going on.

All costs are mass times cost, so that nothing has to be normalised on the way down.

References
----------
M. R. Garey, "Optimal binary identification procedures", SIAM J. Appl. Math. 23 (1972) 173: the recursion (from memory).
D. P. Bertsekas, J. N. Tsitsiklis, C. Wu, "Rollout algorithms for combinatorial optimization", J. Heuristics 3 (1997)
245: rollout is never worse than the policy it starts from (from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
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
    (hypotheses,) whole numbers: hypotheses of one class call for the same action.
    """

    mass: Floats
    outcomes: Ints
    costs: Floats
    classes: Ints
    kept: dict[tuple[str, bytes], float] = field(default_factory=dict, repr=False, compare=False)

    @property
    def class_count(self) -> int:
        """Number of classes."""
        return int(self.classes.max()) + 1


def make_table(mass: ArrayLike, outcomes: ArrayLike, costs: ArrayLike, classes: ArrayLike | None = None) -> Table:
    """A checked table; without `classes` each hypothesis is its own."""
    weights, codes, prices = np.asarray(mass, float), np.asarray(outcomes, np.int64), np.asarray(costs, float)
    names = np.arange(weights.size) if classes is None else np.asarray(classes, np.int64)
    if codes.shape != (prices.size, weights.size) or names.shape != weights.shape:
        raise InputError(
            f"outcomes have shape {codes.shape} for {prices.size} tests and {weights.size} hypotheses.",
            where="hunt.planning",
            mend="Give one row of outcomes a test, one column a hypothesis.",
        )
    if not (np.all(weights >= 0) and np.all(prices > 0) and np.all(codes >= 0)):
        raise InputError("a mass or outcome is negative, or a cost is not above zero.", where="hunt.planning")
    return Table(weights, codes, prices, names)


def identified(classes: Floats) -> float:
    """Ending costs nothing when one class is left, and is not allowed before."""
    return 0.0 if np.count_nonzero(classes) <= 1 else inf


def optimal_cost(table: Table, leftover: Leftover = identified) -> float:
    """Least expected cost over every plan (mass times cost); refused above `MAX_EXACT` hypotheses."""
    if table.mass.size > MAX_EXACT:
        raise InputError(
            f"{table.mass.size} hypotheses are too many to plan exactly.",
            where="hunt.planning",
            mend=f"Plan at most {MAX_EXACT}, or use the rollout.",
        )
    return _optimal(table, np.arange(table.mass.size), leftover)


def greedy_cost(table: Table, leftover: Leftover = identified, depth: int = 64) -> float:
    """Expected cost of taking the most information per cost, step by step."""
    return _greedy(table, np.arange(table.mass.size), leftover, depth)


def rollout_cost(table: Table, leftover: Leftover = identified, depth: int = 64) -> float:
    """Expected cost of taking, at each step, the test after which greedy costs least."""
    return _rollout(table, np.arange(table.mass.size), leftover, depth)


def first_tests(
    table: Table,
    heads: ArrayLike,
    leftover: Leftover = identified,
    depth: int = 64,
    alive: Ints | None = None,
) -> Floats:
    """Expected cost of each test of `heads` followed by greedy, shape (heads,); inf for one that splits nothing.

    `alive`: the hypotheses that are left, all of them when left out.
    """
    left = np.arange(table.mass.size) if alive is None else alive
    return np.array([_then(table, left, int(t), lambda a: _greedy(table, a, leftover, depth)) for t in _row(heads)])


def _row(heads: ArrayLike) -> Ints:
    return np.atleast_1d(np.asarray(heads, np.int64))


def _class_mass(table: Table, alive: Ints) -> Floats:
    return np.bincount(table.classes[alive], table.mass[alive], minlength=table.class_count).astype(np.float64)


def _then(table: Table, alive: Ints, test: int, go_on: Callable[[Ints], float]) -> float:
    """Cost of one test and of what `go_on` does with each outcome; inf when all give the same outcome."""
    codes = table.outcomes[test, alive]
    if np.all(codes == codes[0]):
        return inf
    cost = float(table.costs[test] * table.mass[alive].sum())
    for code in np.unique(codes):
        cost += go_on(alive[codes == code])
    return cost


def _optimal(table: Table, alive: Ints, leftover: Leftover) -> float:
    key = ("best", alive.tobytes())
    if key not in table.kept:
        end = leftover(_class_mass(table, alive))
        tests = range(table.costs.size) if end > 0 else ()
        table.kept[key] = min(
            (_then(table, alive, t, lambda a: _optimal(table, a, leftover)) for t in tests), default=inf
        )
        table.kept[key] = min(end, table.kept[key])
    return table.kept[key]


def scores(table: Table, alive: Ints) -> Floats:
    """Information per cost of each test for the hypotheses that are left, bits, shape (tests,)."""
    width = int(table.outcomes.max()) + 1
    tests, classes = table.costs.size, table.class_count
    cell = (np.arange(tests)[:, None] * classes + table.classes[alive]) * width + table.outcomes[:, alive]
    mass = np.broadcast_to(table.mass[alive], cell.shape)
    joint = np.bincount(cell.ravel(), mass.ravel(), minlength=tests * classes * width)
    return np.asarray(information(joint.reshape(tests, classes, width)) / table.costs)


def _greedy(table: Table, alive: Ints, leftover: Leftover, depth: int) -> float:
    key = (f"greedy {depth}", alive.tobytes())
    if key in table.kept:
        return table.kept[key]
    classes = _class_mass(table, alive)
    end = leftover(classes)
    if end > 0 and depth > 0 and entropy(classes) > 0:
        rank = scores(table, alive)
        best = int(np.argmax(rank))
        if rank[best] > 1e-12:
            end = min(end, _then(table, alive, best, lambda a: _greedy(table, a, leftover, depth - 1)))
    table.kept[key] = end
    return end


def _rollout(table: Table, alive: Ints, leftover: Leftover, depth: int) -> float:
    end = leftover(_class_mass(table, alive))
    if end == 0 or depth == 0:
        return end
    tests = range(table.costs.size)
    ahead = [_then(table, alive, t, lambda a: _greedy(table, a, leftover, depth - 1)) for t in tests]
    best = int(np.argmin(ahead))
    if ahead[best] >= end:
        return end
    return _then(table, alive, best, lambda a: _rollout(table, a, leftover, depth - 1))
