"""What a good board does at switch-on: inrush, muting, and what its drivers get, over a few boards."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from dustcap.board.circuit import to_circuit
from dustcap.board.model import Board
from dustcap.circuit.transient import power_up
from dustcap.errors import SolveError
from dustcap.faults.suspects import HEALTHY
from dustcap.predict.cases import make_cases
from dustcap.predict.sheet import SEED, Range, range_of

SAMPLES, SECONDS, ERROR = 4, 1.0, 3e-3
"""Boards, how long each is followed, and the error of a step: choices of ours, for about half a minute of one core."""


@dataclass(frozen=True, slots=True)
class PowerUpSheet:
    """Switch-on at the peak of the mains, drivers connected, every capacitor empty.

    `inrush_a`: largest current of each winding and supply; `unmute_s`: from when on each amplifier plays and each relay
    contact has turned over, None where it does not within `seconds`; `thump_v` and `cone_m`: largest volts at each
    driver and displacement of its cone; `excursion`: the share of what it may move.
    """

    seconds: float
    samples: int
    inrush_a: Mapping[str, Range] = field(default_factory=dict)
    unmute_s: Mapping[str, Range | None] = field(default_factory=dict)
    thump_v: Mapping[str, Range] = field(default_factory=dict)
    cone_m: Mapping[str, Range] = field(default_factory=dict)
    excursion: Mapping[str, Range] = field(default_factory=dict)


def power_up_sheet(board: Board, *, seconds: float = SECONDS, samples: int = SAMPLES, seed: int = SEED) -> PowerUpSheet:
    """Switch-on of a few good boards.

    Raises
    ------
    BoardError, SolveError
        If the board has no parts, or no board could be followed to the end.
    """
    cases = make_cases(board, to_circuit(board), (HEALTHY,), particles=samples, seed=seed)
    found = power_up(cases.circuit, cases.values([0]), seconds=seconds, relative=ERROR)
    if not found.solved.any():
        raise SolveError("the board could not be followed from switch-on.", where="power-up")

    def ranged(values: Mapping[str, object]) -> dict[str, Range]:
        shown = {name: range_of(np.where(found.solved, np.asarray(each), np.nan)) for name, each in values.items()}
        return {name: each for name, each in shown.items() if each is not None}

    feeding = {part.name for part in board.of_kind("transformer", "supply")} | {
        element.name for element in cases.circuit.elements if element.law == "source" and element.value("volts")
    }
    cone = {name: found.peak_m[:, place] for place, name in enumerate(found.drivers)}
    moving = {name: board.parts[name].values.get("excursion") for name in found.drivers}
    return PowerUpSheet(
        seconds,
        samples,
        ranged({name: amps for name, amps in found.inrush_a.items() if name in feeding}),
        {name: range_of(np.where(found.solved, each, np.nan)) for name, each in found.unmute_s.items()},
        ranged({name: found.peak_v[:, place] for place, name in enumerate(found.drivers)}),
        ranged(cone),
        ranged({name: cone[name] / float(limit) for name, limit in moving.items() if limit}),
    )
