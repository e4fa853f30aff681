"""The hunt: from a source of predictions and the evidence to suspects, reasons, next checks and advice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from dustcap.faults.suspects import PartFault, Suspect
from dustcap.hunt.actions import Costs, group_by_action
from dustcap.hunt.advice import DONE, Advice, decide, unexplained_once
from dustcap.hunt.circumstances import Placed, plain
from dustcap.hunt.cleared import PartCase, cleared
from dustcap.hunt.evidence import Complaint, Evidence
from dustcap.hunt.explain import reasons
from dustcap.hunt.joint import single_faults_fall_short, with_joint
from dustcap.hunt.known import Known
from dustcap.hunt.making_sure import made_sure
from dustcap.hunt.memory import remembered
from dustcap.hunt.meter import spread_of, values_at
from dustcap.hunt.next_check import harm_of, permitted, plan_checks, state_now
from dustcap.hunt.ohms import NODES, SHARES, Range, ohms_told, range_of
from dustcap.hunt.packages import with_halves
from dustcap.hunt.posterior import Posterior, posterior
from dustcap.hunt.predictions import Predictions
from dustcap.hunt.proposal import Proposal
from dustcap.hunt.second_fault import that_would_show
from dustcap.hunt.twin import twin_notes, twinned
from dustcap.predict.checks import KINDS, Check

Floats = NDArray[np.float64]

SEED = 27
POOR = 0.25  # share of "not in the model" from which single faults count as a poor explanation: a choice of ours
LEADS = 0.2  # probability from which the best suspect is an explanation at all: a choice of ours
ROWS = 25
EXPECTED_FOR = 5
LIKELY_ENOUGH = 0.01


@dataclass(frozen=True, slots=True)
class Expected:
    """What a check would show: a range where it gives a number, else the probability of the word.

    `over`: probability of over range; `none`: that no reading can be taken there.
    """

    range: Range | None = None
    chance: float | None = None
    over: float = 0.0
    none: float = 0.0


@dataclass(frozen=True, slots=True)
class SuspectRow:
    """One suspect: probability, ohms of each of its faults (None where it is no leak), reasons."""

    suspect: Suspect
    probability: float
    ohms: tuple[Range | None, ...]
    explains: tuple[str, ...]
    against: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NextCheck:
    """One proposed check; `expect` pairs the place of a suspect among the rows with what it would show.

    `made_at` says what it names: nets, part, area or driver.
    """

    proposal: Proposal
    made_at: str
    unit: str
    expect: tuple[tuple[int, Expected], ...]
    healthy: Expected


@dataclass(frozen=True)
class HuntResult:
    """Everything a hunt says; probabilities of the rows, `rest`, `unexplained` and `healthy` sum to one."""

    suspects: tuple[SuspectRow, ...]
    rest: float
    unexplained: float
    healthy: float
    next: tuple[NextCheck, ...]
    advice: Advice
    notes: tuple[str, ...] = field(default=())
    why: PartCase | None = None


def hunt(
    predictions: Predictions,
    evidence: Evidence,
    next: int = 5,
    *,
    further: Predictions | None = None,
    costs: Costs | None = None,
    known: Known | None = None,
    rows: int = ROWS,
    why: str = "",
    rng: np.random.Generator | None = None,
) -> HuntResult:
    """Rank the suspects, say why, and propose what to do.

    Parameters
    ----------
    predictions : Predictions
        Suspects with their priors and what every check would read under each.
    evidence : Evidence
        What is known so far, oldest first.
    next : int
        How many checks to propose.
    further : Predictions, optional
        The same source with joint faults, to turn to where this one explains the evidence poorly.
    costs : Costs, optional
        Minutes of repairs and of changing the state of the bench.
    known : Known, optional
        Units of lifted parts and precautionary partners.
    rows : int
        How many suspects to list; the others are summed in `rest`.
    why : str
        A part whose case is wanted: why it is cleared, or not.
    rng : Generator, optional
        For new particles; seeded here when left out, so that the same inputs give the same answer.

    Raises
    ------
    EvidenceError
        If no suspect is possible any more.
    """
    costs = costs or Costs()
    units = known.parts if known else {}
    common = known.common if known else "0V"
    evidence = with_halves(evidence, known.halves) if known else evidence
    costs = costs.on(known.covers, evidence) if known and known.covers else costs
    found: Posterior | None = None
    if further is None or not single_faults_fall_short(evidence):
        found = _weighed(predictions, evidence, rng)
    if found is None or (further is not None and (_poor(found, common) or _tried(found, evidence))):
        found = _weighed(further or predictions, evidence, rng)
    suspects = found.predictions.suspects
    groups = remembered(found.predictions, "groups", lambda: group_by_action(suspects))
    outlook = plan_checks(found, evidence, groups, costs, units, known.drivers if known else {})
    listed = _listed(found.probability, rows)
    ohms = ohms_told(found, listed, evidence)
    advice = decide(found, evidence, groups, outlook, costs, known.partners if known else {})
    proposals = outlook.proposals
    if known:
        harm = harm_of(found)

        def hidden(proof: Sequence[Check]) -> list[Proposal]:
            checks = permitted(found.predictions.candidates(), evidence, known.drivers)
            return that_would_show(found, checks, proof, state_now(evidence), costs, harm, units)

        odd = unexplained_once(found, evidence) if advice.do == DONE else ()
        advice, before = made_sure(advice, evidence, known, costs, harm, hidden, odd)
        proposals = (*before, *(one for one in proposals if one.check not in {other.check for other in before}))
    proposals = proposals[: max(next, 0)]
    return HuntResult(
        suspects=tuple(_row(found, i, ohms.get(i, ()), common) for i in listed),
        rest=float(max(found.probability[1:].sum() - found.probability[listed].sum(), 0.0)),
        unexplained=found.unexplained,
        healthy=float(found.probability[0]),
        next=tuple(_next(found, proposal, listed, known) for proposal in proposals),
        advice=advice,
        notes=(*evidence.notes, *twin_notes(found.predictions, evidence), *_unused(found.predictions, evidence)),
        why=cleared(found, why, common) if why else None,
    )


def _weighed(predictions: Predictions, evidence: Evidence, rng: np.random.Generator | None) -> Posterior:
    source = with_joint(twinned(predictions, evidence.twin), evidence)
    return posterior(source, evidence, rng or np.random.default_rng(SEED))


def _poor(found: Posterior, common: str) -> bool:
    """Whether something stays unexplained: an entry speaks against the best suspect, or the model itself does."""
    best = 1 + int(np.argmax(found.probability[1:]))
    leads = found.probability[best] > LEADS
    return found.unexplained > POOR or bool(leads and reasons(found, best, common).against)


def _tried(found: Posterior, evidence: Evidence) -> bool:
    """Whether the best suspect is a part that was changed already, so that it may only look like what is left."""
    best = found.predictions.suspects[1 + int(np.argmax(found.probability[1:]))]
    changed = {work.part for work in evidence.work if work.did in ("replaced", "removed")} - {""}
    return any(isinstance(fault, PartFault) and fault.part in changed for fault in best.faults)


def _listed(probability: Floats, rows: int) -> list[int]:
    """Suspects by falling probability, equal ones in their own order, the healthy board left out."""
    order = np.argsort(-probability[1:], kind="stable") + 1
    return [int(i) for i in order[:rows] if probability[i] > 0]


def _row(found: Posterior, suspect: int, ohms: tuple[Range | None, ...], common: str) -> SuspectRow:
    why = reasons(found, suspect, common)
    who = found.predictions.suspects[suspect]
    ranges = ohms or (None,) * len(who.faults)
    return SuspectRow(who, float(found.probability[suspect]), ranges, why.explains, why.against)


def _next(found: Posterior, proposal: Proposal, listed: Sequence[int], known: Known | None) -> NextCheck:
    check = proposal.check
    likely = [i for i in listed[:EXPECTED_FOR] if found.probability[i] > LIKELY_ENOUGH] or list(listed[:1])
    own = known.parts.get(check.part, "") if known else ""
    unit = check.unit or ("ohm" if check.word == "esr" else own)
    made_at = KINDS[check.kind].names
    if made_at == "look":
        made_at = "area" if known and check.part in known.areas else "part"
    expect = tuple((listed.index(i), expected(found, proposal.check, [i], own)) for i in likely)
    return NextCheck(proposal, made_at, unit, expect, expected(found, proposal.check, [0], own))


def expected(found: Posterior, check: Check, suspects: Sequence[int], unit: str = "") -> Expected:
    """What a check would show if one of these suspects is right, by what they weigh; `unit`: of a lifted part."""
    predictions, rows = found.predictions, np.array(suspects)
    mass = found.mass[rows]
    whole = mass.sum()
    weights = (mass / whole if whole > 0 else np.full_like(mass, 1.0 / mass.size)).ravel()
    if check.kind == "listen":
        heard = np.broadcast_to(predictions.heard(check.word, check.part or check.at), found.mass[:-1].shape)
        return Expected(chance=float(np.sum(weights * heard[rows].ravel())))
    if check.kind == "look":
        seen = np.repeat(predictions.seen(check.part, check.word)[rows], mass.shape[1])
        return Expected(chance=float(np.sum(weights * seen)) if check.word else None)
    place, variance = (table[rows].ravel() for table in found.predicted(check, unit))
    none = float(weights[np.isnan(place)].sum())
    over = float(weights[np.isinf(place)].sum())
    values = values_at((place[:, None] + np.sqrt(variance)[:, None] * NODES).ravel(), spread_of(check, unit))
    told = range_of(values, (weights[:, None] * SHARES).ravel()) if none < 0.5 else None
    return Expected(told, over=over, none=none)


def _unused(predictions: Predictions, evidence: Evidence) -> tuple[str, ...]:
    """Entries, or parts of them, that no number was made of."""
    if isinstance(plain(predictions), Placed):
        return ()
    return tuple(
        f"{entry.words()}: how it goes with volume or warmth was kept but not counted"
        for entry in evidence.valid
        if isinstance(entry, Complaint) and (entry.with_volume or entry.when not in ("", "always"))
    )
