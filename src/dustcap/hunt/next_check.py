"""Which check to make next: what it tells about the action to take, per minute and per risk.

Each candidate is scored by its information about the action called for, over its minutes (with the change of state it
needs) and its risk put in minutes. A check is left out when one in a safer state tells as much, and when it was made
already on this board. Once few actions are left, the best are ordered by rollout: the expected minutes of the whole
repair when the check is made first and the hunt goes on greedily from there.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from dustcap.hunt.actions import Costs, Groups, first_repair, group_each
from dustcap.hunt.ahead import Ahead, leftover_of
from dustcap.hunt.entropy import entropy
from dustcap.hunt.evidence import Complaint, Evidence, Reading, Sighting, same_check
from dustcap.hunt.memory import heard
from dustcap.hunt.outcomes import COARSE, FINE, QUICK_TAIL, cloud_of, only_faults
from dustcap.hunt.posterior import Posterior
from dustcap.hunt.proposal import Proposal
from dustcap.hunt.telling import careful_bits, quick_bits
from dustcap.predict.checks import STATES, UNPLUGGED, Check

Floats = NDArray[np.float64]

FEW_ACTIONS = 12.0  # rollout from here on: two to the entropy of the actions
LITTLE = 0.3  # bits of the best check below which it is looked ahead however many actions are left
TELLS_NOTHING = 0.01
CAREFUL_CHECKS, MOST_CAREFUL = 12, 24
AS_MUCH = 0.98
ATTEMPTS = 2  # at a reading that is withdrawn: a choice of ours
PAIR_BIT = 5.0  # minutes that a bit about the leaking pair is worth: a choice of ours
PAIR_KINDS = ("ohms", "dc volts")  # two leads that are put on again after the cleaning
AREA_LEADS = 0.5
_same = lru_cache(maxsize=8192)(same_check)
HARMFUL = ("cone pushed out", "squeal")
BLOWS = "blows fuse"


@dataclass(frozen=True)
class Outlook:
    """Proposals, best first, and what the repair costs now: `repair` in minutes without any further check.

    `acting`: what it costs to try one repair after the other, and to give the unit up where that is cheaper;
    `giving_up`: what it costs to do so at once. `pairs`: the first proposals tell where the leading area leaks, and are
    worth their minutes for that alone.
    """

    proposals: tuple[Proposal, ...]
    repair: float
    actions_left: float
    pairs: bool = False
    acting: float = 0.0
    giving_up: float = float("inf")


def plan_checks(
    found: Posterior,
    evidence: Evidence,
    groups: Groups,
    costs: Costs,
    units: Mapping[str, str],
    drivers: Mapping[str, str],
) -> Outlook:
    """Score every candidate check and put the best first.

    `units`: unit of each part when it is lifted (ohm, F or V); `drivers`: part for each name of a driver.
    """
    predictions = found.predictions
    harm, state = harm_of(found), state_now(evidence)

    coarse, cloud = cloud_of(found, groups, COARSE, QUICK_TAIL), cloud_of(found, groups, FINE)

    changes = {then: costs.change(state, then) for then in STATES}

    def proposed(some: Sequence[Check], told: Floats) -> list[Proposal]:
        return [
            Proposal(check, one, check.minutes + costs.reaching(check) + changes[check.state], costs.risk(check, harm))
            for check, one in zip(some, told.tolist(), strict=True)
        ]

    def careful(some: Sequence[Check]) -> list[Proposal]:
        return proposed(some, careful_bits(cloud, found, some, units))

    told = quick_bits(coarse, found, units)
    checks = permitted(predictions.candidates(), evidence, drivers)
    quick = proposed(checks, np.array([told[check] for check in checks]))
    telling = [p for p in quick if p.bits > TELLS_NOTHING]
    proposals = _refined(telling, careful)
    proposals = no_needless_danger([p for p in proposals if p.bits > TELLS_NOTHING])
    proposals.sort(key=lambda p: (-p.score, p.check))
    mass = groups.mass(found.mass.sum(axis=1))
    minutes = groups.costs(costs, evidence.work)
    leftover = leftover_of(minutes, groups.unexplained, costs.service)
    left, acting = float(2.0 ** entropy(mass)), leftover(mass)
    repair, lead = acting, first_repair(groups, mass, minutes, costs)
    if proposals and (left <= FEW_ACTIONS or max(p.bits for p in proposals) < LITTLE):
        ahead = Ahead(cloud, found, proposals, units, minutes, costs, state)
        proposals, repair = ahead.ordered(), min(repair, ahead.acting(lead, float(minutes[lead])))
    where = _where_it_leaks(found, groups, lead, mass, units, checks, proposed)
    proposals = [*where, *(p for p in proposals if p.check not in {q.check for q in where})]
    return Outlook(tuple(proposals), repair, left, bool(where), acting, costs.service * float(mass.sum()))


def _where_it_leaks(
    found: Posterior,
    groups: Groups,
    lead: int,
    mass: Floats,
    units: Mapping[str, str],
    checks: Sequence[Check],
    proposed: Callable[[Sequence[Check], Floats], list[Proposal]],
) -> list[Proposal]:
    """Checks worth their minutes for telling the leaks of an area apart, when cleaning it is the likely repair.

    Cleaning helps whichever pair of nets leaks. To know the pair is worth something all the same: the same two leads
    show at once whether the cleaning reached it, before the unit is closed and proven, and the next unit of the model
    is searched there first. A bit of that is put at `PAIR_BIT` minutes. Either end of a small resistor reads the same
    ohms to a leak of a hundred times as many; what flows through it shows in volts.
    """
    if not groups.actions[lead].areas or groups.actions[lead].parts or mass[lead] < AREA_LEADS:
        return []
    cloud = only_faults(cloud_of(found, group_each(found.predictions.suspects, groups, lead), COARSE))
    found_here: list[Proposal] = []
    for kind in PAIR_KINDS:
        some, quick = [check for check in checks if check.kind == kind], quick_bits(cloud, found, units, kind)
        ranked = sorted(some, key=lambda check: -quick[check])[:CAREFUL_CHECKS]
        found_here += proposed(ranked, careful_bits(cloud, found, ranked, units)) if ranked else []
    worth = [p for p in no_needless_danger(found_here) if PAIR_BIT * p.bits > p.minutes + p.risk]
    return sorted(worth, key=lambda p: (-p.score, p.check))


def _refined(quick: Sequence[Proposal], careful: Callable[[Sequence[Check]], list[Proposal]]) -> list[Proposal]:
    """Proposals counted carefully, best first, until the best few are: a quick count only ever says too much.

    What was not counted carefully is left out, as it ranks below those that were.
    """
    ranked = iter(sorted(quick, key=lambda p: -p.score))
    done: list[Proposal] = []
    while len(done) < MOST_CAREFUL and (some := list(islice(ranked, CAREFUL_CHECKS))):
        best = sorted((p.score for p in done), reverse=True)
        if best and best[CAREFUL_CHECKS - 1] >= some[0].score:
            break
        done += careful([p.check for p in some])
    return done


def permitted(candidates: Sequence[Check], evidence: Evidence, drivers: Mapping[str, str]) -> tuple[Check, ...]:
    """Candidates, each once, without those already made on this board; a withdrawn reading may be made again, once.

    A unit that blows its fuse gets no powered check, and one that pushes a cone out or squeals none with its drivers.
    """
    told = {entry.word for entry in evidence.since_work if isinstance(entry, Complaint) and entry.seen}
    states = STATES[:1] if BLOWS in told else STATES[:2] if told.intersection(HARMFUL) else STATES
    made = _given_up(evidence)
    looked: set[tuple[str, str]] = set()
    for entry in evidence.since_work:
        if isinstance(entry, Reading):
            made.add(entry.key)
        elif isinstance(entry, Sighting):
            looked.add(("look", entry.target))
        elif isinstance(entry, Complaint):
            looked.add((entry.word, drivers.get(entry.driver, entry.driver)))
    kept: dict[Check, Check] = {}
    for check in (check for check in candidates if check.state in states):
        where = check.part or check.at
        about = (check.word, drivers.get(where, where)) if check.kind == "listen" else (check.kind, where)
        if _same(check) not in made and (check.kind not in ("look", "listen") or about not in looked):
            kept.setdefault(_same(check), check)
    return tuple(kept.values())


def _given_up(evidence: Evidence) -> set[Check]:
    """Readings withdrawn `ATTEMPTS` times on this board: there is something in their way."""
    tried = Counter(e.key for e in evidence.entered_since_work if isinstance(e, Reading) and e.withdrawn)
    return {check for check, times in tried.items() if times >= ATTEMPTS}


def no_needless_danger(proposals: Sequence[Proposal]) -> list[Proposal]:
    """Leave out each check for which another one in a safer state tells as much.

    Lifting a part is not held against a powered check: unsoldering does harm of its own.
    """
    told = dict.fromkeys(STATES, 0.0)
    for proposal in proposals:
        if proposal.check.kind != "lifted":
            told[proposal.check.state] = max(told[proposal.check.state], proposal.bits)

    def safer(proposal: Proposal) -> float:
        return max((told[state] for state in STATES[: STATES.index(proposal.check.state)]), default=0.0)

    return [proposal for proposal in proposals if safer(proposal) < AS_MUCH * proposal.bits]


def state_now(evidence: Evidence) -> str:
    """The state that the last check left the unit in; unplugged after work and at the start."""
    for entry in reversed(evidence.since_work):
        if isinstance(entry, Reading):
            return entry.check.state
    return UNPLUGGED


def harm_of(found: Posterior) -> float:
    """Probability that the board as it is now would push a cone out or squeal into a driver."""
    rows = found.mass[:-1]
    total = max(rows.sum(), 1e-300)
    each = [float(np.sum(rows * heard(found.predictions, word, "")) / total) for word in HARMFUL]
    return float(min(sum(each), 1.0))
