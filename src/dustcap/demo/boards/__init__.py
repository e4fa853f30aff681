"""The boards of the invented model 27, revisions A and C, as descriptions."""

from __future__ import annotations

from importlib.resources import files

from dustcap.board.model import Board
from dustcap.board.read import parse_board
from dustcap.errors import InputError

REVISIONS = ("A", "C")


def model_27_text(revision: str) -> str:
    """The description of a revision as it stands in its file; InputError when there is no such revision."""
    if revision not in REVISIONS:
        raise InputError(
            f"model 27 has no revision {revision!r}.", where="demo", mend=f"It has: {', '.join(REVISIONS)}."
        )
    return (files(__package__) / file_name(revision)).read_text(encoding="utf-8")


def model_27(revision: str) -> Board:
    """The board of a revision; InputError when there is no such revision."""
    return parse_board(model_27_text(revision), file_name(revision))


def file_name(revision: str) -> str:
    """Name of the file that describes a revision."""
    return f"model_27_{revision.lower()}.board.toml"
