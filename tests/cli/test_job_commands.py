"""A job at the command line: what is entered is checked, kept, shown again and corrected."""

import pytest
from cli.boards import SMALL


@pytest.fixture
def small(run, tmp_path):
    """A job on the small board."""
    file = tmp_path / "small.board.toml"
    file.write_text(SMALL)
    assert run("intake", "--model", "model 27", "--unit", "room 1 left", "--board", file).code == 0


ENTRIES = [
    (("complain", 1, "cone pushed out", "--driver", "woofer"), "cone pushed out, woofer"),
    (("complain", 1, "squeal", "--absent"), "squeal: not there"),
    (("sight", 1, "residue", "--area", "glue"), "glue residue"),
    (("reading", 1, "dc volts", "out", "-23.8 V"), "dc volts out: -23.8 V"),
    (("reading", 1, "dc volts", "out", "-23.8", "--against", "rail-"), "dc volts out against rail-: -23.8"),
    (("reading", 1, "ohms", "minus", "over"), "ohms minus: over range"),
    (("reading", 1, "ohms", "minus", "4.1..4.3k"), "ohms minus: 4.1k to 4.3k"),
    (("reading", 1, "lifted", "C1", "870 uF", "--esr", "0.3 ohm"), "lifted C1: 870 uF, esr 0.3 ohm"),
    (("work", 1, "cleaned", "--between", "rail+", "minus"), "cleaned between rail+ and minus"),
    (("work", 1, "replaced", "--part", "C2", "--precaution"), "replaced C2 (as a precaution)"),
    (("note", 1, "owner rang"), "owner rang"),
]


@pytest.mark.parametrize(("words", "said"), ENTRIES)
def test_an_entry_is_acknowledged_and_shown_again(run, small, words, said):
    """The same words come back at once, in the job's list, and as JSON."""
    assert run(*words).out == f"job 1, entry 2: {said}\n"
    assert run(*words, "--json").json["entry"] == 3

    assert said in run("show", 1).out
    shown = run("show", 1, "--json").json
    assert [entry["entry"] for entry in shown["entries"]] == [1, 2, 3]
    assert shown["entries"][1]["payload"] == shown["entries"][2]["payload"]
    assert shown["entries"][1]["author"] == "bench 1"


WRONG = [
    (("complain", 1, "hums"), "hums"),
    (("complain", 1, "hum", "--driver", "midrange"), "midrange"),
    (("complain", 1, "hum", "--with-volume", "loud"), "loud"),
    (("sight", 1, "bulged"), "part, area"),
    (("sight", 1, "bulged", "--part", "C99"), "C99"),
    (("sight", 1, "bulgy", "--part", "C1"), "bulgy"),
    (("reading", 1, "dc voltz", "out", "1 V"), "dc volts"),
    (("reading", 1, "dc volts", "outt", "1 V"), "'out'"),
    (("reading", 1, "dc volts", "out", "1 ohm"), "1 ohm"),
    (("reading", 1, "dc volts", "out", "nan"), "nan"),
    (("reading", 1, "dc volts", "out", "inf"), "inf"),
    (("reading", 1, "dc volts", "out", ""), "value"),
    (("reading", 1, "dc volts", "out", "1 V", "--against", "out"), "both leads"),
    (("reading", 1, "dc volts", "out", "1 V", "--state", "unplugged"), "unplugged"),
    (("reading", 1, "dc volts", "out", "over"), "over"),
    (("reading", 1, "ohms", "out", "5..4 ohm"), "range"),
    (("reading", 1, "ohms", "out", "-5 ohm"), "below zero"),
    (("reading", 1, "lifted", "U1", "5 ohm"), "U1"),
    (("reading", 1, "ohms", "out", "5", "--meter", "best"), "best"),
    (("work", 1, "mended", "--part", "C1"), "mended"),
    (("work", 1, "replaced"), "part"),
    (("work", 1, "cleaned", "--between", "rail+", "rail+"), "twice"),
    (("note", 1, "x" * 5000), "4000"),
    (("correct", 1, 1), "nothing to change"),
    (("correct", 1, 9, "--withdraw"), "no entry 9"),
    (("correct", 1, 1, "colour=red"), "colour"),
    (("correct", 1, 1, "colour"), "key=value"),
    (("show", 2), "no job 2"),
    (("complain", 2, "hum"), "no job 2"),
]


@pytest.mark.parametrize(("words", "says"), WRONG)
def test_what_is_wrong_is_refused_and_not_kept(refused, run, small, words, says):
    """One clear line, exit 2, and the job is as it was."""
    before = run("show", 1, "--json").out

    refused(*words, code=2, says=says)

    assert run("show", 1, "--json").out == before


def test_without_a_bench_nothing_is_made(refused):
    """Looking at a bench that is not there, or entering into it, makes no folder."""
    refused("bench", code=2, says="no bench in this folder")
    refused("complain", 1, "hum", code=2, says="no bench in this folder")


def test_a_job_without_a_description_takes_findings_by_their_words(run, refused):
    """Nets and parts are free then, but words and quantities are still checked."""
    run("intake", "--model", "model 27", "--unit", "room 2")

    assert run("reading", 1, "dc volts", "anywhere", "-23.8 V").code == 0
    assert run("reading", 1, "lifted", "C9", "870 uF").code == 0
    refused("reading", 1, "dc volts", "anywhere", "-23.8 ohm", code=2, says="-23.8 ohm")
    refused("complain", 1, "hums", code=2, says="hums")


def test_a_withdrawn_entry_is_shown_as_such(run, small):
    """The old words stay, with the reason beside them."""
    run("reading", 1, "dc volts", "out", "-23.8 V")

    ran = run("correct", 1, 2, "--withdraw", "--why", "wrong unit on the bench")

    assert ran.out == "job 1, entry 3: corrects entry 2\n"
    assert "dc volts out: -23.8 V (withdrawn by entry 3: wrong unit on the bench)" in run("show", 1).out


def test_the_bench_lists_every_job(run, small):
    """One line a job with its stage, as text and as JSON."""
    run("intake", "--model", "model 27", "--unit", "room 1 right")
    run("complain", 1, "hum")

    ran = run("bench")
    jobs = run("bench", "--json").json["jobs"]

    assert "room 1 right" in ran.out
    assert [(job["job"], job["stage"], job["complaints"]) for job in jobs] == [
        (1, "hunting", ["hum"]),
        (2, "taken in", []),
    ]


def test_a_second_visit_is_pointed_out(run, small):
    """The earlier job of the same unit is named at intake."""
    ran = run("intake", "--model", "model 27", "--unit", "room 1 left")

    assert "this unit was here before: job 1" in ran.out
