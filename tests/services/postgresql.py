"""A throw-away PostgreSQL server, and an empty database in it for each test."""

import os
import shutil
import subprocess
import tempfile
from itertools import count
from pathlib import Path

import pytest
import sqlalchemy as sa
from services.missing import missing

INSTALLED = "/usr/lib/postgresql"
USER = "bench"
# a test loses nothing when the machine does: no waiting for the disk
SETTINGS = "-c listen_addresses='' -c unix_socket_permissions=0700 -c fsync=off -c synchronous_commit=off"
NUMBERS = count(1)


def _programs():
    """The folder of the newest server's programs, None when there is none."""
    found = sorted(Path(INSTALLED).glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    if found:
        return found[-1].parent
    on_path = shutil.which("initdb")
    return Path(on_path).resolve().parent if on_path else None


def _run(program, *words, folder):
    """One of the server's programs; as root they refuse to run, so nobody runs them."""
    as_nobody = {"user": "nobody", "group": "nogroup", "extra_groups": []} if os.geteuid() == 0 else {}
    environment = {"HOME": str(folder), "PATH": os.environ["PATH"], "LC_ALL": "C.UTF-8"}
    with (folder / "programs.log").open("ab") as log:
        done = subprocess.run([program, *words], env=environment, stdout=log, stderr=log, cwd=folder, **as_nobody)
    if done.returncode:
        raise RuntimeError(f"{program.name} failed:\n{(folder / 'programs.log').read_text()[-1000:]}")


@pytest.fixture(scope="session")
def postgresql():
    """Address of a server of the test session's own, reached by a socket in a folder that is removed afterwards."""
    programs = _programs()
    if programs is None:
        missing("postgresql")
    folder = Path(tempfile.mkdtemp(prefix="dustcap-postgresql-"))
    if os.geteuid() == 0:
        shutil.chown(folder, "nobody", "nogroup")
    data = folder / "data"
    try:
        _run(programs / "initdb", "-D", data, "-U", USER, "-A", "trust", "-E", "UTF8", "--no-sync", folder=folder)
        start = ("-D", data, "-w", "-t", "30", "-l", folder / "server.log", "-o", f"-k {folder} {SETTINGS}", "start")
        _run(programs / "pg_ctl", *start, folder=folder)
        try:
            yield f"postgresql+psycopg://{USER}@/postgres?host={folder}"
        finally:
            _run(programs / "pg_ctl", "-D", data, "-m", "immediate", "-w", "stop", folder=folder)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def database(postgresql):
    """Address of an empty database of the test's own."""
    name = f"bench_{next(NUMBERS)}"
    engine = sa.create_engine(postgresql, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {name}")
    engine.dispose()
    return postgresql.replace("/postgres?", f"/{name}?").replace("+psycopg", "")
