"""A desk with a clock of its own, and a job on it."""

from datetime import UTC, datetime, timedelta
from itertools import count

import pytest

from dustcap.job.desk import Desk
from dustcap.job.intake import take_in
from dustcap.job.payloads import Intake


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
def job(desk):
    """A job without a board description; its number."""
    return take_in(desk, Intake(model="model 27", unit="room 1 left", says="hums")).job
