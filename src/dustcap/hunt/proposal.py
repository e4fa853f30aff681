"""A check worth making, with what it tells and costs."""

from __future__ import annotations

from dataclasses import dataclass

from dustcap.predict.checks import Check


@dataclass(frozen=True, slots=True)
class Proposal:
    """A check worth making: `bits` about the action, `minutes` with the change of state, `risk` in minutes.

    `score` is bits per minute and risk. `repair` is the expected minutes of the whole repair when this check comes
    first; nan where it was not looked ahead.
    """

    check: Check
    bits: float
    minutes: float
    risk: float
    repair: float = float("nan")

    @property
    def score(self) -> float:
        """Bits per minute, risk counted as minutes."""
        return self.bits / (self.minutes + self.risk)
