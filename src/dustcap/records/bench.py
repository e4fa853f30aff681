"""One bench: its record and its files, and the units of work on them."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType

import sqlalchemy as sa

from dustcap.records.database import DATABASE, make_shared_engine, open_database, reading, standing, writing
from dustcap.records.files import FileStore
from dustcap.records.rows import Reader, Writer


@dataclass(frozen=True)
class Bench:
    """An open bench folder. Close it, or use it in a ``with``."""

    folder: Path
    engine: sa.Engine
    files: FileStore

    @contextmanager
    def read(self) -> Iterator[Reader]:
        """Look things up; every look-up within it sees the same state."""
        with reading(self.engine) as connection:
            yield Reader(connection, self.files)

    @contextmanager
    def write(self) -> Iterator[Writer]:
        """A unit of work: all of it is kept when it ends well, and on the disk before this returns."""
        with writing(self.engine) as connection:
            yield Writer(connection, self.files)

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()

    def __enter__(self) -> Bench:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def has_bench(folder: Path, url: str = "") -> bool:
    """Whether there is a bench in the folder, or in the database at an address."""
    if not url:
        return (Path(folder) / DATABASE).is_file()
    engine = make_shared_engine(url)
    try:
        return standing(engine) != ""
    finally:
        engine.dispose()


def open_bench(folder: Path, *, create: bool = False, url: str = "") -> Bench:
    """Open the bench in a folder (`bench.sqlite3` and `files`); with `create` make it if there is none.

    With the address of a PostgreSQL database the record is there, for several benches of one shop; only the files are
    in the folder, which the benches share.

    Raises
    ------
    RecordError
        If there is none, if it cannot be opened, or if a newer dustcap wrote it.
    """
    folder = Path(folder)
    engine = open_database(folder, create=create, url=url)
    return Bench(folder, engine, FileStore(folder / "files"))
