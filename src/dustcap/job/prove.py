"""Proving the repair: the recordings before and after and the readings at the drivers, held against the limits."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from dustcap.board.model import Board
from dustcap.board.read import parse_board
from dustcap.errors import InputError
from dustcap.hunt import evidence as told
from dustcap.hunt.board_names import known_of
from dustcap.hunt.findings import parse_findings
from dustcap.hunt.meter import half_width, spread_of
from dustcap.job.desk import Desk, JobView, append, view
from dustcap.job.findings import document
from dustcap.job.impedance_told import NOT_MEASURED, impedance_verdicts
from dustcap.job.payloads import Proof, Reading, Recording, Work
from dustcap.job.recordings import listen
from dustcap.job.soak import soak_verdicts
from dustcap.proof.judge import judge
from dustcap.proof.limits import default_limits

DC_AT_DRIVER = "dc at driver"
JOINS = ("link", "inductor", "switch")
"""Parts that pass d.c. on: a reading on either side of them is a reading at the driver."""


@dataclass(frozen=True, slots=True)
class Proven:
    """The entry of the proof, its verdicts, what was not measured, and the verdict over all."""

    entry: int
    overall: str
    verdicts: tuple[Mapping[str, Any], ...]
    not_measured: tuple[str, ...]


def prove(
    desk: Desk, job: int, *, twin: int | None = None, reference: Path | None = None, gain_changed: bool = False
) -> Proven:
    """Judge the last recording after the work, with the last one before it and that of the twin beside it.

    Parameters
    ----------
    desk : Desk
    job : int
        The job's number.
    twin : int, optional
        The job of the other unit of the pair, whose last recording it is compared with.
    reference : Path, optional
        A recording of the model's reference unit, from the same place, instead of the twin's.
    gain_changed : bool
        The recorder's gain differs between that take and this one.

    Raises
    ------
    InputError
        If the job (or the twin's) has no recording to judge, or both a twin and a reference are named.
    """
    if twin is not None and reference is not None:
        raise InputError("twin and reference exclude each other.", where="prove", mend="Leave one out.")
    seen = view(desk, job)
    after_at, after = _last(seen, "after")
    before_at, before = _last(seen, "before")
    if after is None:
        raise InputError(
            "there is no recording after the work.",
            where=f"job {job}",
            mend=f"Record the repaired unit and run `dustcap listen FILE --job {job} --after`.",
        )
    beside = _of_twin(desk, twin) if reference is None else dict(listen(reference))
    judgement = judge(
        _document(desk, after) | _switched_on(desk, seen),
        default_limits(),
        twin=beside,
        before=_document(desk, before) if before else None,
        gain_changed=gain_changed,
        readings=_driver_readings(seen),
    )
    driven = impedance_verdicts(desk, seen.state)
    judgement = replace(
        judgement,
        verdicts=judgement.verdicts + driven + soak_verdicts(seen.state),
        not_measured=judgement.not_measured + (() if driven else (NOT_MEASURED,)),
    )
    verdicts = tuple(one.as_document() for one in judgement.verdicts)
    proof = Proof(before=before_at, after=after_at, verdicts=verdicts, not_measured=judgement.not_measured)
    if beside is not None:
        words = f"twin, job {twin}" if reference is None else f"reference, {reference.name}"
        content = json.dumps(beside, allow_nan=False).encode()
        with desk.open() as bench, bench.write() as write:
            kept = write.add_file(f"{words}.listen.json", content, desk.now())
        proof = proof.model_copy(update={"beside": words[:200], "beside_result": kept})
    return Proven(append(desk, job, proof), judgement.overall, verdicts, judgement.not_measured)


def _last(seen: JobView, when: str, *, power_on: bool = False) -> tuple[int, Recording | None]:
    """Position and payload of the newest such recording."""
    for fact in reversed(list(seen.state.standing())):
        found = fact.payload
        if isinstance(found, Recording) and found.when == when and found.power_on == power_on:
            return fact.position, found
    return 0, None


def _document(desk: Desk, recording: Recording) -> dict[str, Any]:
    with desk.open() as bench, bench.read() as read:
        found: dict[str, Any] = json.loads(read.content(recording.result))
        return found


def _switched_on(desk: Desk, seen: JobView) -> dict[str, Any]:
    """What the power-on recording after the work adds."""
    _, switched = _last(seen, "after", power_on=True)
    return {"thump": _document(desk, switched).get("thump")} if switched else {}


def _of_twin(desk: Desk, job: int | None) -> dict[str, Any] | None:
    if job is None:
        return None
    seen = view(desk, job)
    for when in ("after", "before"):
        _, recording = _last(seen, when)
        if recording is not None:
            return _document(desk, recording)
    raise InputError("the twin has no recording.", where=f"job {job}", mend="Record it in the same place and way.")


def _driver_readings(seen: JobView) -> dict[str, tuple[float, float]]:
    """The largest d.c. read at a driver since the last work, with the meter's limits as its uncertainty."""
    if seen.board_text is None:
        return {}
    board = parse_board(seen.board_text)
    facts = list(seen.state.standing())
    worked = max((fact.position for fact in facts if isinstance(fact.payload, Work)), default=0)
    readings = [fact.payload for fact in facts if isinstance(fact.payload, Reading) and fact.position > worked]
    entries = parse_findings(document(readings), "readings", known_of(board)).entries
    nets = driver_nets(board)
    found = [
        (one.low, half_width(one.meter, spread_of(one.check), one.low))
        for one in entries
        if isinstance(one, told.Reading)
        and one.check.kind == "dc volts"
        and one.check.at in nets
        and one.check.against == board.common
        and not one.is_range
    ]
    return {DC_AT_DRIVER: max(found, key=lambda pair: abs(pair[0]))} if found else {}


def driver_nets(board: Board) -> frozenset[str]:
    """The nets at the live end of every driver, and those joined to them by links, coils and closed switches."""
    nets = {net for driver in board.of_kind("driver") for net in driver.nets} - {board.common}
    joins = [part.nets for part in board.of_kind(*JOINS) if part.values.get("closed", True)]
    grown = True
    while grown:
        more = {net for pair in joins if nets & set(pair) for net in pair} - {board.common}
        grown = not more <= nets
        nets |= more
    return frozenset(nets)
