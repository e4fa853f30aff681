"""The hunt's page: it never waits for the computing, takes an answer, takes it back, and goes back in time."""

import re
import time

import pytest
from job.outlines import SMALL_OUTLINE

from dustcap.job.desk import view
from dustcap.job.payloads import HuntKept

PATIENCE_S = 60


def until_ready(pages, job):
    """The hunt's page once its answer is there."""
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        got = pages.get(f"/jobs/{job}/hunt")
        assert got.status_code == 200
        if 'class="computing"' not in got.text:
            return got.text
        assert "hx-get" in got.text  # it asks again by itself, with script and without
        assert 'http-equiv="refresh"' in got.text
    raise AssertionError("the hunt never came to an end")


def hidden(page):
    """The fields of the proposed check's form."""
    form = page.split('class="readbox"')[1].split("</form>")[0]
    return dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', form))


def assured(page):
    """The assurances that the form asks for, given."""
    form = page.split('class="readbox"')[1].split("</form>")[0]
    return {name: "yes" for name in re.findall(r'type="checkbox" name="(\w+)"', form)}


def suspects(page):
    """The ranked suspects and their probabilities."""
    return re.findall(r'class="share">([^<]+)</span><span class="words">([^<]+?)\s*<', page)


def test_the_first_look_does_not_wait_for_the_computing(pages, send, job):
    """Without predictions the page is there at once and says that it computes."""
    send(f"/jobs/{job}/complaints", word="hum")

    began = time.monotonic()
    got = pages.get(f"/jobs/{job}/hunt")

    assert time.monotonic() - began < 5
    assert got.status_code == 200
    assert 'role="status"' in got.text


def test_a_hunt_is_answered_taken_back_and_played_again(pages, send, desk, computed):
    """The answer changes the suspects; undo brings the earlier ones back and stays on the record; so does replay."""
    send(f"/jobs/{computed}/complaints", word="cone pushed out", driver="woofer")
    first = until_ready(pages, computed)
    kept = hidden(first)
    assert kept["check"]
    value = {"value": "-4.1"} if 'id="answer-value"' in first else {"seen": "no"}
    unsure = send(f"/jobs/{computed}/hunt", **kept, **value)
    answered = send(f"/jobs/{computed}/hunt", **kept, **value, **assured(first))
    second = until_ready(pages, computed)
    position = view(desk, computed).state.last_position - 1
    undone = send(f"/jobs/{computed}/hunt/undo", position=str(position))
    third = until_ready(pages, computed)
    then = pages.get(f"/jobs/{computed}/hunt?upto=2").text

    assert unsure.status_code == (422 if assured(first) else 303)
    assert answered.status_code == 303
    assert suspects(first) != suspects(second)
    assert undone.status_code == 303
    assert suspects(third) == suspects(first)
    assert suspects(then) == suspects(first)
    assert "As it stood after entry 2" in then
    assert "withdrawn by entry" in third
    assert len(view(desk, computed).state.all(HuntKept)) == 3


def test_a_wrong_answer_comes_back_in_the_box(pages, send, desk, computed):
    """What was typed stays in the box, the line beside it says what is wrong."""
    send(f"/jobs/{computed}/complaints", word="cone pushed out", driver="woofer")
    page = until_ready(pages, computed)
    before = view(desk, computed).state.last_position
    fields = hidden(page) | {"check": "dc volts", "at": "out", "against": "0V", "state": "drivers disconnected"}

    got = send(f"/jobs/{computed}/hunt", **fields, value="-4.1 furlongs", drivers_off="yes", limited="yes")

    assert got.status_code == 422
    assert "-4.1 furlongs" in got.text
    assert "Nothing was saved." in got.text
    assert view(desk, computed).state.last_position == before


def test_a_job_without_a_board_is_hunted_among_blocks(pages, send, monkeypatch):
    """The page shows blocks as suspects, and says that no board is described."""
    monkeypatch.setattr("dustcap.job.outline.outline_board", lambda: SMALL_OUTLINE)
    send("/intake", model="m", unit="u")

    page = until_ready(pages, 1)

    assert "no board description" in page
    assert "woofer amplifier" in page


def test_another_check_can_be_picked(pages, send, computed):
    """Each proposal has its own link; one that is not there picks the last."""
    send(f"/jobs/{computed}/complaints", word="cone pushed out", driver="woofer")
    page = until_ready(pages, computed)

    other = pages.get(f"/jobs/{computed}/hunt?check=2").text

    assert hidden(other)["number"] == "2"
    assert hidden(other) != hidden(page)
    assert pages.get(f"/jobs/{computed}/hunt?check=99").status_code == 200
    assert pages.get(f"/jobs/{computed}/hunt?upto=77").status_code in (200, 422)


@pytest.mark.parametrize("upto", ["0", "x", "99999999999999999999"])
def test_a_point_that_is_none_is_refused(pages, job, upto):
    """422, a page of ours."""
    assert pages.get(f"/jobs/{job}/hunt?upto={upto}").status_code == 422
