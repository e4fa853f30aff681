"""All jobs of a bench at a glance."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from dustcap.job.desk import Desk
from dustcap.job.payloads import Complaint, HuntKept
from dustcap.job.state import fold
from dustcap.job.waiting import waits_for


@dataclass(frozen=True, slots=True)
class JobLine:
    """One job in one line."""

    job: int
    model: str
    revision: str
    unit: str
    opened: datetime
    touched: datetime
    stage: str
    complaints: tuple[str, ...]
    suspect: str
    probability: float | None
    entries: int
    waits: str = ""


def jobs(desk: Desk) -> tuple[JobLine, ...]:
    """Every job of the bench, the oldest first, with its stage and its leading suspect.

    Raises
    ------
    RecordError
        If there is no bench in the folder.
    """
    lines = []
    with desk.open() as bench, bench.read() as read:
        for row in read.jobs():
            entries = read.entries(row.id)
            state = fold(entries)
            hunt = state.last(HuntKept)
            lead = hunt.suspects[0] if hunt and hunt.suspects else None
            lines.append(
                JobLine(
                    job=row.id,
                    model=row.model,
                    revision=state.intake.revision,
                    unit=row.unit,
                    opened=row.at,
                    touched=entries[-1].at,
                    stage=state.stage,
                    complaints=tuple(dict.fromkeys(one.word for one in state.all(Complaint) if one.seen)),
                    suspect=str(lead["words"]) if lead else "",
                    probability=float(lead["probability"]) if lead else None,
                    entries=len(entries),
                    waits=waits_for(state, row.board is not None),
                )
            )
    return tuple(lines)
