"""Taking a unit in: which unit it is, what it does, and which board description goes with it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from dustcap.board.model import Board
from dustcap.board.read import read_board
from dustcap.errors import InputError
from dustcap.job.desk import Desk, add
from dustcap.job.payloads import Complaint, Intake


@dataclass(frozen=True, slots=True)
class TakenIn:
    """The new job: its number, and how many jobs this unit and this model have had before."""

    job: int
    earlier_of_unit: tuple[int, ...]
    earlier_of_model: tuple[int, ...]


def take_in(desk: Desk, intake: Intake, board: Path | None = None, complaints: tuple[Complaint, ...] = ()) -> TakenIn:
    """Open a job for a unit; the bench is made if this is its first.

    Parameters
    ----------
    desk : Desk
        Who takes it in, and where.
    intake : Intake
        The unit and what is known of it.
    board : Path, optional
        Its board description; the job keeps this version of it.
    complaints : tuple of Complaint
        What it does, if that is known already.

    Raises
    ------
    InputError
        If the board description is wrong, or its revision is not the unit's; nothing is kept then.
    """
    described = read_board(board) if board else None
    if described:
        intake = _with_board(intake, described)
    with desk.open(create=True) as bench, bench.write() as write:
        at = desk.now()
        earlier = write.jobs()
        model = write.add_model(intake.model)
        unit = write.add_unit(model, intake.unit)
        version = None
        if described:
            version = write.add_board(model, described.name, described.revision, described.text.encode(), at)
        job = write.add_job(desk.new_id(), unit, version, at)
        for payload in (intake, *complaints):
            add(write, desk, job, payload)
    of_model = tuple(row.id for row in earlier if row.model == intake.model)
    of_unit = tuple(row.id for row in earlier if (row.model, row.unit) == (intake.model, intake.unit))
    return TakenIn(job, of_unit, of_model)


def _with_board(intake: Intake, board: Board) -> Intake:
    if intake.revision and board.revision and intake.revision != board.revision:
        raise InputError(
            f"the unit is revision {intake.revision!r}, this board description is of revision {board.revision!r}.",
            where=board.where,
            mend="Name the description of the unit's own revision, or leave the revision out.",
        )
    return intake.model_copy(update={"revision": intake.revision or board.revision})
