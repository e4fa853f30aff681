"""The hunt over a job: a hidden leak is played through to its cure, and every answer is kept once."""

import pytest
from cli.boards import SMALL

from dustcap.board.read import parse_board
from dustcap.errors import InputError
from dustcap.job.corrections import withdraw
from dustcap.job.desk import append, view
from dustcap.job.findings import document, enter
from dustcap.job.handover import gather
from dustcap.job.hunt import hunt_file
from dustcap.job.intake import take_in
from dustcap.job.job_hunt import JobHunt
from dustcap.job.payloads import Complaint, HuntKept, Intake, Note, Reading, Sighting, Work
from dustcap.job.rehearse import check_of, rehearse

LEAK = {"leak": ["rail+", "minus"], "area": "glue"}
MOST_CHECKS = 10


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """The small board's description in a file."""
    path = tmp_path_factory.mktemp("boards") / "small.board.toml"
    path.write_text(SMALL)
    return path


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """Where predictions are kept for all tests here."""
    return tmp_path_factory.mktemp("predictions")


def total(found):
    """The sum of all probabilities in an answer."""
    return (
        sum(row["probability"] for row in found["suspects"]) + found["rest"] + found["unexplained"] + found["healthy"]
    )


@pytest.fixture
def job(desk, small, kept):
    """A job on the small board whose predictions are shared."""
    number = take_in(desk, Intake(model="model 27", unit="left"), small).job
    (desk.folder / "predictions").symlink_to(kept)
    return number


def test_a_hidden_leak_is_found_and_cured_check_by_check(desk, job):
    """Following the first proposal each time, the work advised takes the leak away before the checks run out."""
    unit = rehearse(parse_board(SMALL), [LEAK], [0.4], seed=5)
    enter(desk, job, Complaint.model_validate({"is": "cone pushed out", "driver": "woofer"}))
    enter(desk, job, Sighting.model_validate({"is": "residue", "area": "glue"}))
    hunt, sums = JobHunt(desk, job), []
    for _ in range(MOST_CHECKS):
        answer = hunt.ask().document
        sums.append(total(answer))
        advice = answer["advice"]
        if advice["do"] in ("clean", "replace"):
            break
        enter(desk, job, unit.answer(check_of(answer["next"][0])))

    assert advice["do"] == "clean"
    work = {"area": advice["area"]} if advice["area"] else {"between": advice["between"]}
    unit.work_done(Work.model_validate({"did": "cleaned"} | work))
    assert unit.cured
    assert sums == pytest.approx([1.0] * len(sums), abs=1e-6)
    assert answer["suspects"][0]["parts"][0]["leak"] == ["rail+", "minus"]


def test_the_same_findings_give_the_same_answer_from_a_file_and_from_a_job(desk, job, small, kept, tmp_path):
    """A job's entries written as a findings file say the same to the last digit, also when asked a second time."""
    entries = [
        Complaint.model_validate({"is": "cone pushed out", "driver": "woofer"}),
        Reading(check="dc volts", at="out", value="-4.1 V"),
    ]
    for entry in entries:
        enter(desk, job, entry)
    file = tmp_path / "same.findings.toml"
    file.write_text(document(entries))

    from_job = JobHunt(desk, job).ask().document
    from_file = hunt_file(small, file, keep_in=kept).document

    assert from_job == from_file
    assert hunt_file(small, file, keep_in=None).document == from_file


def test_an_answer_is_kept_once_for_each_state_of_the_findings(desk, job):
    """Asking again keeps nothing new; a new, a withdrawn or a corrected finding does; a note does not."""

    def answers():
        return len(view(desk, job).state.all(HuntKept))

    hunt = JobHunt(desk, job)
    hunt.ask()
    hunt.ask()
    assert answers() == 1
    entry = enter(desk, job, Reading(check="dc volts", at="out", value="-4.1 V"))
    hunt.ask()
    append(desk, job, Note(text="owner rang"))
    hunt.ask()
    assert answers() == 2
    withdraw(desk, job, entry)
    hunt.ask()
    hunt.ask()
    assert answers() == 3


def test_a_withdrawn_reading_leaves_the_hunt_as_it_was(desk, job):
    """Taking back the only reading gives the answer from before it, to the last digit."""
    hunt = JobHunt(desk, job)
    enter(desk, job, Complaint.model_validate({"is": "hum"}))
    before = hunt.ask().document
    entry = enter(desk, job, Reading(check="dc volts", at="out", value="-4.1 V"))
    assert hunt.ask().document != before

    withdraw(desk, job, entry, "wrong net")

    assert hunt.ask().document == before


def test_cautions_name_the_states_that_the_proposals_need(desk, job):
    """Unplugged and powered checks come with their cautions, and always with the note on codes and licences."""
    answer = JobHunt(desk, job).ask(20)
    states = {check["state"] for check in answer.document["next"]}

    assert any("Pull the mains plug" in line for line in answer.cautions) == ("unplugged" in states)
    assert any(line.startswith("Powered: ") for line in answer.cautions) == ("drivers disconnected" in states)
    assert answer.cautions[-1].startswith("This does not replace local codes")


def test_the_sheet_tells_what_was_found_and_done(desk, job):
    """Fault, readings with what a good board reads, steps and work come from the entries."""
    enter(desk, job, Complaint.model_validate({"is": "cone pushed out", "driver": "woofer"}))
    enter(desk, job, Reading(check="dc volts", at="out", value="-4.1 V"))
    enter(desk, job, Reading(check="ohms", at="rail+", against="minus", value="130 kohm"))
    wrong = enter(desk, job, Reading(check="dc volts", at="rail+", value="2.4 V"))
    withdraw(desk, job, wrong)
    JobHunt(desk, job).ask()
    enter(desk, job, Work(did="cleaned", area="glue"))
    enter(desk, job, Reading(check="dc volts", at="out", value="4 mV"))

    sheet = gather(desk, job, remaining=["old capacitors"])

    assert sheet.fault is not None
    assert sheet.fault.words == "glue, most likely leak rail+ to minus"
    leading = sheet.steps[0].shares["leak rail+ to minus"]
    assert leading <= sheet.fault.probability <= 1.0  # every leak that the cleaning removed
    assert [(line.value, line.after_work, line.withdrawn) for line in sheet.readings] == [
        (-4.1, False, False),
        (130e3, False, False),
        (2.4, False, True),
        (0.004, True, False),
    ]
    good = sheet.readings[0]
    assert -0.2 < good.good_low < 0.0 < good.good_high < 0.2
    assert (sheet.work[0].did, sheet.work[0].target) == ("cleaned", "glue")
    assert sheet.remaining == ("old capacitors",)
    assert sheet.not_measured


def test_a_job_with_a_description_takes_no_other(desk, job, small):
    """A board can be given for a job that has none only."""
    with pytest.raises(InputError, match="of its own"):
        JobHunt(desk, job, board=small)
