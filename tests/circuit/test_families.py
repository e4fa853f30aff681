"""Families of cases: where a case that does not solve from the healthy sample is started instead."""

import numpy as np
import pytest
from circuit.wiring import latching_amplifier
from predict.small import small_board

from dustcap.board.circuit import to_circuit
from dustcap.circuit import families
from dustcap.circuit.families import _relatives, family_points
from dustcap.circuit.operating import operating_point
from dustcap.faults.suspects import HEALTHY, PartFault, Suspect
from dustcap.predict.cases import make_cases

FAULTS = (Suspect((PartFault("R4", "open"),)), Suspect((PartFault("D1", "short"),)))


def test_a_case_that_is_left_starts_from_the_solved_of_its_family_nearest_first():
    """Another one at each turn, and none from another family."""
    family = np.array([0, 0, 0, 0, 1, 1, 2])
    solved = np.array([True, False, True, True, False, False, True])
    assert [one.tolist() for one in _relatives(family, solved, 0)] == [[1], [0]]
    assert [one.tolist() for one in _relatives(family, solved, 1)] == [[1], [2]]
    assert [one.tolist() for one in _relatives(family, solved, 2)] == [[1], [3]]
    assert [one.tolist() for one in _relatives(family, solved, 3)] == [[], []]


@pytest.mark.parametrize("lost", [[1], [0, 1, 2, 3], [2, 3, 4, 5]])
def test_wherever_it_starts_it_ends_where_it_ends_from_rest(monkeypatch, lost):
    """Cases that the first start is not let to solve: the same volts, by a relative or by a leader from rest."""
    board = small_board()
    cases = make_cases(board, to_circuit(board), (HEALTHY, *FAULTS), particles=4, seed=2)
    healthy = operating_point(cases.circuit, cases.values([0]))
    values, family = cases.values([1, 2]), np.repeat([0, 1], 4)
    calls = []

    def solved(circuit, some, **how):
        found = operating_point(circuit, some, **how)
        if not calls:
            found.converged[lost] = False
        calls.append((len(found.converged), how.get("start") is not None))
        return found

    monkeypatch.setattr(families, "operating_point", solved)
    found = family_points(cases.circuit, values, healthy.take(np.tile(np.arange(4), 2)), family)

    assert found.converged.all()
    np.testing.assert_allclose(found.volts, operating_point(cases.circuit, values).volts, atol=1e-6)
    assert calls[1] == ((len(lost), True) if len(lost) < 4 or lost[0] == 2 else (1, False))


def test_members_of_a_family_latch_each_to_its_own_side():
    """An amplifier with more positive than negative feedback falls to the side of its offset, of either sign within the
    family; the volts are those at its limits, by hand."""
    board = latching_amplifier()
    offset = np.array([2e-3, -2e-3, 1e-3, -1e-3, 3e-3, -3e-3])
    values = {("leak", "ohm"): np.array([10e3, 12e3, 20e3, 5e3, 30e3, 8e3]), ("U", "offset_v"): offset}
    start = operating_point(board).take(np.zeros(6, dtype=np.intp))
    found = family_points(board, values, start, np.zeros(6, dtype=np.intp))
    assert found.converged.all()
    assert found.volt("out") == pytest.approx(13.4 * np.sign(offset), abs=0.1)
