"""What work does to the faults of a board: which it cures, how surely, and what is left.

The shares are common practice, no published source: new parts and joints are not always good, cleaning does not always
reach, and resoldering helps only where the joint was the fault.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dustcap.faults.suspects import Leak, PartFault, Suspect
from dustcap.hunt.evidence import Work

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Fault = PartFault | Leak

REPLACED = 0.98
"""A fresh part is good, and well soldered, each time anew."""
CLEANED_AWAY = 0.9
BY_CLEANING = {"noisy": 0.7, "contact resistance": 0.7, "track worn": 0.3, "resistance": 0.5}
BY_RESOLDERING = {"open": 0.5, "resistance": 0.7, "contact resistance": 0.3, "wiper open": 0.3, "winding open": 0.2}
BY_BRIDGING = {"open": 0.98, "resistance": 0.98, "stuck open": 0.98, "contact resistance": 0.98}
UNEXPLAINED_CURED = 0.1
AGAIN = 0.3
"""Share of its first chance that resoldering or bridging has when it is done over again."""
CLEANED_AGAIN = 0.6
"""The same of cleaning: the second time the parts that stand in the area are lifted and it reaches under them."""
AS_IF_GONE = ("open", "stuck open", "winding open", "dead", "no output", "base-emitter open")
"""Modes that stand for a part that is not there."""


@dataclass(frozen=True)
class Cure:
    """For each suspect: the probability that the work takes something off it, and which suspect is then left."""

    share: Floats
    leaves: Ints


def cure_of(work: Work, suspects: Sequence[Suspect], before: Sequence[Work] = ()) -> Cure:
    """What one piece of work does to each suspect; work that was done `before` on the same thing helps less.

    A joint fault loses the part that was worked on and becomes the suspect of its remaining faults; where that one is
    not among the suspects, the work is taken not to have cured it.
    """
    index = {frozenset(suspect.faults): i for i, suspect in enumerate(suspects)}
    share, leaves = np.zeros(len(suspects)), np.arange(len(suspects))
    chance = chance_again(work.did, sum(same_work(work, other) for other in before))
    for i, suspect in enumerate(suspects):
        shares = [_share(work, fault) for fault in suspect.faults]
        rest = frozenset(fault for fault, s in zip(suspect.faults, shares, strict=True) if s == 0)
        if any(shares) and rest in index:
            share[i], leaves[i] = chance * min(s for s in shares if s), index[rest]
    return Cure(share, leaves)


def chance_again(did: str, times: int) -> float:
    """Share of its first chance that work has after it was done so many times before: a new part owes nothing to the
    last one."""
    if did in ("replaced", "removed"):
        return 1.0
    return float((CLEANED_AGAIN if did == "cleaned" else AGAIN) ** times)


def same_work(work: Work, other: Work) -> bool:
    """Whether both were the same thing done to the same place."""
    places = [{*(w.between or ()), w.part, w.area} for w in (work, other)]
    return work.did == other.did and places[0] == places[1]


def gone_row(part: str, suspects: Sequence[Suspect]) -> int | None:
    """The suspect that stands for a board on which this part is missing; None when there is none."""
    for mode in AS_IF_GONE:
        for i, suspect in enumerate(suspects):
            if suspect.faults == (PartFault(part, mode),):
                return i
    return None


def _share(work: Work, fault: Fault) -> float:
    if isinstance(fault, Leak):
        return _share_of_leak(work, fault)
    if not work.part or fault.part != work.part:
        return 0.0
    if work.did == "replaced":
        return REPLACED
    if work.did == "removed":
        return 1.0
    table = {"cleaned": BY_CLEANING, "resoldered": BY_RESOLDERING, "bridged": BY_BRIDGING}[work.did]
    return table.get(fault.mode, 0.0)


def _share_of_leak(work: Work, leak: Leak) -> float:
    same_area = bool(work.area) and leak.area == work.area
    same_pair = work.between is not None and {leak.a, leak.b} == set(work.between)
    return CLEANED_AWAY if (same_area or same_pair) and work.did in ("cleaned", "removed", "replaced") else 0.0
