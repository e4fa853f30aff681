"""Why a part is no suspect, or how much of one it still is, mode by mode.

An entry is *against* a mode that foretells it at most a third as well as the explanations that are left and as a good
board does: the part was as good as measured. An entry that a good board foretells as badly is one that the mode
*leaves* unexplained: what ails the unit is something else, which tells nothing of the part. Only the first clears one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dustcap.errors import InputError
from dustcap.faults.suspects import Fault, PartFault
from dustcap.hunt.explain import entry_words, foretold, weights_of
from dustcap.hunt.posterior import Posterior

Floats = NDArray[np.float64]

CLEARED, UNLIKELY, SUSPECTED = "cleared", "unlikely", "suspected"
SUSPECT_FROM = 0.05  # shares of ours
CLEAR_BELOW = 0.01
FELL = 5.0  # times less likely than it began, for findings to have cleared it
THIRD = 1.0 / 3.0
RIVALS = 12
MOST_REASONS = 4


@dataclass(frozen=True, slots=True)
class ModeCase:
    """One mode: its probability now and at the start, joint faults counted in, and the entries that lowered it."""

    mode: str
    probability: float
    started: float
    against: tuple[str, ...]
    leaves: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PartCase:
    """What the findings say of one part: `verdict` cleared, unlikely or suspected, and `why` in one sentence."""

    part: str
    verdict: str
    probability: float
    started: float
    modes: tuple[ModeCase, ...]
    why: str


def cleared(found: Posterior, part: str, common: str = "0V") -> PartCase:
    """The case of one part.

    Raises
    ------
    InputError
        If no mode of a part of this name is suspected: there is none, or it is one that cannot fail here.
    """
    suspects, chance = found.predictions.suspects, found.probability
    modes = dict.fromkeys(f for s in suspects for f in s.faults if isinstance(f, PartFault) and f.part == part)
    if not modes:
        raise InputError(
            f"no fault of {part!r} is among the suspects.",
            where="why",
            mend="Name a part of the board that is neither sealed nor an input.",
        )
    prior = np.asarray(found.predictions.prior, dtype=float)
    prior = prior / max(prior.sum(), 1e-300)
    holding = [i for i, s in enumerate(suspects) if any(fault in modes for fault in s.faults)]
    now, started = float(chance[holding].sum()), float(prior[holding].sum())
    cases = tuple(_mode(found, fault, prior, common) for fault in modes)
    verdict = _verdict(now, started, cases)
    ranked = sorted(cases, key=lambda case: -case.probability)
    return PartCase(part, verdict, now, started, tuple(ranked), _why(part, verdict, cases))


def _mode(found: Posterior, fault: Fault, prior: Floats, common: str) -> ModeCase:
    suspects = found.predictions.suspects
    holding = [i for i, suspect in enumerate(suspects) if fault in suspect.faults]
    alone = next((i for i in holding if len(suspects[i].faults) == 1), holding[0])
    assert isinstance(fault, PartFault)
    chance = float(found.probability[holding].sum())
    return ModeCase(fault.mode, chance, float(prior[holding].sum()), *_lowered(found, alone, common))


def _lowered(found: Posterior, suspect: int, common: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Entries against a suspect and those that it leaves unexplained, the most telling first."""
    rivals = [int(i) for i in np.argsort(-found.probability, kind="stable")[:RIVALS]]
    share = found.probability[rivals] / max(float(found.probability[rivals].sum()), 1e-300)
    since_work = bool(found.new.sum() > found.old.sum())
    against: dict[str, float] = {}
    leaves: dict[str, float] = {}
    for term in found.terms:
        if since_work and not term.after_work:
            continue
        mine = _said(found, suspect, term.likelihood[suspect])
        theirs = sum(p * _said(found, i, term.likelihood[i]) for p, i in zip(share, rivals, strict=True))
        if mine < THIRD * theirs:
            good = mine < THIRD * float(term.likelihood[0].mean())
            (against if good else leaves)[entry_words(term, common)] = mine / theirs
    told = (sorted(some, key=lambda words: some[words])[:MOST_REASONS] for some in (against, leaves))
    return tuple(next(told)), tuple(next(told))


def _said(found: Posterior, suspect: int, likelihood: Floats) -> float:
    weights, _ = weights_of(found, suspect)
    return float(likelihood.mean()) if weights is None else foretold(likelihood, weights)


def _verdict(now: float, started: float, cases: tuple[ModeCase, ...]) -> str:
    if now >= SUSPECT_FROM:
        return SUSPECTED
    likely = [case for case in cases if case.started >= 0.1 * started]
    fell = now * FELL < started and all(case.against for case in likely)
    return CLEARED if now < CLEAR_BELOW and fell else UNLIKELY


def _why(part: str, verdict: str, cases: tuple[ModeCase, ...]) -> str:
    worst = max(cases, key=lambda case: case.probability)
    ranked = sorted(cases, key=lambda case: -case.started)
    against = "; ".join(list(dict.fromkeys(words for case in ranked for words in case.against))[:MOST_REASONS])
    leaves = "; ".join(list(dict.fromkeys(words for case in ranked for words in case.leaves))[:MOST_REASONS])
    if verdict == SUSPECTED:
        return f"{part} {worst.mode} is still a suspect."
    if verdict == CLEARED:
        return f"{part} is cleared by: {against}."
    told = f"against {part}: {against}; " if against else ""
    told += f"{part} would not explain: {leaves}; " if leaves else ""
    return told + (
        "nothing that was found shows it to be good, and it may still be a second fault."
        if any(not case.against for case in cases)
        else "it is not ruled out."
    )
