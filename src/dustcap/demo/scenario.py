"""The invented scenario: four units of one model out of a dance school's rehearsal rooms, and what ails each.

Everything here is made up. A hidden fault is named as results name it; its severity is the quantile that
`dustcap.faults.severity` draws from.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

MODEL = "model 27"
HISTORY = "rehearsal rooms of a dance school on a river estuary; bought as one lot; seven damp winters"


@dataclass(frozen=True, slots=True)
class DemoUnit:
    """One unit: what its owner says, what it does, what is wrong with it, and how far its job is taken."""

    unit: str
    revision: str
    pair_with: str
    says: str
    complaints: tuple[tuple[str, str, str], ...]  # word, driver, how it goes with the volume
    absent: tuple[tuple[str, str], ...]
    sightings: tuple[tuple[str, str], ...]  # word, part or area
    fault: Mapping[str, Any]
    severity: float
    seed: int
    checks: int  # at most so many before the technician is called away
    checks_first: int = 0  # so many readings before any work, for the record
    take: str = ""  # the recording made at intake


CONE_OUT = DemoUnit(
    unit="room 1 left",
    revision="C",
    pair_with="room 1 right",
    says="cone jumps out at switch-on and stays",
    complaints=(("cone pushed out", "woofer", ""),),
    absent=(("squeal", ""), ("blows fuse", "")),
    sightings=(("residue", "glue_1"),),
    fault={"leak": ("rail+", "wf_fb"), "area": "glue_1"},
    severity=0.36,
    seed=101,
    checks=12,
    checks_first=3,
)
OTHERS = (
    DemoUnit(
        unit="room 1 right",
        revision="C",
        pair_with="room 1 left",
        says="quiet hum and a weak woofer",
        complaints=(("hum", "woofer", "constant"), ("weak output", "woofer", "")),
        absent=(),
        sightings=(),
        fault={"leak": ("rail-", "wf_in"), "area": "glue_1"},
        severity=0.5,
        seed=102,
        checks=3,
    ),
    DemoUnit(
        unit="room 2 left",
        revision="A",
        pair_with="room 2 right",
        says="squeals until warm",
        complaints=(("squeal", "", ""),),
        absent=(("hum", ""),),
        sightings=(),
        fault={"part": "C2", "mode": "esr up"},
        severity=0.9,
        seed=103,
        checks=2,
    ),
    DemoUnit(
        unit="room 2 right",
        revision="A",
        pair_with="room 2 left",
        says="works, rustles in the tweeter whatever the volume",
        complaints=(("crackle", "tweeter", "constant"),),
        absent=(("hum", ""),),
        sightings=(),
        fault={"part": "U9", "mode": "noisy"},
        severity=0.5,
        seed=104,
        checks=2,
        take="rustling",
    ),
)
