"""What is handed over with a repaired unit: the plain data of one job that the hand-over sheet is drawn from.

Text, numbers and tuples only, so that the sheet is a pure function of this. Numbers are in base units (volt, ohm,
farad, hertz, second) with the unit beside them; probabilities are shares of 1. A field left at its default is a thing
that the job does not hold: the sheet says so, or leaves the section out, and never makes it up.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class UnitLine:
    """Which unit this is; `mark` is what the shop calls it ("room 1 left"), `serial` what the label says."""

    model: str
    revision: str = ""
    mark: str = ""
    serial: str = ""
    pair_with: str = ""
    mains: str = ""
    history: str = ""


@dataclass(frozen=True, slots=True)
class ReadingLine:
    """One reading as it was taken, and what a good board reads there (90 % of good boards; inf: over range)."""

    check: str
    """As `Check.words()` says it: ``dc volts wf_out against 0V``."""
    value: float | None
    """In base units; None for a word (`word`) or for a reading out of range."""
    unit: str = ""
    word: str = ""
    """What was seen or heard, or ``over range``."""
    meter: str = ""
    state: str = ""
    good_low: float | None = None
    good_high: float | None = None
    after_work: bool = False
    withdrawn: bool = False


@dataclass(frozen=True, slots=True)
class SuspectLine:
    """A suspect as the hunt left it: its probability just before the first work, and what spoke for and against."""

    words: str
    """Part and mode, or the leak between two nets: ``C9 leaky``, ``leak rail+ to wf_fb (1.2 Mohm to 3.0 Mohm)``."""
    probability: float
    explains: tuple[str, ...] = ()
    against: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class HuntStep:
    """The suspects' probabilities after one finding, in order; `shares` maps a suspect's words to its probability."""

    finding: str
    shares: Mapping[str, float]
    unexplained: float = 0.0


@dataclass(frozen=True, slots=True)
class WorkLine:
    """One thing done: ``replaced``, ``C9``, ``1000 uF 50 V 105 degC``; `precaution` when no fault was found there."""

    did: str
    target: str
    detail: str = ""
    precaution: bool = False


@dataclass(frozen=True, slots=True)
class VerdictLine:
    """One verdict of the proof: pass, fail or undecided; `uncertainty` is expanded (95 %), in the same unit.

    `better` says on which side of the limit a good unit lies: ``below``, ``above``, or ``within`` (plus or minus).
    `before` is the same quantity before the work. `why` says why a verdict is undecided, `source` where the limit comes
    from.
    """

    what: str
    verdict: str
    value: float | None = None
    limit: float | None = None
    uncertainty: float | None = None
    unit: str = ""
    better: str = "below"
    before: float | None = None
    why: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True)
class LimitRegion:
    """A limit as it is shaded in a plot (``response``, ``harmonics`` or ``noise``): good lies between the two levels.

    Levels are in dB as that plot's curves are (harmonics: against the fundamental, so below zero); None: no limit on
    that side. `words` says the limit.
    """

    plot: str
    low_hz: float
    high_hz: float
    good_low: float | None = None
    good_high: float | None = None
    words: str = ""


@dataclass(frozen=True, slots=True)
class HandoverData:
    """Everything the hand-over sheet prints; `made` is the time of making, given by the caller (ISO 8601, UTC)."""

    job: str
    made: str
    unit: UnitLine
    shop: str = ""
    technician: str = ""
    complaints: tuple[str, ...] = ()
    """As said or heard: ``cone pushed out, woofer``, ``hum, always: not there``."""
    sightings: tuple[str, ...] = ()
    readings: tuple[ReadingLine, ...] = ()
    fault: SuspectLine | None = None
    """The suspect that the work removed; None: no fault was found."""
    others: tuple[SuspectLine, ...] = ()
    unexplained: float | None = None
    """Probability of something not in the model, just before the first work."""
    steps: tuple[HuntStep, ...] = ()
    work: tuple[WorkLine, ...] = ()
    before: Mapping[str, Any] | None = None
    """The `listen --json` document of the recording before the work."""
    after: Mapping[str, Any] | None = None
    """The `listen --json` document of the recording after the work."""
    beside: Mapping[str, Any] | None = None
    """The `listen --json` document that the repaired unit was compared with: the twin's, or a reference unit's."""
    beside_words: str = ""
    limits: tuple[LimitRegion, ...] = ()
    verdicts: tuple[VerdictLine, ...] = ()
    soak: str = ""
    """What the soak has shown so far, in one sentence."""
    impedance: str = ""
    """What the impedances before and after the work say, in one sentence."""
    not_measured: tuple[str, ...] = ()
    remaining: tuple[str, ...] = ()
    """Remaining risks, and how long the repair should last."""
    cautions: tuple[str, ...] = ()
    """Cautions of this unit, beyond the usual ones that every sheet carries."""
