"""A unit that exists only in numbers: a board with a hidden fault and part values nobody was told, read by a meter.

For practice, for the demonstration and for trying out a description: the answers come from the same circuit equations
as the predictions, but from tolerances and a meter error of their own, drawn from the seed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from math import isinf, isnan
from typing import Any

import numpy as np

from dustcap.board.circuit import to_circuit
from dustcap.board.model import Board
from dustcap.errors import InputError
from dustcap.faults.severity import overrides
from dustcap.faults.sighting import seen
from dustcap.faults.suspects import Leak, PartFault, Suspect
from dustcap.hunt.board_names import known_of
from dustcap.hunt.meter import HANDHELD, half_width, spread_of
from dustcap.job.payloads import Complaint, Payload, Reading, Sighting, Work
from dustcap.predict.analyses import Analyses
from dustcap.predict.cases import make_cases
from dustcap.predict.checks import KINDS, OHMS_TEST_V, Check
from dustcap.predict.complaints import heard
from dustcap.predict.readings import reading

PREFIXES = (("M", 1e6), ("k", 1e3), ("", 1.0), ("m", 1e-3), ("u", 1e-6), ("n", 1e-9), ("p", 1e-12))
EVEN = 0.5
"""A complaint or a sighting is there when it is more likely than not."""


def fault_of(named: Mapping[str, Any]) -> PartFault | Leak:
    """A fault as the results name it: ``{"part", "mode"}`` or ``{"leak": [a, b]}`` with an optional ``area``."""
    if "leak" in named:
        a, b = named["leak"]
        return Leak(a, b, str(named.get("area", "")))
    return PartFault(str(named["part"]), str(named["mode"]))


def check_of(proposed: Mapping[str, Any]) -> Check:
    """The check that a hunt's document proposes."""
    values = {
        key: proposed[key] for key in ("at", "against", "state", "word", "signal_hz", "signal_v") if key in proposed
    }
    part = str(proposed.get("part") or proposed.get("driver") or proposed.get("area") or "")
    test_v = float(proposed.get("test_voltage", OHMS_TEST_V))
    return Check(proposed["check"], part=part, test_v=test_v, **values)


@dataclass
class RehearsedUnit:
    """One unit with hidden faults; `suspect` is what is wrong with it now.

    Rows of `analyses` are the unit with every choice of its faults.
    """

    board: Board
    hidden: Suspect
    analyses: Analyses
    gains: Mapping[str, float]  # kind of check -> what this meter reads for 1
    suspect: Suspect

    @property
    def cured(self) -> bool:
        """Whether every fault is gone."""
        return not self.suspect.faults

    def complains(self, word: str, driver: str = "") -> bool:
        """Whether the unit does that."""
        return bool(heard(self.analyses, word, driver)[self._row, 0] > EVEN)

    def looks(self, target: str, word: str) -> bool:
        """Whether the part or the area looks like that."""
        return seen(self.board, self.suspect, target, word) > EVEN

    def answer(self, check: Check) -> Payload:
        """What the technician would enter after this check."""
        if check.kind == "listen":
            seen = self.complains(check.word, check.part)
            return Complaint.model_validate({"is": check.word, "driver": check.part, "seen": seen})
        if check.kind == "look":
            word = check.word if self.looks(check.part, check.word) else "clean"
            where = "area" if check.part in self.board.areas else "part"
            return Sighting.model_validate({"word": word, where: check.part})
        return self.read(check)

    def work_done(self, work: Work) -> None:
        """The faults that this work takes away are gone from then on."""
        self.suspect = Suspect(tuple(fault for fault in self.suspect.faults if not _removed(fault, work)))

    def read(self, check: Check) -> Reading:
        """What a handheld meter shows.

        Raises
        ------
        InputError
            If nothing can be read there (the unit cannot be powered, or the check reads a word).
        """
        value = float(reading(self.analyses, check)[self._row, 0])
        where = {"part": check.part} if check.part else {"at": check.at, "against": check.against}
        found = {"check": check.kind, **where, "state": check.state, "meter": HANDHELD.name}
        if isnan(value):
            raise InputError("no reading can be taken there.", where=check.words(), mend="Choose another check.")
        if isinf(value):
            return Reading.model_validate({**found, "over": True})
        unit = check.unit or known_of(self.board).parts.get(check.part, "")
        return Reading.model_validate({**found, "value": self._shown(check, value, unit)})

    def _shown(self, check: Check, value: float, unit: str) -> str:
        value *= self.gains[check.kind]
        digit = half_width(replace(HANDHELD, share=0.0, counts=1.0), spread_of(check, unit), value)
        return as_shown(round(value / digit) * digit, digit, unit)

    @property
    def _row(self) -> int:
        return self.analyses.cases.suspects.index(self.suspect)


def as_shown(value: float, digit: float, unit: str) -> str:
    """A value as a meter shows it: with a prefix, and to its last digit, zeros too.

    Examples
    --------
    >>> as_shown(103_300.0, 100.0, "ohm")
    '103.3 kohm'
    >>> as_shown(24.0, 0.01, "V")
    '24.00 V'
    """
    prefix, scale = next((pair for pair in PREFIXES if abs(value) >= pair[1] or 10.01 * digit >= pair[1]), PREFIXES[-1])
    decimals = max(0, -int(np.floor(np.log10(digit / scale) + 1e-9)))
    return f"{value / scale + 0.0:.{decimals}f} {prefix}{unit}"


def _removed(fault: PartFault | Leak, work: Work) -> bool:
    if isinstance(fault, PartFault):
        return work.part == fault.part and work.did in ("replaced", "resoldered", "bridged")
    return work.did == "cleaned" and (work.area == fault.area != "" or set(work.between or ()) == {fault.a, fault.b})


def rehearse(
    board: Board, faults: Sequence[Mapping[str, Any]], severities: Sequence[float], seed: int
) -> RehearsedUnit:
    """A unit with these faults.

    Parameters
    ----------
    board : Board
        Its description.
    faults : sequence of mapping
        As the results name them, see `fault_of`.
    severities : sequence of float
        Quantile of each fault's severity, 0 (worst or smallest) to 1: see `dustcap.faults.severity`.
    seed : int
        Draws the unit's part values and the meter's gain errors.

    Raises
    ------
    InputError
        If a part has no such mode, or the faults and severities do not pair up.
    """
    if len(faults) != len(severities) or not all(0 < u < 1 for u in severities):
        raise InputError("each fault needs one severity between 0 and 1.", where="rehearse")
    hidden = Suspect(tuple(fault_of(named) for named in faults))
    overrides(board, hidden, np.array(severities)[:, None])  # refuses an unknown part or mode
    leaks = [(fault.a, fault.b) for fault in hidden.faults if isinstance(fault, Leak)]
    numbers = range(len(severities))
    left = [some for size in range(len(severities) + 1) for some in combinations(numbers, size)]
    choices = tuple(Suspect(tuple(hidden.faults[i] for i in some)) for some in left)
    cases = make_cases(board, to_circuit(board, leaks), choices, particles=1, seed=seed)
    for row, some in enumerate(left):
        cases.severity[row, : len(some), 0] = [severities[i] for i in some]
    rng = np.random.default_rng(seed)
    gains = {kind: 1 + HANDHELD.share * float(rng.uniform(-1, 1)) for kind in KINDS}
    return RehearsedUnit(board, hidden, Analyses(cases), gains, hidden)
