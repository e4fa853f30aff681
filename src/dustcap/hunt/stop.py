"""When to stop testing and change the part: expected cost of a repair, its best order, and what a question is worth.

One fault is present; p_i is the probability that action i cures it and c_i what the action costs, in minutes with its
proof. Actions are tried one after the other until the unit works.

====================  ============  =======  =============================================
symbol in the source  name here     unit     meaning
====================  ============  =======  =============================================
p_i                   cures         1        probability that action i cures the fault
c_i, C^r_i            costs         min      cost of action i with its proof
C^o_i                 inspections   min      cost of looking whether part i is the one
ECR                   --            min      expected cost of the whole repair
====================  ============  =======  =============================================

References
----------
.. [1] J. B. Kadane, H. A. Simon, "Optimal strategies for a class of constrained sequential problems", Ann. Statist. 5
   (1977) 237: ordering by probability over cost (from memory).
.. [2] D. Heckerman, J. S. Breese, K. Rommelse, "Decision-theoretic troubleshooting", Comm. ACM 38 (1995) 49: expected
   cost of repair, inspection, giving up to service, value of information (from memory).
.. [3] T. J. Ottosen, F. V. Jensen, "The cost of troubleshooting cost clusters with inside information",
   arXiv:1203.3502: covers that are opened once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dustcap.errors import InputError

Floats = NDArray[np.float64]

MAX_EXACT = 12


@dataclass(frozen=True, slots=True)
class Plan:
    """Actions in order, by index; `gives_up`: after them comes the call for service; `cost` expected, minutes."""

    order: tuple[int, ...]
    cost: float
    gives_up: bool = False


def order_by_ratio(cures: ArrayLike, costs: ArrayLike) -> tuple[int, ...]:
    """Actions by falling probability over cost [1]_; equal ones in the order given."""
    p, c = _checked(cures, costs)
    return tuple(int(i) for i in np.argsort(-p / c, kind="stable"))


def expected_cost(order: Sequence[int], cures: ArrayLike, costs: ArrayLike) -> float:
    r"""Expected cost of trying actions in this order [2]_: :math:`\sum_i c_i (1 - \sum_{j<i} p_j)`.

    Examples
    --------
    >>> round(expected_cost((1, 3, 0, 2, 4), (.40, .25, .20, .10, .05), (20, 4, 15, 3, 5)), 6)
    23.25
    """
    p, c = _checked(cures, costs)
    rows = list(order)
    before = np.concatenate([[0.0], np.cumsum(p[rows])[:-1]])
    return float(np.sum(c[rows] * (1.0 - before)))


def inspect_and_repair(cures: ArrayLike, inspections: ArrayLike, costs: ArrayLike) -> Plan:
    r"""Best order where a part is inspected first and replaced only if it is the one [2]_.

    .. math:: E = \sum_i \left[(1 - \sum_{j<i} p_j) C^o_i + p_i C^r_i\right]
    """
    p, looks = _checked(cures, inspections)
    order = order_by_ratio(p, looks)
    repairs = float(np.sum(p * np.asarray(costs, dtype=float)))  # whichever the order
    return Plan(order, expected_cost(order, p, looks) + repairs)


def with_service(cures: ArrayLike, costs: ArrayLike, service: float) -> Plan:
    """Best plan where one may give up at any time for `service` minutes, which ends the job for certain [2]_.

    Actions are taken by probability over cost; the plan gives up before the first that no longer pays.
    """
    p, c = _checked(cures, costs)
    order = order_by_ratio(p, c)
    left = np.maximum(1.0 - np.concatenate([[0.0], np.cumsum(p[list(order)])]), 0.0)
    spent = np.concatenate([[0.0], np.cumsum(c[list(order)] * left[:-1])])
    totals = spent + left * service
    best = int(np.argmin(totals + 1e-12 * np.arange(totals.size)))
    return Plan(order[:best], float(totals[best]), gives_up=bool(left[best] > 1e-12))


def best_sequence(faults: ArrayLike, repairs: Sequence[Sequence[int]], costs: ArrayLike) -> Plan:
    """Cheapest order of actions that each cure several faults: exact, for up to `MAX_EXACT` actions.

    `faults` (faults,) probabilities; `repairs` the faults that each action cures, by index.
    """
    mass, c = np.asarray(faults, dtype=float), np.asarray(costs, dtype=float)
    cured = _cure_table(mass, repairs, c)

    def price(action: int, done: int) -> float:
        return float(c[action] * mass[~_covered(cured, done)].sum())

    return _exact_order(c.size, price, lambda done: bool(mass[~_covered(cured, done)].sum() <= 1e-12))


def greedy_sequence(faults: ArrayLike, repairs: Sequence[Sequence[int]], costs: ArrayLike) -> Plan:
    """Order by probability over cost, counted anew after each action; not always the cheapest."""
    mass, c = np.array(faults, dtype=float), np.asarray(costs, dtype=float)
    cured = _cure_table(mass, repairs, c)
    order: list[int] = []
    total = 0.0
    while mass.sum() > 1e-12:
        gains = np.where(np.isin(np.arange(c.size), order), -1.0, (cured @ mass) / c)
        best = int(np.argmax(gains))
        if gains[best] <= 0:
            return Plan(tuple(order), inf)
        total += float(c[best] * mass.sum())
        order.append(best)
        mass[cured[best]] = 0.0
    return Plan(tuple(order), total)


def with_covers(cures: ArrayLike, costs: ArrayLike, covers: Sequence[str], cover_costs: dict[str, float]) -> Plan:
    """Cheapest order where an action behind a cover first pays for opening it, once [3]_; exact, small.

    `covers` names the cover of each action, "" for none.
    """
    p, c = _checked(cures, costs)

    def price(action: int, done: int) -> float:
        behind = covers[action]
        opened = not behind or any(covers[i] == behind for i in _members(done))
        left = max(1.0 - sum(p[i] for i in _members(done)), 0.0)
        return float((c[action] + (0.0 if opened else cover_costs[behind])) * left)

    return _exact_order(p.size, price, lambda done: done == 2**p.size - 1)


def worth_of_question(
    cures: ArrayLike, costs: ArrayLike, answers: ArrayLike, asking: float = 0.0, service: float = inf
) -> float:
    """What a question saves on average, minutes, its own cost taken off; below zero it is not worth asking [2]_.

    `answers` (answers, faults): probability of each answer under each fault; columns sum to one.
    """
    p, c = _checked(cures, costs)
    table = np.asarray(answers, dtype=float)
    if table.ndim != 2 or table.shape[1] != p.size or not np.allclose(table.sum(axis=0), 1.0):
        raise InputError(
            f"answers of shape {table.shape} are not probabilities for {p.size} faults.",
            where="hunt.stop",
            mend="Give one row an answer, one column a fault, each column summing to one.",
        )
    after = sum(repair_cost(row * p, c, service) for row in table)
    return repair_cost(p, c, service) - after - asking


def repair_cost(mass: Floats, costs: Floats, service: float = inf, beyond: float = 0.0) -> float:
    """Mass times expected cost of the best repair from here, for masses that need not sum to one.

    As `with_service` and `expected_cost`, without the plan. `beyond`: mass that no action cures, which ends in the
    call for service.
    """
    order = np.argsort(-mass / costs, kind="stable")
    p, c = mass[order], costs[order]
    left = np.maximum(p.sum() + beyond - np.concatenate([[0.0], np.cumsum(p)]), 0.0)
    spent = np.concatenate([[0.0], np.cumsum(c * left[:-1])])
    return float(spent[-1]) if service == inf else float(np.min(spent + left * service))


def _exact_order(count: int, price: Callable[[int, int], float], done: Callable[[int], bool]) -> Plan:
    """Cheapest order by the recursion over sets of actions taken; ties go to the action named first."""
    if count > MAX_EXACT:
        raise InputError(
            f"{count} actions are too many to order exactly.",
            where="hunt.stop",
            mend=f"Order the {MAX_EXACT} likeliest, the rest by probability over cost.",
        )
    best: dict[int, tuple[float, tuple[int, ...]]] = {}
    for taken in range(2**count - 1, -1, -1):  # supersets first
        if done(taken):
            best[taken] = (0.0, ())
            continue
        best[taken] = (inf, ())
        for action in range(count):
            if not taken >> action & 1:
                ahead, order = best[taken | 1 << action]
                cost = price(action, taken) + ahead
                if cost < best[taken][0] - 1e-12:
                    best[taken] = (cost, (action, *order))
    cost, order = best[0]
    return Plan(order, cost)


def _cure_table(mass: Floats, repairs: Sequence[Sequence[int]], costs: Floats) -> NDArray[np.bool_]:
    if len(repairs) != costs.size:
        raise InputError(f"{len(repairs)} actions have {costs.size} costs.", where="hunt.stop")
    table = np.zeros((costs.size, mass.size), dtype=bool)
    for action, faults in enumerate(repairs):
        table[action, list(faults)] = True
    return table


def _covered(cured: NDArray[np.bool_], done: int) -> NDArray[np.bool_]:
    rows = list(_members(done))
    return np.asarray(cured[rows].any(axis=0)) if rows else np.zeros(cured.shape[1], dtype=bool)


def _members(done: int) -> Iterator[int]:
    return (i for i in range(done.bit_length()) if done >> i & 1)


def _checked(cures: ArrayLike, costs: ArrayLike) -> tuple[Floats, Floats]:
    p, c = np.asarray(cures, dtype=float), np.asarray(costs, dtype=float)
    if p.ndim != 1 or p.shape != c.shape or not (np.all(p >= 0) and np.all(c > 0) and p.sum() <= 1 + 1e-9):
        raise InputError(
            f"probabilities {p.tolist()} and costs {c.tolist()} do not go together.",
            where="hunt.stop",
            mend="Give as many costs as probabilities; probabilities sum to one at most, costs are above zero.",
        )
    return p, c
