"""What impedances tell the proof and the hand-over sheet: the newest of each driver, and whether it is sound."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from dustcap.job.desk import Desk
from dustcap.job.payloads import ImpedanceKept
from dustcap.job.state import JobState
from dustcap.proof.judge import Verdict
from dustcap.proof.verdicts import FAIL, PASS, UNDECIDED

SOURCE = "ours; common practice, no published source"
NOT_MEASURED = "impedance: no curve was taken after the work"
NOTHING = "nothing found"


def impedance_verdicts(desk: Desk, state: JobState) -> tuple[Verdict, ...]:
    """A row for what each impedance taken after the work says, or one that nothing was found in it."""
    rows: list[Verdict] = []
    for kept in newest(state, "after"):
        with desk.open() as bench, bench.read() as read:
            document: Mapping[str, Any] = json.loads(read.content(kept.result))
        what = f"impedance, {kept.driver}" if kept.driver else "impedance"
        said = [(UNDECIDED if "undecided" in one["what"] else FAIL, one) for one in document["meaning"]]
        rows += [Verdict(what, word, why=f"{one['what']} ({one['why']})", source=SOURCE) for word, one in said]
        if not said:
            rows.append(Verdict(what, PASS, why=f"{NOTHING}: {_held_against(document)}", source=SOURCE))
    return tuple(rows)


def impedance_said(state: JobState) -> str:
    """What the impedances before and after the work say, in one sentence; empty when none was taken."""
    found = []
    for when in ("before", "after"):
        for kept in newest(state, when):
            of = f", {kept.driver}" if kept.driver else ""
            found.append(f"{when} the work{of}: {', '.join(kept.says) or NOTHING}")
    line = "; ".join(found)
    return f"{line[:1].upper()}{line[1:]}." if line else ""


def newest(state: JobState, when: str) -> tuple[ImpedanceKept, ...]:
    """The last impedance of each driver and mounting, in the order in which these came."""
    kept = {(one.driver, one.box): one for one in state.all(ImpedanceKept) if one.when == when}
    return tuple(kept.values())


def _held_against(document: Mapping[str, Any]) -> str:
    re = document.get("re_ohm")
    coil = [f"{re['value']:.2f} ohm d.c."] if re else []
    beside = document.get("against")
    rated = document.get("rated_ohm")
    held = [f"held against {beside['recording']}"] if beside else []
    held += [f"{rated:g} ohm rated"] if rated else []
    return ", ".join(coil + (held or ["coil and resonance there, not held against a twin or a rated value"]))
