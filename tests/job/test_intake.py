"""Taking units in, entering, correcting, and the bench at a glance."""

import pytest
from cli.boards import SMALL, changed

from dustcap.errors import InputError, RecordError
from dustcap.job.bench import jobs
from dustcap.job.corrections import correct, withdraw
from dustcap.job.desk import append, view
from dustcap.job.intake import take_in
from dustcap.job.payloads import Complaint, Intake, Note, Reading


@pytest.fixture
def small(tmp_path):
    """The small board's description in a file."""
    path = tmp_path / "small.board.toml"
    path.write_text(SMALL)
    return path


def test_a_new_unit_gets_a_job_and_hears_of_the_earlier_ones(desk):
    """The second visit of a unit, and other units of its model, are named."""
    left, right = (Intake(model="model 27", unit=f"room 1 {side}") for side in ("left", "right"))

    assert take_in(desk, left).job == 1
    assert take_in(desk, right).earlier_of_model == (1,)
    again = take_in(desk, left)

    assert (again.job, again.earlier_of_unit, again.earlier_of_model) == (3, (1,), (1, 2))


def test_the_intake_is_the_first_entry_with_author_and_time(desk, job):
    """Who took it in and when comes from the desk, never from the machine."""
    (fact,) = view(desk, job).state.facts

    assert (fact.position, fact.author, fact.payload.says) == (1, "bench 1", "hums")
    assert fact.at.isoformat() == "2026-03-01T09:31:00+00:00"


def test_a_job_keeps_the_description_that_it_was_started_with(desk, small):
    """Editing the file later changes later jobs only."""
    intake = Intake(model="model 27", unit="left")
    first = take_in(desk, intake, small).job
    small.write_text(changed('"22k"', '"47k"'))
    second = take_in(desk, intake, small).job

    assert view(desk, first).board_text == SMALL
    assert '"47k"' in view(desk, second).board_text
    assert view(desk, first).row.board.id != view(desk, second).row.board.id


def test_the_revision_comes_from_the_description(desk, small):
    """It need not be typed; typed otherwise it is a contradiction and nothing is kept."""
    job = take_in(desk, Intake(model="m", unit="u"), small).job
    assert view(desk, job).state.intake.revision == "A"

    with pytest.raises(InputError, match="revision 'B'"):
        take_in(desk, Intake(model="m", unit="u", revision="B"), small)
    assert len(jobs(desk)) == 1


def test_complaints_can_come_with_the_unit(desk):
    """They are entries of their own, after the intake."""
    job = take_in(desk, Intake(model="m", unit="u"), None, (Complaint(word="hum"), Complaint(word="hiss"))).job

    assert [one.word for one in view(desk, job).state.all(Complaint)] == ["hum", "hiss"]


def test_a_reading_is_corrected_key_by_key(desk, job):
    """What is not named stays as it was; a key set to nothing is taken out."""
    entry = append(desk, job, Reading(check="dc volts", at="wf_out", value="-238 V", meter="bench"))

    correct(desk, job, entry, {"value": "-23.8 V", "meter": None}, "slipped point")

    fact = view(desk, job).state.facts[-1]
    assert fact.payload == Reading(check="dc volts", at="wf_out", value="-23.8 V")
    assert (fact.position, fact.corrected_by, fact.why) == (2, 3, "slipped point")


@pytest.mark.parametrize("changes", [{"colour": "red"}, {"value": None}, {"over": True}])
def test_a_correction_that_breaks_the_entry_is_not_kept(desk, job, changes):
    """The corrected entry must fit its kind as a new one would."""
    entry = append(desk, job, Reading(check="ohms", at="a", value="1k"))

    with pytest.raises(InputError, match="reading"):
        correct(desk, job, entry, changes)

    assert view(desk, job).state.last_position == entry


def test_withdrawing_what_is_not_there_is_refused(desk, job):
    """No entry of that number, or no job of that number."""
    with pytest.raises(InputError, match="no entry 9"):
        withdraw(desk, job, 9)
    with pytest.raises(RecordError, match="no job 7"):
        append(desk, 7, Note(text="x"))


def test_the_bench_lists_jobs_with_stage_and_complaints(desk, job):
    """Absent complaints are not listed, and each word once."""
    append(desk, job, Complaint(word="hum"))
    append(desk, job, Complaint(word="hum", driver="woofer"))
    append(desk, job, Complaint(word="squeal", seen=False))

    (line,) = jobs(desk)

    assert (line.job, line.unit, line.stage, line.complaints) == (1, "room 1 left", "hunting", ("hum",))
    assert (line.entries, line.suspect, line.probability) == (4, "", None)
