"""The soak of a job: what was counted before and after the work, and where it shows."""

import json

import pytest
from cli.conftest import run as run  # the program in the test's own process
from job.test_prove import document, keep
from pydantic import ValidationError

from dustcap.errors import InputError
from dustcap.job.corrections import correct, withdraw
from dustcap.job.desk import view
from dustcap.job.findings import enter
from dustcap.job.handover import gather
from dustcap.job.payloads import Soak, Work
from dustcap.job.prove import prove
from dustcap.job.soak import Target, enter_runs, job_standings, soak_said

BEFORE = Soak(when="before", cycles=10, came=3)


def ran(cycles, came=0):
    """Switch-ons after the work."""
    return Soak(when="after", cycles=cycles, came=came)


def test_runs_add_up_from_the_last_work_on(desk, job):
    """What was run before the work that counted does not; a precaution does not start it anew."""
    enter_runs(desk, job, BEFORE)
    enter_runs(desk, job, ran(4, came=1))
    enter(desk, job, Work(did="cleaned", area="glue"))
    enter_runs(desk, job, ran(5))
    enter(desk, job, Work(did="replaced", part="C9", precaution=True))
    enter_runs(desk, job, ran(4))

    (found,) = job_standings(desk, job)

    # B(3.5, 7.5 + n) / B(3.5, 7.5) falls below 5 % at n = 12, by the arithmetic of tests/proof/test_soak.py
    assert (found.run, found.came, found.needed, found.remaining) == (9, 0, 12, 3)
    assert found.verdict == "undecided"
    assert "3 switch-ons more are needed" in found.said
    enter_runs(desk, job, ran(3))
    assert job_standings(desk, job)[0].verdict == "pass"


def test_the_fault_again_is_a_fail_however_many_ran_clean(desk, job):
    """One time in a hundred is not fixed; a target counts it in."""
    enter_runs(desk, job, BEFORE)
    enter_runs(desk, job, ran(99))
    enter_runs(desk, job, ran(1, came=1))

    (found,) = job_standings(desk, job, Target(below=0.05))

    assert (found.verdict, found.left) == ("fail", 1.0)
    assert "not fixed" in found.said
    # one failure: 93 cycles show less than 5 % with 95 % confidence (exact binomial; 93 from memory of usual tables)
    assert (found.target, found.target_remaining) == (93, 0)


def test_a_correction_and_a_withdrawal_count(desk, job):
    """Miscounted runs are mended as any other entry."""
    enter_runs(desk, job, BEFORE)
    wrong = enter_runs(desk, job, ran(50))
    correct(desk, job, wrong, {"cycles": 5}, "misread")
    twice = enter_runs(desk, job, ran(5))
    withdraw(desk, job, twice, "entered twice")

    assert job_standings(desk, job)[0].run == 5


def test_cycles_and_hours_stand_side_by_side(desk, job):
    """Each is counted against its own."""
    enter_runs(desk, job, BEFORE)
    enter_runs(desk, job, Soak(when="after", hours=8.0))

    by = {one.by: one for one in job_standings(desk, job)}

    assert (by["cycles"].run, by["cycles"].needed) == (0, 12)
    assert (by["hours"].run, by["hours"].needed, by["hours"].verdict) == (8.0, None, "undecided")


def test_the_proof_and_the_sheet_tell_the_soak(desk, job):
    """A soak that is not done leaves the proof undecided, one that failed fails it, and the sheet says it in words."""
    keep(desk, job, "after", document())
    assert "soak" not in {row["what"] for row in prove(desk, job).verdicts}
    enter_runs(desk, job, BEFORE)
    enter_runs(desk, job, ran(5))

    proven = prove(desk, job)

    (row,) = [row for row in proven.verdicts if row["what"] == "soak"]
    assert (row["verdict"], row["value"], row["limit"], row["unit"]) == ("undecided", 5, 12, "switch-ons")
    assert gather(desk, job).soak == row["why"]
    enter_runs(desk, job, ran(1, came=1))
    assert prove(desk, job).overall == "fail"


def test_a_job_without_counts_says_what_to_enter(desk, job):
    """And nothing is printed on its sheet."""
    with pytest.raises(InputError, match=f"soak {job} --came"):
        job_standings(desk, job)
    assert soak_said(view(desk, job).state) == ""


@pytest.mark.parametrize(
    "fields", [{}, {"cycles": 3, "hours": 2.0}, {"cycles": 3, "came": 4}, {"cycles": 0}, {"hours": float("nan")}]
)
def test_counts_that_contradict_themselves_are_refused(fields):
    """Cycles or hours, not both; no more faults than switch-ons."""
    with pytest.raises(ValidationError):
        Soak(when="after", **fields)


def test_the_command_keeps_count_and_answers_without_a_job(run, tmp_path):
    """With a job what is given is kept; without one it is a calculation; both answer JSON."""
    assert run("intake", "--model", "model 27", "--unit", "left").code == 0
    plain = run("soak", "--came", 3, "--tried", 10, "--cycles", 9, "--json").json["soak"][0]
    assert (plain["needed"], plain["remaining"]) == (12, 3)
    assert run("soak", 1, "--came", 3, "--tried", 10).code == 0

    kept = run("soak", 1, "--cycles", 9, "--json").json

    assert kept["soak"][0] == plain
    assert kept["entries"] == [3]
    assert json.loads(run("show", 1, "--json").out)["entries"][2]["payload"] == {"when": "after", "cycles": 9}
    assert "9 switch-ons, clean" in run("show", 1).out
    assert "3 switch-ons more" in run("soak", 1).out
    assert run("soak", "--below", "1%", "--json").json["soak"][0]["target"] == 299
    assert "33.4 h between faults" in run("soak", "--came", 2, "--in-hours", 40, "--hours", 100).out


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("--came", 3),
        ("--tried", 10),
        ("--again", 1),
        ("--came", 3, "--tried", 2),
        ("--came", 3, "--tried", 10, "--hours", 5),
        ("--below", "0%"),
        ("--below", "1%", "--confidence", 1.5),
        ("--came", 0, "--tried", 10, "--cycles", 5, "--hours", 3),
    ],
)
def test_wrong_words_are_one_line_and_exit_2(run, words):
    """No traceback, and what would be right."""
    ran = run("soak", *words)

    assert (ran.code, ran.out) == (2, "")
    assert len(ran.err.strip().splitlines()) == 1
