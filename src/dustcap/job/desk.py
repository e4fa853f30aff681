"""Where the steps meet the record: who works, on which bench, at what time."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from dustcap.job.payloads import Payload
from dustcap.job.state import JobState, fold
from dustcap.records.bench import Bench, has_bench, open_bench
from dustcap.records.rows import Entry, JobRow, Writer


@dataclass(frozen=True, slots=True)
class Desk:
    """A technician at a bench: the folder of the record, the author of new entries, a clock and a source of new ids.

    Clock and ids come from the edge of the program, so that a job can be played again to the last digit.
    """

    folder: Path
    author: str
    now: Callable[[], datetime]
    new_id: Callable[[], str]
    database: str = ""
    """Address of a PostgreSQL database that several benches share; the folder's own record when empty."""

    @property
    def begun(self) -> bool:
        """Whether a first unit was ever taken in here."""
        return has_bench(self.folder, self.database)

    @contextmanager
    def open(self, *, create: bool = False) -> Iterator[Bench]:
        """The bench, open for as long as the ``with`` lasts."""
        with open_bench(self.folder, create=create, url=self.database) as bench:
            yield bench


@dataclass(frozen=True, slots=True)
class JobView:
    """A job and its state, as read at one moment."""

    row: JobRow
    state: JobState
    board_text: str | None

    @property
    def number(self) -> int:
        """The job's number on its bench."""
        return self.row.id


def view(desk: Desk, job: int) -> JobView:
    """The job of that number with its state and the board description it was started with.

    Raises
    ------
    RecordError
        If there is no such bench or job.
    """
    with desk.open() as bench, bench.read() as read:
        row = read.job(job)
        text = read.content(row.board.hash).decode() if row.board else None
        return JobView(row, fold(read.entries(job)), text)


def append(desk: Desk, job: int, payload: Payload, *, corrects: int | None = None) -> int:
    """Write one entry; returns its position once it is safely on the disk.

    Raises
    ------
    RecordError
        If there is no such bench or job.
    InputError
        If the job's entries would make no sense with it.
    """
    with desk.open() as bench, bench.write() as write:
        write.job(job)
        return add(write, desk, job, payload, corrects=corrects)


def add(write: Writer, desk: Desk, job: int, payload: Payload, *, corrects: int | None = None) -> int:
    """Write one entry within a unit of work that is already under way."""
    at, plain = desk.now(), payload.plain()
    before = write.entries(job)
    fold([*before, Entry(job, len(before) + 1, at, desk.author, payload.KIND, plain, corrects)])
    return write.add_entry(job, payload.KIND, plain, author=desk.author, at=at, corrects=corrects)
