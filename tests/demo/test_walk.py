"""The demonstration goes from an empty folder to the hand-over sheet, and tells the same story each time."""

import io
from functools import cache

import pytest
from pypdf import PdfReader

from dustcap.board.read import parse_board
from dustcap.demo import walk
from dustcap.demo.scenario import OTHERS
from dustcap.errors import InputError
from dustcap.job.bench import jobs
from dustcap.job.desk import view
from dustcap.job.payloads import HuntKept, Proof, Work
from dustcap.predict.predictor import Predictor
from dustcap.report.handover import handover_pdf

PARTICLES = 4  # a very coarse dictionary is enough to follow the story


class Written:
    """Keeps the story as lines."""

    def __init__(self):
        self.lines = []

    def heading(self, text):
        self.lines.append(text)

    def command(self, words):
        self.lines.append("$ " + " ".join(words))

    def say(self, text):
        self.lines.append(text)

    def hunt(self, answer):
        self.lines.append(answer.document["advice"]["do"])

    def recording(self, document):
        self.lines.append(document["recording"])

    def verdicts(self, rows):
        self.lines += [row["verdict"] for row in rows]


@pytest.fixture(scope="module")
def walked(tmp_path_factory):
    """The story of the first unit and one other, played once."""
    coarse = cache(lambda text: Predictor(parse_board(text), particles=PARTICLES, seed=27))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(walk, "OTHERS", OTHERS[:1])
        patch.setattr("dustcap.demo.takes.NAME", "quick")
        patch.setattr("dustcap.job.hunt.predictor_for", lambda board, *_: coarse(board.text))
        told = Written()
        played = walk.Walk(tmp_path_factory.mktemp("demo") / "new", told, handover_pdf)
        sheet = played.run()
    return told.lines, sheet, played.desk


def test_the_first_unit_is_cleaned_proven_and_handed_over(walked):
    """The glue is cleaned after readings, the cone stays, no verdict fails, and the sheet names the unit."""
    _, sheet, desk = walked
    state = view(desk, 1).state

    assert Work(did="cleaned", area="glue_1") in state.all(Work)
    assert {row["verdict"] for row in state.last(Proof).verdicts} <= {"pass", "undecided"}
    assert state.stage == "handed over"
    words = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(sheet.read_bytes())).pages)
    assert "room 1 left" in words
    assert "glue_1" in words


def test_every_step_is_a_command_that_a_technician_could_type(walked):
    """The story shows intake, readings, hunts, work, recordings, proof and hand-over in this order."""
    lines, _, _ = walked
    commands = [line.split()[1] for line in lines if line.startswith("$ ")]
    first = [
        commands.index(name) for name in ("intake", "complain", "sight", "reading", "hunt", "work", "prove", "handover")
    ]

    assert first == sorted(first)


def test_the_others_are_short_jobs_on_the_bench(walked):
    """Each has a leading suspect and is not finished."""
    _, _, desk = walked

    first, other = jobs(desk)

    assert (first.stage, other.unit) == ("handed over", "room 1 right")
    assert other.stage != "handed over"
    assert view(desk, 2).state.all(HuntKept)


def test_the_demonstration_never_writes_over_another(walked, tmp_path):
    """A folder that holds one is refused."""
    _, sheet, _ = walked

    with pytest.raises(InputError, match="already"):
        walk.Walk(sheet.parent, Written(), handover_pdf).run()
