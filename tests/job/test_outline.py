"""The hunt without a description: from plain readings to a block, and on among the parts of a board."""

from __future__ import annotations

import pytest
from cli.boards import SMALL
from job.outlines import SMALL_OUTLINE

import dustcap.job.outline as room
from dustcap.errors import InputError
from dustcap.hunt.findings import parse_findings
from dustcap.job.desk import view
from dustcap.job.findings import enter
from dustcap.job.hunt import hunt_file
from dustcap.job.job_hunt import JobHunt
from dustcap.job.outline import outline_names
from dustcap.job.payloads import Complaint, HuntKept, Reading, Sighting


@pytest.fixture
def small(monkeypatch):
    """The few parts in place of the whole outline."""
    monkeypatch.setattr(room, "outline_board", lambda: SMALL_OUTLINE)
    return SMALL_OUTLINE


def reading(**words):
    return Reading.model_validate(words)


def test_a_job_without_a_description_is_hunted_among_blocks(desk, job, small):
    """Rails that stand and d.c. at the woofer speak for its amplifier; what cannot be counted is said."""
    enter(desk, job, Complaint.model_validate({"is": "cone pushed out", "driver": "woofer"}))
    enter(desk, job, Sighting.model_validate({"is": "bulged", "part": "C99"}))
    enter(desk, job, reading(check="dc volts", at="somewhere", value="1 V"))
    enter(desk, job, reading(check="dc volts", at="plus rail", value="31.2 V"))
    enter(desk, job, reading(check="dc volts", at="minus rail", value="-31.0 V"))
    enter(desk, job, reading(check="dc volts", at="woofer terminals", value="28.4 V"))

    answer = JobHunt(desk, job).ask().document

    shares = [row["probability"] for row in answer["suspects"]]
    assert answer["suspects"][0]["parts"] == [{"block": "woofer amplifier"}]
    assert shares == sorted(shares, reverse=True)
    assert sum(shares) + answer["unexplained"] + answer["healthy"] == pytest.approx(1.0, abs=1e-6)
    assert any("28.4 V" in line for line in answer["suspects"][0]["explains"])
    assert answer["advice"]["do"] == "stop"
    assert answer["advice"]["describe"]["block"] == "woofer amplifier"
    assert "power amplifier stage" in answer["advice"]["describe"]["may_be"]
    assert any("C99" in note for note in answer["notes"])
    assert any("somewhere" in note for note in answer["notes"])
    kept = view(desk, job).state.last(HuntKept)
    assert kept.suspects[0]["words"] == "woofer amplifier"


def test_proposals_are_made_at_places_that_need_no_description(desk, job, small):
    """Each proposed check says where its place is found, and what every block would show."""
    enter(desk, job, Complaint.model_validate({"is": "no output", "driver": "woofer"}))

    answer = JobHunt(desk, job).ask().document

    assert answer["next"]
    for row in answer["next"]:
        assert row["check"] == "listen" or row.get("where") or row.get("part") in ("woofer amplifier",)
        assert row["expect"]


def test_the_same_entries_count_on_the_board_once_there_is_one(desk, job, small, tmp_path):
    """Plain names become the nets of the description; the one without a place there is said."""
    board = tmp_path / "small.board.toml"
    board.write_text(SMALL)
    enter(desk, job, Complaint.model_validate({"is": "cone pushed out", "driver": "woofer"}))
    enter(desk, job, reading(check="dc volts", at="plus rail", value="24.0 V"))
    enter(desk, job, reading(check="dc volts", at="woofer terminals", value="21 V"))
    enter(desk, job, reading(check="dc volts", at="woofer mute pin", value="0 V"))

    answer = JobHunt(desk, job, board=board).ask().document

    parts = [part.get("part") for row in answer["suspects"][:3] for part in row["parts"]]
    assert "U1" in parts
    said = [line for row in answer["suspects"] for line in row["explains"]]
    assert any(line.startswith("dc volts out 21 V") for line in said)
    assert any("woofer mute pin" in note for note in answer["notes"])


def test_a_findings_file_on_the_outline_uses_plain_names_only(small, tmp_path):
    """Other names are refused with the file, and no part can be cleared."""
    findings = tmp_path / "f.findings.toml"
    findings.write_text('layout = 1\n[[reading]]\ncheck = "dc volts"\nat = "wf_out"\nvalue = "1 V"\n')

    with pytest.raises(InputError, match="wf_out"):
        hunt_file(None, findings)
    with pytest.raises(InputError, match="no parts to clear"):
        hunt_file(None, None, why="C9")


def test_ohms_beyond_what_an_outline_can_tell_are_over_range(small):
    """Nobody knows what else lies across a driver, so some kilohms and none are the same."""
    text = 'layout = 1\n[[reading]]\ncheck = "ohms"\nat = "woofer terminals"\nvalue = "{}"\n'
    known = outline_names(small)

    high, coil = (room.countable(parse_findings(text.format(ohms), "f", known), known) for ohms in ("21.9k", "5.9"))

    assert [entry.value_words() for entry in (*high.entries, *coil.entries)] == ["over range", "5.9 Ω"]


def test_work_leaves_only_what_was_entered_after_it(small):
    """Nobody knows which block the work was on, so what was entered before it is left out."""
    known = outline_names(small)
    told = parse_findings(
        'layout = 1\n[[complaint]]\nis = "hum"\n[[work]]\ndid = "replaced"\npart = "woofer amplifier"\n'
        '[[reading]]\ncheck = "dc volts"\nat = "plus rail"\nvalue = "30 V"\n',
        "f",
        known,
    )

    left = room.countable(told, known)

    assert [entry.words() for entry in left.entries] == ["dc volts plus rail 30 V"]
    assert any("work was done" in note for note in left.notes)
