"""The recordings that a job holds, with what each says, and the files behind entries."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from dustcap.errors import RecordError
from dustcap.job.desk import Desk, view
from dustcap.job.payloads import Handover, Recording


@dataclass(frozen=True, slots=True)
class KeptTake:
    """One recording: its entry, how it was taken, and the document of `dustcap listen`."""

    position: int
    recording: Recording
    document: Mapping[str, Any]


def kept_takes(desk: Desk, job: int) -> tuple[KeptTake, ...]:
    """Every recording of a job that stands, in order.

    Raises
    ------
    RecordError
        If there is no such job, or a kept file is not what it was.
    """
    facts = [fact for fact in view(desk, job).state.standing() if isinstance(fact.payload, Recording)]
    with desk.open() as bench, bench.read() as read:
        return tuple(
            KeptTake(fact.position, fact.payload, json.loads(read.content(fact.payload.result)))
            for fact in facts
            if isinstance(fact.payload, Recording)
        )


def newest(takes: tuple[KeptTake, ...], when: str) -> KeptTake | None:
    """The last recording of that time, those of switching on left out."""
    found = [take for take in takes if take.recording.when == when and not take.recording.power_on]
    return found[-1] if found else None


def kept_file(desk: Desk, job: int, position: int) -> tuple[str, bytes]:
    """Name and content of the file behind an entry: a recording, or a hand-over sheet.

    Raises
    ------
    RecordError
        If there is no such job, entry or file.
    """
    for fact in view(desk, job).state.facts:
        if fact.position == position and isinstance(fact.payload, Recording | Handover):
            with desk.open() as bench, bench.read() as read:
                hash_ = fact.payload.file
                return read.file(hash_).name, read.content(hash_)
    raise RecordError(f"entry {position} has no file.", where=f"job {job}", mend="Recordings and sheets have one.")
