"""Taking back or correcting an earlier entry; both stay on the record."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dustcap.job.desk import Desk, append, view
from dustcap.job.findings import board_names, check
from dustcap.job.payloads import Correction, payload_of
from dustcap.job.state import FINDINGS, correctable


def withdraw(desk: Desk, job: int, position: int, why: str = "") -> int:
    """An entry no longer counts; returns the position of the correction.

    Raises
    ------
    InputError
        If there is no such entry, or it is of a kind that is not corrected.
    """
    return append(desk, job, Correction(why=why), corrects=position)


def correct(desk: Desk, job: int, position: int, changes: Mapping[str, Any], why: str = "") -> int:
    """An entry counts with these keys changed; a key changed to nothing is left out.

    Raises
    ------
    InputError
        If there is no such entry, or the changed entry does not fit its kind.
    """
    seen = view(desk, job)
    old = correctable(seen.state, position)
    merged = {**old.payload.plain(), **changes}
    plain = {key: value for key, value in merged.items() if value is not None}
    new = payload_of(old.payload.KIND, plain)
    if isinstance(new, FINDINGS):
        check(new, board_names(seen.board_text))
    return append(desk, job, Correction(why=why, instead=new.plain()), corrects=position)
