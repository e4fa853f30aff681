"""The boards of the bench, one board, and what a good one reads at a click."""

import re

import pytest
from board_pictures import CORNERS, as_bytes, picture, seen, view
from cli.boards import SMALL

from dustcap.job.board_view import board_view
from dustcap.job.desk import append
from dustcap.job.drawer import bring, open_board, stem_of
from dustcap.job.intake import take_in
from dustcap.job.payloads import HuntKept, Intake
from dustcap.job.photos import COMPONENT, keep_photo, set_points
from dustcap.web.guard import COOKIE


@pytest.fixture
def stem(desk):
    """The small board in the drawer, with two places and an area."""
    return bring(desk, SMALL.encode(), "small.board.toml")


def test_an_empty_bench_has_no_board_and_says_how_to_begin(pages):
    """The list is empty, and the form to begin is there."""
    got = pages.get("/boards")

    assert got.status_code == 200
    assert "No board is described yet" in got.text
    assert 'action="/boards"' in got.text


def test_a_form_carries_the_token_of_its_own_browser(desk):
    """What a page's form holds is what the cookie holds, so that it can be sent."""
    from web.client import TestClient
    from web.conftest import ADDRESS

    from dustcap.web.app import create_app

    with TestClient(create_app(desk), base_url=ADDRESS, follow_redirects=False) as fresh:
        token = re.search(r'name="token" value="([^"]+)"', fresh.get("/boards").text)[1]
        got = fresh.post("/boards", data={"token": token, "name": "model 27", "revision": "C", "mains": ""})

        assert token == fresh.cookies[COOKIE]
    assert got.status_code == 303
    assert got.headers["location"] == "/boards/model_27_c/describe"


def test_a_refused_board_comes_back_filled_in(pages, send):
    """One line says why, and what was typed stands in its boxes."""
    send("/boards", name="model 27", revision="C", mains="230 V 50 Hz")

    again = send("/boards", name="model 27", revision="C", mains="230 V 50 Hz")
    mains = send("/boards", name="other", revision="", mains="a lot")

    assert again.status_code == mains.status_code == 422
    assert "already" in again.text
    assert 'value="model 27"' in again.text
    assert "Write it as" in mains.text


def test_a_description_is_brought_in_or_refused_with_its_line(pages, send, desk):
    """A good file lands in the drawer; a wrong one is told with file and line."""
    good = send("/boards/bring", files={"file": ("small.board.toml", SMALL.encode(), "text/plain")})
    bad = send(
        "/boards/bring", files={"file": ("bad.board.toml", SMALL.replace("22k", "a lot").encode(), "text/plain")}
    )
    none = send("/boards/bring")

    assert good.status_code == 303
    assert pages.get(good.headers["location"]).status_code == 200
    assert (bad.status_code, none.status_code) == (422, 422)
    assert "no file was sent" in none.text.lower()


def test_a_click_shows_what_a_good_board_reads(pages, stem):
    """Without script a part on the picture is a link, and behind it stand its nets with values and bounds."""
    plain = pages.get(f"/boards/{stem}")
    assert re.search(r'<a href="/boards/[^"]*part=R3#facts" aria-label="R3, resistor', plain.text)

    got = waited(pages, f"/boards/{stem}?part=R3", "d.c. volts")
    net = pages.get(f"/boards/{stem}?net=rail%2B")

    assert "ohms, red lead here" in got
    assert "share of its power rating" in got
    assert " to " in re.search(r"d\.c\. volts</th><td>([^<]+)", got)[1]
    assert net.status_code == 200
    assert "rail+" in net.text


def waited(pages, path, words):
    """The page once it holds these words; the server itself waits at each look."""
    for _ in range(60):
        text = pages.get(path).text
        if words in text:
            return text
    raise AssertionError(f"{path} never said {words!r}")


def test_what_is_not_on_the_board_is_refused_in_one_line(pages, stem):
    """An unknown part, net or board is a page of ours."""
    assert pages.get(f"/boards/{stem}?part=R999").status_code == 422
    assert pages.get(f"/boards/{stem}?net=nowhere").status_code == 422
    assert pages.get("/boards/nothing").status_code == 404
    assert pages.get("/boards/..%2Fbench").status_code in (404, 422)


def test_the_leak_map_is_computed_behind_the_page(pages, stem):
    """The page comes at once, tells how far it is, and shades the area when it is done."""
    first = pages.get(f"/boards/{stem}?shade=leaks")
    assert first.status_code == 200

    done = waited(pages, f"/boards/{stem}?shade=leaks", "Darker: a weaker leak is enough")

    assert "≤" in done
    assert "glue" in done


def test_a_marked_area_lists_the_leaks_to_look_for(pages, stem):
    """The nets through it, and their pairs, neighbours first among them."""
    got = pages.get(f"/boards/{stem}").text

    assert "Nets through it" in got
    assert "pairs that a leak may join" in got
    assert 'class="near"' in got


def test_the_suspects_of_a_hunt_stand_on_the_board(pages, desk, tmp_path):
    """A part's ring and a leak's dashes carry their probability, in words for those who do not see them."""
    file = tmp_path / "small.board.toml"
    file.write_text(SMALL)
    job = take_in(desk, Intake(model="model 27", unit="room 1 left"), file).job
    suspects = (
        {"words": "R3 open", "parts": [{"part": "R3", "mode": "open"}], "probability": 0.62},
        {
            "words": "leak",
            "parts": [{"leak": list(open_board(desk, stem_of_job(desk)).parts["R3"].nets)}],
            "probability": 0.2,
        },
    )
    append(desk, job, HuntKept(upto=1, suspects=suspects, unexplained=0.1, healthy=0.0, advice={}))

    got = pages.get(f"/jobs/{job}/board?shade=suspects").text

    assert ">62 %<" in got
    assert "R3 open" in got
    assert "stroke-dasharray" in got
    assert "2 of " in got


def stem_of_job(desk):
    """The name in the drawer of the only job's board."""
    from dustcap.job.desk import view as view_job

    row = view_job(desk, 1).row
    return stem_of(row.board.name, row.board.revision)


def test_a_job_without_a_board_says_what_to_do(pages, desk):
    """There is nothing to show, and the page says where to describe it."""
    job = take_in(desk, Intake(model="model 27", unit="room 2 left")).job

    got = pages.get(f"/jobs/{job}/board")

    assert got.status_code == 422
    assert "Describe its board" in got.text


def test_two_revisions_stand_side_by_side(pages, desk, stem):
    """Both pictures, and what the maker changed."""
    other = bring(desk, SMALL.replace('revision = "A"', 'revision = "B"').replace("22k", "33k").encode(), "b")
    assert other != stem

    got = pages.get(f"/boards/{stem}/beside/{other}?part=R3").text

    assert got.count("<svg") == 2
    assert "What the maker changed" in got


def test_sheet_and_file_are_given_out(pages, stem):
    """The service sheet as PDF, the description as it is."""
    pdf = pages.get(f"/boards/{stem}/sheet.pdf")
    text = pages.get(f"/boards/{stem}/file")

    assert pdf.content.startswith(b"%PDF")
    assert text.text == SMALL


def test_the_photograph_carries_the_parts_once_it_is_laid(pages, desk, stem):
    """Before its corners are known no part is drawn on it; afterwards each stands where the camera saw it."""
    keep_photo(desk, stem, COMPONENT, as_bytes(picture({"R3": (8, 5), "C1": (5, 5)})))
    assert "R3, resistor" not in pages.get(f"/boards/{stem}").text

    set_points(desk, stem, COMPONENT, CORNERS, [seen(view(), corner) for corner in CORNERS])

    got = pages.get(f"/boards/{stem}").text
    x, y = (1000 / 1200 * each for each in seen(view(), (8, 5)))
    assert "<image href=" in got
    circles = [tuple(map(float, found)) for found in re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)"', got)]
    assert any(abs(a - x) < 1 and abs(b - y) < 1 for a, b in circles)
    assert board_view(desk, stem).plane(COMPONENT).fit.pixels_per_mm == pytest.approx(5.6, rel=0.01)
