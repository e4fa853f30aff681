"""A job's findings in the plain form of a findings file, checked against its board before they are kept."""

from __future__ import annotations

from collections.abc import Iterable

import tomlkit

from dustcap.board.read import parse_board
from dustcap.errors import InputError
from dustcap.hunt.board_names import known_of
from dustcap.hunt.evidence import Evidence
from dustcap.hunt.findings import parse_findings
from dustcap.hunt.known import Known
from dustcap.job.desk import Desk, append, view
from dustcap.job.payloads import Complaint, Payload, Reading, Sighting, Work
from dustcap.job.state import FINDINGS, JobState
from dustcap.quantities import read

LAYOUT = 1
OURS = ("detail", "precaution", "measured", "recording")
"""Keys that an entry has beyond those of the findings file."""
COMMON = "0V"


def document(payloads: Iterable[Payload]) -> str:
    """The findings file that says the same as these entries, in their order."""
    text = [f"layout = {LAYOUT}\n"]
    for payload in payloads:
        if isinstance(payload, FINDINGS):
            table = {key: value for key, value in payload.plain().items() if key not in OURS}
            text.append(f"[[{payload.KIND}]]\n{tomlkit.dumps(table)}")
    return "\n".join(text)


def evidence(state: JobState, known: Known) -> Evidence:
    """What a hunt is told of a job: the findings that stand, in order.

    Raises
    ------
    InputError
        If a finding does not fit the board.
    """
    return parse_findings(document(fact.payload for fact in state.standing()), "findings of the job", known)


def enter(desk: Desk, job: int, payload: Payload) -> int:
    """Keep one entry of a job, checked against its board; returns its position.

    Raises
    ------
    InputError
        If its words, nets, parts or quantities are not right; nothing is kept then.
    """
    if isinstance(payload, FINDINGS):
        check(payload, board_names(view(desk, job).board_text))
    return append(desk, job, payload)


def board_names(text: str | None) -> Known | None:
    """The names on a board, for a job that has a description."""
    return known_of(parse_board(text)) if text is not None else None


def check(payload: Payload, known: Known | None) -> None:
    """Check one finding; without a board its own names count as known, and only words and quantities are checked.

    Raises
    ------
    InputError
        If something in it is not right.
    """
    try:
        parse_findings(document([payload]), payload.KIND, known or _own_names(payload))
    except InputError as error:
        raise type(error)(error.what, where=payload.KIND, mend=error.mend) from error


def _own_names(payload: Payload) -> Known:
    nets, part, driver = {COMMON}, getattr(payload, "part", ""), getattr(payload, "driver", "")
    if isinstance(payload, Reading):
        nets |= {payload.at, payload.against}
    if isinstance(payload, Work):
        nets |= set(payload.between)
    area = payload.area if isinstance(payload, Sighting | Work) else ""
    return Known(
        nets=frozenset(nets - {""}),
        parts={part: _unit_written(payload)} if part else {},
        areas=frozenset({area} - {""}),
        drivers={driver: driver} if isinstance(payload, Complaint) and driver else {},
    )


def _unit_written(payload: Payload) -> str:
    """The unit that a lifted part's value was written in; ohm when it is a bare number."""
    text = (payload.value or payload.high) if isinstance(payload, Reading) else ""
    for unit in ("ohm", "F", "V"):
        try:
            read(text, unit)
        except InputError:
            continue
        return unit
    return "ohm"
