"""What each suspect calls for, and what that costs: suspects that call for the same action need not be told apart.

Minutes are common practice, no published source, unless a shop sets its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from dustcap.faults.suspects import Leak, PartFault, Suspect
from dustcap.hunt.cures import chance_again
from dustcap.hunt.evidence import Evidence, Reading, Sighting, Work
from dustcap.predict.checks import (
    CLEAN_MINUTES,
    CONNECTED,
    DISCONNECTED,
    POWER_UP_MINUTES,
    PROVE_MINUTES,
    REPLACE_MINUTES,
    UNPLUGGED,
    Check,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Action:
    """Parts to change, areas and pairs of nets to clean; nothing at all for a healthy board."""

    parts: tuple[str, ...] = ()
    areas: tuple[str, ...] = ()
    between: tuple[tuple[str, str], ...] = ()

    def words(self) -> str:
        """As in ``replace C9`` or ``clean glue_1``."""
        said = [f"replace {', '.join(self.parts)}"] if self.parts else []
        said += [f"clean {area}" for area in self.areas]
        said += [f"clean between {a} and {b}" for a, b in self.between]
        return " and ".join(said) or "nothing"


@dataclass(frozen=True, slots=True)
class Costs:
    """Minutes of everything that is not a check.

    Some things that are not time are put in minutes, by choice of ours: `wear`, the price of a part and the strain on a
    board each time it is soldered; `service`, giving a unit up; `come_back`, a unit that comes back with another fault;
    `driver`, a ruined driver; and the two risks.

    `covers`: the cover that a part or an area is behind with the minutes of opening it; those `opened` cost no more.
    """

    replace: float = REPLACE_MINUTES
    clean: float = CLEAN_MINUTES
    prove: float = PROVE_MINUTES
    power_up: float = POWER_UP_MINUTES
    power_down: float = 1.0
    plug_drivers: float = 0.5
    wear: float = 6.0
    service: float = 150.0
    come_back: float = 1200.0
    driver: float = 60.0
    risk_powered: float = 0.1
    risk_driven: float = 0.5
    covers: Mapping[str, tuple[str, float]] = field(default_factory=dict)
    opened: frozenset[str] = frozenset()

    def on(self, covers: Mapping[str, tuple[str, float]], evidence: Evidence) -> Costs:
        """The same for a board with covers, of which some were opened for what was done so far."""
        reached = [work.part or work.area for work in evidence.work]
        for entry in evidence.valid:
            if isinstance(entry, Sighting):
                reached.append(entry.target)
            elif isinstance(entry, Reading) and entry.check.kind == "lifted":
                reached.append(entry.check.part)
        return replace(self, covers=covers, opened=frozenset(covers[one][0] for one in reached if one in covers))

    def opening(self, targets: Iterable[str]) -> float:
        """Minutes of opening what these parts and areas are behind, each cover once."""
        closed = {self.covers[one] for one in targets if one in self.covers and self.covers[one][0] not in self.opened}
        return sum(minutes for _, minutes in closed)

    def reaching(self, check: Check) -> float:
        """Minutes of opening what a check of a part needs open; leads between nets find a way."""
        return self.opening([check.part]) if check.kind in ("lifted", "look") else 0.0

    def of(self, action: Action) -> float:
        """Minutes of an action with the covers that it needs open, powering up and proof."""
        work = len(action.parts) * self.replace + (len(action.areas) + len(action.between)) * self.clean
        return work + self.opening((*action.parts, *action.areas)) + self.power_up + self.prove

    def weight(self, action: Action) -> float:
        """What an action weighs in a decision: its minutes and the wear."""
        return self.of(action) + self.wear * len(action.parts)

    def change(self, now: str, then: str) -> float:
        """Minutes from one state of the bench to another; drivers are plugged in or out with the power off."""
        if now == then:
            return 0.0
        if then == UNPLUGGED:
            return self.power_down
        down = self.power_down if now != UNPLUGGED else 0.0
        plugs = self.plug_drivers if CONNECTED in (now, then) else 0.0
        return down + plugs + self.power_up

    def risk(self, check: Check, harm: float) -> float:
        """Minutes put on a check for its danger; `harm`: probability that the board would ruin a driver."""
        if check.state == UNPLUGGED:
            return 0.0
        return self.risk_powered if check.state == DISCONNECTED else self.risk_driven + harm * self.driver


@dataclass(frozen=True)
class Groups:
    """Actions, and which one each suspect calls for, shape (suspects + 1,).

    Action 0 is that of the healthy board (nothing); the last stands for what is not in the model.
    """

    actions: tuple[Action, ...]
    of: Ints

    @property
    def unexplained(self) -> int:
        """Number of the group of what is not in the model."""
        return len(self.actions) - 1

    def mass(self, suspects: Floats) -> Floats:
        """Mass of each group, from that of each suspect (the last one: not in the model)."""
        return np.bincount(self.of, suspects, minlength=len(self.actions)).astype(np.float64)

    def costs(self, costs: Costs, tried: Sequence[Work] = ()) -> Floats:
        """Weight of each action in minutes, that of the healthy board being the proof.

        An action tried before is as much dearer as it is less likely to help.
        """
        return np.array([costs.weight(action) / _again(action, tried) for action in self.actions])


def first_repair(groups: Groups, mass: Floats, weights: Floats, costs: Costs) -> int:
    """The repair to try first, by probability over cost; neither nothing nor giving up is one.

    A cover is opened once: those behind it count together, by the best of their first few, with its minutes once.

    References
    ----------
    T. J. Ottosen, F. V. Jensen, arXiv:1203.3502: clusters by their most efficient beginning.
    """
    ratio = mass / weights
    ratio[0] = ratio[-1] = -1.0
    for targets in _behind(costs):
        minutes = costs.opening(targets)
        mine = [
            i
            for i, action in enumerate(groups.actions[:-1])
            if {*action.parts, *action.areas} & targets and mass[i] > 0
        ]
        bare = np.maximum(weights[mine] - minutes, 1e-9)
        order = np.argsort(-mass[mine] / bare, kind="stable")
        together = np.cumsum(mass[mine][order]) / (minutes + np.cumsum(bare[order]))
        if mine:
            ratio[mine[order[0]]] = max(ratio[mine[order[0]]], float(together.max()))
    return int(np.argmax(ratio))


def _behind(costs: Costs) -> list[set[str]]:
    """What is behind each closed cover."""
    names = {name for name, _ in costs.covers.values()} - costs.opened
    return [{one for one, (cover, _) in costs.covers.items() if cover == name} for name in sorted(names)]


def _again(action: Action, tried: Sequence[Work]) -> float:
    """Share of its first chance that an action has after what was tried."""
    pairs = [set(pair) for pair in action.between]
    done = [
        work.did
        for work in tried
        if work.part in action.parts
        or work.area in action.areas
        or (work.between is not None and set(work.between) in pairs)
    ]
    return float(np.prod([chance_again(did, 1) for did in done]))


def times_cleaned(action: Action, tried: Sequence[Work]) -> int:
    """How often an action that cleans one place was done before."""
    places = [{*action.areas}, *({*pair} for pair in action.between)]
    done = [{work.area} if work.area else {*(work.between or ())} for work in tried if work.did == "cleaned"]
    return min((done.count(place) for place in places if place), default=0)


def times_replaced(action: Action, tried: Sequence[Work]) -> int:
    """How often every part of an action was replaced before; 0 when it is not only parts."""
    if not action.parts or action.areas or action.between:
        return 0
    return min(sum(work.did == "replaced" and work.part == part for work in tried) for part in action.parts)


def action_of(suspect: Suspect) -> Action:
    """What would mend the unit if this suspect is right."""
    parts = sorted({fault.part for fault in suspect.faults if isinstance(fault, PartFault)})
    leaks = [fault for fault in suspect.faults if isinstance(fault, Leak)]
    pairs = sorted({(min(leak.a, leak.b), max(leak.a, leak.b)) for leak in leaks if not leak.area})
    return Action(tuple(parts), tuple(sorted({leak.area for leak in leaks if leak.area})), tuple(pairs))


def group_by_action(suspects: Sequence[Suspect]) -> Groups:
    """Suspects by the action that they call for."""
    numbers: dict[Action, int] = {Action(): 0}
    of = [numbers.setdefault(action_of(suspect), len(numbers)) for suspect in suspects]
    return Groups((*numbers, Action()), np.array([*of, len(numbers)], dtype=np.int64))


def group_each(suspects: Sequence[Suspect], groups: Groups, action: int) -> Groups:
    """The suspects of one action each as a group of its own, all the others as one, and what is not in the model."""
    mine = groups.of[:-1] == action
    of = np.where(mine, np.cumsum(mine), 0)
    names = [action_of(suspect) for suspect, own in zip(suspects, mine, strict=True) if own]
    return Groups((Action(), *names, Action()), np.array([*of, len(names) + 1], dtype=np.int64))
