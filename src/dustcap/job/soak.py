"""The soak of a job: how often the fault came before the work, what was run since, and what that shows.

Runs after the work count from the last work on: what was run before it speaks of another unit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from dustcap.errors import InputError
from dustcap.job.desk import Desk, append, view
from dustcap.job.payloads import Soak, Work
from dustcap.job.state import JobState
from dustcap.proof.judge import Verdict
from dustcap.proof.soak import (
    cycles_to_show,
    hours_to_show,
    shown_hours,
    shown_reliability,
    soak,
    soak_hours,
)

By = Literal["cycles", "hours"]

CONFIDENCE = 0.95
SOURCE = "exact binomial bound (Clopper and Pearson 1934), Jeffreys prior; ours: 5 % left"
SOURCE_HOURS = "chi-square bound, constant rate (MIL-HDBK-338B, from memory), Jeffreys prior; ours: 5 % left"


@dataclass(frozen=True, slots=True)
class Runs:
    """How often it came in how many cycles or hours."""

    came: int = 0
    amount: float = 0.0


@dataclass(frozen=True, slots=True)
class Target:
    """What shall be shown: the fault in less than that share of cycles, or so many hours between failures."""

    below: float | None = None
    once_in_h: float | None = None
    confidence: float = CONFIDENCE


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a soak stands, by cycles or by hours.

    `needed` clean cycles or hours make "fixed" fair (an unrepaired unit would pass them with 5 % chance), `remaining`
    are still to run, `left` is that chance so far; none of them without a count from before the work. `shown` is the
    bound so far: the largest share of cycles with the fault, or the shortest mean time between failures in hours; none
    before anything was run. `target` are the cycles or hours that show what was asked for with these failures.
    """

    by: By
    came_before: int
    before: float
    run: float
    came: int
    needed: float | None
    remaining: float | None
    left: float | None
    shown: float | None
    confidence: float
    target: float | None
    target_remaining: float | None
    verdict: str
    said: str


def standing(by: By, before: Runs, after: Runs, target: Target | None = None) -> Standing:
    """What the runs show.

    Raises
    ------
    InputError
        If the counts contradict each other, or the fault came too seldom before the work to be shown gone.
    """
    target = target or Target()
    needed = remaining = left = None
    verdict = "fail" if after.came else "undecided"
    if before.came and by == "cycles":
        found = soak(int(after.amount), after.came, came=before.came, tried=int(before.amount))
        needed, remaining, left, verdict = float(found.needed), float(found.remaining), found.left, found.verdict
    elif before.came:
        hours = soak_hours(after.amount, after.came, came=before.came, hours_before=before.amount)
        needed, remaining, left, verdict = hours.needed, hours.remaining, hours.left, hours.verdict
    wanted = _target(by, after.came, target)
    return Standing(
        by=by,
        came_before=before.came,
        before=before.amount,
        run=after.amount,
        came=after.came,
        needed=needed,
        remaining=remaining,
        left=left,
        shown=_shown(by, after, target.confidence),
        confidence=target.confidence,
        target=wanted,
        target_remaining=None if wanted is None else max(wanted - after.amount, 0.0),
        verdict=verdict,
        said=_said(by, before, after, needed, left),
    )


def _target(by: By, failures: int, target: Target) -> float | None:
    if by == "cycles" and target.below is not None:
        return float(cycles_to_show(target.below, target.confidence, failures))
    if by == "hours" and target.once_in_h is not None:
        return hours_to_show(target.once_in_h, target.confidence, failures)
    return None


def _shown(by: By, after: Runs, confidence: float) -> float | None:
    if not after.amount:
        return None
    if by == "cycles":
        return 1.0 - shown_reliability(int(after.amount), after.came, confidence)
    return shown_hours(after.amount, after.came, confidence)


def amount_said(by: By, amount: float) -> str:
    """``12 switch-ons``, ``8.5 h``; hours to three figures."""
    if by == "hours":
        return f"{amount:.0f} h" if amount >= 100 else f"{amount:.3g} h"
    return f"{amount:.0f} switch-on{'' if amount == 1 else 's'}"


def _said(by: By, before: Runs, after: Runs, needed: float | None, left: float | None) -> str:
    """What has been shown so far, in one sentence."""
    was = ""
    if before.came:
        was = f"Before the work the fault came {before.came} times in {amount_said(by, before.amount)}. "
    if after.came:
        since = amount_said(by, after.amount)
        return f"{was}It came again {after.came} times in {since} after the work: it is not fixed."
    if needed is None:
        clean = f"It ran {amount_said(by, after.amount)} clean so far. " if after.amount else ""
        return f"{clean}How often the fault came before the work was not counted: nothing says how many are enough."
    if not after.amount:
        return f'{was}{amount_said(by, needed)} without it make "fixed" a fair word; none was run so far.'
    chance = f"an unrepaired unit would have run as clean with a chance of {percent(left or 0.0)}"
    run = amount_said(by, after.amount)
    if after.amount >= needed:
        return f'{was}It ran {run} clean since: {chance}, so "fixed" is a fair word.'
    more = amount_said(by, needed - after.amount)
    return f"{was}It ran {run} clean since: {chance}; {more} more are needed."


def percent(share: float) -> str:
    """A share as per cent, with the digits that it needs."""
    return f"{100 * share:.0f} %" if share >= 0.1 else f"{100 * share:.2g} %"


def standings(state: JobState, target: Target | None = None) -> tuple[Standing, ...]:
    """The soak of a job, by cycles and by hours, each where something was counted."""
    facts = [fact for fact in state.standing() if isinstance(fact.payload, Soak)]
    worked = max((fact.position for fact in state.standing() if _mends(fact.payload)), default=0)
    found = []
    by: By
    for by in ("cycles", "hours"):
        before, after = Runs(), Runs()
        for fact in facts:
            one = fact.payload
            if not isinstance(one, Soak):
                continue
            amount = one.cycles if by == "cycles" else one.hours
            if amount is None:
                continue
            if one.when == "before":
                before = Runs(before.came + one.came, before.amount + amount)
            elif fact.position > worked:
                after = Runs(after.came + one.came, after.amount + amount)
        if before.amount or after.amount:
            found.append(standing(by, before, after, target))
    return tuple(found)


def _mends(payload: object) -> bool:
    return isinstance(payload, Work) and not payload.precaution


def soak_verdicts(state: JobState) -> tuple[Verdict, ...]:
    """The soak among the verdicts of a proof: clean cycles or hours against those that are needed."""
    rows = []
    for one in standings(state):
        if one.came_before or one.run:
            unit = "switch-ons" if one.by == "cycles" else "h"
            source = SOURCE if one.by == "cycles" else SOURCE_HOURS
            rows.append(
                Verdict(
                    what="soak",
                    verdict=one.verdict,
                    value=one.run,
                    limit=one.needed,
                    unit=unit,
                    better="above",
                    why=one.said,
                    source=source,
                )
            )
    return tuple(rows)


def soak_said(state: JobState) -> str:
    """What the soak of a job has shown so far, in plain sentences; empty when nothing was counted."""
    return " ".join(one.said for one in standings(state))


def enter_runs(desk: Desk, job: int, runs: Soak) -> int:
    """Keep what was counted; returns the position of the entry."""
    return append(desk, job, runs)


def job_standings(desk: Desk, job: int, target: Target | None = None) -> tuple[Standing, ...]:
    """The soak of a job as it stands.

    Raises
    ------
    InputError
        If nothing was counted in this job.
    """
    found = standings(view(desk, job).state, target)
    if not found:
        raise InputError(
            "nothing was counted yet.",
            where=f"job {job}",
            mend=f"`dustcap soak {job} --came 3 --tried 10` before the work, `dustcap soak {job} --cycles 5` after it.",
        )
    return found
