"""Older records come up to the newest tables with all their entries."""

import shutil

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from dustcap.errors import RecordError
from dustcap.records import schema
from dustcap.records.bench import open_bench
from dustcap.records.database import DATABASE, MIGRATIONS, make_engine, standing, upgrade

# one row in each table, as the first released tables hold them
FIRST_ROWS = (
    "INSERT INTO models VALUES (1, 'model 27')",
    "INSERT INTO files VALUES ('" + "a" * 64 + "', 'x.board.toml', 3, '2026-03-01T09:30:00.000+00:00')",
    "INSERT INTO boards VALUES (1, 1, 'main', 'C', '" + "a" * 64 + "')",
    "INSERT INTO units VALUES (1, 1, 'room 1 left')",
    "INSERT INTO jobs VALUES (1, 'u', 1, 1, '2026-03-01T09:30:00.000+00:00')",
    "INSERT INTO entries VALUES (1, 1, '2026-03-01T09:30:00.000+00:00', 'x', 'note', '{\"text\": \"kept\"}', NULL)",
)


def revisions():
    """Every migration, the first one first."""
    return [step.revision for step in ScriptDirectory(str(MIGRATIONS)).walk_revisions()][::-1]


def test_the_migrations_are_one_line_up_to_the_tables():
    """They are numbered from 0001 without a gap, and the last is the one that the tables name."""
    found = revisions()

    assert found == [f"{n:04d}" for n in range(1, len(found) + 1)]
    assert found[-1] == schema.HEAD


@pytest.mark.parametrize("start", revisions())
def test_a_record_of_each_age_comes_up_with_its_entries(tmp_path, start):
    """A record made at an earlier migration opens, and nothing in it is lost."""
    engine = make_engine(tmp_path / DATABASE)
    upgrade(engine, "0001")
    with engine.begin() as connection:
        for statement in FIRST_ROWS:
            connection.exec_driver_sql(statement)
    upgrade(engine, start)
    engine.dispose()

    with open_bench(tmp_path) as bench, bench.read() as read:
        (entry,) = read.entries(1)
        job = read.job(1)

    assert entry.payload == {"text": "kept"}
    assert (job.model, job.unit, job.board.revision) == ("model 27", "room 1 left", "C")


def test_the_migrated_tables_are_those_of_the_code(tmp_path):
    """Comparing the upgraded file with the tables in code finds no difference."""
    with open_bench(tmp_path, create=True) as bench, bench.engine.connect() as connection:
        differences = compare_metadata(MigrationContext.configure(connection), schema.metadata)

    assert differences == []


def test_the_durable_settings_are_on(tmp_path):
    """Written ahead, flushed on commit (SQLite: synchronous 2 is FULL), foreign keys enforced."""
    with open_bench(tmp_path, create=True) as bench, bench.engine.connect() as connection:
        found = {
            name: connection.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("journal_mode", "synchronous", "foreign_keys")
        }

    assert found == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}


def test_a_record_of_a_newer_dustcap_is_left_alone(tmp_path):
    """A record that stands at a later migration is refused with the remedy, not touched."""
    open_bench(tmp_path, create=True).close()
    engine = make_engine(tmp_path / DATABASE)
    with engine.begin() as connection:
        connection.execute(sa.text("UPDATE alembic_version SET version_num = '9999'"))

    with pytest.raises(RecordError, match=r"newer dustcap.*Update dustcap"):
        open_bench(tmp_path)

    assert standing(engine) == "9999"
    engine.dispose()


def test_an_upgrade_that_fails_half_way_changes_nothing(tmp_path, monkeypatch):
    """A step that breaks leaves the record where it stood."""
    broken = tmp_path / "migrations"
    shutil.copytree(MIGRATIONS, broken)
    step = broken / "versions" / "v0001_first_tables.py"
    step.write_text(step.read_text().replace("    _keep_entries()\n", "    raise OSError('pulled the plug')\n", 1))
    monkeypatch.setattr("dustcap.records.database.MIGRATIONS", broken)
    engine = make_engine(tmp_path / DATABASE)

    with pytest.raises(OSError, match="pulled the plug"):
        upgrade(engine)

    with engine.connect() as connection:
        assert sa.inspect(connection).get_table_names() == []
    engine.dispose()
