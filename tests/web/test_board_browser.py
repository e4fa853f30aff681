"""A board in a real browser: photographs laid by clicks, a part placed, an area drawn, two blocks described."""

import threading

import pytest
import uvicorn
from board_pictures import CORNERS, HOLES, SIZE, as_bytes, picture, seen, view
from web.browser import browser

from dustcap.job.describe import put_part
from dustcap.job.drawer import begin, open_board
from dustcap.web.app import create_app

PLACES = {"R1": (52.0, 80.0), "C9": (118.0, 56.0)}
UNDER = {"side": "solder", "tilt": -0.2}
PATIENCE_MS = 30_000


@pytest.fixture(scope="module")
def chrome():
    """One browser for all tests of this file."""
    with browser() as started:
        yield started


@pytest.fixture
def address(desk):
    """The pages of the test's desk, served from a thread."""
    server = uvicorn.Server(uvicorn.Config(create_app(desk), host="127.0.0.1", port=0, log_level="error"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        thread.join(0.05)
    yield f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}"
    server.should_exit = True
    thread.join(10)


@pytest.fixture
def tab(chrome):
    """A tab of a 10-inch tablet; a script error fails the test."""
    page = chrome.new_page(viewport={"width": 1280, "height": 800})
    page.set_default_timeout(PATIENCE_MS)
    broken = []
    page.on("pageerror", lambda error: broken.append(str(error)))
    yield page
    page.close()
    assert broken == []


@pytest.fixture
def board(desk):
    """A board with two parts that have no place yet; its name."""
    stem = begin(desk, "small board", "A", "")
    put_part(desk, stem, "R1", "resistor", {"a": "x", "b": "0V"}, {"value": "2k2"})
    put_part(desk, stem, "C9", "electrolytic", {"plus": "y", "minus": "0V"}, {"value": "1000 uF"})
    return stem


def click(tab, side, pixel):
    """Clicks a pixel of the picture of a side."""
    marks = tab.locator(f".view[data-side={side}] .marks")
    marks.scroll_into_view_if_needed()
    box = marks.bounding_box()
    tab.mouse.click(box["x"] + pixel[0] * box["width"] / SIZE[0], box["y"] + pixel[1] * box["height"] / SIZE[1])


def said(tab, words):
    """Waits until the line over the pictures says it."""
    tab.locator("#said", has_text=words).wait_for()


def laid(tab, address, board):
    """Sends both photographs and lays them by clicks."""
    tab.goto(f"{address}/boards/{board}/photos")
    for side, camera in (("component", {}), ("solder", {"tilt": -0.2})):
        content = as_bytes(picture(PLACES, side, **camera))
        section = tab.get_by_role("region", name=f"{side.capitalize()} side", exact=True)
        section.locator("input[type=file]").set_input_files(
            {"name": "IMG_1.jpg", "mimeType": "image/jpeg", "buffer": content}
        )
        section.get_by_role("button", name="Send").click()
        section.get_by_text("Not laid yet").wait_for()
    tab.get_by_label("1 Lay on mm").check()
    for corner in CORNERS:
        click(tab, "component", seen(view(), corner))
    tab.get_by_label("Width, mm").fill("160")
    tab.get_by_label("Height, mm").fill("110")
    tab.get_by_role("button", name="Save the corners").click()
    said(tab, "Saved. 4 points")
    tab.get_by_label("2 Join the sides").check()
    for hole in HOLES:
        click(tab, "component", seen(view(), hole))
        click(tab, "solder", seen(view(**UNDER), hole))
    tab.get_by_role("button", name="Save the pairs").click()
    said(tab, "Saved. 5 points, off by")


def test_photographs_are_laid_a_part_placed_and_an_area_drawn(tab, address, board, desk):
    """A click on the solder side finds the place on the component side; what is clicked lands in the plain file."""
    laid(tab, address, board)

    tab.get_by_label("3 Place parts").check()
    click(tab, "component", seen(view(), PLACES["R1"]))
    said(tab, "R1 is saved. Next: C9.")
    click(tab, "solder", seen(view(**UNDER), PLACES["C9"]))
    said(tab, "C9 is saved.")
    placed = open_board(desk, board).places
    assert placed["R1"] == pytest.approx(PLACES["R1"], abs=0.6)
    assert placed["C9"] == pytest.approx(PLACES["C9"], abs=0.6)

    tab.get_by_label("Look").check()
    click(tab, "solder", seen(view(**UNDER), (116.0, 56.0)))
    said(tab, "nearest part C9")
    assert tab.locator(".view[data-side=component] .point").count() == 1

    tab.get_by_label("4 Draw an area").check()
    for corner in ((45, 75), (60, 75), (60, 85), (40, 90)):
        click(tab, "component", seen(view(), corner))
    last = tab.locator(".view[data-side=component] .point").nth(3)
    box = last.bounding_box()
    start = (box["x"] + 12, box["y"] + box["height"] - 12)
    scale = tab.locator(".view[data-side=component] .marks").bounding_box()["width"] / SIZE[0]
    target, now = seen(view(), (45, 85)), seen(view(), (40, 90))
    tab.mouse.move(*start)
    tab.mouse.down()
    tab.mouse.move(start[0] + (target[0] - now[0]) * scale, start[1] + (target[1] - now[1]) * scale, steps=4)
    tab.mouse.up()
    tab.get_by_label("Name").fill("glue_1")
    tab.get_by_role("button", name="Save the area").click()
    said(tab, "Saved.")
    area = open_board(desk, board).areas["glue_1"]
    assert len(area.outline) == 4
    assert area.outline[2] == pytest.approx((60, 85), abs=0.6)
    assert area.outline[3] == pytest.approx((45, 85), abs=3.5)
    assert tab.get_by_text("Nets through it: 0V, x.").count() == 1
    assert_accessible(tab)


def test_a_point_is_set_and_moved_by_keys_alone(tab, address, board, desk):
    """Arrow keys move the cross, Enter places the part there; the drawn picture serves where no photograph is."""
    tab.goto(f"{address}/boards/{board}/photos")
    tab.get_by_label("3 Place parts").focus()
    tab.keyboard.press("Space")
    marks = tab.locator(".view[data-side=component] .marks")
    marks.focus()
    for _ in range(3):
        tab.keyboard.press("Shift+ArrowRight")
    tab.keyboard.press("Enter")
    said(tab, "R1 is saved")
    first = open_board(desk, board).places["R1"]

    tab.get_by_label("4 Draw an area").check()
    marks.focus()
    for key in ("Shift+ArrowLeft", "Shift+ArrowUp", "Shift+ArrowRight"):
        tab.keyboard.press("Enter")
        for _ in range(4):
            tab.keyboard.press(key)
    point = tab.locator(".view[data-side=component] .point").first
    before = point.get_attribute("aria-label")
    point.focus()
    tab.keyboard.press("ArrowDown")
    assert tab.locator(".view[data-side=component] .point").first.get_attribute("aria-label") != before
    tab.get_by_label("Name").fill("spot")
    tab.keyboard.press("Enter")
    said(tab, "Saved.")

    assert first[0] > 80.0
    assert len(open_board(desk, board).areas["spot"].outline) == 3


def test_a_two_block_board_is_described_from_nothing_to_its_sheet(tab, address, desk):
    """Name, two blocks, a value off the part, and what a good one reads stands beside it."""
    tab.goto(f"{address}/boards")
    tab.get_by_label("Name, as it is printed on it").fill("two blocks")
    tab.get_by_role("button", name="Begin").click()
    tab.get_by_role("link", name="split supply").click()
    tab.get_by_role("button", name="Put it on the board").click()
    tab.get_by_role("link", name="power amplifier stage").click()
    tab.get_by_label("gain resistor").first.fill("470")
    tab.get_by_role("button", name="Put it on the board").click()
    assert "470 Ω as a value and 47 Ω as a code" in tab.locator("#set-gain_resistor-problem").text_content()
    tab.get_by_label("gain resistor").first.fill("red red orange gold")
    tab.get_by_role("button", name="Put it on the board").click()
    tab.locator("#block-sheet").get_by_role("row", name="rail+").wait_for()

    assert "Standing in" in tab.locator("#block-sheet").text_content()
    assert open_board(desk, "two_blocks").parts["power_amplifier_stage-R2"].number("value") == 22e3
    assert tab.get_by_text("values are assumed").count() == 1
    assert_accessible(tab)


def test_the_pages_are_read_without_script(chrome, address, board):
    """Pictures, forms and the two photographs stand there; nothing waits for a script."""
    reader = chrome.new_context(java_script_enabled=False).new_page()
    reader.goto(f"{address}/boards/{board}/photos")

    assert reader.locator(".drawn svg").count() == 2
    assert reader.get_by_role("button", name="Place it").is_visible()
    assert reader.get_by_role("button", name="Save the pairs").is_visible()
    assert not reader.locator(".modes").is_visible()
    reader.goto(f"{address}/boards/{board}?part=R1")
    assert reader.get_by_role("heading", name="R1").is_visible()
    reader.context.close()


PAGES = ("", "/{}", "/{}?part=R1", "/{}/photos", "/{}/describe")


def test_pages_fit_a_tablet_held_either_way(tab, address, board):
    """No page has to be moved sideways."""
    for width, height in ((1280, 800), (800, 1280)):
        tab.set_viewport_size({"width": width, "height": height})
        for path in PAGES:
            tab.goto(f"{address}/boards{path.format(board)}")
            wide = tab.locator("html").evaluate_handle("page => page.scrollWidth").json_value()
            assert wide <= width, path


@pytest.mark.parametrize("path", PAGES)
def test_pages_can_be_read_by_all(tab, address, board, path):
    """The accessibility checker (axe) finds nothing, contrast included."""
    tab.goto(f"{address}/boards{path.format(board)}")

    assert_accessible(tab)


def assert_accessible(tab):
    """No finding of axe."""
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(tab).response["violations"]
    assert [(one["id"], [node["html"][:160] for node in one["nodes"][:3]]) for one in found] == []
