"""What a job waits for: the next step of the technician, in a few words."""

from __future__ import annotations

from dustcap.job.payloads import Complaint, Handover, HuntKept, Proof, Recording, Work
from dustcap.job.state import JobState
from dustcap.job.words import advice_said


def waits_for(state: JobState, has_board: bool) -> str:
    """The next step: what to enter, to compute or to do; empty once the unit is handed over."""
    if state.last(Handover):
        return ""
    if state.last(Proof):
        return _after_proof(state)
    if not state.all(Complaint):
        return "what it does: the complaint"
    if state.last(Work):
        recorded = any(one.when == "after" for one in state.all(Recording))
        return "the proof" if recorded else "a reading at the drivers and a recording after the work"
    if not has_board:
        return "a board description to hunt on"
    hunt = state.last(HuntKept)
    if hunt is None or hunt.upto < state.last_finding:
        return "the hunt"
    if hunt.advice.get("do") == "check" and hunt.next:
        first = hunt.next[0]
        place = first.get("at") or first.get("part") or first.get("area") or first.get("driver") or ""
        return f"a check: {first['check']} {place}".rstrip()
    return advice_said(hunt.advice).removeprefix("advice: ")


def _after_proof(state: JobState) -> str:
    proof = state.last(Proof)
    words = {str(verdict.get("verdict")) for verdict in proof.verdicts} if proof else set()
    if "fail" in words:
        return "the fault that the proof still shows"
    return "the hand-over" if "undecided" not in words else "a longer measurement, or the hand-over"
