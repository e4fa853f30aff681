"""The pages over a bench of the test's own, called without a network."""

from datetime import UTC, datetime, timedelta
from itertools import count

import pytest
from cli.boards import SMALL
from web.client import TestClient

from dustcap.job.desk import Desk
from dustcap.job.intake import take_in
from dustcap.job.payloads import Intake
from dustcap.web.app import create_app
from dustcap.web.guard import COOKIE

ADDRESS = "http://127.0.0.1:8027"
TOKEN = "token-of-a-browser-in-a-test"


def make_desk(folder, author="bench 1"):
    """A desk whose clock goes on by one minute at each look and whose ids are numbered."""
    minutes, ids = count(), count(1)
    start = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)
    return Desk(folder, author, lambda: start + timedelta(minutes=next(minutes)), lambda: f"{next(ids):032d}")


@pytest.fixture
def desk(tmp_path):
    """A desk in an empty folder."""
    return make_desk(tmp_path / "bench")


@pytest.fixture
def pages(desk):
    """A browser without script at these pages; its forms carry the token."""
    with TestClient(create_app(desk), base_url=ADDRESS, cookies={COOKIE: TOKEN}, follow_redirects=False) as client:
        yield client


@pytest.fixture
def send(pages):
    """Sends a form with its token."""

    def send(path, /, files=None, **fields):
        return pages.post(path, data={"token": TOKEN} | fields, files=files)

    return send


@pytest.fixture
def job(desk, tmp_path):
    """Job 1 on the small board; its number."""
    board = tmp_path / "small.board.toml"
    board.write_text(SMALL)
    return take_in(desk, Intake(model="model 27", unit="room 1 left", says="cone jumps out"), board).job
