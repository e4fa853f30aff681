"""What is read from and written to the tables, within one unit of work."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa

from dustcap.errors import RecordError
from dustcap.records import schema
from dustcap.records.files import FileStore


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing that happened to a job; never changed once written."""

    job: int
    position: int
    at: datetime  # UTC
    author: str
    kind: str
    payload: Mapping[str, Any]
    corrects: int | None = None


@dataclass(frozen=True, slots=True)
class BoardRow:
    """One version of a board description; `hash` names its text among the files."""

    id: int
    name: str
    revision: str
    hash: str


@dataclass(frozen=True, slots=True)
class JobRow:
    """A job, the unit it is about and the board version it was started with."""

    id: int
    uid: str
    model: str
    unit: str
    at: datetime
    board: BoardRow | None


@dataclass(frozen=True, slots=True)
class FileRow:
    """A kept file."""

    hash: str
    name: str
    bytes: int
    at: datetime


JOBS = (
    sa.select(
        schema.jobs.c.id,
        schema.jobs.c.uid,
        schema.jobs.c.at,
        schema.models.c.name.label("model"),
        schema.units.c.name.label("unit"),
        schema.boards.c.id.label("board_id"),
        schema.boards.c.name.label("board_name"),
        schema.boards.c.revision,
        schema.boards.c.hash,
    )
    .join(schema.units, schema.units.c.id == schema.jobs.c.unit_id)
    .join(schema.models, schema.models.c.id == schema.units.c.model_id)
    .join(schema.boards, schema.boards.c.id == schema.jobs.c.board_id, isouter=True)
    .order_by(schema.jobs.c.id)
)


def _job(row: Any) -> JobRow:
    board = None
    if row.board_id is not None:
        board = BoardRow(row.board_id, row.board_name, row.revision, row.hash)
    return JobRow(row.id, row.uid, row.model, row.unit, datetime.fromisoformat(row.at), board)


@dataclass(frozen=True, slots=True)
class Reader:
    """Look-ups within one state of the record."""

    connection: sa.Connection
    files: FileStore

    def jobs(self) -> tuple[JobRow, ...]:
        """Every job, the oldest first."""
        return tuple(_job(row) for row in self.connection.execute(JOBS))

    def job(self, number: int) -> JobRow:
        """The job of that number.

        Raises
        ------
        RecordError
            If there is none.
        """
        row = self.connection.execute(JOBS.where(schema.jobs.c.id == number)).one_or_none()
        if row is None:
            raise RecordError(
                f"there is no job {number} on this bench.", where="job", mend="`dustcap bench` lists the jobs."
            )
        return _job(row)

    def entries(self, job: int) -> tuple[Entry, ...]:
        """Every entry of a job, in order."""
        table = schema.entries
        rows = self.connection.execute(sa.select(table).where(table.c.job_id == job).order_by(table.c.position))
        return tuple(
            Entry(
                row.job_id,
                row.position,
                datetime.fromisoformat(row.at),
                row.author,
                row.kind,
                json.loads(row.payload),
                row.corrects,
            )
            for row in rows
        )

    def file(self, hash_: str) -> FileRow:
        """What is known of a kept file."""
        row = self.connection.execute(sa.select(schema.files).where(schema.files.c.hash == hash_)).one_or_none()
        if row is None:
            raise RecordError(f"no file {hash_[:12]} is kept here.", where="files")
        return FileRow(row.hash, row.name, row.bytes, datetime.fromisoformat(row.at))

    def content(self, hash_: str) -> bytes:
        """The content of a kept file, checked against its hash."""
        return self.files.read(self.file(hash_).hash)


@dataclass(frozen=True, slots=True)
class Writer(Reader):
    """Additions within one unit of work; there is nothing here that changes or removes."""

    def add_model(self, name: str) -> int:
        """The model of that name, made if it is new."""
        return self._one(schema.models, {"name": name}, {})

    def add_unit(self, model: int, name: str) -> int:
        """The unit of that model and name, made if it is new."""
        return self._one(schema.units, {"model_id": model, "name": name}, {})

    def add_board(self, model: int, name: str, revision: str, text: bytes, at: datetime) -> int:
        """That version of a board description, made if its text is new for the model."""
        hash_ = self.add_file(f"{name} {revision}.board.toml", text, at)
        return self._one(schema.boards, {"model_id": model, "hash": hash_}, {"name": name, "revision": revision})

    def add_file(self, name: str, content: bytes, at: datetime) -> str:
        """Keep a file and return its hash; the file is on the disk before the record names it."""
        hash_ = self.files.keep(content)
        table = schema.files
        if self.connection.scalar(sa.select(table.c.hash).where(table.c.hash == hash_)) is None:
            values = {"hash": hash_, "name": name, "bytes": len(content), "at": _utc(at)}
            self.connection.execute(sa.insert(table).values(values))
        return hash_

    def add_job(self, uid: str, unit: int, board: int | None, at: datetime) -> int:
        """A new job; returns its number."""
        values = {"uid": uid, "unit_id": unit, "board_id": board, "at": _utc(at)}
        return self._insert(schema.jobs, values)

    def add_entry(
        self,
        job: int,
        kind: str,
        payload: Mapping[str, Any],
        *,
        author: str,
        at: datetime,
        corrects: int | None = None,
    ) -> int:
        """Append an entry to a job; returns its position.

        Raises
        ------
        RecordError
            If there is no such job, if the payload is not plain finite JSON, or if it corrects an entry that is not
            there.
        """
        table = schema.entries
        last = self.connection.scalar(sa.select(sa.func.max(table.c.position)).where(table.c.job_id == job))
        position = int(last or 0) + 1
        values = {
            "job_id": job,
            "position": position,
            "at": _utc(at),
            "author": author,
            "kind": kind,
            "payload": _json(payload),
            "corrects": corrects,
        }
        self.connection.execute(sa.insert(table).values(values))
        return position

    def _one(self, table: sa.Table, key: Mapping[str, Any], rest: Mapping[str, Any]) -> int:
        match = sa.and_(*(table.c[name] == value for name, value in key.items()))
        found = self.connection.scalar(sa.select(table.c.id).where(match))
        return int(found) if found is not None else self._insert(table, {**key, **rest})

    def _insert(self, table: sa.Table, values: Mapping[str, Any]) -> int:
        done = self.connection.execute(sa.insert(table).values(dict(values)))
        key = done.inserted_primary_key
        assert key is not None
        return int(key[0])


def _json(payload: Mapping[str, Any]) -> str:
    try:
        return json.dumps(payload, sort_keys=True, allow_nan=False, ensure_ascii=False)
    except (TypeError, ValueError) as error:
        raise RecordError(f"an entry holds what JSON cannot hold: {error}.", where="entry") from error


def _utc(at: datetime) -> str:
    if at.tzinfo is None:
        raise RecordError("a time without a zone cannot be kept.", where="entry", mend="Give the time in UTC.")
    return at.astimezone(UTC).isoformat(timespec="milliseconds")
