"""Board descriptions that the bench has already, so that a second unit of a model needs no file."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from dustcap.errors import InputError, RecordError
from dustcap.job.desk import Desk
from dustcap.job.drawer import filed_boards


@dataclass(frozen=True, slots=True)
class KnownBoard:
    """One version of a description: the model it belongs to and the newest job that uses it (0: none yet)."""

    hash: str
    model: str
    name: str
    revision: str
    job: int


def known_boards(desk: Desk) -> tuple[KnownBoard, ...]:
    """What lies in the drawer of boards, then the versions in use, the newest first; none without a bench."""
    if not desk.begun:
        return ()
    drawer = {
        hash_: KnownBoard(hash_, "", board.name, board.revision, 0) for hash_, board in filed_boards(desk).items()
    }
    found: dict[str, KnownBoard] = {}
    with desk.open() as bench, bench.read() as read:
        for row in reversed(read.jobs()):
            if row.board is not None and row.board.hash not in found:
                found[row.board.hash] = KnownBoard(
                    row.board.hash, row.model, row.board.name, row.board.revision, row.id
                )
    return tuple((drawer | found).values())


@contextmanager
def board_file(desk: Desk, hash_: str) -> Iterator[Path]:
    """A kept description as a file, for as long as the ``with`` lasts.

    Raises
    ------
    InputError
        If no job uses a description of that hash.
    """
    if hash_ not in {one.hash for one in known_boards(desk)}:
        raise InputError("this bench has no such board description.", where="intake known", mend="Choose one again.")
    filed = filed_boards(desk)
    if hash_ in filed:
        content = filed[hash_].text.encode()
    else:
        with desk.open() as bench, bench.read() as read:
            content = read.content(hash_)
    with tempfile.TemporaryDirectory(prefix="dustcap-") as folder:
        path = Path(folder, "kept.board.toml")
        try:
            path.write_bytes(content)
        except OSError as error:
            raise RecordError(f"the description cannot be written out: {error.strerror}.", where=folder) from error
        yield path
