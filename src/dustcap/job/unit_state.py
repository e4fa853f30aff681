"""In which state the unit on the bench is, by what was entered last, and what has to be done before the next check.

A technician is asked for each change of state once; work is done on an unplugged unit, so what follows it asks again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from dustcap.board.outline import outline_board
from dustcap.board.read import parse_board
from dustcap.errors import InputError, SafetyStop
from dustcap.hunt import evidence as told
from dustcap.hunt.findings import parse_findings
from dustcap.job.desk import JobView
from dustcap.job.findings import board_names, document
from dustcap.job.outline import outline_names
from dustcap.job.payloads import Payload, Reading, Work
from dustcap.job.prove import driver_nets
from dustcap.predict.checks import CONNECTED, DISCONNECTED, KINDS, STATES, UNPLUGGED

STOP_V = 1.0
"""D.c. at a driver's net from which no driver is connected: common practice, no published source. One volt across a
voice coil of 4 ohm is a quarter of a watt; proving a repair asks for much less."""


@dataclass(frozen=True, slots=True)
class Assurance:
    """One thing that a person confirms before a check; `name` is what the form calls it."""

    name: str
    words: str


DISCHARGED = Assurance("discharged", "The plug is out, the reservoirs are discharged, and the meter says below 5 V.")
OFF = Assurance("drivers_off", "The drivers are disconnected.")
LIMITED = Assurance("limited", "A lamp or a current-limited supply is in series.")
READ_DC = Assurance("dc_read", "The d.c. at every amplifier output was read with the drivers disconnected, and is low.")
QUIET = Assurance("quiet", "Volume down, ears away from the loudspeaker, a hand at the switch.")


def state_of(payload: Payload) -> str:
    """The state that an entry was made in; empty for entries that say nothing of it."""
    if isinstance(payload, Work):
        return UNPLUGGED
    if isinstance(payload, Reading):
        kind = KINDS.get(payload.check)
        return payload.state or (kind.states[0] if kind else "")
    return ""


def unit_state(seen: JobView) -> str:
    """The state that the unit was in when something was last done to it; empty at the beginning."""
    for fact in reversed(list(seen.state.standing())):
        if found := state_of(fact.payload):
            return found
    return ""


def assurances(seen: JobView, needed: str) -> tuple[Assurance, ...]:
    """What has to be confirmed before a check in that state; empty when nothing has changed."""
    now = unit_state(seen)
    if needed in ("", now):
        return ()
    if needed == UNPLUGGED:
        return (DISCHARGED,)
    if needed == DISCONNECTED:
        return (OFF,) if now == CONNECTED else (OFF, LIMITED)
    return (READ_DC, QUIET) if now == DISCONNECTED else (READ_DC, LIMITED, QUIET)


def all_assurances(seen: JobView) -> tuple[Assurance, ...]:
    """What may have to be confirmed before a reading of any kind; which of it depends on the check."""
    return tuple(dict.fromkeys(one for state in STATES for one in assurances(seen, state)))


def confirm(seen: JobView, needed: str, given: Mapping[str, bool]) -> None:
    """Refuse a check whose change of state was not confirmed.

    Raises
    ------
    SafetyStop
        If drivers would be connected to an output that was read with d.c. on it since the last work.
    InputError
        If something has not been confirmed; `where` is the name of its field.
    """
    if needed == CONNECTED:
        _no_dc(seen)
    for one in assurances(seen, needed):
        if not given.get(one.name):
            raise InputError(
                f"not confirmed: {one.words}", where=one.name, mend=f"The check is made {needed}; confirm it first."
            )


def _no_dc(seen: JobView) -> None:
    facts = list(seen.state.standing())
    worked = max((fact.position for fact in facts if isinstance(fact.payload, Work)), default=0)
    readings = [fact.payload for fact in facts if isinstance(fact.payload, Reading) and fact.position > worked]
    if not readings:
        return
    board = parse_board(seen.board_text) if seen.board_text is not None else outline_board()
    known = board_names(seen.board_text) or outline_names(board, loose=True)
    nets = driver_nets(board)
    last: dict[str, float] = {}
    for one in parse_findings(document(readings), "readings", known).entries:
        if isinstance(one, told.Reading) and one.check.kind == "dc volts" and one.check.against == board.common:
            last[one.check.at] = max(one.low, one.high, key=abs)
    for net, volts in last.items():
        if net in nets and abs(volts) > STOP_V:
            raise SafetyStop(
                f"{net} was read with {volts:.3g} V of d.c. on it; a driver connected there burns.",
                where="drivers connected",
                mend="Leave the drivers disconnected, find the cause, and read it again after the work.",
            )
