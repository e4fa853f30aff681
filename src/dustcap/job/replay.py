"""A hunt played again to an earlier point of its job: what was known then, and what it says to that."""

from __future__ import annotations

from dataclasses import replace

from dustcap.errors import InputError
from dustcap.job.desk import Desk, JobView, view
from dustcap.job.hunt import NEXT, HuntAnswer
from dustcap.job.job_hunt import JobHunt
from dustcap.job.state import fold
from dustcap.job.twin import told_of


def view_at(desk: Desk, job: int, upto: int) -> JobView:
    """The job as it stood after its entry of that position.

    Raises
    ------
    InputError
        If there is no such entry.
    """
    seen = view(desk, job)
    if not 1 <= upto <= seen.state.last_position:
        raise InputError(
            f"there is no entry {upto} to go back to.",
            where=f"job {job}",
            mend=f"Its entries are 1 to {seen.state.last_position}.",
        )
    with desk.open() as bench, bench.read() as read:
        entries = read.entries(job)
    return replace(seen, state=fold(entries[:upto]))


def ask_at(hunt: JobHunt, upto: int, next: int = NEXT) -> HuntAnswer:
    """What the hunt says to the findings up to that entry; nothing is kept."""
    then = view_at(hunt.desk, hunt.job, upto)
    return hunt.hunter.ask(told_of(hunt.desk, then.state, hunt.hunter.known), next)
