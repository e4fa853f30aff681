"""A real browser and a real server, for the tests that need them."""

import os
import re
import shutil
import subprocess
import sys
from contextlib import contextmanager

import pytest

ARGUMENTS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
NAMES = ("chromium", "chromium-browser", "google-chrome")


def chromium():
    """Where Chromium is; without one the test is skipped, and fails where the project is checked for good."""
    found = next(filter(None, map(shutil.which, NAMES)), None)
    if found is None:
        (pytest.fail if os.environ.get("CI") else pytest.skip)("there is no Chromium on this machine")
    return found


@contextmanager
def browser():
    """Chromium, headless."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=chromium(), args=ARGUMENTS)
        try:
            yield started
        finally:
            started.close()


class Server:
    """`dustcap serve` on a folder, as a process of its own; can be killed and started again on the same port."""

    def __init__(self, folder, log):
        self.folder, self.log, self.port, self.process = folder, log, 0, None

    @property
    def address(self):
        """Where it serves."""
        return f"http://127.0.0.1:{self.port}"

    def start(self):
        """Start it and wait for the line that names its address."""
        command = [sys.executable, "-m", "dustcap.cli.main", "serve", str(self.folder)]
        command += ["--port", str(self.port), "--no-open", "--author", "bench 1"]
        environment = os.environ | {"DUSTCAP_LOG": str(self.log)}
        self.process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env=environment)
        line = self.process.stderr.readline()
        self.port = int(re.search(r":(\d+)/", line)[1])

    def kill(self):
        """As a power cut would."""
        self.process.kill()
        self.process.communicate()


@contextmanager
def served(folder, log):
    """A running server."""
    server = Server(folder, log)
    server.start()
    try:
        yield server
    finally:
        server.kill()
