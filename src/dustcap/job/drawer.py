"""The drawer of board descriptions beside the record: one plain file a revision, the same for every unit of it.

Each description is the file ``boards/NAME.board.toml`` of the bench. A board that only a job brought along is found
under its name too and gets its file with the first change. Every text that was saved is also kept among the files of
the record, so that no earlier state is lost.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from threading import Lock

from dustcap.board.model import Board
from dustcap.board.read import parse_board, read_board
from dustcap.board.write import new_board, write_board
from dustcap.errors import BoardError, DustcapError, InputError, RecordError
from dustcap.job.desk import Desk

FOLDER, SUFFIX = "boards", ".board.toml"
_NAME = re.compile(r"[a-z0-9][a-z0-9_-]{0,79}")
_SAVING = Lock()
"""One change at a time in this process, so that two clicks do not overwrite each other."""


@dataclass(frozen=True, slots=True)
class BoardLine:
    """One board of the drawer; `problem` says why it cannot be read, and then nothing else is known of it."""

    stem: str
    name: str = ""
    revision: str = ""
    parts: int = 0
    placed: int = 0
    areas: int = 0
    filed: bool = True
    problem: str = ""


def stem_of(name: str, revision: str) -> str:
    """The name of a board's file: ``model_27_main_board_c``.

    Examples
    --------
    >>> stem_of("model 27 main board", "C")
    'model_27_main_board_c'
    """
    words = re.sub(r"[^a-z0-9]+", "_", f"{name} {revision}".lower()).strip("_")
    return words[:80].strip("_") or "board"


def path_of(desk: Desk, stem: str) -> Path:
    """Where the description of that name lies, or would lie.

    Raises
    ------
    InputError
        If it is no name of a board's file.
    """
    if not _NAME.fullmatch(stem):
        raise InputError(
            f"{stem[:40]!r} is no name of a board.", where="board", mend="The list of boards has them all."
        )
    return desk.folder / FOLDER / f"{stem}{SUFFIX}"


def boards(desk: Desk) -> tuple[BoardLine, ...]:
    """Every board: those of the drawer, then those that only jobs brought along."""
    lines = [_line(path) for path in sorted((desk.folder / FOLDER).glob(f"*{SUFFIX}"))]
    filed = {line.stem for line in lines}
    for stem, text in _of_jobs(desk).items():
        if stem not in filed:
            lines.append(_summary(stem, parse_board(text), filed=False))
    return tuple(lines)


def filed_boards(desk: Desk) -> dict[str, Board]:
    """The boards of the drawer that can be read, by the hash of their text."""
    found = {}
    for path in sorted((desk.folder / FOLDER).glob(f"*{SUFFIX}")):
        try:
            board = read_board(path)
        except DustcapError:
            continue
        found[sha256(board.text.encode()).hexdigest()] = board
    return found


def open_board(desk: Desk, stem: str) -> Board:
    """The board of that name.

    Raises
    ------
    RecordError
        If there is none.
    BoardError
        If its file says something that cannot be.
    """
    path = path_of(desk, stem)
    if path.is_file():
        return read_board(path)
    text = _of_jobs(desk).get(stem)
    if text is None:
        raise RecordError(f"there is no board {stem!r}.", where="boards", mend="The list of boards has them all.")
    return parse_board(text, str(path))


def begin(desk: Desk, name: str, revision: str, mains: str) -> str:
    """A new description with a head and nothing on it; returns its name in the drawer.

    Raises
    ------
    InputError
        If the name is empty, there is such a board, or the mains are none.
    """
    if not name.strip():
        raise InputError("the board has no name.", where="name", mend="Name it as it is printed: model 27 main board.")
    stem = stem_of(name, revision)
    if stem in {line.stem for line in boards(desk)}:
        raise InputError(
            f"there is a board {name.strip()!r} of this revision already.", where="name", mend="Open it from the list."
        )
    save(
        desk, stem, new_board(name.strip(), revision.strip(), mains.strip() or "230 V 50 Hz", str(path_of(desk, stem)))
    )
    return stem


def bring(desk: Desk, content: bytes, called: str) -> str:
    """Put a description that was written elsewhere into the drawer; returns its name there.

    Raises
    ------
    BoardError
        If it says something that cannot be.
    InputError
        If there is a board of that name and revision with another text.
    """
    try:
        board = parse_board(content.decode("utf-8"), called[:80] or "board")
    except UnicodeDecodeError as error:
        raise BoardError("is not UTF-8 text.", where=called[:80], mend="Save the file as UTF-8 text.") from error
    stem = stem_of(board.name, board.revision)
    path = path_of(desk, stem)
    if path.is_file() and read_board(path).text != board.text:
        raise InputError(
            f"there is another description of {board.name!r} {board.revision}.",
            where="boards",
            mend="Change its name or revision in the file.",
        )
    save(desk, stem, board)
    return stem


def change(desk: Desk, stem: str, how: Callable[[Board], Board]) -> Board:
    """Read, change, check and save a board as one step; what cannot be is refused and nothing is saved.

    Raises
    ------
    BoardError
        If the change makes the board one that cannot be.
    """
    with _SAVING:
        board = how(open_board(desk, stem))
        save(desk, stem, board)
    return board


def save(desk: Desk, stem: str, board: Board) -> None:
    """Write the description, all of it or nothing, and keep its text among the files of the record."""
    path = path_of(desk, stem)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise RecordError(f"the folder cannot be made: {error.strerror}.", where=str(path.parent)) from error
    with desk.open(create=True) as bench, bench.write() as write:
        write.add_file(path.name, board.text.encode(), desk.now())
    write_board(board, path)


def _line(path: Path) -> BoardLine:
    stem = path.name.removesuffix(SUFFIX)
    try:
        return _summary(stem, read_board(path), filed=True)
    except DustcapError as error:
        return BoardLine(stem, name=stem, problem=str(error))


def _summary(stem: str, board: Board, *, filed: bool) -> BoardLine:
    return BoardLine(
        stem, board.name, board.revision, len(board.parts), len(board.places), len(board.areas), filed=filed
    )


def _of_jobs(desk: Desk) -> dict[str, str]:
    """Descriptions that jobs were started with, the latest of each name."""
    if not desk.begun:
        return {}
    found = {}
    with desk.open() as bench, bench.read() as read:
        for row in read.jobs():
            if row.board is not None:
                found[stem_of(row.board.name, row.board.revision)] = read.content(row.board.hash).decode()
    return found
