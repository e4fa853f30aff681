"""What has to be made sure of before a unit counts as mended.

A complaint that was told of is listened for again, and one that still stands is listened for twice before anybody
speaks of a good board; then whatever may show its cause is read before the advice is to stop. After work every
rail, the d.c. and the level at every driver are read once, and whatever else is worth its minutes: a second fault
that hid behind the first may be neither heard nor asked for by any complaint. Before a part is changed for the
second time every rail is read that was not: a dead one may make a good part look bad. A reading since then that
nothing likely explains is made once more.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from dustcap.hunt.actions import Costs
from dustcap.hunt.advice import CHECK, DONE, REPLACE, STOP, Advice
from dustcap.hunt.evidence import Complaint, Evidence, Reading, same_check
from dustcap.hunt.known import Known
from dustcap.hunt.next_check import permitted, state_now
from dustcap.hunt.proposal import Proposal
from dustcap.predict.checks import CONNECTED, UNPLUGGED, Check

Hidden = Callable[[Sequence[Check]], Sequence[Proposal]]

LISTENS = 2
"""Times that a complaint is heard after work before no ear is taken to have erred."""


@dataclass(frozen=True)
class Left:
    """What is left to make sure of: complaints that stand, those to listen for, and checks to read."""

    standing: tuple[Complaint, ...]
    listens: tuple[Check, ...]
    reads: tuple[Check, ...]


def left_to_prove(evidence: Evidence, known: Known) -> Left:
    """What was not made sure of since the last work."""
    last: dict[tuple[str, str], Complaint] = {}
    times: Counter[tuple[str, str]] = Counter()
    for entry in evidence.since_work:
        if isinstance(entry, Complaint) and not entry.doubtful:
            last[_what(entry, known)] = entry
            times[_what(entry, known)] += entry.seen
    standing = {what: entry for what, entry in last.items() if entry.seen}
    told = [entry for entry in evidence.valid if isinstance(entry, Complaint) and entry.seen]
    untold = [what for what in dict.fromkeys(_what(entry, known) for entry in told) if what not in last]
    unsure = [what for what in standing if times[what] < LISTENS]
    listens = [_listen(what, known) for what in (unsure if standing else untold)]
    made = {entry.key for entry in evidence.since_work if isinstance(entry, Reading)}
    reads = [check for check in known.proof if same_check(check) not in made] if evidence.work else []
    return Left(tuple(standing.values()), tuple(c for c in listens if c.part), tuple(reads))


def made_sure(
    advice: Advice,
    evidence: Evidence,
    known: Known,
    costs: Costs,
    harm: float,
    hidden: Hidden = lambda proof: (),
    unexplained: Sequence[Reading] = (),
) -> tuple[Advice, tuple[Proposal, ...]]:
    """The advice, or in place of "done" what comes before it, with the checks to make first.

    `hidden` gives the checks that would show what the proof still to be read does not; `unexplained` are readings to
    make once more.
    """
    if advice.do == REPLACE:
        return _rails_first(advice, evidence, known, costs, harm)
    if advice.do != DONE:
        return advice, ()
    left = left_to_prove(evidence, known)
    named = " and ".join(entry.words().removeprefix("complaint: ") for entry in left.standing)
    if left.standing and left.listens:
        why = f"what was read fits a healthy board: make sure once more of {named}."
        return Advice(CHECK, why), _proposals(left.listens, evidence, costs, harm)
    reads = permitted(left.reads, evidence, known.drivers) if left.standing else left.reads
    odd = [one for one in unexplained if not left.standing or one.check.state == UNPLUGGED]
    if odd:
        why = f"{odd[0].words()}: nothing that is likely explains it, so read it once more."
        return Advice(CHECK, why), _proposals([one.check for one in odd], evidence, costs, harm)
    checks = (*reads, *left.listens)
    further = tuple(hidden(checks)) if evidence.work else ()
    now = state_now(evidence)
    at_once = tuple(one for one in further if one.check.state == now)  # before the bench is changed for the others
    if at_once or (further and not checks):
        first = at_once or further
        what = f"what may cause {named}" if left.standing else "a second fault that nobody hears"
        why = (
            f"{first[0].check.words()}: it would show {what} ({100 * first[0].bits:.1f} %), "
            "which costs less than a unit that comes back."
        )
        return Advice(CHECK, why), (*first, *_proposals(checks, evidence, costs, harm))
    if not checks and left.standing:
        return Advice(STOP, f"what was read fits a healthy board, and it still has: {named}. {_ODD}"), ()
    if not checks:
        return advice, ()
    why = f"{checks[0].words()}: to be made sure of once before it goes back, {len(checks)} in all."
    return Advice(CHECK, why), _proposals(checks, evidence, costs, harm)


def _rails_first(
    advice: Advice, evidence: Evidence, known: Known, costs: Costs, harm: float
) -> tuple[Advice, tuple[Proposal, ...]]:
    """The advice; where it is to change parts that were all changed before, what feeds them is read before."""
    changed = {work.part for work in evidence.work if work.did == "replaced"}
    made = {entry.key for entry in evidence.valid if isinstance(entry, Reading)}
    rails = tuple(check for check in known.proof if check.kind == "dc volts" and same_check(check) not in made)
    rails = permitted(rails, evidence, known.drivers)
    if not rails or not changed.issuperset(advice.parts):
        return advice, ()
    why = f"{rails[0].words()}: {', '.join(advice.parts)} was changed before; first see what feeds and loads it."
    return Advice(CHECK, why), _proposals(rails, evidence, costs, harm)


_ODD = "Measure the readings again that matter most, and describe more of the board."


def _what(entry: Complaint, known: Known) -> tuple[str, str]:
    return entry.word, known.drivers.get(entry.driver, entry.driver)


def _listen(what: tuple[str, str], known: Known) -> Check:
    driver = what[1] or next(iter(known.drivers.values()), "")
    return Check("listen", part=driver, state=CONNECTED, word=what[0])


def _proposals(checks: Sequence[Check], evidence: Evidence, costs: Costs, harm: float) -> tuple[Proposal, ...]:
    now = state_now(evidence)
    return tuple(
        Proposal(
            check, 0.0, check.minutes + costs.reaching(check) + costs.change(now, check.state), costs.risk(check, harm)
        )
        for check in checks
    )
