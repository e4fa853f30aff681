"""Recordings, proof and hand-over on the pages."""

import pytest

from dustcap.job.desk import view
from dustcap.job.payloads import Proof, Recording


def sent(send, job, take, **fields):
    """Sends a recording."""
    with take.open("rb") as file:
        return send(f"/jobs/{job}/sound", files={"recording": (take.name, file, "audio/wav")}, **fields)


def test_a_repair_is_heard_proven_and_handed_over(pages, send, desk, computed, takes):
    """Two recordings, their plots, the verdicts, and a PDF that is the one that was kept."""
    send(f"/jobs/{computed}/work", did="cleaned", area="glue")
    before = sent(send, computed, takes / "before.wav", when="before")
    after = sent(send, computed, takes / "after.wav", when="after")
    sound = pages.get(after.headers["location"]).text
    judged = send(f"/jobs/{computed}/proof")
    proof = pages.get(f"/jobs/{computed}/proof").text
    made = send(f"/jobs/{computed}/handover", remaining="old capacitors\n\nthe twin")
    page = pages.get(f"/jobs/{computed}/handover").text
    link = page.split(f'href="/jobs/{computed}/files/')[1].split('"')[0]
    sheet = pages.get(f"/jobs/{computed}/files/{link}")

    assert [before.status_code, after.status_code, judged.status_code, made.status_code] == [303] * 4
    assert sound.count('<figure class="plot"><svg') >= 3
    assert "before the work" in sound
    assert view(desk, computed).state.last(Proof).verdicts
    assert "hum" in proof
    assert "at most" in proof
    assert sheet.content.startswith(b"%PDF")
    assert sheet.headers["content-type"] == "application/pdf"
    assert "the twin" in page
    assert view(desk, computed).state.stage == "handed over"
    position = next(f.position for f in view(desk, computed).state.facts if isinstance(f.payload, Recording))
    kept = pages.get(f"/jobs/{computed}/files/{position}")
    assert kept.content == (takes / "before.wav").read_bytes()
    assert "attachment" in kept.headers["content-disposition"]


@pytest.mark.parametrize(
    ("name", "content", "fields", "says"),
    [
        ("take.wav", b"RIFF not really", {"when": "after"}, "take.wav"),
        ("photo.jpg", b"\xff\xd8\xff\xe0" + b"x" * 500, {"when": "after"}, "photo.jpg"),
        ("take.wav", b"", {"when": "after"}, "empty"),
        ("../../etc/take.wav", b"x", {"when": "after"}, "take.wav"),
        ("", b"", {"when": "after"}, "no file was chosen"),
        ("take.wav", b"x", {"when": "later"}, "before or after"),
        ("take.wav", b"x", {"when": "after", "channel": "left"}, "channel"),
    ],
)
def test_what_is_no_recording_is_refused(send, desk, job, name, content, fields, says):
    """By its content, whatever it is called; the line stands in the form and nothing is kept."""
    got = send(f"/jobs/{job}/sound", files={"recording": (name, content)}, **fields)

    assert got.status_code == 422
    assert says in got.text.lower() if name == "" else says in got.text
    assert "/tmp" not in got.text
    assert "/etc" not in got.text
    assert not list((desk.folder / "files").rglob("*.wav"))
    assert view(desk, job).state.last(Recording) is None


def test_a_proof_without_a_recording_says_what_is_missing(send, job):
    """422, the form again, and what to do."""
    got = send(f"/jobs/{job}/proof")

    assert got.status_code == 422
    assert "no recording after the work" in got.text


def test_the_test_recording_can_be_fetched(pages):
    """A WAV file."""
    got = pages.get("/stimulus.wav?name=quick")

    assert got.content.startswith(b"RIFF")
    assert got.headers["content-type"] == "audio/wav"
    assert pages.get("/stimulus.wav?name=loud").status_code == 422


def test_an_entry_without_a_file_has_none(pages, job):
    """404 with a page of ours."""
    assert pages.get(f"/jobs/{job}/files/1").status_code == 404
