"""The hunt without a board description: suspects are blocks, checks are those that need no description.

The blocks are those of the outline of a two-way loudspeaker (`dustcap.board.outline`), whose values are taken widely.
Once one block leads, the answer is to describe that block and to hunt on among its parts.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from dustcap.board.model import Board
from dustcap.board.outline import AMPLIFIERS, DRIVERS, FOUND_AT, MAY_BE, TOLD_AS, outline_board
from dustcap.faults.suspects import PartFault, Suspect
from dustcap.hunt.actions import Action, Costs, Groups
from dustcap.hunt.advice import CHECK, DONE, STOP, Advice
from dustcap.hunt.evidence import Entry, Evidence, Reading, Sighting, Work
from dustcap.hunt.explain import reasons
from dustcap.hunt.hunt import EXPECTED_FOR, LIKELY_ENOUGH, HuntResult, NextCheck, SuspectRow, expected
from dustcap.hunt.known import Known
from dustcap.hunt.memory import Settled
from dustcap.hunt.next_check import Outlook, plan_checks
from dustcap.hunt.posterior import Posterior, posterior
from dustcap.hunt.proposal import Proposal
from dustcap.hunt.results import to_json
from dustcap.job.predictions import predictor_for
from dustcap.predict.checks import KINDS
from dustcap.predict.outline import OPEN_OHM, OutlinePredictor

LEADS = 0.9  # of what is in the outline, from which one block is described before it is read further: a choice of ours
WELL = 0.8
UNLIKE = 0.05  # units that are built unlike the outline, whatever was read: a choice of ours
Json = dict[str, Any]


class OutlineHunter:
    """The predictions on the outline, made once and asked again after every finding."""

    def __init__(
        self,
        keep_in: Path | None = None,
        progress: Callable[[float], None] = lambda share: None,
        *,
        loose: bool = False,
    ) -> None:
        self.board: Board = outline_board()
        self.known = outline_names(self.board, loose=loose)
        self.predictor = predictor_for(self.board, keep_in, progress, OutlinePredictor)
        self._settled = Settled(self.predictor)
        self.blocks, self.groups = block_groups(self.board, self._settled.suspects)

    def document(self, told: Evidence, next: int = 5) -> Json:
        """The document of the contract after this evidence, with blocks in place of parts.

        Raises
        ------
        EvidenceError
            If no suspect is possible any more.
        """
        evidence = countable(told, self.known)
        found = posterior(self._settled, evidence)
        outlook = plan_checks(found, evidence, self.groups, Costs(), self.known.parts, self.known.drivers)
        mass = (1.0 - UNLIKE) * self.groups.mass(found.mass.sum(axis=1))
        mass[-1] += UNLIKE
        order = [int(i) for i in np.argsort(-mass[1:-1], kind="stable") + 1]
        result = HuntResult(
            suspects=tuple(self._row(found, block, float(mass[block])) for block in order),
            rest=0.0,
            unexplained=float(mass[-1]),
            healthy=float(mass[0]),
            next=tuple(self._next(found, one, order, mass) for one in outlook.proposals[: max(next, 0)]),
            advice=self._advice(order, mass, outlook, read=any(isinstance(one, Reading) for one in evidence.entries)),
            notes=(*evidence.notes, NOTE),
        )
        return self._document(result)

    def _members(self, block: int) -> list[int]:
        return [int(i) for i in np.flatnonzero(self.groups.of[:-1] == block)]

    def _row(self, found: Posterior, block: int, probability: float) -> SuspectRow:
        members = self._members(block)
        lead = max(members, key=lambda i: float(found.probability[i]))
        why = reasons(found, lead)
        who = Suspect((PartFault(self.blocks[block], ""),))
        return SuspectRow(who, probability, (None,), why.explains, why.against)

    def _next(self, found: Posterior, proposal: Proposal, order: Sequence[int], mass: Any) -> NextCheck:
        check = proposal.check
        likely = [i for i in order[:EXPECTED_FOR] if mass[i] > LIKELY_ENOUGH] or list(order[:1])
        expect = tuple((order.index(i), expected(found, check, self._members(i))) for i in likely)
        return NextCheck(proposal, KINDS[check.kind].names, check.unit, expect, expected(found, check, [0]))

    def _advice(self, order: Sequence[int], mass: Any, outlook: Outlook, *, read: bool) -> Advice:
        lead, best = order[0], outlook.proposals[0] if outlook.proposals else None
        share = float(mass[lead])
        if mass[0] >= WELL:
            return Advice(
                DONE, f"nothing that was found speaks of a fault ({100 * mass[0]:.0f} %); prove it by measurement."
            )
        if read and share >= LEADS * (1.0 - float(mass[-1])):
            return Advice(STOP, describe_words(self.blocks[lead], share))
        if best is None:
            return Advice(
                STOP, f"no check without a description tells more; {describe_words(self.blocks[lead], share)}"
            )
        return Advice(CHECK, f"{best.check.words()} tells most about which block it is, for its minutes.")

    def _document(self, result: HuntResult) -> Json:
        document: Json = to_json(result, self.board.name, self.board.revision)
        for row in document["suspects"]:
            row["parts"] = [{"block": part["part"]} for part in row["parts"]]
        for row in document["next"]:
            where = FOUND_AT.get(row.get("at", ""), "")
            if where:
                row["where"] = where + ("; above 1 kohm counts as over range" if row["check"] == "ohms" else "")
        advice = document["advice"]
        lead = document["suspects"][0]["parts"][0]["block"]
        if advice["do"] == STOP:
            advice["describe"] = {"block": lead, "may_be": list(MAY_BE.get(lead, ()))}
        return document


NOTE = "no board description: blocks of a usual two-way loudspeaker, its rails and values guessed widely"


def describe_words(block: str, share: float) -> str:
    """What to do when one block leads."""
    if block in DRIVERS:
        return f"{block}: {100 * share:.0f} % likely; take it out and measure its coil and its impedance."
    kinds = MAY_BE.get(block, ())
    may_be = f" (in the library: {', '.join(kinds)})" if kinds else ""
    return (
        f"{block}: {100 * share:.0f} % likely. Describe that block{may_be} and hunt on among its parts; "
        "what was entered here counts there."
    )


def block_groups(board: Board, suspects: Sequence[Suspect]) -> tuple[tuple[str, ...], Groups]:
    """Names of the blocks (the first, "", is the healthy board's) and the block of each suspect."""
    parts = [fault.part for suspect in suspects[1:] for fault in suspect.faults if isinstance(fault, PartFault)]
    homes = [TOLD_AS.get(board.parts[part].block, board.parts[part].block) for part in parts]
    told = dict.fromkeys(TOLD_AS.get(block, block) for block in board.blocks)
    names = ("", *(block for block in told if block in homes))
    of = [0, *(names.index(block) for block in homes)]
    actions = (Action(), *(Action(parts=(name,)) for name in names[1:]), Action())
    return names, Groups(actions, np.array([*of, len(names)], dtype=np.int64))


def outline_names(board: Board, *, loose: bool = False) -> Known:
    """The names that entries may use on the outline: plain ones only; `loose`: others are kept and not counted."""
    return Known(
        nets=frozenset({board.common, *FOUND_AT}),
        parts={**dict.fromkeys(AMPLIFIERS, ""), **dict.fromkeys(DRIVERS, "ohm")},
        drivers={driver: driver for driver in DRIVERS},
        common=board.common,
        loose=loose,
    )


def _open(entry: Entry) -> Entry:
    """Ohms above the limit as over range, as they are predicted."""
    if isinstance(entry, Reading) and entry.check.kind == "ohms" and entry.low > OPEN_OHM:
        return replace(entry, low=0.0, high=0.0, over=True)
    return entry


def countable(told: Evidence, known: Known) -> Evidence:
    """What the outline can count: since the last work, without what names parts that it does not know."""
    entries: list[Entry] = []
    notes = list(told.notes)
    if told.work:
        notes.append("work was done: only what was entered after it is counted without a description")
    for entry in told.since_work:
        if isinstance(entry, Work) or (isinstance(entry, Sighting) and entry.target not in known.parts):
            notes.append(f"{entry.words()}: kept but not counted without a description")
        else:
            entries.append(_open(entry))
    return Evidence(tuple(entries), tuple(dict.fromkeys(notes)))
