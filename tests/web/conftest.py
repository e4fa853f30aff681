"""The pages over a bench of the test's own, called without a network."""

import io
import shutil
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import count

import pytest
import soundfile
from cli.boards import SMALL
from web.client import TestClient

from dustcap.demo.loudspeaker import Loudspeaker, Recorder, record, ripple
from dustcap.job.desk import Desk
from dustcap.job.hunt import PREDICTIONS
from dustcap.job.intake import take_in
from dustcap.job.job_hunt import JobHunt
from dustcap.job.payloads import Intake
from dustcap.sound.stimulus import make_stimulus
from dustcap.web.app import create_app
from dustcap.web.guard import COOKIE

ADDRESS = "http://127.0.0.1:8027"
TOKEN = "token-of-a-browser-in-a-test"
RATE = 48_000
GOOD = Loudspeaker(hum=ripple(-90.0))
BAD = replace(GOOD, hum=ripple(-50.0))


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
    app = create_app(desk)
    with TestClient(app, base_url=ADDRESS, cookies={COOKIE: TOKEN}, follow_redirects=False) as client:
        yield client


@pytest.fixture
def send(pages):
    """Sends a form with its token."""

    def send(path, /, files=None, **fields):
        return pages.post(path, data={"token": TOKEN} | fields, files=files)

    return send


@pytest.fixture
def board_file(tmp_path):
    """The small board as a file."""
    path = tmp_path / "small.board.toml"
    path.write_text(SMALL)
    return path


@pytest.fixture
def job(desk, board_file):
    """Job 1 on the small board; its number."""
    return take_in(desk, Intake(model="model 27", unit="room 1 left", says="cone jumps out"), board_file).job


@pytest.fixture(scope="session")
def predictions(tmp_path_factory):
    """What every check would read on the small board, computed once; a folder to copy."""
    folder = tmp_path_factory.mktemp("computed")
    board = folder / "small.board.toml"
    board.write_text(SMALL)
    desk = make_desk(folder / "bench")
    JobHunt(desk, take_in(desk, Intake(model="model 27", unit="none"), board).job).ask()
    return folder / "bench" / PREDICTIONS


@pytest.fixture
def computed(job, desk, predictions):
    """Job 1, with its board's predictions on the disk already."""
    shutil.copytree(predictions, desk.folder / PREDICTIONS)
    return job


@pytest.fixture(scope="session")
def takes(tmp_path_factory):
    """Recordings before and after, as files."""
    folder = tmp_path_factory.mktemp("takes")
    played = make_stimulus(RATE, "quick").samples
    for name, unit, seed in (("before", BAD, 1), ("after", GOOD, 2)):
        take = record(played, RATE, unit, Recorder(), seed=seed)
        content = io.BytesIO()
        soundfile.write(content, take.samples, take.rate, format="WAV", subtype="PCM_24")
        (folder / f"{name}.wav").write_bytes(content.getvalue())
    return folder
