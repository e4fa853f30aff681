"""The hunt over a job's entries, kept in the record."""

from __future__ import annotations

from pathlib import Path

from dustcap.board.read import parse_board, read_board
from dustcap.errors import InputError
from dustcap.job.desk import Desk, append, view
from dustcap.job.hunt import NEXT, PREDICTIONS, BlockHunter, Document, HuntAnswer, Hunter, Progress, suspect_words
from dustcap.job.payloads import HuntKept
from dustcap.job.twin import told_of

KEPT_SUSPECTS = 12
KEPT_NEXT = 3


def hunt_job(
    desk: Desk,
    job: int,
    *,
    board: Path | None = None,
    next: int = NEXT,
    why: str = "",
    progress: Progress = lambda share: None,
) -> HuntAnswer:
    """Hunt over a job's entries; the answer becomes an entry, once for each state of the findings.

    On the job's own board; on `board` where it has none; without either among the blocks of a usual loudspeaker.

    Raises
    ------
    InputError
        If a board is given for a job that has its own.
    """
    return JobHunt(desk, job, progress, board).ask(next, why)


class JobHunt:
    """The hunt of one job, from finding to finding."""

    def __init__(
        self, desk: Desk, job: int, progress: Progress = lambda share: None, board: Path | None = None
    ) -> None:
        text = view(desk, job).board_text
        if text is not None and board is not None:
            raise InputError(
                "the job has a board description of its own.", where=f"job {job}", mend="Leave the board out."
            )
        self.desk, self.job = desk, job
        self.hunter: Hunter | BlockHunter
        if text is None and board is None:
            self.hunter = BlockHunter(desk.folder / PREDICTIONS, progress, loose=True)
        else:
            described = read_board(board) if board is not None else parse_board(text or "", f"board of job {job}")
            self.hunter = Hunter(described, desk.folder / PREDICTIONS, progress)

    def ask(self, next: int = NEXT, why: str = "") -> HuntAnswer:
        """The answer after the findings so far."""
        state = view(self.desk, self.job).state
        answer = self.hunter.ask(told_of(self.desk, state, self.hunter.known), next, why)
        last = state.last(HuntKept)
        if last is not None and last.upto >= state.last_finding:
            return answer
        kept = _kept(answer.document, max(state.last_finding, 1))
        return HuntAnswer(answer.document, answer.cautions, append(self.desk, self.job, kept))


def _kept(document: Document, upto: int) -> HuntKept:
    suspects = tuple(
        {
            "words": suspect_words(row),
            "parts": row["parts"],
            "probability": row["probability"],
            "explains": row["explains"],
            "against": row["against"],
        }
        for row in document["suspects"][:KEPT_SUSPECTS]
    )
    return HuntKept(
        upto=upto,
        suspects=suspects,
        unexplained=document["unexplained"],
        healthy=document["healthy"],
        advice=document["advice"],
        next=tuple(document["next"][:KEPT_NEXT]),
    )
