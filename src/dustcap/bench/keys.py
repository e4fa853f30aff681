"""The stop key: Esc, q or Ctrl-C ends a take, whatever else the terminal is doing."""

from __future__ import annotations

import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from types import FrameType

STOP_KEYS = {"\x1b", "q", "Q", "\x03"}
LOOK_S = 0.05


@contextmanager
def stop_keys(stop: threading.Event) -> Iterator[bool]:
    """Within it Ctrl-C and a termination signal set the event, and Esc and q too where there is a keyboard.

    Gives whether there is one. A second Ctrl-C ends the program in the usual way.
    """
    with _signals(stop):
        if not sys.stdin or not sys.stdin.isatty():
            yield False
            return
        done = threading.Event()
        watch = threading.Thread(target=_watch, args=(stop, done), daemon=True)
        with _single_keys():
            watch.start()
            try:
                yield True
            finally:
                done.set()
                watch.join(timeout=1.0)


@contextmanager
def _signals(stop: threading.Event) -> Iterator[None]:
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def handle(_number: int, _frame: FrameType | None) -> None:
        if stop.is_set():
            raise KeyboardInterrupt
        stop.set()

    before = {number: signal.signal(number, handle) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, old in before.items():
            signal.signal(number, old)


@contextmanager
def _single_keys() -> Iterator[None]:
    """Keys arrive at once and are not shown; Ctrl-C stays a signal."""
    try:
        import termios
        import tty
    except ImportError:  # Windows gives single keys without that
        yield
        return
    number = sys.stdin.fileno()
    before = termios.tcgetattr(number)
    tty.setcbreak(number)
    try:
        yield
    finally:
        with suppress(termios.error):
            termios.tcsetattr(number, termios.TCSADRAIN, before)


def _watch(stop: threading.Event, done: threading.Event) -> None:
    while not done.is_set() and not stop.is_set():
        if pressed(LOOK_S) in STOP_KEYS:
            stop.set()


def pressed(seconds: float) -> str:
    """The key that was pressed within that time; empty when there was none."""
    if sys.platform == "win32":
        import msvcrt
        import time

        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if msvcrt.kbhit():
                return msvcrt.getwch()
            time.sleep(0.01)
        return ""
    import os
    import select

    ready, _, _ = select.select([sys.stdin], [], [], seconds)
    return os.read(sys.stdin.fileno(), 1).decode("latin-1") if ready else ""
