"""A job's findings in the plain form of a findings file, checked against its board before they are kept."""

from __future__ import annotations

from collections.abc import Iterable

import tomlkit

from dustcap.job.desk import Desk, append
from dustcap.job.payloads import Complaint, Payload, Reading, Sighting, Work

LAYOUT = 1
FINDINGS = (Complaint, Sighting, Reading, Work)
OURS = ("detail", "precaution")
"""Keys that an entry has beyond those of the findings file."""


def document(payloads: Iterable[Payload]) -> str:
    """The findings file that says the same as these entries, in their order."""
    text = [f"layout = {LAYOUT}\n"]
    for payload in payloads:
        if isinstance(payload, FINDINGS):
            table = {key: value for key, value in payload.plain().items() if key not in OURS}
            text.append(f"[[{payload.KIND}]]\n{tomlkit.dumps(table)}")
    return "\n".join(text)


def enter(desk: Desk, job: int, payload: Payload) -> int:
    """Keep one entry of a job; returns its position."""
    return append(desk, job, payload)
