"""Games against the hunt: a hidden fault, part values that the hunt does not know, and a meter that errs as stated."""

from __future__ import annotations

import numpy as np
from hunt.ladder import KNOWN, Ladder, cone, failed, read_all, tolerances

from dustcap.faults.suspects import Suspect
from dustcap.hunt.actions import Action, Costs, action_of
from dustcap.hunt.evidence import Complaint, Entry, Evidence, Reading, Work
from dustcap.hunt.hunt import hunt
from dustcap.hunt.meter import BLUNDER, HANDHELD, POOR, POOR_WIDTH, half_width, spread_of
from dustcap.predict.checks import Check


class Unit:
    """One unit with a fault of its own; `errs`: whether readings carry the errors that the hunt reckons with."""

    def __init__(self, suspect: Suspect, rng: np.random.Generator, errs: bool = True) -> None:
        self.suspect, self.rng, self.errs = suspect, rng, errs
        self.healthy = tolerances((), rng)
        self.ohms = failed(self.healthy, suspect, rng.random())

    def true(self, check: Check) -> float:
        """What the check would read with a perfect meter."""
        return float(read_all(self.ohms, check))

    def repair(self) -> None:
        """The unit without its fault."""
        self.suspect, self.ohms = Suspect(()), self.healthy

    def complaint(self) -> Complaint:
        """Whether the cone is reported as pushed out."""
        chance = float(cone(np.array(self.true(Check("dc volts", "n4", "0V")))))
        return Complaint("cone pushed out", "woofer", seen=bool(self.rng.random() < chance))

    def read(self, check: Check) -> Reading:
        """A reading of the check as a handheld meter shows it."""
        unit = KNOWN.parts.get(check.part, "")
        spread, value = spread_of(check, unit), self.true(check)
        if self.errs and self.rng.random() < BLUNDER:
            return self._blunder(check, unit)
        if np.isinf(value):
            return Reading(check, over=True, unit=unit)
        if self.errs:
            width = POOR_WIDTH if self.rng.random() < POOR else 1.0
            value += width * np.hypot(spread.relative * value, spread.floor) * self.rng.standard_normal()
            value += half_width(HANDHELD, spread, value) * self.rng.uniform(-1, 1)
        if spread.over < np.inf and value > spread.over:
            return Reading(check, over=True, unit=unit)
        value = value if spread.signed else max(value, 0.0)
        return Reading(check, value, value, unit=unit)

    def _blunder(self, check: Check, unit: str) -> Reading:
        spread = spread_of(check, unit)
        if self.rng.random() < spread.over_share:
            return Reading(check, over=True, unit=unit)
        whole = np.arcsinh(spread.top / spread.fine)
        value = float(spread.fine * np.sinh(self.rng.uniform(-whole if spread.signed else 0.0, whole)))
        return Reading(check, value, value, unit=unit)


def random_evidence(unit: Unit, table: Ladder, rng: np.random.Generator, most: int) -> tuple[Entry, ...]:
    """A few readings at random places."""
    checks = table.candidates()
    picked = rng.choice(len(checks), rng.integers(1, most + 1), replace=False)
    return tuple(unit.read(checks[i]) for i in picked)


class Played:
    """How a hunt went: minutes spent, what was repaired and what the hunt said last."""

    def __init__(self) -> None:
        self.minutes, self.checks, self.entries, self.actions, self.last = 0.0, 0, [], [], ""


def play(unit: Unit, table: Ladder, steps: int = 30) -> Played:
    """Follow the hunt's advice from the complaint to its last word; a repair mends the unit if it was the right one."""
    game = Played()
    game.entries.append(unit.complaint())
    for _ in range(steps):
        said = hunt(table, Evidence(tuple(game.entries)), known=KNOWN, next=1)
        game.last = said.advice.do
        if said.advice.do == "check":
            proposal = said.next[0].proposal
            game.entries.append(unit.read(proposal.check))
            game.minutes, game.checks = game.minutes + proposal.minutes, game.checks + 1
        elif said.advice.do in ("replace", "clean"):
            action = Action(said.advice.parts, (said.advice.area,) if said.advice.area else ())
            game.actions.append(action)
            game.minutes += Costs().of(action)
            if action_of(unit.suspect) == action:
                unit.repair()
            did = Work("replaced", part=action.parts[0]) if action.parts else Work("cleaned", area=action.areas[0])
            game.entries += [did, unit.complaint()]
        else:
            break
    return game
