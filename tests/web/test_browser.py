"""The whole job in a real browser, by keys and clicks, over a server that is killed in the middle of it."""

import re
import shutil

import pytest
from cli.boards import SMALL
from web.browser import browser, served

from dustcap.job.hunt import PREDICTIONS

MOST_BYTES = 150_000
"""Of a page with its style and scripts, before plots."""
WEIGHT = """[...performance.getEntriesByType("navigation"), ...performance.getEntriesByType("resource")]
    .reduce((sum, one) => sum + one.decodedBodySize, 0)"""
PATIENCE_MS = 45_000
PAGES = ("", "/hunt", "/sound", "/proof", "/handover", "/entries/2", "/board")


@pytest.fixture(scope="module")
def chrome():
    """One browser for all tests of this file."""
    with browser() as started:
        yield started


@pytest.fixture
def server(tmp_path, predictions):
    """A server on a bench whose only board was computed before."""
    shutil.copytree(predictions, tmp_path / "bench" / PREDICTIONS)
    with served(tmp_path / "bench", tmp_path / "dustcap.log") as running:
        yield running


@pytest.fixture
def tab(chrome, server):
    """A tab of a 10-inch tablet; a script error fails the test."""
    page = chrome.new_page(viewport={"width": 1280, "height": 800})
    page.set_default_timeout(PATIENCE_MS)
    broken = []
    page.on("pageerror", lambda error: broken.append(str(error)))
    yield page
    page.close()
    assert broken == []


def take_in(tab, server, tmp_path):
    """Takes a unit in on the small board; returns the job's address."""
    board = tmp_path / "small.board.toml"
    board.write_text(SMALL)
    tab.goto(f"{server.address}/")
    tab.keyboard.press("i")
    tab.get_by_label("Model").fill("model 27")
    tab.get_by_label("Unit", exact=False).first.fill("room 1 left")
    tab.get_by_label("A file").set_input_files(board)
    tab.get_by_role("button", name="Open the job").click()
    tab.wait_for_url("**/jobs/1")
    return f"{server.address}/jobs/1"


def complain(tab):
    """Enters the complaint by keys alone."""
    tab.keyboard.press("c")
    tab.keyboard.type("c")  # the box has the focus: no shortcut any more
    tab.get_by_label("cone pushed out").focus()
    tab.keyboard.press("Space")
    tab.get_by_role("button", name="Keep the complaint").focus()
    tab.keyboard.press("Enter")
    tab.wait_for_url("**#entry-2")


def answer(tab, value):
    """Answers the proposed check by keys: assurances, the value, Enter."""
    ready(tab)
    for box in tab.locator(".readbox input[type=checkbox]").all():
        box.focus()
        tab.keyboard.press("Space")
    before = entered(tab)
    box = tab.locator("#answer-value")
    if box.count():
        box.focus()
        tab.keyboard.type(value)
        tab.keyboard.press("Enter")
    else:
        tab.locator(".readbox .choices button").last.click()
    tab.wait_for_selector(f".replay li:nth-child({before + 1})")
    ready(tab)


def ready(tab):
    """Waits until the hunt has its answer."""
    tab.wait_for_selector("#hunt:not(:has(.computing))")


def entered(tab):
    """How many findings the hunt's page shows."""
    return tab.locator(".replay li").count()


def leading(tab):
    """The suspects with their probabilities, as the page shows them."""
    return tab.locator(".suspects .suspect").all_inner_texts()


def test_a_job_is_carried_through_and_nothing_is_lost(tab, chrome, server, tmp_path, takes):
    """From intake to the sheet, with an undo, a second tab, and a server killed in mid-job."""
    job = take_in(tab, server, tmp_path)
    complain(tab)
    tab.goto(f"{job}/hunt")
    ready(tab)
    first = leading(tab)

    answer(tab, "-4.1")
    assert leading(tab) != first
    tab.evaluate("document.activeElement.blur()")
    tab.keyboard.press("u")
    tab.wait_for_selector(".replay li.withdrawn")
    ready(tab)
    assert leading(tab) == first

    server.kill()
    server.start()
    tab.goto(f"{job}/hunt")
    ready(tab)
    assert leading(tab) == first
    answer(tab, "-4.1")

    second = chrome.new_page()
    second.goto(f"{job}/hunt")
    assert entered(second) == entered(tab)
    second.close()

    tab.goto(job)
    tab.keyboard.press("w")
    tab.locator("details[open]").get_by_label("cleaned").check()
    tab.locator("details[open]").get_by_label("or area").fill("glue")
    tab.get_by_role("button", name="Keep the work").click()
    tab.wait_for_url("**#entry-*")
    tab.goto(f"{job}/sound")
    for when in ("before", "after"):
        tab.get_by_label("WAV or FLAC").set_input_files(takes / f"{when}.wav")
        tab.get_by_label(when, exact=True).check()
        tab.get_by_role("button", name="Listen").click()
        tab.wait_for_url("**take=*")
        tab.wait_for_selector(f"h2:has-text('{when}.wav')")
    assert tab.locator("figure svg").count() >= 3

    tab.goto(f"{job}/proof")
    tab.get_by_role("button", name="Judge").click()
    tab.wait_for_selector(".overall")
    tab.goto(f"{job}/handover")
    tab.get_by_label("What remains at risk").fill("old capacitors")
    tab.get_by_role("button", name="Make the sheet").click()
    link = tab.get_by_role("link", name=re.compile("Open the sheet"))
    link.wait_for()
    sheet = tab.request.get(server.address + link.get_attribute("href"))
    assert sheet.body().startswith(b"%PDF")
    tab.goto(f"{server.address}/")
    assert "handed over" in tab.locator(".tag").inner_text()


def test_every_page_is_accessible_and_light(tab, server, tmp_path, capsys):
    """Axe finds nothing on any page, wide and tall; a page with all that it loads stays below 150 kB before plots."""
    from axe_playwright_python.sync_playwright import Axe

    job = take_in(tab, server, tmp_path)
    complain(tab)
    tab.goto(f"{job}/hunt")
    ready(tab)
    lines = []
    for path in (
        f"{server.address}/",
        f"{server.address}/intake",
        f"{server.address}/nowhere",
        *(job + p for p in PAGES),
    ):
        tab.goto(path)
        weight = tab.evaluate(WEIGHT)
        tab.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
        found = [
            (row["id"], [node["html"][:120] for node in row["nodes"]]) for row in Axe().run(tab).response["violations"]
        ]
        drawn = tab.evaluate(
            "[...document.querySelectorAll('svg')].reduce((sum, one) => sum + one.outerHTML.length, 0)"
        )
        paint = tab.evaluate("performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? 0")
        lines.append(f"{path.removeprefix(server.address):20} {(weight - drawn) / 1000:6.1f} kB  {paint:5.0f} ms")
        assert found == [], path
        assert 0 < weight - drawn < MOST_BYTES, path
        for width in (1280, 800):
            tab.set_viewport_size({"width": width, "height": 2080 - width})
            assert tab.evaluate("document.documentElement.scrollWidth") <= width, path
    with capsys.disabled():
        print("\n" + "\n".join(lines))


def test_without_script_everything_can_be_read_and_entered(chrome, server, tmp_path):
    """Script switched off: the same job up to a reading, by plain forms."""
    context = chrome.new_context(java_script_enabled=False, viewport={"width": 800, "height": 1280})
    tab = context.new_page()
    tab.set_default_timeout(PATIENCE_MS)
    board = tmp_path / "small.board.toml"
    board.write_text(SMALL)
    tab.goto(f"{server.address}/intake")
    tab.get_by_label("Model").fill("model 27")
    tab.get_by_label("Unit", exact=False).first.fill("room 1 left")
    tab.get_by_label("A file").set_input_files(board)
    tab.get_by_role("button", name="Open the job").click()
    tab.get_by_label("hum", exact=True).check()  # a new job's complaint form stands open
    tab.get_by_role("button", name="Keep the complaint").click()
    tab.goto(f"{server.address}/jobs/1/hunt")
    tab.wait_for_selector(".readbox")  # the page asks again by itself

    for box in tab.locator(".readbox input[type=checkbox]").all():
        box.check()
    if tab.locator("#answer-value").count():
        tab.locator("#answer-value").fill("0.01")
        tab.locator(".readbox button", has_text="Enter").click()
    else:
        tab.locator(".readbox .choices button").last.click()

    tab.wait_for_url("**/jobs/1/hunt")
    assert tab.locator(".replay li").count() == 2
    context.close()
