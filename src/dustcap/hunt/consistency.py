"""Diagnosis of a block diagram from what its blocks should do: conflicts, diagnoses, the most telling probe.

Where no board is described, blocks that are healthy still constrain what can be measured. A *conflict* is a set of
blocks that cannot all be healthy given what was seen; a *diagnosis* is a set of blocks whose failing explains
everything, and it meets every conflict. A failed block may do anything.

References
----------
.. [1] R. Reiter, "A theory of diagnosis from first principles", Artif. Intell. 32 (1987) 57: diagnoses are the hitting
   sets of the conflicts.
.. [2] J. de Kleer, B. C. Williams, "Diagnosing multiple faults", Artif. Intell. 32 (1987) 97: the next probe leaves the
   least expected entropy of the candidates.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from dustcap.errors import EvidenceError, InputError
from dustcap.hunt.entropy import entropy

Blocks = frozenset[str]
Entailed = Callable[[Blocks], Mapping[str, float] | None]
"""Failed blocks -> the values that then must be found at each point, or None when what was seen is impossible."""

MAX_BLOCKS = 16


@dataclass(frozen=True)
class Candidate:
    """Failed blocks (all others healthy), its probability, and the values that it entails."""

    failed: Blocks
    probability: float
    values: Mapping[str, float]


def candidates(blocks: Sequence[str], fails: Mapping[str, float], entailed: Entailed) -> tuple[Candidate, ...]:
    """Every set of failed blocks that what was seen allows, fewest blocks first.

    Parameters
    ----------
    blocks : sequence of str
        At most `MAX_BLOCKS`: all their subsets are tried.
    fails : mapping of str to float
        Probability that each block has failed, each on its own.
    entailed : callable
        See `Entailed`.

    Raises
    ------
    EvidenceError
        If not even all blocks failing together allows what was seen.
    """
    if len(blocks) > MAX_BLOCKS:
        raise InputError(f"{len(blocks)} blocks are too many to combine; {MAX_BLOCKS} are the most.", where="hunt")
    found = []
    for failed in _subsets(blocks):
        values = entailed(failed)
        if values is not None:
            odds = np.prod([fails[b] if b in failed else 1.0 - fails[b] for b in blocks])
            found.append(Candidate(failed, float(odds), values))
    total = sum(candidate.probability for candidate in found)
    if not total > 0:
        raise EvidenceError(
            "no set of failed blocks allows what was seen.", where="hunt", mend="Check the values that were entered."
        )
    return tuple(Candidate(c.failed, c.probability / total, c.values) for c in found)


def conflicts(blocks: Sequence[str], entailed: Entailed) -> tuple[Blocks, ...]:
    """Smallest sets of blocks that cannot all be healthy, smallest first."""
    return _minimal(healthy for healthy in _subsets(blocks) if entailed(frozenset(blocks) - healthy) is None)


def hitting_sets(sets: Iterable[Blocks]) -> tuple[Blocks, ...]:
    """Smallest sets that meet every one of the sets [1]_: the diagnoses, when the sets are all the conflicts."""
    partial: tuple[Blocks, ...] = (frozenset(),)
    for conflict in sets:
        grown = [hit if hit & conflict else hit | {block} for hit in partial for block in sorted(conflict)]
        partial = _minimal(sorted(set(grown), key=lambda hit: (len(hit), sorted(hit))))
    return partial


def block_probabilities(found: Sequence[Candidate], blocks: Sequence[str]) -> dict[str, float]:
    """Probability that each block has failed, over all candidates."""
    return {b: sum(c.probability for c in found if b in c.failed) for b in blocks}


def probe_entropy(found: Sequence[Candidate], point: str) -> float:
    """Expected entropy of the candidates, bits, once `point` is probed [2]_.

    Candidates that do not say what is found there share one outcome, "anything else".
    """
    outcomes: dict[float | None, list[float]] = {}
    for candidate in found:
        outcomes.setdefault(candidate.values.get(point), []).append(candidate.probability)
    return float(sum(sum(masses) * entropy(masses) for masses in outcomes.values()))


def best_probe(found: Sequence[Candidate], points: Sequence[str]) -> str:
    """The point whose probing leaves the least expected entropy; the first of equal ones."""
    return min(points, key=lambda point: probe_entropy(found, point))


def _subsets(blocks: Sequence[str]) -> Iterable[Blocks]:
    return (frozenset(some) for size in range(len(blocks) + 1) for some in combinations(blocks, size))


def _minimal(sets: Iterable[Blocks]) -> tuple[Blocks, ...]:
    """Those without a proper subset among them; the sets come smallest first."""
    kept: list[Blocks] = []
    for one in sets:
        if not any(small <= one for small in kept):
            kept.append(one)
    return tuple(kept)
