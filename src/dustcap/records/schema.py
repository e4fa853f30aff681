"""The six tables, as SQLAlchemy Core, portable between SQLite and PostgreSQL.

Entries are the record proper; the other tables only say what the entries are about. Triggers, which differ between
databases, are made by the migrations.
"""

from __future__ import annotations

import sqlalchemy as sa

HEAD = "0001"
"""The migration that the tables below stand at."""

NAMING = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}

metadata = sa.MetaData(naming_convention=NAMING)

models = sa.Table(
    "models",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("name", sa.String(200), nullable=False, unique=True),
)

files = sa.Table(
    "files",
    metadata,
    sa.Column("hash", sa.String(64), primary_key=True),  # SHA-256 of the content, in hex
    sa.Column("name", sa.String(255), nullable=False),  # as it was first called
    sa.Column("bytes", sa.BigInteger, nullable=False),
    sa.Column("at", sa.String(32), nullable=False),
)

boards = sa.Table(
    "boards",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("model_id", sa.ForeignKey("models.id"), nullable=False),
    sa.Column("name", sa.String(200), nullable=False),
    sa.Column("revision", sa.String(50), nullable=False),
    sa.Column("hash", sa.ForeignKey("files.hash"), nullable=False),
    sa.UniqueConstraint("model_id", "hash"),
)

units = sa.Table(
    "units",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("model_id", sa.ForeignKey("models.id"), nullable=False),
    sa.Column("name", sa.String(200), nullable=False),  # serial number, or where it stands
    sa.UniqueConstraint("model_id", "name"),
)

jobs = sa.Table(
    "jobs",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("uid", sa.String(32), nullable=False, unique=True),  # stays the same when two benches merge
    sa.Column("unit_id", sa.ForeignKey("units.id"), nullable=False),
    sa.Column("board_id", sa.ForeignKey("boards.id"), nullable=True),  # the version the job was started with
    sa.Column("at", sa.String(32), nullable=False),
)

entries = sa.Table(
    "entries",
    metadata,
    sa.Column("job_id", sa.ForeignKey("jobs.id"), primary_key=True, autoincrement=False),
    sa.Column("position", sa.Integer, primary_key=True, autoincrement=False),  # 1, 2, 3 ... within the job
    sa.Column("at", sa.String(32), nullable=False),  # UTC, ISO 8601 with the zone said
    sa.Column("author", sa.String(100), nullable=False),
    sa.Column("kind", sa.String(30), nullable=False),
    sa.Column("payload", sa.Text, nullable=False),  # one JSON object
    sa.Column("corrects", sa.Integer, nullable=True),
    sa.ForeignKeyConstraint(["job_id", "corrects"], ["entries.job_id", "entries.position"]),
    sa.CheckConstraint("position >= 1", name="position_from_one"),
    sa.CheckConstraint("corrects IS NULL OR corrects < position", name="corrects_an_earlier_one"),
)
