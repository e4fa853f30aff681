"""Files that come with a form: on the disk under their own name for as long as one step works on them."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePath

from fastapi import UploadFile

from dustcap.errors import DustcapError, InputError

CHUNK = 1 << 20
LONGEST = 120


@contextmanager
def on_disk(upload: UploadFile, most_bytes: int, default: str) -> Iterator[Path]:
    """The file under its own name in a folder that is gone afterwards; messages name the file alone.

    Raises
    ------
    InputError
        If it is empty or larger than `most_bytes`.
    """
    name = _plain_name(upload.filename or "", default)
    with tempfile.TemporaryDirectory(prefix="dustcap-") as folder:
        path = Path(folder, name)
        _write(upload, path, most_bytes)
        try:
            yield path
        except DustcapError as error:
            error.where = error.where.replace(f"{folder}/", "")
            error.what = error.what.replace(f"{folder}/", "")
            raise


def sent(upload: UploadFile | None) -> bool:
    """Whether a file was chosen at all; browsers send an empty one otherwise."""
    return upload is not None and bool(upload.filename)


def _write(upload: UploadFile, path: Path, most_bytes: int) -> None:
    size = 0
    with path.open("wb") as file:
        while chunk := upload.file.read(CHUNK):
            size += len(chunk)
            if size > most_bytes:
                raise InputError(
                    f"is larger than {most_bytes // 1_000_000} MB.", where=path.name, mend="Choose the right file."
                )
            file.write(chunk)
    if size == 0:
        raise InputError("is empty.", where=path.name, mend="Choose the file again.")


def _plain_name(name: str, default: str) -> str:
    """The last step of a name, without anything that a file system could take for more than a letter."""
    last = PurePath(name.replace("\\", "/")).name
    kept = re.sub(r"[^\w. ()+-]", "_", last).strip(". ")[-LONGEST:]
    return kept or default
