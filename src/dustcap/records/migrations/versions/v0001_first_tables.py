"""The six tables, and triggers that keep entries as they were written."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

REFUSALS = ("UPDATE", "DELETE")


def upgrade() -> None:
    """Make the tables and the triggers."""
    op.create_table(
        "models",
        sa.Column("id", sa.Integer),
        sa.Column("name", sa.String(200), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_models"),
        sa.UniqueConstraint("name", name="uq_models_name"),
    )
    op.create_table(
        "files",
        sa.Column("hash", sa.String(64)),
        sa.Column("name", sa.String(255), nullable=False),
        sa.Column("bytes", sa.BigInteger, nullable=False),
        sa.Column("at", sa.String(32), nullable=False),
        sa.PrimaryKeyConstraint("hash", name="pk_files"),
    )
    _boards_and_units()
    _jobs_and_entries()
    _keep_entries()


def _boards_and_units() -> None:
    op.create_table(
        "boards",
        sa.Column("id", sa.Integer),
        sa.Column("model_id", sa.Integer, nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("revision", sa.String(50), nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_boards"),
        sa.ForeignKeyConstraint(["model_id"], ["models.id"], name="fk_boards_model_id_models"),
        sa.ForeignKeyConstraint(["hash"], ["files.hash"], name="fk_boards_hash_files"),
        sa.UniqueConstraint("model_id", "hash", name="uq_boards_model_id_hash"),
    )
    op.create_table(
        "units",
        sa.Column("id", sa.Integer),
        sa.Column("model_id", sa.Integer, nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_units"),
        sa.ForeignKeyConstraint(["model_id"], ["models.id"], name="fk_units_model_id_models"),
        sa.UniqueConstraint("model_id", "name", name="uq_units_model_id_name"),
    )


def _jobs_and_entries() -> None:
    op.create_table(
        "jobs",
        sa.Column("id", sa.Integer),
        sa.Column("uid", sa.String(32), nullable=False),
        sa.Column("unit_id", sa.Integer, nullable=False),
        sa.Column("board_id", sa.Integer, nullable=True),
        sa.Column("at", sa.String(32), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_jobs"),
        sa.UniqueConstraint("uid", name="uq_jobs_uid"),
        sa.ForeignKeyConstraint(["unit_id"], ["units.id"], name="fk_jobs_unit_id_units"),
        sa.ForeignKeyConstraint(["board_id"], ["boards.id"], name="fk_jobs_board_id_boards"),
    )
    op.create_table(
        "entries",
        sa.Column("job_id", sa.Integer, autoincrement=False),
        sa.Column("position", sa.Integer, autoincrement=False),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("author", sa.String(100), nullable=False),
        sa.Column("kind", sa.String(30), nullable=False),
        sa.Column("payload", sa.Text, nullable=False),
        sa.Column("corrects", sa.Integer, nullable=True),
        sa.PrimaryKeyConstraint("job_id", "position", name="pk_entries"),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name="fk_entries_job_id_jobs"),
        sa.ForeignKeyConstraint(
            ["job_id", "corrects"], ["entries.job_id", "entries.position"], name="fk_entries_job_id_corrects_entries"
        ),
        sa.CheckConstraint("position >= 1", name=op.f("ck_entries_position_from_one")),
        sa.CheckConstraint("corrects IS NULL OR corrects < position", name=op.f("ck_entries_corrects_an_earlier_one")),
    )


def _keep_entries() -> None:
    """Refuse to change, replace or delete an entry, or to write one out of turn, in the database's own language."""
    if op.get_bind().dialect.name == "postgresql":
        _keep_on_postgresql()
    else:
        _keep_on_sqlite()


CHANGED = "an entry is never changed; write a correction"
OUT_OF_TURN = "an entry follows the last one of its job and holds one JSON object"


def _keep_on_sqlite() -> None:
    for act in REFUSALS:
        op.execute(
            f"CREATE TRIGGER entries_refuse_{act.lower()} BEFORE {act} ON entries "
            f"BEGIN SELECT RAISE(ABORT, '{CHANGED}'); END"
        )
    op.execute(
        "CREATE TRIGGER entries_in_turn BEFORE INSERT ON entries "
        "WHEN NEW.position != 1 + (SELECT COALESCE(MAX(position), 0) FROM entries WHERE job_id = NEW.job_id) "
        "OR json_type(NEW.payload) IS NOT 'object' "
        f"BEGIN SELECT RAISE(ABORT, '{OUT_OF_TURN}'); END"
    )


def _keep_on_postgresql() -> None:
    op.execute(
        "CREATE FUNCTION entries_refuse() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{CHANGED}'; END $$"
    )
    for act in (*REFUSALS, "TRUNCATE"):
        op.execute(
            f"CREATE TRIGGER entries_refuse_{act.lower()} BEFORE {act} ON entries "
            "FOR EACH STATEMENT EXECUTE FUNCTION entries_refuse()"
        )
    op.execute(
        "CREATE FUNCTION entries_in_turn() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        "IF NEW.position <> 1 + (SELECT COALESCE(MAX(position), 0) FROM entries WHERE job_id = NEW.job_id) "
        "OR json_typeof(NEW.payload::json) <> 'object' "
        f"THEN RAISE EXCEPTION '{OUT_OF_TURN}'; END IF; RETURN NEW; END $$"
    )
    op.execute(
        "CREATE TRIGGER entries_in_turn BEFORE INSERT ON entries FOR EACH ROW EXECUTE FUNCTION entries_in_turn()"
    )
