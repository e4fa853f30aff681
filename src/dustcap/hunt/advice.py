"""What to do now: check, replace, clean, stop or done, and why in one sentence."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from dustcap.hunt.actions import Action, Costs, Groups, first_repair
from dustcap.hunt.evidence import Evidence, Reading
from dustcap.hunt.explain import foretold
from dustcap.hunt.next_check import FEW_ACTIONS, Outlook, Proposal
from dustcap.hunt.posterior import Posterior

CHECK, REPLACE, CLEAN, STOP, DONE = "check", "replace", "clean", "stop", "done"
SURE_ENOUGH = 0.97
MORE_THAN_A_GUESS = 0.8  # of what is in the model: below it no part is changed while a check still tells something
WELL = 0.8
LOST = 0.5
UNEXPLAINED = 0.25  # share of "not in the model" from which the advice says so
ODD, LIKELY = 0.3, 8


@dataclass(frozen=True, slots=True)
class Advice:
    """What to do; `parts` to change now and `also` as a precaution; or the `area` or the two nets to clean."""

    do: str
    why: str
    parts: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    between: tuple[str, ...] = ()
    area: str = ""


def decide(
    found: Posterior,
    evidence: Evidence,
    groups: Groups,
    outlook: Outlook,
    costs: Costs,
    partners: Mapping[str, tuple[str, ...]],
) -> Advice:
    """Weigh the best check against acting at once, by the expected minutes of the whole repair."""
    mass = groups.mass(found.mass.sum(axis=1))
    healthy, unexplained = float(mass[0]), float(mass[-1])
    weights = groups.costs(costs, evidence.work)
    lead = first_repair(mass, weights)
    best = outlook.proposals[0] if outlook.proposals else None
    told = bool(evidence.since_work) if evidence.work else healthy >= WELL
    if told and _well_enough(healthy, float(mass[lead]), best, outlook):
        return Advice(DONE, _well(healthy, bool(evidence.work)))
    if best is not None and outlook.pairs:
        return Advice(CHECK, f"{best.check.words()} tells most about where {groups.actions[lead].areas[0]} leaks.")
    if best is not None and mass[lead] < SURE_ENOUGH:
        hazy = mass[lead] < MORE_THAN_A_GUESS * (1.0 - unexplained) or outlook.actions_left > FEW_ACTIONS
        if hazy or healthy >= mass[lead] or unexplained >= mass[lead]:
            return Advice(CHECK, f"{best.check.words()} tells most about what to change for its minutes{_odd(found)}.")
        if best.repair < outlook.repair:
            saved = outlook.repair - best.repair
            return Advice(CHECK, f"{best.check.words()} first saves about {saved:.1f} min of the whole repair.")
    if unexplained >= max(float(mass[lead]), healthy, LOST * 0.5):
        return Advice(STOP, _lost(found, unexplained))
    if healthy > mass[lead]:
        return Advice(DONE, _well(healthy, bool(evidence.work)))
    if mass[lead] / weights[lead] < 1.0 / costs.service:
        return Advice(STOP, "no check tells more, and no single repair is likely enough to be worth its minutes.")
    return _act(groups.actions[lead], float(mass[lead]), best is not None, partners)


def _well_enough(healthy: float, lead: float, best: Proposal | None, outlook: Outlook) -> bool:
    """Surely well, or more likely well than not and no check saves more than it costs: the proof itself comes next."""
    if healthy >= WELL:
        return True
    if best is None or outlook.actions_left > FEW_ACTIONS:
        return False
    return healthy > max(lead, 0.5) and not best.repair < outlook.repair


def _act(action: Action, chance: float, more_checks: bool, partners: Mapping[str, tuple[str, ...]]) -> Advice:
    reason = "a further check would cost more than it saves" if more_checks else "no further check tells more"
    sure = "over 99 %" if chance > 0.99 else f"{100 * chance:.0f} %"
    why = f"{action.words()}: {sure} likely to be what is wrong, and {reason}."
    if action.parts:
        also = {other for part in action.parts for other in partners.get(part, ())} - set(action.parts)
        return Advice(REPLACE, why, parts=action.parts, also=tuple(sorted(also)))
    pair = action.between[0] if action.between else ()
    return Advice(CLEAN, why, between=pair, area=action.areas[0] if action.areas else "")


def _well(healthy: float, worked: bool) -> str:
    after = (
        "what was read after the work fits a healthy board" if worked else "nothing that was found speaks of a fault"
    )
    return f"{after} ({100 * healthy:.0f} %); prove it by measurement before it goes back."


def _lost(found: Posterior, unexplained: float) -> str:
    again = " and ".join(oddest(found))
    return (
        f"nothing in the description explains what was found ({100 * unexplained:.0f} %); "
        + (f"measure {again} again, " if again else "")
        + "and describe more of the board around there."
    )


def _odd(found: Posterior) -> str:
    """What to measure again, when much of the mass is not in the model."""
    again = " and ".join(oddest(found))
    if found.unexplained < UNEXPLAINED or not again:
        return ""
    return f"; {100 * found.unexplained:.0f} % is something not described, so measure {again} again"


def oddest(found: Posterior, most: int = 2) -> tuple[str, ...]:
    """The readings that the likely suspects foretell worst against a board that nothing is known of, worst first."""
    likely = [int(i) for i in np.argsort(-found.probability, kind="stable")[:LIKELY]]
    share = found.probability[likely] / max(found.probability[likely].sum(), 1e-300)
    odds: dict[str, float] = {}
    for term in found.terms:
        if isinstance(term.entry, Reading):
            said = [foretold(term.likelihood[i], found.weights(i)) for i in likely]
            odds[term.entry.check.words()] = float(share @ said) / float(term.likelihood[-1].mean())
    ranked = sorted(odds, key=lambda words: odds[words])
    return tuple(words for words in ranked[:most] if odds[words] < ODD)
