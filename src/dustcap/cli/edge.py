"""What every command needs at the edge: the desk, the options they share, and the way out."""

from __future__ import annotations

import getpass
import json
import os
import sys
import uuid
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, is_dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from rich.console import Console

    from dustcap.job.desk import Desk

LAYOUT = 1
SLOW_S = 2.0
DATABASE_VARIABLE = "DUSTCAP_DATABASE"
"""Address of a PostgreSQL database shared by several benches; no option: a list of processes would show a password."""

Folder = Annotated[
    Path | None,
    typer.Option("--folder", envvar="DUSTCAP_FOLDER", help="folder of the bench (default: one in your home)"),
]
Author = Annotated[str, typer.Option("--author", envvar="DUSTCAP_AUTHOR", help="who enters this (default: your login)")]
Json = Annotated[bool, typer.Option("--json", help="print one JSON document and nothing else")]
Job = Annotated[int, typer.Argument(help="number of the job")]


def desk(folder: Path | None, author: str = "") -> Desk:
    """The desk of the person at the keyboard, with the clock of this machine."""
    from dustcap.job.desk import Desk

    database = os.environ.get(DATABASE_VARIABLE, "")
    return Desk(folder or _home(), author or _login(), lambda: datetime.now(UTC), lambda: uuid.uuid4().hex, database)


def _home() -> Path:
    import platformdirs

    return Path(platformdirs.user_data_dir("dustcap", appauthor=False))


def _login() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):  # no such user on this machine
        return "unknown"


def answer(as_json: bool, document: Mapping[str, Any], write: Callable[[Console], None]) -> None:
    """Print the answer: one JSON document, or text for people."""
    if as_json:
        print(as_text(document))
    else:
        write(console())


def as_text(document: Mapping[str, Any]) -> str:
    """A JSON document with its layout number in front; refuses what JSON cannot hold."""
    return json.dumps({"layout": LAYOUT, **document}, default=_plain, allow_nan=False)


def _plain(value: object) -> object:
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, Path):
        return str(value)
    if is_dataclass(value) and not isinstance(value, type):
        return asdict(value)
    raise TypeError(f"{type(value).__name__} has no JSON form")


def console() -> Console:
    """Standard output for people; plain text when it is not a terminal."""
    from rich.console import Console

    return Console(highlight=False, markup=False, emoji=False, soft_wrap=not sys.stdout.isatty())


def remark(line: str) -> None:
    """A message beside the answer, on standard error."""
    print(line, file=sys.stderr)


@contextmanager
def progress(what: str) -> Iterator[Callable[[float], None]]:
    """A bar on standard error once the work has taken two seconds; none when that is not a terminal.

    What it gives takes the share that is done; until it is called the bar only shows that something goes on.
    """
    from threading import Timer

    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    console = Console(stderr=True)
    if not console.is_terminal:
        yield lambda share: None
        return
    bar = Progress(
        TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn(), console=console, transient=True
    )
    task = bar.add_task(what, total=None)
    later = Timer(SLOW_S, bar.start)
    later.daemon = True
    later.start()
    try:
        yield lambda share: bar.update(task, completed=share, total=1.0)
    finally:
        later.cancel()
        later.join()
        if bar.live.is_started:
            bar.stop()
