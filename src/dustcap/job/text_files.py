"""Reading a text file that a person wrote, with one clear sentence when it is not one."""

from __future__ import annotations

from pathlib import Path

from dustcap.errors import InputError

MAX_BYTES = 1_000_000


def read_text(path: Path) -> str:
    """The text of a UTF-8 file of at most 1 MB.

    Raises
    ------
    InputError
        If it cannot be read, is empty, too large, or not UTF-8 text.
    """
    where = str(path)
    try:
        with path.open("rb") as file:
            content = file.read(MAX_BYTES + 1)
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}.", where=where, mend="Check the name.") from error
    if len(content) > MAX_BYTES:
        raise InputError(
            "is larger than 1 MB, which no description or findings file is.", where=where, mend="Name the right file."
        )
    if not content.strip():
        raise InputError("is empty.", where=where, mend="A description begins with `layout = 1`.")
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise InputError(
            "is not UTF-8 text.", where=f"{where}:{line}", mend="Save it as UTF-8 (plain text)."
        ) from error
