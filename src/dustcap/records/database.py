"""Opening the record: one SQLite file in one folder, brought up to the newest tables."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy import event, exc

from dustcap.errors import RecordError
from dustcap.records.schema import HEAD

DATABASE = "bench.sqlite3"
BUSY_MS = 10_000
WRITE = "dustcap_write"
PRAGMAS = (f"busy_timeout={BUSY_MS}", "foreign_keys=ON", "journal_mode=WAL", "synchronous=FULL")
MIGRATIONS = Path(__file__).parent / "migrations"


def make_engine(path: Path) -> sa.Engine:
    """An engine on that SQLite file: foreign keys on, written ahead, flushed to the disk before a commit returns."""
    engine = sa.create_engine(sa.URL.create("sqlite", database=str(path)))
    event.listen(engine, "connect", _set_up)
    event.listen(engine, "begin", _begin)
    return engine


def _set_up(connection: Any, _record: object) -> None:
    connection.isolation_level = None  # transactions are begun by `_begin`, not by the driver
    cursor = connection.cursor()
    for pragma in PRAGMAS:
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _begin(connection: sa.Connection) -> None:
    # a writer takes the lock at once, so that two benches never wait for each other in a circle
    mode = "IMMEDIATE" if connection.get_execution_options().get(WRITE) else "DEFERRED"
    connection.exec_driver_sql(f"BEGIN {mode}")


@contextmanager
def reading(engine: sa.Engine) -> Iterator[sa.Connection]:
    """A connection that sees one state of the record throughout."""
    with _translated(engine), engine.connect() as connection:
        yield connection


@contextmanager
def writing(engine: sa.Engine) -> Iterator[sa.Connection]:
    """A unit of work: everything in it is kept together when it ends well, and nothing of it otherwise."""
    with _translated(engine), engine.connect().execution_options(**{WRITE: True}) as connection, connection.begin():
        yield connection


@contextmanager
def _translated(engine: sa.Engine) -> Iterator[None]:
    try:
        yield
    except exc.IntegrityError as error:
        raise RecordError(f"the record refuses this: {error.orig}.", where=_place(engine)) from error
    except exc.DatabaseError as error:
        raise RecordError(
            f"the record cannot be read or written: {error.orig}.",
            where=_place(engine),
            mend="Check the folder, its rights and the free space, or bring it back from a backup.",
        ) from error


def _place(engine: sa.Engine) -> str:
    return str(engine.url.database)


def standing(engine: sa.Engine) -> str:
    """Number of the migration that the record stands at; empty for a new file."""
    with reading(engine) as connection:
        if not sa.inspect(connection).has_table("alembic_version"):
            return ""
        return str(connection.scalar(sa.text("SELECT version_num FROM alembic_version")) or "")


def upgrade(engine: sa.Engine, to: str = "head") -> None:
    """Bring the record's tables up to a migration, all or nothing."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    with writing(engine) as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, to)


def open_database(folder: Path, *, create: bool) -> sa.Engine:
    """Open the record in a folder, upgrading an older one.

    Raises
    ------
    RecordError
        If there is none and none may be made, if it is not a record, or if it was written by a newer dustcap.
    """
    path = folder / DATABASE
    if not path.is_file():
        if not create:
            raise RecordError(
                "there is no bench in this folder.", where=str(folder), mend="Take a first unit in, or name its folder."
            )
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise RecordError(
                f"the folder cannot be made: {error.strerror}.", where=str(folder), mend="Name another folder."
            ) from error
    engine = make_engine(path)
    try:
        at = standing(engine)
        if at > HEAD:
            raise RecordError(
                f"this bench was written by a newer dustcap (tables {at}, here {HEAD}).",
                where=str(path),
                mend="Update dustcap on this machine.",
            )
        if at < HEAD:
            upgrade(engine)
    except BaseException:
        engine.dispose()
        raise
    return engine
