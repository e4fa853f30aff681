"""Forms: what is right is kept and leads back, what is wrong comes back with one line, and nothing is saved."""

import pytest

from dustcap.job.desk import view
from dustcap.job.intake import take_in
from dustcap.job.payloads import Intake
from dustcap.job.words import fact_said


def entries(desk, job):
    """The job's entries in words."""
    return [fact_said(fact) for fact in view(desk, job).state.facts]


@pytest.mark.parametrize(
    ("form", "fields", "said"),
    [
        ("complaints", {"word": "hum", "driver": "woofer", "with_volume": "constant"}, "hum, woofer, the same at any"),
        ("complaints", {"word": "squeal", "absent": "yes"}, "squeal: not there"),
        ("sightings", {"word": "bulged", "part": "C1"}, "C1 bulged"),
        ("sightings", {"word": "residue", "area": "glue"}, "glue residue"),
        ("readings", {"check": "ohms", "at": "rail+", "value": "2k2", "discharged": "yes"}, "ohms rail+: 2k2"),
        ("readings", {"check": "ohms", "at": "rail+", "value": "over", "discharged": "yes"}, "rail+: over range"),
        ("readings", {"check": "lifted", "at": "R1", "value": "10k1", "discharged": "yes"}, "lifted R1: 10k1"),
        ("work", {"did": "replaced", "part": "C1", "detail": "1000 uF 50 V"}, "replaced C1, 1000 uF 50 V"),
        ("work", {"did": "cleaned", "first_net": "rail+", "second_net": "minus"}, "cleaned between rail+ and minus"),
        ("work", {"did": "replaced", "part": "C2", "precaution": "yes"}, "replaced C2 (as a precaution)"),
        ("notes", {"text": "smells <b>burnt</b>"}, "smells <b>burnt</b>"),
    ],
)
def test_an_entry_is_kept_and_the_way_leads_back(send, pages, desk, job, form, fields, said):
    """Each form is a plain POST; the page that it leads to shows the entry, escaped."""
    got = send(f"/jobs/{job}/{form}", **fields)

    assert got.status_code == 303
    assert got.headers["location"] == f"/jobs/{job}#entry-2"
    assert said in entries(desk, job)[1]
    assert "<b>burnt" not in pages.get(f"/jobs/{job}").text


@pytest.mark.parametrize(
    ("form", "fields", "says", "field"),
    [
        ("complaints", {"word": "hums"}, "did you mean", "word"),
        ("complaints", {"word": "hum", "driver": "midrange"}, "midrange", "driver"),
        ("complaints", {}, "this is missing", ""),
        ("sightings", {"word": "bulged", "part": "C77"}, "C77", "part"),
        ("sightings", {"word": "bulged"}, "give one of: part, area", ""),
        ("readings", {"check": "ohms", "at": "rail", "value": "2k2", "discharged": "yes"}, "rail", "at"),
        ("readings", {"check": "ohms", "at": "rail+", "value": "2 apples", "discharged": "yes"}, "2 apples", "value"),
        ("readings", {"check": "ohms", "at": "rail+", "value": " ", "discharged": "yes"}, "No value", "value"),
        ("readings", {"check": "smell", "at": "rail+", "value": "1", "discharged": "yes"}, "smell", "check"),
        ("work", {"did": "kicked", "part": "C1"}, "kicked", "did"),
        ("work", {"did": "cleaned", "first_net": "rail+"}, "two nets", ""),
        ("notes", {"text": "x" * 5000}, "4000", "text"),
        ("notes", {"text": "  "}, "", "text"),
    ],
)
def test_a_wrong_form_comes_back_filled_in(send, desk, job, form, fields, says, field):
    """422, one line beside the field, what was typed is kept, and nothing is saved."""
    got = send(f"/jobs/{job}/{form}", **fields)

    assert got.status_code == 422
    assert got.text.count("Nothing was saved.") == 1
    assert says.lower() in got.text.lower()
    if field and fields.get(field, "").strip():
        assert fields[field] in got.text
    if field in ("driver", "part", "at", "value", "text"):
        marked = got.text.split("aria-invalid", 1)[0].rsplit("<", 1)[1]
        assert f'name="{field}"' in marked
    assert len(entries(desk, job)) == 1


def test_an_entry_is_corrected_and_withdrawn(send, desk, job):
    """Both are new entries; the old one stays, crossed out."""
    send(f"/jobs/{job}/readings", check="ohms", at="rail+", value="2k2", discharged="yes")

    corrected = send(f"/jobs/{job}/entries/2/correct", check="ohms", at="rail+", value="22k", why="misread")
    refused = send(f"/jobs/{job}/entries/2/correct", check="ohms", at="nowhere", value="22k")
    withdrawn = send(f"/jobs/{job}/entries/2/withdraw", why="wrong board")

    assert corrected.status_code == withdrawn.status_code == 303
    assert refused.status_code == 422
    assert "nowhere" in refused.text
    assert "22k" in entries(desk, job)[1]
    assert "withdrawn by entry 4: wrong board" in entries(desk, job)[1]


def test_a_form_without_its_token_is_refused(pages, desk, job):
    """A page of another origin knows no token; nothing is saved."""
    for fields in ({"text": "x"}, {"text": "x", "token": "another-token-of-this-length"}):
        got = pages.post(f"/jobs/{job}/notes", data=fields)
        assert got.status_code == 422
        assert "load the page again" in got.text

    assert pages.post(f"/jobs/{job}/notes", data={"text": "x"}, headers={"x-dustcap-token": "wrong"}).status_code == 422
    assert len(entries(desk, job)) == 1


def test_a_unit_is_taken_in_with_its_board(send, pages, desk, board_file):
    """The description comes with the form; the next unit of the model finds it on the bench."""
    with board_file.open("rb") as file:
        first = send(
            "/intake", model="model 27", unit="left", says="hums", files={"board": ("my board.board.toml", file)}
        )
    page = pages.get("/intake").text
    known = page.split('<option value="')[2].split('"')[0]
    second = send("/intake", model="model 27", unit="right", known=known)

    assert first.headers["location"] == "/jobs/1"
    assert second.headers["location"] == "/jobs/2"
    assert view(desk, 2).board_text == view(desk, 1).board_text
    bench = pages.get("/").text
    assert "model 27 A, left" in bench
    assert "next: what it does: the complaint" in bench


@pytest.mark.parametrize(
    ("fields", "board", "says"),
    [
        ({"model": "", "unit": "left"}, None, "This is missing"),
        ({"model": "m", "unit": "left"}, b"layout = 1\n[parts]\nR1 = 3\n", "sent.board.toml"),
        ({"model": "m", "unit": "left"}, b"\x00" * 1_000_001, "larger than 1 MB"),
        ({"model": "m", "unit": "left"}, b"\xff\xfe", "UTF-8"),
        ({"model": "m", "unit": "left", "known": "f" * 64}, None, "no such board description"),
    ],
)
def test_an_intake_that_is_wrong_opens_no_job(send, desk, fields, board, says):
    """The line stands in the form, names the file as it was called, and no job is opened."""
    files = {"board": ("../sent.board.toml", board)} if board else None

    got = send("/intake", files=files, **fields)

    assert got.status_code == 422
    assert says in got.text
    assert "/tmp" not in got.text
    assert 'value="left"' in got.text
    assert not (desk.folder / "bench.sqlite3").exists()


@pytest.mark.parametrize(
    ("form", "fields", "field", "said"),
    [
        ("readings", {"check": "dc volts", "value": "1 V"}, "reading-at", "This is missing"),
        ("readings", {"check": "lifted", "value": "1 k", "discharged": "yes"}, "reading-at", "This is missing"),
        ("work", {"did": "replaced", "part": "R1", "detail": "x" * 300}, "work-detail", "At most 200 characters"),
    ],
)
def test_an_empty_or_overfull_box_says_so_in_words_of_a_form(send, job, form, fields, field, said):
    """The line stands beside the box and does not speak of a file or of the checker's own types."""
    states = {"drivers_off": "yes", "limited": "yes"} if form == "readings" else {}
    got = send(f"/jobs/{job}/{form}", **states, **fields)

    assert got.status_code == 422
    assert f'id="{field}-problem"' in got.text
    assert said in got.text
    assert "Add a line" not in got.text
    assert "String should" not in got.text


def test_a_new_job_opens_with_the_complaint(pages, send, job):
    """What comes next stands open; once something was found, nothing is in the way."""
    first = pages.get(f"/jobs/{job}").text
    send(f"/jobs/{job}/complaints", word="hum")

    assert '<details name="enter" open data-key="c">' in first
    assert '<details name="enter" open' not in pages.get(f"/jobs/{job}").text


def test_the_good_twin_is_named_on_the_jobs_page(send, pages, desk, job, board_file):
    """The other unit of the model is offered; one that was never read while well comes back with a line."""
    assert "Good twin" not in pages.get(f"/jobs/{job}").text
    other = take_in(desk, Intake(model="model 27", unit="room 1 right"), board_file).job
    assert f'<option value="{other}">job {other}: room 1 right' in pages.get(f"/jobs/{job}").text

    refused = send(f"/jobs/{job}/twin", of=str(other))
    assert refused.status_code == 422
    assert "known to be well" in refused.text
    assert send(f"/jobs/{job}/twin", of="one").status_code == 422

    send(f"/jobs/{other}/readings", check="ohms", at="rail+", value="2k2", discharged="yes")
    named = send(f"/jobs/{job}/twin", of=str(other))
    assert named.status_code == 303
    assert entries(desk, job)[-1] == f"good twin: the unit of job {other}"
