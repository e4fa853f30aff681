"""Files kept by their content: the name is the SHA-256 of what is in it, and reading checks it."""

from __future__ import annotations

import hashlib
import os
import tempfile
from dataclasses import dataclass
from pathlib import Path

from dustcap.errors import RecordError


@dataclass(frozen=True, slots=True)
class FileStore:
    """Files of one bench, below one folder; equal content is kept once."""

    folder: Path

    def path(self, hash_: str) -> Path:
        """Where the file of that hash lies (it need not exist)."""
        if len(hash_) != 64 or not set(hash_) <= set("0123456789abcdef"):
            raise RecordError(f"{hash_!r} is not the hash of a file.", where="files", mend="It has 64 hex digits.")
        return self.folder / hash_[:2] / hash_

    def keep(self, content: bytes) -> str:
        """Keep that content and return its hash; on the disk for good before this returns."""
        hash_ = hashlib.sha256(content).hexdigest()
        path = self.path(hash_)
        if path.is_file() and path.stat().st_size == len(content):
            return hash_
        _make_folder(path.parent)
        write_whole(path, content)
        return hash_

    def read(self, hash_: str) -> bytes:
        """The content of that hash.

        Raises
        ------
        RecordError
            If it is missing, or no longer what was kept.
        """
        path = self.path(hash_)
        try:
            content = path.read_bytes()
        except OSError as error:
            raise RecordError(
                f"a kept file cannot be read: {error.strerror}.", where=str(path), mend="Bring it back from a backup."
            ) from error
        if hashlib.sha256(content).hexdigest() != hash_:
            raise RecordError(
                "a kept file is not what was kept: it was changed or the disk is failing.",
                where=str(path),
                mend="Bring it back from a backup.",
            )
        return content


def write_whole(path: Path, content: bytes) -> None:
    """Write a file so that at any moment it holds all of the old content or all of the new, never a part.

    Raises
    ------
    RecordError
        If the place cannot be written.
    """
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=".writing-")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            os.chmod(name, 0o644)
            os.replace(name, path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
        _flush_folder(path.parent)
    except OSError as error:
        raise RecordError(
            f"the file cannot be written: {error.strerror}.", where=str(path), mend="Check the folder and its rights."
        ) from error


def _make_folder(folder: Path) -> None:
    if folder.is_dir():
        return
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _flush_folder(folder.parent)
    except OSError as error:
        raise RecordError(f"the folder cannot be made: {error.strerror}.", where=str(folder)) from error


def _flush_folder(folder: Path) -> None:
    if os.name == "nt":  # a folder cannot be opened there, and its entries are written with the file
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
