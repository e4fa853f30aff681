"""A hunt's result as the JSON document of the contract (layout 1): plain mappings, no NaN, no Infinity."""

from __future__ import annotations

from dataclasses import asdict
from math import isfinite

from dustcap.faults.suspects import Leak, PartFault
from dustcap.hunt.advice import Advice
from dustcap.hunt.hunt import Expected, HuntResult, NextCheck, SuspectRow
from dustcap.hunt.ohms import Range

Json = dict[str, object]

LAYOUT = 1


def to_json(result: HuntResult, board: str = "", revision: str = "") -> Json:
    """The document for one hunt on a board of that name and revision."""
    document: Json = {
        "layout": LAYOUT,
        "board": board,
        "revision": revision,
        "suspects": [_suspect(row) for row in result.suspects],
        "unexplained": result.unexplained,
        "healthy": result.healthy,
        "rest": result.rest,
        "next": [_next(one) for one in result.next],
        "advice": _advice(result.advice),
    }
    if result.notes:
        document["notes"] = list(result.notes)
    if result.why is not None:
        document["why"] = asdict(result.why)
    return document


def _suspect(row: SuspectRow) -> Json:
    parts = [_fault(fault, ohms) for fault, ohms in zip(row.suspect.faults, row.ohms, strict=True)]
    return {
        "parts": parts,
        "probability": row.probability,
        "explains": list(row.explains),
        "against": list(row.against),
    }


def _fault(fault: PartFault | Leak, ohms: Range | None) -> Json:
    if isinstance(fault, PartFault):
        return {"part": fault.part, "mode": fault.mode}
    leak: Json = {"leak": [fault.a, fault.b]}
    if fault.area:
        leak["area"] = fault.area
    if ohms is not None:
        leak["ohms"] = _range(ohms)
    return leak


def _next(one: NextCheck) -> Json:
    check, proposal = one.proposal.check, one.proposal
    document: Json = {"check": check.kind}
    if one.made_at == "nets":
        document |= {"at": check.at, "against": check.against}
    else:
        document[one.made_at] = check.part or check.at
    if check.word:
        document["word"] = check.word
    if check.kind in ("ac volts", "listen"):
        document |= {"signal_hz": check.signal_hz, "signal_v": check.signal_v}
    if check.kind == "leakage":
        document["test_voltage"] = check.test_v
    document |= {
        "state": check.state,
        "bits": proposal.bits,
        "minutes": proposal.minutes,
        "risk": proposal.risk,
        "score": proposal.score,
        "expect": [{"suspect": place, **_expected(expected), "unit": one.unit} for place, expected in one.expect],
        "healthy": _expected(one.healthy),
    }
    if isfinite(proposal.repair):
        document["repair_minutes"] = proposal.repair
    return document


def _expected(expected: Expected) -> Json:
    document: Json = {}
    if expected.range is not None:
        document |= _range(expected.range)
    if expected.chance is not None:
        document["probability"] = expected.chance
    if expected.over > 0:
        document["over"] = expected.over
    if expected.none > 0:
        document["none"] = expected.none
    return document


def _range(values: Range) -> Json:
    """Bounds; a value over range is null."""
    pairs = {"low": values.low, "median": values.median, "high": values.high}
    return {key: value if isfinite(value) else None for key, value in pairs.items()}


def _advice(advice: Advice) -> Json:
    return {
        "do": advice.do,
        "parts": list(advice.parts),
        "also": list(advice.also),
        "between": list(advice.between),
        "area": advice.area,
        "alike": list(advice.alike),
        "why": advice.why,
    }
