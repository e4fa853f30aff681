"""The good twin of a job: which of its readings count, and that the hunt takes them."""

from __future__ import annotations

import pytest

from dustcap.board.read import parse_board
from dustcap.errors import InputError, RecordError
from dustcap.hunt.board_names import known_of
from dustcap.job.desk import append, view
from dustcap.job.findings import enter
from dustcap.job.intake import take_in
from dustcap.job.job_hunt import JobHunt
from dustcap.job.payloads import Complaint, Intake, Proof, Reading, Work
from dustcap.job.twin import healthy_readings, name_twin, told_of

BOARD = """
layout = 1
[board]
name = "two dividers"
[parts]
V1 = { kind = "supply", value = "12 V", resistance = "1 ohm", pins = ["feed", "0V"] }
R1 = { kind = "resistor", value = "10k", pins = ["feed", "one"] }
R2 = { kind = "resistor", value = "10k", pins = ["one", "0V"] }
R3 = { kind = "resistor", value = "22k", pins = ["feed", "two"] }
R4 = { kind = "resistor", value = "10k", pins = ["two", "0V"] }
"""


def volts(at, value, **more):
    return Reading.model_validate({"check": "dc volts", "at": at, "value": value, **more})


def seen(word, **more):
    return Complaint.model_validate({"is": word, **more})


@pytest.fixture
def two(desk, tmp_path):
    """Two jobs on one board whose description says 10k where the boards have 15k."""
    path = tmp_path / "two.board.toml"
    path.write_text(BOARD)
    return tuple(take_in(desk, Intake(model="m", unit=unit), path).job for unit in ("left", "right"))


def read_healthy(desk, job):
    return [one.value for one in healthy_readings(view(desk, job).state)]


def test_readings_count_before_a_complaint_and_after_a_proof_that_passed(desk, two):
    """A doubtful reading never does, nor one while the unit was ill or its proof undecided."""
    _, other = two
    for entry in (
        volts("one", "7.1 V"),
        seen("hum", seen=False),
        volts("feed", "12.0 V"),
        volts("two", "3.7 V", doubtful=True),
        seen("hum"),
        volts("two", "9.9 V"),
        Work(did="replaced", part="R4"),
        volts("two", "3.8 V"),
    ):
        enter(desk, other, entry)
    assert read_healthy(desk, other) == ["7.1 V", "12.0 V"]
    assert [one.value for one in healthy_readings(view(desk, other).state, good=True)] == ["3.8 V"]
    append(desk, other, Proof(after=1, verdicts=({"what": "hum", "verdict": "undecided"},)))
    enter(desk, other, volts("two", "3.9 V"))
    assert read_healthy(desk, other) == ["7.1 V", "12.0 V"]
    append(desk, other, Proof(after=1, verdicts=({"what": "hum", "verdict": "pass"},)))
    enter(desk, other, volts("two", "4.0 V"))
    assert read_healthy(desk, other) == ["7.1 V", "12.0 V", "4.0 V"]


def test_the_hunt_takes_the_twin_and_says_so(desk, two):
    """The divider that is described wrongly is not blamed, and a note says that it is corrected."""
    sick, other = two
    for entry in (volts("one", "7.15 V"), volts("two", "3.72 V"), volts("feed", "12.0 V")):
        enter(desk, other, entry)
    for entry in (volts("one", "7.20 V"), volts("two", "11.9 V")):
        enter(desk, sick, entry)
    name_twin(desk, sick, other)

    told = told_of(desk, view(desk, sick).state, known_of(parse_board(BOARD)))
    answer = JobHunt(desk, sick).ask().document

    assert [one.check.at for one in told.twin] == ["one", "two", "feed"]
    assert answer["suspects"][0]["parts"][0]["part"] == "R4"
    assert len(answer["suspects"][0]["parts"]) == 1
    assert any("the twin reads 7.15 V" in note or "it reads 7.15 V" in note for note in answer["notes"])


def test_a_twin_that_was_never_well_is_refused(desk, two):
    """Nor is the job itself, or one that is not there; a person may say that the unit is well."""
    sick, other = two
    with pytest.raises(InputError, match="not its own twin"):
        name_twin(desk, sick, sick)
    with pytest.raises(RecordError):
        name_twin(desk, sick, 99)
    with pytest.raises(InputError, match="known to be well"):
        name_twin(desk, sick, other)
    enter(desk, other, seen("hum"))
    enter(desk, other, volts("one", "7.1 V"))
    with pytest.raises(InputError, match="known to be well"):
        name_twin(desk, sick, other)
    name_twin(desk, sick, other, good=True)
