"""Many equations of one pattern against numpy's dense solution of each."""

import numpy as np
import pytest
from circuit.wiring import capacitor, circuit, op_amp, rails, resistor, source

from dustcap.circuit.frozen import FEWEST, Frozen, solutions
from dustcap.circuit.layout import layout_of
from dustcap.circuit.operating import operating_point
from dustcap.circuit.signal import small_signal


def equations(seed, cases=120, size=30, moving=False):
    """Random nodal matrices of one sparse pattern, conductances over six decades, some of them absent."""
    rng = np.random.default_rng(seed)
    matrix = np.zeros((cases, size, size), dtype=complex if moving else float)
    matrix[:, np.arange(size), np.arange(size)] = 1e-6
    for _ in range(2 * size):
        a, b = rng.choice(size, 2, replace=False)
        g = 10.0 ** rng.uniform(-6, 0) * rng.uniform(0.5, 2.0, cases) * (rng.random(cases) > 0.1)
        g = g * (1 + 1j * rng.uniform(0, 3)) if moving else g
        for i, j, sign in ((a, a, 1), (b, b, 1), (a, b, -1), (b, a, -1)):
            matrix[:, i, j] += sign * g
    return matrix, rng.standard_normal((cases, size, 2)) * 1e-3


def board():
    return circuit(source("V", "a"), resistor("R", "a", "0V", 1.0))


@pytest.mark.parametrize("moving", [False, True])
@pytest.mark.parametrize("seed", range(4))
def test_solutions_are_those_of_a_dense_solver(seed, moving):
    """Within a millionth of numpy.linalg.solve, in each case against its largest unknown."""
    matrix, right = equations(seed, moving=moving)

    found = solutions(layout_of(board()), matrix, right)

    expected = np.linalg.solve(matrix, right)
    assert (np.abs(found - expected).max(axis=1) < 1e-6 * np.abs(expected).max(axis=1)).all()


def test_cases_without_the_usual_pivot_are_solved_too():
    """Rows that lose the number that the plan divides by are found out by their residual; numpy as reference."""
    matrix, right = equations(1)
    controlled = matrix.copy()
    controlled[:, 3] = 0.0
    controlled[:, 3, 7], controlled[:, 3, 8], controlled[:, 3, 3] = 1.0, -1.0, 1e-5
    controlled[::5, 3, 7:9] = 0.0

    found = solutions(layout_of(board()), controlled, right)

    assert found == pytest.approx(np.linalg.solve(controlled, right), rel=1e-5, abs=1e-9 * np.abs(found).max())


def test_the_frozen_pivots_are_enough_for_nearly_every_case():
    """The dense way is a fall-back: fewer than one in twenty of ordinary cases need it."""
    matrix, right = equations(2)

    _, good = Frozen((matrix != 0).any(axis=0), np.median(np.abs(matrix), axis=0)).solve(matrix, right)

    assert good.mean() > 0.95


def test_a_large_batch_answers_as_single_cases_do():
    """The response of a stage in a batch large enough for the frozen way, against each case by itself."""
    stage = circuit(
        *rails(),
        source("IN", "in"),
        resistor("R1", "in", "m", 1e3),
        resistor("R2", "m", "out", 1e4),
        capacitor("C", "m", "out", 1e-9),
        op_amp("U", "0V", "m", "out"),
    )
    ohm = np.geomspace(1e2, 1e5, 2 * FEWEST)
    many = {("R2", "ohm"): ohm, ("U", "force"): np.where(np.arange(len(ohm)) % 9 == 0, 1.0, 0.0)}

    batch = small_signal(stage, operating_point(stage, many), 10e3, source="IN").volts

    for case in range(0, len(ohm), 7):
        one = {key: value[case] for key, value in many.items()}
        alone = small_signal(stage, operating_point(stage, one), 10e3, source="IN").volts[0]
        assert batch[case] == pytest.approx(alone, rel=1e-6, abs=1e-12)
