"""Writing a file for the technician: all of it or nothing."""

from __future__ import annotations

import os
from pathlib import Path

from dustcap.errors import InputError
from dustcap.records.files import write_whole


def check_output(path: Path, suffix: str) -> None:
    """Refuse an output that could not be written, before anything is computed.

    Raises
    ------
    InputError
        If its name has another ending, it is a folder, or its folder is missing or closed.
    """
    if path.is_dir():
        raise InputError("is a folder.", where=str(path), mend="Name a file.")
    if path.suffix.lower() != suffix:
        raise InputError(
            f"does not end in {suffix}.", where=str(path), mend=f"Call it {path.with_suffix(suffix).name}."
        )
    if not path.parent.is_dir() or not os.access(path.parent, os.W_OK):
        raise InputError("cannot be written there.", where=str(path), mend="Name a folder that exists and is yours.")


def write_output(path: Path, content: bytes) -> None:
    """Write a file so that the old one stands until the new one is whole.

    Raises
    ------
    RecordError
        If the place cannot be written.
    """
    write_whole(path, content)
