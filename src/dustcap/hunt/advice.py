"""What to do now: check, replace, clean, stop or done, and why in one sentence."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dustcap.hunt.actions import Action, Costs, Groups, first_repair, times_cleaned, times_replaced
from dustcap.hunt.evidence import Evidence, Reading
from dustcap.hunt.explain import foretold
from dustcap.hunt.next_check import FEW_ACTIONS, Outlook
from dustcap.hunt.posterior import Posterior
from dustcap.hunt.proposal import Proposal

CHECK, REPLACE, CLEAN, STOP, DONE = "check", "replace", "clean", "stop", "done"
SURE_ENOUGH = 0.97
MORE_THAN_A_GUESS = 0.8  # of what is in the model: below it no part is changed while a check still tells something
WELL = 0.8
LOST = 0.5
UNEXPLAINED = 0.25  # share of "not in the model" from which the advice says so
ODD, LIKELY = 0.3, 8
WORTH = 0.1  # bits a minute below which a check has to save more than it costs, or is not made: a choice of ours
PAYS = 0.98  # of the cost of giving a unit up, below which trying repairs is worth it
ALIKE, MOST_ALIKE = 0.25, 8  # share of the leading repair's mass from which another one is named beside it
ACROSS = ("short", "supply short", "leaky")
"""Modes that load what the part lies across, so that lifting one end of it takes the load off."""
TWICE, THRICE = 2, 3  # a part replaced, a place cleaned, after which it is not done again: choices of ours


@dataclass(frozen=True, slots=True)
class Advice:
    """What to do; `parts` to change now and `also` as a precaution; or the `area` or the two nets to clean."""

    do: str
    why: str
    parts: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    between: tuple[str, ...] = ()
    area: str = ""
    alike: tuple[str, ...] = ()
    """Parts that no check worth its minutes tells from those to change, likeliest first."""


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
    lead = first_repair(groups, mass, groups.costs(costs, evidence.work), costs)
    best = outlook.proposals[0] if outlook.proposals else None
    told = bool(evidence.since_work) if evidence.work else healthy >= WELL
    if told and _well_enough(healthy, float(mass[lead]), best, outlook):
        return Advice(DONE, _well(healthy, bool(evidence.work)))
    if best is not None and outlook.pairs:
        return Advice(CHECK, f"{best.check.words()} tells most about where {groups.actions[lead].areas[0]} leaks.")
    if best is not None and mass[lead] < SURE_ENOUGH:
        hazy = mass[lead] < MORE_THAN_A_GUESS * (1.0 - unexplained) or outlook.actions_left > FEW_ACTIONS
        hazy = hazy or healthy >= mass[lead] or unexplained >= mass[lead]
        saved = outlook.repair - best.repair  # nan where it was not looked ahead
        unread = bool(evidence.work) and not evidence.since_work
        if hazy and (unread or not (saved <= 0.0 and best.score < WORTH)):
            return Advice(CHECK, f"{best.check.words()} tells most about what to change for its minutes{_odd(found)}.")
        if saved > 0.0:
            return Advice(CHECK, f"{best.check.words()} first saves about {saved:.1f} min of the whole repair.")
    if unexplained >= max(float(mass[lead]), healthy, LOST * 0.5):
        return Advice(STOP, _lost(found, unexplained))
    if healthy > mass[lead]:
        return Advice(DONE, _well(healthy, bool(evidence.work)))
    if times_replaced(groups.actions[lead], evidence.work) >= TWICE:
        return Advice(STOP, _died_again(groups.actions[lead]))
    if times_cleaned(groups.actions[lead], evidence.work) >= THRICE and not groups.actions[lead].parts:
        return Advice(STOP, _cleaned_in_vain(groups.actions[lead]))
    if outlook.acting > PAYS * outlook.giving_up:
        return Advice(STOP, "no check tells more, and no repair is likely enough to be worth its minutes.")
    return _act(found, groups, mass, lead, best is not None, partners, evidence, costs)


def _died_again(action: Action) -> str:
    named = ", ".join(action.parts)
    return (
        f"{named} was replaced {TWICE} times and the readings still speak of it: look for what ruins it, or reads like "
        f"it, in the parts that feed and load it, before another one is put in."
    )


def _cleaned_in_vain(action: Action) -> str:
    return (
        f"{THRICE} times in vain: {action.words()}. What leaks lies between other nets, under the board or in a part: "
        "lift the parts that stand there one by one, read the ohms after each, and describe more of the board."
    )


def _alike(found: Posterior, groups: Groups, mass: NDArray[np.float64], lead: int) -> tuple[tuple[str, ...], bool]:
    """Parts of repairs nearly as likely as the leading one, and whether most of these load what they lie across."""
    ranked = [int(i) for i in np.argsort(-mass[1:-1], kind="stable") + 1 if i != lead]
    single = [i for i in ranked if len(groups.actions[i].parts) == 1 and not _cleans(groups, i)]
    near = [i for i in single if mass[i] >= ALIKE * mass[lead]]
    rows = np.flatnonzero(np.isin(groups.of[:-1], [lead, *near]))
    modes = [getattr(found.predictions.suspects[row].faults[-1], "mode", "") for row in rows.tolist()]
    across = sum(found.probability[row] for row, mode in zip(rows, modes, strict=True) if mode in ACROSS)
    parts = tuple(groups.actions[i].parts[0] for i in near[:MOST_ALIKE])
    return parts, bool(across > 0.5 * found.probability[rows].sum())


def _cleans(groups: Groups, action: int) -> bool:
    return bool(groups.actions[action].areas or groups.actions[action].between)


def _well_enough(healthy: float, lead: float, best: Proposal | None, outlook: Outlook) -> bool:
    """Surely well, or more likely well than not and no check saves more than it costs: the proof itself comes next."""
    if healthy >= WELL:
        return True
    if best is None or outlook.actions_left > FEW_ACTIONS:
        return False
    return healthy > max(lead, 0.5) and not best.repair < outlook.repair


def _act(
    found: Posterior,
    groups: Groups,
    mass: NDArray[np.float64],
    lead: int,
    more_checks: bool,
    partners: Mapping[str, tuple[str, ...]],
    evidence: Evidence,
    costs: Costs,
) -> Advice:
    action, chance = groups.actions[lead], float(mass[lead])
    reason = "a further check would cost more than it saves" if more_checks else "no further check tells more"
    sure = "over 99 %" if chance > 0.99 else f"{100 * chance:.0f} %"
    why = f"{action.words()}: {sure} likely to be what is wrong, and {reason}."
    why += _opened_for(action, costs)
    if not action.parts:
        pair = action.between[0] if action.between else ()
        if times_cleaned(action, evidence.work):
            why += " It was cleaned before: lift the parts that stand there, clean under them, and read the ohms again."
        return Advice(CLEAN, why, between=pair, area=action.areas[0] if action.areas else "")
    also = {other for part in action.parts for other in partners.get(part, ())} - set(action.parts)
    while_open = _while_open(groups, mass, action, costs)
    if while_open:
        also |= set(while_open)
        why += f" Change {', '.join(while_open)} with it: cheaper than to open it again."
    alike: tuple[str, ...] = ()
    if len(action.parts) == 1 and not _cleans(groups, lead):
        alike, across = _alike(found, groups, mass, lead)
        if alike:
            why += _how_to_tell(action.parts[0], alike, across)
    if times_replaced(action, evidence.work):
        why += " It was replaced before: if the new one failed too, its cause lies in what feeds or loads it."
    return Advice(REPLACE, why, parts=action.parts, also=tuple(sorted(also)), alike=alike)


def _opened_for(action: Action, costs: Costs) -> str:
    """What has to be opened for it, in a sentence."""
    closed = {costs.covers[one][0] for one in (*action.parts, *action.areas) if one in costs.covers} - costs.opened
    minutes = costs.opening((*action.parts, *action.areas))
    return f" For that {' and '.join(sorted(closed))} has to be opened ({minutes:g} min)." if closed else ""


def _while_open(groups: Groups, mass: NDArray[np.float64], action: Action, costs: Costs) -> tuple[str, ...]:
    """Parts behind the same cover that are likely enough to be changed too, before it is closed again.

    To change one needlessly costs its work and wear; to leave a bad one costs opening, powering up and proof once more.
    """
    covers = {costs.covers[one][0] for one in action.parts if one in costs.covers}
    found = []
    for i, other in enumerate(groups.actions[1:-1], 1):
        if len(other.parts) == 1 and not _cleans(groups, i) and other.parts[0] not in action.parts:
            cover, minutes = costs.covers.get(other.parts[0], ("", 0.0))
            again = minutes + costs.power_up + costs.prove
            if cover in covers and mass[i] * again > (1.0 - mass[i]) * (costs.replace + costs.wear):
                found.append(other.parts[0])
    return tuple(found)


def _how_to_tell(part: str, alike: tuple[str, ...], across: bool) -> str:
    named = f" {', '.join(alike)} would read the same"
    if across:
        return (
            f"{named}: lift one leg or supply pin of {part} first, then of each of the others, and read the ohms "
            "across them again; change the one whose lifting takes the short away."
        )
    return f"{named}: if the new {part} changes nothing, go on with them in this order."


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
    odds = {reading.check.words(): chance for reading, chance in _foretold(found)}
    ranked = sorted(odds, key=lambda words: odds[words])
    return tuple(words for words in ranked[:most] if odds[words] < ODD)


def unexplained_once(found: Posterior, evidence: Evidence) -> tuple[Reading, ...]:
    """Readings since the last work that nothing likely explains, each made only once: a slip, or something new."""
    times = Counter(entry.key for entry in evidence.since_work if isinstance(entry, Reading))
    now = [entry for entry in evidence.since_work if isinstance(entry, Reading) and times[entry.key] == 1]
    odd = [reading for reading, chance in _foretold(found) if chance < ODD]
    return tuple(entry for entry in now if any(entry is one for one in odd))


def _foretold(found: Posterior) -> Iterator[tuple[Reading, float]]:
    """Each reading with how well the likely suspects foretell it, over a board that nothing is known of."""
    likely = [int(i) for i in np.argsort(-found.probability, kind="stable")[:LIKELY]]
    share = found.probability[likely] / max(found.probability[likely].sum(), 1e-300)
    for term in found.terms:
        if isinstance(term.entry, Reading):
            said = [foretold(term.likelihood[i], found.weights(i)) for i in likely]
            yield term.entry, float(share @ said) / float(term.likelihood[-1].mean())
