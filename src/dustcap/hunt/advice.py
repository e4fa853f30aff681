"""What to do now: check, replace, clean, stop or done, and why in one sentence."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from dustcap.hunt.actions import Action, Costs, Groups, first_repair
from dustcap.hunt.evidence import Evidence
from dustcap.hunt.next_check import FEW_ACTIONS, Outlook
from dustcap.hunt.posterior import Posterior

CHECK, REPLACE, CLEAN, STOP, DONE = "check", "replace", "clean", "stop", "done"
SURE_ENOUGH = 0.97
MORE_THAN_A_GUESS = 0.8  # of what is in the model: below it no part is changed while a check still tells something
WELL = 0.8
LOST = 0.5


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
    seen_since = not evidence.work or bool(evidence.since_work)
    if healthy >= WELL and (seen_since or best is None):
        return Advice(DONE, _well(healthy, bool(evidence.work)))
    if best is not None and mass[lead] < SURE_ENOUGH:
        hazy = mass[lead] < MORE_THAN_A_GUESS * (1.0 - unexplained) or outlook.actions_left > FEW_ACTIONS
        if hazy or healthy >= mass[lead] or unexplained >= mass[lead]:
            return Advice(CHECK, f"{best.check.words()} tells most about what to change for its minutes.")
        if best.repair < outlook.repair:
            saved = outlook.repair - best.repair
            return Advice(CHECK, f"{best.check.words()} first saves about {saved:.1f} min of the whole repair.")
    if unexplained >= max(float(mass[lead]), healthy, LOST * 0.5):
        return Advice(STOP, _lost(unexplained))
    if healthy > mass[lead]:
        return Advice(DONE, _well(healthy, bool(evidence.work)))
    if mass[lead] / weights[lead] < 1.0 / costs.service:
        return Advice(STOP, "no check tells more, and no single repair is likely enough to be worth its minutes.")
    return _act(groups.actions[lead], float(mass[lead]), best is not None, partners)


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


def _lost(unexplained: float) -> str:
    return (
        f"nothing in the description explains what was found ({100 * unexplained:.0f} %); check the readings in doubt, "
        "and describe more of the board around them."
    )
