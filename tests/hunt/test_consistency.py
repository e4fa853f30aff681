"""Diagnosis of block diagrams on the two classical examples."""

from itertools import product

import numpy as np
import pytest

from dustcap.errors import EvidenceError, InputError
from dustcap.hunt.consistency import (
    best_probe,
    block_probabilities,
    candidates,
    conflicts,
    hitting_sets,
    probe_entropy,
)
from dustcap.hunt.entropy import entropy

# references/diagnosis 1.2, D1: X = A C, Y = B D, Z = C E, F = X + Y, G = Y + Z with A=3 B=2 C=2 D=3 E=3. The circuit is
# from memory (de Kleer & Williams 1987); the results are COMPUTED there over all 32 candidates with another program.
BLOCKS = ("M1", "M2", "M3", "A1", "A2")
LAWS = {"M1": (1, 0, 0), "M2": (0, 1, 0), "M3": (0, 0, 1), "A1": (1, 1, 0), "A2": (0, 1, 1)}
POINTS = ("X", "Y", "Z")


def polybox(seen):
    """What the healthy blocks entail: linear equations in X, Y, Z."""
    values = {"M1": 6.0, "M2": 6.0, "M3": 6.0, "A1": seen["F"], "A2": seen["G"]}
    probed = [(tuple(float(p == point) for p in POINTS), seen[point]) for point in POINTS if point in seen]

    def entailed(failed):
        rows = [(LAWS[b], values[b]) for b in BLOCKS if b not in failed] + probed
        if not rows:
            return {}
        left, right = np.array([row[0] for row in rows], float), np.array([[row[1]] for row in rows])
        rank = np.linalg.matrix_rank(left)
        if np.linalg.matrix_rank(np.hstack([left, right])) > rank:
            return None
        solution = np.linalg.lstsq(left, right, rcond=None)[0][:, 0]
        unit = np.eye(3)
        sure = [np.linalg.matrix_rank(np.vstack([left, unit[i]])) == rank for i in range(3)]
        return {p: round(float(solution[i]), 9) for i, p in enumerate(POINTS) if sure[i]}

    return entailed


def names(sets):
    return {"".join(sorted(one)) for one in sets}


def found(p, **seen):
    return candidates(BLOCKS, dict.fromkeys(BLOCKS, p), polybox({"F": 10.0, "G": 12.0, **seen}))


def test_the_box_has_its_two_conflicts():
    """D1a: A1 M1 M2, and A1 A2 M1 M3."""
    got = conflicts(BLOCKS, polybox({"F": 10.0, "G": 12.0}))

    assert names(got) == {"A1M1M2", "A1A2M1M3"}


def test_the_diagnoses_meet_every_conflict():
    """D1b: A1; M1; A2 M2; M2 M3; and 27 of 32 candidates are consistent."""
    got = hitting_sets(conflicts(BLOCKS, polybox({"F": 10.0, "G": 12.0})))

    assert names(got) == {"A1", "M1", "A2M2", "M2M3"}
    assert len(found(0.01)) == 27


def test_the_posterior_has_the_printed_digits():
    """D1c: 0.478026 for each single fault, 0.004829 for each double, and the part marginals."""
    got = {"".join(sorted(c.failed)): c.probability for c in found(0.01)}
    marginal = block_probabilities(found(0.01), BLOCKS)

    assert got["A1"] == pytest.approx(0.478026, abs=1e-6)
    assert got["M1"] == pytest.approx(0.478026, abs=1e-6)
    assert got["A2M2"] == pytest.approx(0.004829, abs=1e-6)
    assert marginal == pytest.approx(
        {"A1": 0.497635, "M1": 0.497635, "M2": 0.019609, "A2": 0.014780, "M3": 0.014780}, abs=1e-6
    )
    assert entropy([c.probability for c in found(0.01)]) == pytest.approx(1.359445, abs=1e-6)


@pytest.mark.parametrize(
    ("p", "left"), [(0.01, (0.318607, 1.277901, 1.312044)), (0.001, (0.045563, 1.039855, 1.045039))]
)
def test_the_best_probe_is_x(p, left):
    """D1d: expected entropies after probing X, Y and Z, printed to six digits."""
    got = [probe_entropy(found(p), point) for point in POINTS]

    assert got == pytest.approx(left, abs=1e-6)
    assert best_probe(found(p), POINTS) == "X"


# The reference prints the next figures after its line for p = 0.001; they hold for p = 0.01. Proof: once X = 4 is
# probed M1 is out, and it alone has probability (1 - p)^4 = 0.96060 for p = 0.01, but 0.99601 for p = 0.001.
def test_a_probe_leaves_what_it_should():
    """With p = 0.01: after X = 4 it is M1 at 0.96060, after X = 6 A1 at 0.94204 and the doubles at 0.00952."""
    four = {"".join(sorted(c.failed)): c.probability for c in found(0.01, X=4.0)}
    six = {"".join(sorted(c.failed)): c.probability for c in found(0.01, X=6.0)}

    assert four["M1"] == pytest.approx(0.96060, abs=5e-6)
    assert (six["A1"], six["A2M2"], six["M2M3"]) == pytest.approx((0.94204, 0.00952, 0.00952), abs=5e-6)


def adder(failed):
    """Full adder with inputs 1, 0, 1 that gives sum 1 and carry 0; a failed gate gives anything."""
    gates = ("X1", "X2", "A1", "A2", "O1")
    for x1, x2, a1, a2, o1 in product((0, 1), repeat=5):
        right = {"X1": 1 ^ 0, "X2": x1 ^ 1, "A1": 1 & 0, "A2": x1 & 1, "O1": a1 | a2}
        value = dict(zip(gates, (x1, x2, a1, a2, o1), strict=True))
        if x2 == 1 and o1 == 0 and all(gate in failed or value[gate] == right[gate] for gate in gates):
            return {}
    return None


def test_the_full_adder_has_its_three_diagnoses():
    """D2 (Reiter 1987): conflicts X1 X2 and X1 A2 O1; diagnoses X1; X2 A2; X2 O1."""
    gates = ("X1", "X2", "A1", "A2", "O1")
    got = conflicts(gates, adder)

    assert names(got) == {"X1X2", "A2O1X1"}
    assert names(hitting_sets(got)) == {"X1", "A2X2", "O1X2"}


def test_impossible_sights_and_too_many_blocks_are_refused():
    """What no set of failures allows is said; so is a diagram too large to combine."""
    with pytest.raises(EvidenceError, match="no set of failed blocks"):
        candidates(("A",), {"A": 0.1}, lambda failed: None)
    with pytest.raises(InputError, match="too many to combine"):
        candidates([str(i) for i in range(17)], {}, lambda failed: {})
