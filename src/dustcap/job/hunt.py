"""The hunt over a board description, and over a findings file."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from dustcap.board.circuit import to_circuit
from dustcap.board.model import Board
from dustcap.board.outline import outline_board
from dustcap.board.read import read_board
from dustcap.circuit.floating import check_floating
from dustcap.errors import InputError
from dustcap.hunt.board_names import known_of
from dustcap.hunt.evidence import Evidence
from dustcap.hunt.findings import parse_findings
from dustcap.hunt.hunt import hunt
from dustcap.hunt.memory import Settled, Settling
from dustcap.hunt.results import to_json
from dustcap.job.boards import averaged_remarks
from dustcap.job.cautions import CLEANING, LICENCE, for_states
from dustcap.job.outline import OutlineHunter, outline_names
from dustcap.job.predictions import predictor_for
from dustcap.job.text_files import read_text

Progress = Callable[[float], None]
Document = Mapping[str, Any]

NEXT = 5
PREDICTIONS = "predictions"


@dataclass(frozen=True, slots=True)
class HuntAnswer:
    """The result document of the contract, and the cautions that go with what it proposes."""

    document: Document
    cautions: tuple[str, ...]
    entry: int | None = None  # where it was kept, for a job


class Hunter:
    """The predictions of one board, made once and asked again after every finding.

    Raises SolveError for a board with nets that no direct current can reach, with their names and what touches them.
    """

    def __init__(self, board: Board, keep_in: Path | None = None, progress: Progress = lambda share: None) -> None:
        circuit = to_circuit(board)
        check_floating(circuit)
        self.board = board
        self.remarks = averaged_remarks(circuit)
        self.known = known_of(board)
        self.predictor = predictor_for(board, keep_in, progress)
        self._settled: tuple[Settled, Settling] | None = None

    def ask(self, told: Evidence, next: int = NEXT, why: str = "") -> HuntAnswer:
        """Suspects, next checks and advice after this evidence; `why`: a part whose case is wanted too.

        Single faults first, from what is known already, which is quick. Where they explain the evidence poorly, joint
        faults are simulated, which takes seconds.

        Raises
        ------
        EvidenceError
            If no suspect is possible any more.
        SolveError
            If the board as described has no operating point.
        """
        if self._settled is None:
            single, joint = Settled(self.predictor), Settling(self.predictor)
            joint.memory = single.memory  # the same suspects until it grows
            self._settled = single, joint
        single, joint = self._settled
        result = hunt(single, told, next, further=joint, known=self.known, why=why)
        result = replace(result, notes=(*result.notes, *self.remarks))
        document = to_json(result, self.board.name, self.board.revision)
        return HuntAnswer(document, _cautions(document))


class BlockHunter(OutlineHunter):
    """The same without a description: blocks in place of parts."""

    def ask(self, told: Evidence, next: int = NEXT, why: str = "") -> HuntAnswer:
        """Blocks, next checks and advice after this evidence.

        Raises
        ------
        EvidenceError
            If no suspect is possible any more.
        InputError
            For `why`: there are no parts here.
        """
        if why:
            raise InputError(
                "there are no parts to clear without a description.", where="--why", mend="Describe the board first."
            )
        document = self.document(told, next)
        return HuntAnswer(document, _cautions(document))


def hunt_file(
    board: Path | None,
    findings: Path | None = None,
    *,
    next: int = NEXT,
    why: str = "",
    keep_in: Path | None = None,
    progress: Progress = lambda share: None,
) -> HuntAnswer:
    """Hunt over a board description, or None for a usual loudspeaker's blocks, and a findings file.

    Only predictions are kept, in `keep_in`.

    Raises
    ------
    InputError
        If either file is wrong, with file and line.
    """
    described = read_board(board) if board is not None else outline_board()
    known = known_of(described) if board is not None else outline_names(described)
    told = parse_findings(read_text(findings), str(findings), known) if findings is not None else Evidence()
    if board is None:
        return BlockHunter(keep_in, progress).ask(told, next, why)
    return Hunter(described, keep_in, progress).ask(told, next, why)


def suspect_words(suspect: Document) -> str:
    """``C9 short``; ``leak rail+ to wf_fb``; joint faults with ``and``."""
    return " and ".join(
        f"leak {' to '.join(part['leak'])}" if "leak" in part else part.get("block") or f"{part['part']} {part['mode']}"
        for part in suspect["parts"]
    )


def _cautions(document: Document) -> tuple[str, ...]:
    """Cautions for the states that the proposals need, for the work that is advised, and the general one."""
    lines = list(for_states(check["state"] for check in document["next"]))
    if document["advice"]["do"] in ("replace", "clean"):
        lines += [line for line in for_states(["unplugged"]) if line not in lines]
        lines.append(CLEANING)
    return (*lines, LICENCE)
