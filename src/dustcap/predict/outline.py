"""Predictions on the outline of a loudspeaker that nobody has described: wide in its values, few in its checks.

What the outline cannot know of the real board is counted beside the model's error (`UNSURE`), as a relative error of
one sigma by kind of check; choices of ours.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from dustcap.board.circuit import to_circuit
from dustcap.board.model import Board
from dustcap.board.outline import AMPLIFIERS, DRIVERS, SIGNAL_HZ, roles_of, widened
from dustcap.board.tolerances import groups_of
from dustcap.faults.suspects import HEALTHY, Leak, suspects
from dustcap.predict.analyses import Analyses, Store
from dustcap.predict.candidates import LISTENED
from dustcap.predict.cases import make_cases
from dustcap.predict.checks import CONNECTED, DEFAULT_SIGNAL_HZ, Check
from dustcap.predict.powered import Spread
from dustcap.predict.predictor import Predictor

Floats = NDArray[np.float64]

PARTICLES = 16
UNSURE: Mapping[str, float] = {
    "dc volts": 40.0,
    "ac volts": 60.0,
    "ripple": 140.0,
    "ohms": 400.0,
    "warmth": 20.0,
}
"""Variance on the scale of `meter.positions`, whose unit is the model's error: 10 % of a d.c. voltage, 30 % of a level,
a factor of two of a ripple, of resistances and of a warmth."""

OPEN_OHM = 1e3
"""Ohms above this count as over range: what else lies across a driver or a rail is not known; a choice of ours."""


class OutlinePredictor(Predictor):
    """What the checks that need no description would read on the outline."""

    def __init__(
        self,
        board: Board,
        *,
        particles: int | None = None,
        seed: int = 1,
        store: Store | None = None,
        progress: Callable[[float], None] = lambda share: None,
        spread: Spread = map,
    ) -> None:
        found = (HEALTHY, *(s for s in suspects(board) if not any(isinstance(f, Leak) for f in s.faults)))
        cases = make_cases(board, to_circuit(board), found, particles=particles or PARTICLES, seed=seed)
        wide = tuple(widened(board, cases.spread))
        cases = replace(cases, spread=wide, points=cases.points[:, : len(groups_of(wide))])
        self._use(board, Analyses(cases, {} if store is None else store, progress, spread))

    def readings(self, check: Check) -> Floats:
        """Predicted readings, shape (suspects, particles); ohms above `OPEN_OHM` are over range."""
        found = super().readings(check)
        return np.where(found > OPEN_OHM, np.inf, found) if check.kind == "ohms" else found

    def unsure(self, check: Check) -> Floats:
        """Variance beside the model's error on the scale of `meter.positions`, shape (1, 1)."""
        return np.full((1, 1), UNSURE.get(check.kind, 0.0))

    @cached_property
    def _candidates(self) -> tuple[Check, ...]:
        return outline_checks(self.board)


def outline_checks(board: Board) -> tuple[Check, ...]:
    """The checks that a technician can make without a description, on the outline or on a described board."""
    roles, common = roles_of(board), board.common
    found = []
    for name, at in roles.items():
        if name in AMPLIFIERS:
            found.append(Check("warmth", part=at))
            continue
        if not name.startswith(("secondary", "after", "input")):
            found.append(Check("dc volts", at, common))
        if name.endswith(("rail", "terminals")):
            found.append(Check("ripple", at, common))
            found.append(Check("ohms", at, common))
        driver = next((one for one in DRIVERS if name.startswith(one)), "")
        if name.startswith(("volume", "secondary", "after")) or name.endswith(
            ("crossover output", "amplifier input", "terminals")
        ):
            found.append(Check("ac volts", at, common, signal_hz=SIGNAL_HZ.get(driver, DEFAULT_SIGNAL_HZ)))
    for number in ("1", "2"):
        ends = roles.get(f"secondary end {number}"), roles.get(f"after fuse {number}")
        if ends[0] and ends[1]:
            found.append(Check("ohms", ends[0], ends[1]))
    for part in board.of_kind("driver"):
        found += [Check("listen", part=part.name, state=CONNECTED, word=word) for word in LISTENED]
    return tuple(dict.fromkeys(found))
