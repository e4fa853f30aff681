"""Pictures of the pages for the documentation: plays the demonstration's first unit again on the pages and takes them.

    python tools/pictures.py DEMO_FOLDER

DEMO_FOLDER is what `dustcap demo` wrote. The bench in it gets one more job (it is a demonstration); the pictures go to
docs/pictures. Needs the packages of the tests and Chromium.
"""

import io
import sys
from pathlib import Path

from PIL import Image

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "tests"))

from web.browser import browser, served  # noqa: E402

PICTURES = ROOT / "docs" / "pictures"
SIZE = {"width": 1280, "height": 800}
TALL = {"width": 800, "height": 1280}
COLOURS = 64
PATIENCE_MS = 900_000
READINGS = (("rail+", "25.95 V"), ("wf_out", "-19.63 V"))


def main(folder: Path) -> None:
    """Take every picture."""
    PICTURES.mkdir(exist_ok=True)
    with served(folder / "bench", folder / "pages.log") as server, browser() as chrome:
        tab = chrome.new_page(viewport=SIZE)
        tab.set_default_timeout(PATIENCE_MS)
        for name, path in (("job", "/jobs/1"), ("sound", "/jobs/1/sound"), ("proof", "/jobs/1/proof")):
            tab.goto(server.address + path)
            take(tab, name)
        tab.goto(f"{server.address}/jobs/1/handover")
        take(tab, "handover")
        hunt(tab, server.address)
        for name, path in (("bench", "/"), ("boards", "/boards"), ("board", "/jobs/1/board")):
            tab.goto(server.address + path)
            take(tab, name)


def hunt(tab, address: str) -> None:
    """One more unit on the same board, up to its first answer."""
    tab.goto(f"{address}/intake")
    tab.fill("#intake-model", "model 27")
    tab.fill("#intake-unit", "spare of room 1")
    tab.fill("#intake-says", "cone jumps out at switch-on and stays")
    tab.select_option("#intake-known", index=1)
    take(tab, "intake")
    tab.click("text=Open the job")
    tab.wait_for_url("**/jobs/*")
    job = tab.url
    tab.keyboard.press("c")
    tab.get_by_label("cone pushed out").check()
    tab.fill("#complaint-driver", "woofer")
    take(tab, "complaint")
    tab.click("text=Keep the complaint")
    tab.wait_for_url("**#entry-*")
    for net, volts in READINGS:
        tab.goto(job)
        tab.keyboard.press("r")
        tab.select_option("#reading-check", "dc volts")
        tab.fill("#reading-at", net)
        tab.fill("#reading-value", volts)
        for box in tab.locator("details[open] .gate input").all():
            box.check()
        tab.click("text=Keep the reading")
        tab.wait_for_url("**#entry-*")
    tab.goto(f"{job}/hunt")
    tab.wait_for_selector("#hunt:not(:has(.computing))")
    take(tab, "hunt")
    tab.set_viewport_size(TALL)
    take(tab, "hunt_tall")
    tab.set_viewport_size(SIZE)


def take(tab, name: str) -> None:
    """One picture, in few colours so that it stays small."""
    picture = Image.open(io.BytesIO(tab.screenshot())).convert("RGB")
    picture.quantize(COLOURS).save(PICTURES / f"{name}.png", optimize=True)
    print(name, (PICTURES / f"{name}.png").stat().st_size)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
