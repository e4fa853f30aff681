"""One job at the command line, from intake to the sheet: each command answers text and JSON, and exits with 0."""

import io
import shutil
from dataclasses import replace

import pytest
import soundfile
from cli.boards import SMALL
from pypdf import PdfReader

from dustcap.demo.loudspeaker import Loudspeaker, Recorder, record, ripple, switch_on
from dustcap.sound.stimulus import make_stimulus

RATE = 48_000
GOOD = Loudspeaker(hum=ripple(-90.0))
BAD = replace(GOOD, hum=ripple(-50.0))


@pytest.fixture(scope="module")
def takes(tmp_path_factory):
    """Recordings before and after, and of the switching-on, as files."""
    folder = tmp_path_factory.mktemp("takes")
    played = make_stimulus(RATE, "quick").samples
    made = {
        "before": record(played, RATE, BAD, Recorder(), seed=1),
        "after": record(played, RATE, GOOD, Recorder(), seed=2),
        "on": switch_on(GOOD, seed=3),
    }
    for name, take in made.items():
        content = io.BytesIO()
        soundfile.write(content, take.samples, take.rate, format="WAV", subtype="PCM_24")
        (folder / f"{name}.wav").write_bytes(content.getvalue())
    return folder


@pytest.fixture
def job(run, tmp_path):
    """Job 1 on the small board with a complaint and a reading."""
    board = tmp_path / "small.board.toml"
    board.write_text(SMALL)
    steps = [
        ("intake", "--model", "model 27", "--unit", "room 1 left", "--board", board, "--says", "cone jumps out"),
        ("complain", 1, "cone pushed out", "--driver", "woofer"),
        ("reading", 1, "dc volts", "out", "-4.1 V"),
    ]
    for step in steps:
        assert run(*step).code == 0


def test_a_hunt_answers_with_the_contracts_fields(run, job):
    """Suspects sorted and summing to one, next checks with expectations, advice; the text says the same."""
    ran = run("hunt", "--job", 1, "--next", 3, "--json")
    found = ran.json

    assert (ran.code, ran.err) == (0, "")
    assert (found["layout"], found["board"], found["revision"]) == (1, "small board", "A")
    shares = [row["probability"] for row in found["suspects"]]
    assert shares == sorted(shares, reverse=True)
    assert sum(shares) + found["rest"] + found["unexplained"] + found["healthy"] == pytest.approx(1.0, abs=1e-6)
    assert len(found["next"]) == 3
    assert {"check", "state", "bits", "minutes", "risk", "score", "expect", "healthy"} <= set(found["next"][0])
    assert found["advice"]["do"] in ("check", "replace", "clean", "stop", "done")
    text = run("hunt", "--job", 1).out
    assert "What it may be" in text
    assert f"Advice: {found['advice']['do']}" in text
    assert "does not replace local codes or a licensed person" in text


def test_a_hunt_over_files_says_the_same_as_over_a_job(run, job, tmp_path):
    """The plain form of the findings gives the same numbers."""
    findings = tmp_path / "same.findings.toml"
    findings.write_text(
        'layout = 1\n[[complaint]]\nis = "cone pushed out"\ndriver = "woofer"\n'
        '[[reading]]\ncheck = "dc volts"\nat = "out"\nvalue = "-4.1 V"\n'
    )

    over_files = run("hunt", tmp_path / "small.board.toml", "--findings", findings, "--json")

    assert over_files.code == 0
    assert over_files.json["suspects"] == run("hunt", "--job", 1, "--json").json["suspects"]


def test_a_floating_net_is_named_with_the_reason(run, refused, tmp_path):
    """A net between two capacitors has no d.c. volts: looking it over says so, hunting on it cannot be computed."""
    file = tmp_path / "floating.board.toml"
    hanging = 'C3 = { kind = "capacitor", value = "1u", pins = ["out", "lost"] }\n'
    hanging += 'C4 = { kind = "capacitor", value = "1u", pins = ["lost", "0V"] }\n\n[parts.U1]'
    file.write_text(SMALL.replace("[parts.U1]", hanging))

    looked_over = run("board", file)

    assert looked_over.code == 0
    assert "'lost' has no path for direct current: it touches only capacitor C3, capacitor C4" in looked_over.out
    refused("hunt", file, "--json", code=3, says=["'lost'", "capacitor C3"])


def test_a_recording_is_compared_with_another(run, takes):
    """The difference says what the repair changed: the hum is lower, the level the same."""
    ran = run("listen", takes / "after.wav", "--against", takes / "before.wav", "--json")

    against = ran.json["against"]
    assert ran.code == 0
    assert against["recording"] == "before.wav"
    assert abs(against["level_db"]) < 0.1
    at_100 = next(line for line in against["hum"] if abs(line["hz"] - 100) < 1)
    assert at_100["db"] == pytest.approx(-40.0, abs=1.5)  # -50 dB before, -90 dB after, by construction
    assert "against" in run("listen", takes / "after.wav", "--against", takes / "before.wav").out


def test_a_power_on_recording_tells_thump_and_mute(run, takes):
    """The delay of the simulated mute is found."""
    ran = run("listen", takes / "on.wav", "--power-on", "--json")

    assert ran.json["thump"]["unmute_after_s"] == pytest.approx(GOOD.unmute_s, abs=0.1)
    assert "unmutes after 2.0 s" in run("listen", takes / "on.wav", "--power-on").out


def test_a_job_is_proven_and_handed_over(run, job, takes, tmp_path):
    """Work, recordings, proof and sheet become entries; the sheet is a PDF that names the unit."""
    out = tmp_path / "sheet.pdf"
    for step in [
        ("hunt", "--job", 1),
        ("work", 1, "cleaned", "--area", "glue"),
        ("reading", 1, "dc volts", "out", "4 mV"),
        ("listen", takes / "before.wav", "--job", 1, "--before"),
        ("listen", takes / "after.wav", "--job", 1, "--after"),
        ("listen", takes / "on.wav", "--power-on", "--job", 1, "--after"),
    ]:
        assert run(*step).code == 0, step

    proven = run("prove", 1, "--json").json
    handed = run("handover", 1, out, "--risk", "old capacitors")

    verdicts = {row["what"]: row for row in proven["verdicts"]}
    assert verdicts["hum"]["verdict"] == "pass"
    assert verdicts["hum"]["before"] > verdicts["hum"]["limit"] > verdicts["hum"]["value"]
    assert verdicts["dc at driver"]["value"] == pytest.approx(0.004)
    assert verdicts["unmute delay"]["verdict"] == "pass"
    assert handed.code == 0
    words = " ".join(" ".join(page.extract_text() for page in PdfReader(out).pages).split())
    assert "room 1 left" in words
    assert "old capacitors" in words
    shown = run("show", 1, "--json").json
    assert shown["stage"] == "handed over"
    assert [entry["kind"] for entry in shown["entries"][-3:]] == ["recording", "proof", "handover"]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("listen", "TAKE", "--before"), "before or after"),
        (("listen", "TAKE", "--job", 1), "before or after"),
        (("listen", "TAKE", "--job", 1, "--before", "--after"), "before or after"),
        (("listen", "TAKE", "--job", 9, "--after"), "no job 9"),
        (("listen", "TAKE", "--power-on", "--stimulus", "TAKE"), "--stimulus"),
        (("prove", 1), "no recording after the work"),
        (("prove", 9), "no job 9"),
        (("handover", 1, "sheet.txt"), ".pdf"),
        (("handover", 1, "nowhere/sheet.pdf"), "sheet.pdf"),
    ],
)
def test_a_step_that_cannot_be_made_is_refused(refused, job, takes, words, says):
    """One line, exit 2, and nothing is kept."""
    refused(*(takes / "after.wav" if word == "TAKE" else word for word in words), code=2, says=says)


def test_a_kept_recording_that_was_damaged_is_found_out(run, job, takes, tmp_path):
    """The proof reads no file that is not what was kept."""
    assert run("listen", takes / "after.wav", "--job", 1, "--after").code == 0
    files = tmp_path / "bench" / "files"
    for path in [path for path in files.rglob("*") if path.is_file()]:
        path.write_bytes(b"x" + path.read_bytes()[1:])

    ran = run("prove", 1)

    assert (ran.code, ran.out) == (2, "")
    assert "not what was kept" in ran.err
    shutil.rmtree(files)
    assert "cannot be read" in run("prove", 1).err
