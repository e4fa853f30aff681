"""The proof takes the right recordings and readings, and names what is missing."""

import json
from datetime import UTC, datetime
from io import BytesIO

import pytest
from cli.boards import SMALL, changed
from pypdf import PdfReader

from dustcap.board.read import parse_board
from dustcap.errors import InputError
from dustcap.job.corrections import withdraw
from dustcap.job.desk import append, view
from dustcap.job.findings import enter
from dustcap.job.handover import gather_proof
from dustcap.job.intake import take_in
from dustcap.job.payloads import Intake, Proof, Reading, Recording, Work
from dustcap.job.prove import driver_nets, prove
from dustcap.proof.limits import default_limits
from dustcap.proof.measures import measure
from dustcap.report.handover import proof_pdf

AT = datetime(2026, 3, 1, tzinfo=UTC)
LIMITS = default_limits()
SWEEP_DBFS = -12.0


def document(hum_db=-90.0, level_db=0.0, polarity="+", thump=None):
    """A listening document with the blocks that are judged here."""
    hz = [1000.0 * 2 ** (step / 24) for step in range(-72, 73)]
    noise = {
        "dbfs_a": -100.0,
        "uncertainty_db": 0.5,
        "bands": {},
        "mains_hz": 50.0,
        "hum": [{"order": 2, "hz": 100.0, "db": hum_db, "uncertainty_db": 0.5}],
    }
    return {
        "layout": 1,
        "found_stimulus": True,
        "sweep_dbfs": SWEEP_DBFS,
        "response": {"hz": hz, "db": [level_db] * len(hz), "valid": [120.0, 8e3], "uncertainty_db": [0.1] * len(hz)},
        "harmonics": None,
        "irregular": None,
        "noise": noise,
        "crackle": None,
        "polarity": polarity,
        "polarity_drivers": None,
        "thump": thump,
    }


def keep(desk, job, when, said, power_on=False):
    """A recording whose analysis is this document; its position."""
    with desk.open() as bench, bench.write() as write:
        file = write.add_file("take.wav", f"{when}{said}".encode(), AT)
        result = write.add_file("take.json", json.dumps(said).encode(), AT)
    return append(desk, job, Recording(name="take.wav", file=file, result=result, when=when, power_on=power_on))


@pytest.fixture
def job(desk, tmp_path):
    """A job on the small board."""
    path = tmp_path / "small.board.toml"
    path.write_text(SMALL)
    return take_in(desk, Intake(model="model 27", unit="left"), path).job


def rows(proven):
    """Verdicts by what they judge."""
    return {row["what"]: row for row in proven.verdicts}


def test_the_last_recording_after_the_work_is_judged_with_the_last_before_it(desk, job):
    """Hum is judged on the newest take; the older take after the work and the power-on take do not come in."""
    before = keep(desk, job, "before", document(hum_db=-40.0))
    keep(desk, job, "after", document(hum_db=-50.0))
    after = keep(desk, job, "after", document(hum_db=-90.0))
    keep(desk, job, "after", document(hum_db=-30.0), power_on=True)

    proven = prove(desk, job)

    hum = rows(proven)["hum"]
    assert (hum["verdict"], hum["limit"]) == ("pass", LIMITS["hum"].value)
    assert hum["value"] < -70 < hum["before"]
    kept = view(desk, job).state.last(Proof)
    assert (kept.before, kept.after) == (before, after)


def test_a_withdrawn_recording_does_not_count(desk, job):
    """Taking back the newest take brings the one before it to judgement."""
    keep(desk, job, "after", document(hum_db=-50.0))
    newest = keep(desk, job, "after", document(hum_db=-90.0))
    withdraw(desk, job, newest, "microphone fell over")

    assert rows(prove(desk, job))["hum"]["verdict"] == "fail"


def test_only_readings_since_the_last_work_are_held_against_the_driver_limit(desk, job):
    """The volts from before the cleaning do not fail the repaired unit; the largest one after it is judged."""
    enter(desk, job, Reading(check="dc volts", at="out", value="-4.1 V"))
    enter(desk, job, Work(did="cleaned", area="glue"))
    keep(desk, job, "after", document())
    assert "dc at driver" not in rows(prove(desk, job))

    enter(desk, job, Reading(check="dc volts", at="out", value="3 mV"))
    enter(desk, job, Reading(check="dc volts", at="out", value="-8 mV"))
    enter(desk, job, Reading(check="dc volts", at="rail+", value="24 V"))
    enter(desk, job, Reading(check="dc volts", at="out", against="rail-", value="24 V"))

    verdict = rows(prove(desk, job))["dc at driver"]
    assert (verdict["value"], verdict["verdict"]) == (-0.008, "pass")
    # handheld: 0.8 % of 8 mV and 3 counts of 0.1 mV on the 600 mV range
    assert verdict["uncertainty"] == pytest.approx(0.008 * 0.008 + 3e-4)


def test_the_switch_on_take_adds_its_mute_delay(desk, job):
    """The unmute delay comes from the power-on recording after the work."""
    keep(desk, job, "after", document())
    assert "unmute delay" not in rows(prove(desk, job))
    thump = {"switch_s": 1.0, "peak_dbfs": -30.0, "energy_db": -60.0, "unmute_after_s": 2.0}
    keep(desk, job, "after", document(thump=thump), power_on=True)

    assert rows(prove(desk, job))["unmute delay"]["value"] == pytest.approx(2.0)


def test_the_twin_gives_level_and_polarity(desk, job):
    """A twin 2 dB louder and turned over fails pair level and polarity."""
    keep(desk, job, "after", document())
    twin = take_in(desk, Intake(model="model 27", unit="right")).job
    with pytest.raises(InputError, match="twin has no recording"):
        prove(desk, job, twin=twin)
    keep(desk, twin, "before", document(level_db=2.0, polarity="-"))

    found = rows(prove(desk, job, twin=twin))

    assert found["pair level"]["value"] == pytest.approx(-2.0, abs=0.01)
    assert (found["pair level"]["verdict"], found["polarity"]["verdict"]) == ("fail", "fail")
    assert prove(desk, job, twin=twin).overall == "fail"


def test_without_a_recording_after_the_work_nothing_is_proven(desk, job):
    """The command that is missing is named."""
    keep(desk, job, "before", document())

    with pytest.raises(InputError, match="no recording after the work") as why:
        prove(desk, job)

    assert f"--job {job} --after" in why.value.mend


def test_what_was_not_measured_is_said(desk, job):
    """Blocks that the recording does not hold are listed, not passed."""
    keep(desk, job, "after", document())

    proven = prove(desk, job)

    assert any(line.startswith("crackle") for line in proven.not_measured)
    assert "crackle" not in rows(proven)


def test_a_driver_is_reached_through_links_coils_and_closed_switches():
    """A reading before the output coil counts, one behind an open switch or at common does not."""
    driver = 'LS1 = { kind = "driver", role = "woofer", resistance = "5.6 ohm", pins = ["%s", "0V"] }\n'
    chain = (
        driver % "speaker"
        + 'L1 = { kind = "inductor", value = "1u", pins = ["out", "coil"] }\n'
        + 'J1x = { kind = "link", pins = ["coil", "speaker"] }\n'
        + 'S1 = { kind = "switch", closed = false, pins = ["speaker", "spare"] }\n'
        + 'R9 = { kind = "resistor", value = "10k", pins = ["spare", "0V"] }\n'
    )
    board = parse_board(changed(driver % "out", chain))

    assert driver_nets(board) == {"speaker", "coil", "out"}


def test_the_document_in_these_tests_has_the_fields_that_are_judged():
    """The hum of the document is the level of its line against the sweep, as the limit wants it."""
    found = measure(document(hum_db=-90.0), LIMITS["hum"], None, False)

    assert found.value == pytest.approx(-90.0 - SWEEP_DBFS, abs=0.1)


def test_the_twin_stands_beside_the_proof(desk, job, tmp_path):
    """What it was compared with is kept with the proof, and the page of the proof fits one sheet."""
    path = tmp_path / "small.board.toml"
    twin = take_in(desk, Intake(model="model 27", unit="right"), path).job
    keep(desk, twin, "before", document(level_db=0.3))
    keep(desk, job, "after", document())

    prove(desk, job, twin=twin)
    data = gather_proof(desk, job)

    assert data.beside_words == f"twin, job {twin}"
    assert data.beside["response"]["db"][0] == 0.3
    assert [row.verdict for row in data.verdicts if row.what == "pair level"] == ["pass"]
    page = PdfReader(BytesIO(proof_pdf(data)))
    assert len(page.pages) == 1
    assert "pair level" in page.pages[0].extract_text()


def test_twin_and_reference_exclude_each_other(desk, job, tmp_path):
    """One line, nothing kept."""
    keep(desk, job, "after", document())

    with pytest.raises(InputError, match="twin and reference exclude each other"):
        prove(desk, job, twin=1, reference=tmp_path / "reference.wav")

    assert view(desk, job).state.last(Proof) is None
