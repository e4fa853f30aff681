"""The state of a job is the fold of its entries, and a correction keeps its place in the order."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dustcap.errors import InputError, RecordError
from dustcap.job.payloads import Complaint, Intake, Note, Reading, Work
from dustcap.job.state import fold
from dustcap.records.rows import Entry

START = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)


def entries_of(*rows):
    """Entries from (kind, payload) or (kind, payload, corrects), numbered from 1."""
    return [
        Entry(1, n, START + timedelta(minutes=n), "bench 1", row[0], row[1], row[2] if len(row) > 2 else None)
        for n, row in enumerate(rows, 1)
    ]


INTAKE = ("intake", {"model": "model 27", "unit": "room 1 left"})
BEFORE = ("reading", {"check": "dc volts", "at": "wf_out", "value": "-23.8 V"})
WORK = ("work", {"did": "replaced", "part": "C9"})
AFTER = ("reading", {"check": "dc volts", "at": "wf_out", "value": "4 mV"})


def test_a_job_holds_what_its_entries_say():
    """Each kind is found again in order, the intake in front."""
    state = fold(entries_of(INTAKE, ("complaint", {"is": "hum"}), BEFORE, WORK, AFTER))

    assert state.intake == Intake(model="model 27", unit="room 1 left")
    assert state.all(Complaint) == (Complaint(word="hum"),)
    assert [one.value for one in state.all(Reading)] == ["-23.8 V", "4 mV"]
    assert state.stage == "worked on"


def test_a_corrected_reading_stays_before_the_work_that_followed_it():
    """The correction comes last, but the reading still speaks of the board before the work."""
    fixed = {"check": "dc volts", "at": "wf_out", "value": "-2.38 V"}
    state = fold(entries_of(INTAKE, BEFORE, WORK, AFTER, ("correction", {"instead": fixed, "why": "range"}, 2)))

    kinds = [(type(fact.payload), getattr(fact.payload, "value", "")) for fact in state.standing()]

    assert kinds == [(Intake, ""), (Reading, "-2.38 V"), (Work, ""), (Reading, "4 mV")]
    assert (state.facts[1].corrected_by, state.facts[1].why) == (5, "range")
    assert state.last_finding == 5


def test_a_withdrawn_reading_no_longer_counts_but_is_still_there():
    """Withdrawing hides it from the hunt, not from the record."""
    state = fold(entries_of(INTAKE, BEFORE, ("correction", {"why": "wrong unit"}, 2)))

    assert state.all(Reading) == ()
    assert state.facts[1].withdrawn
    assert state.facts[1].payload.value == "-23.8 V"


def test_a_correction_can_be_corrected_again():
    """The latest correction of an entry holds, also one that brings a withdrawn entry back."""
    rows = [INTAKE, BEFORE, ("correction", {}, 2), ("correction", {"instead": AFTER[1]}, 2)]

    assert fold(entries_of(*rows[:3])).all(Reading) == ()
    assert [one.value for one in fold(entries_of(*rows)).all(Reading)] == ["4 mV"]


@pytest.mark.parametrize(
    ("correction", "says"),
    [
        (("correction", {}, 9), "no entry 9"),
        (("correction", {"instead": {"is": "hum"}}, 2), "reading"),
        (("correction", {}, 3), "which is not corrected"),
    ],
)
def test_a_correction_that_does_not_fit_is_refused(correction, says):
    """A correction of nothing, of another kind, or of a result of the tool's own."""
    hunt = ("hunt", {"upto": 2, "unexplained": 0.1, "healthy": 0.0, "advice": {"do": "check"}})

    with pytest.raises(InputError, match=says):
        fold(entries_of(INTAKE, BEFORE, hunt, correction))


@pytest.mark.parametrize(
    ("kind", "payload", "says"),
    [
        ("telegram", {}, "no entry of kind 'telegram'"),
        ("reading", {"check": "ohms", "at": "a"}, "give one of: a value"),
        ("reading", {"check": "ohms", "at": "a", "value": "1", "over": True}, "give one of: a value"),
        ("reading", {"check": "ohms", "at": "a", "value": "1", "colour": "red"}, "colour"),
        ("complaint", {"is": "hum", "when": "tuesdays"}, "tuesdays"),
        ("sighting", {"is": "bulged"}, "give one of: part, area"),
        ("sighting", {"is": "bulged", "part": "C9", "area": "glue"}, "give one of: part, area"),
        ("work", {"did": "cleaned", "between": ["a"]}, "two nets"),
        ("intake", {"model": "", "unit": "x"}, "model"),
        ("note", {"text": "x" * 4001}, "text"),
    ],
)
def test_a_payload_that_does_not_fit_its_kind_is_refused_in_one_line(kind, payload, says):
    """The sentence names the key and stays short, whatever was put in."""
    with pytest.raises(InputError, match=says) as why:
        fold(entries_of((kind, payload)))

    assert "\n" not in str(why.value)
    assert len(str(why.value)) < 250


def test_a_job_without_an_intake_is_said_so():
    """The intake is always the first entry."""
    with pytest.raises(RecordError, match="begin with an intake"):
        _ = fold([]).intake


@pytest.mark.parametrize(
    ("rows", "stage"),
    [
        ([INTAKE], "taken in"),
        ([INTAKE, BEFORE], "hunting"),
        ([INTAKE, BEFORE, ("correction", {}, 2)], "taken in"),
        ([INTAKE, WORK], "worked on"),
        ([INTAKE, ("proof", {"after": 1, "verdicts": [{"verdict": "pass"}, {"verdict": "fail"}]})], "fails its proof"),
        ([INTAKE, ("proof", {"after": 1, "verdicts": [{"verdict": "pass"}]})], "proven"),
        ([INTAKE, ("proof", {"after": 1, "verdicts": [{"verdict": "undecided"}]})], "proof undecided"),
        ([INTAKE, ("handover", {"file": "0" * 64})], "handed over"),
    ],
)
def test_the_stage_follows_from_what_was_done(rows, stage):
    """How far a job is, from its entries alone."""
    assert fold(entries_of(*rows)).stage == stage


findings = st.sampled_from([BEFORE, AFTER, WORK, ("complaint", {"is": "hum"}), ("note", {"text": "x"})])


@given(st.lists(findings, max_size=12), st.data())
def test_folding_on_gives_the_same_as_folding_at_once(rows, data):
    """The state at any point is that of the entries up to there, and withdrawing all leaves the intake standing."""
    entries = entries_of(INTAKE, *rows)
    cut = data.draw(st.integers(1, len(entries)))

    assert fold(entries[:cut]).facts == fold(entries).facts[:cut]
    gone = [("correction", {}, n) for n in range(2, len(entries) + 1)]
    assert [fact.position for fact in fold(entries_of(INTAKE, *rows, *gone)).standing()] == [1]


def test_notes_are_kept_beside_the_findings():
    """A note does not move the hunt."""
    state = fold(entries_of(INTAKE, BEFORE, ("note", {"text": "owner rang"})))

    assert state.all(Note) == (Note(text="owner rang"),)
    assert (state.last_finding, state.last_position) == (2, 3)
