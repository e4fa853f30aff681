"""Impedance of a changed network against the plain solution and a worked ladder."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dustcap.circuit.changes import changed_pair_impedance, inverse_of, opens_low, pair_impedance


def plain(ends, admittance, pairs, nets):
    """The same by one full solution for each pair."""
    matrix = np.zeros((nets + 1, nets + 1), dtype=admittance.dtype)
    for (a, b), y in zip(ends, admittance, strict=True):
        matrix[a, a] += y
        matrix[b, b] += y
        matrix[a, b] -= y
        matrix[b, a] -= y
    matrix = matrix[:nets, :nets] + 1e-12 * np.eye(nets)
    found = []
    for a, b in pairs:
        current = np.zeros(nets + 1)
        current[a] += 1
        current[b] -= 1
        volts = np.append(np.linalg.solve(matrix, current[:nets]), 0)
        found.append(volts[a] - volts[b])
    return np.array(found)


@pytest.mark.parametrize(
    ("r2_ohm", "expected"),
    # references: two-section ladder of 1 kohm, R1 from net 1 to common, R2 between, R3 from net 2 to common;
    # 1 mA into net 1. Derived: R1 || (R2 + R3).
    [(1e3, 2 / 3), (2e3, 0.75), (500.0, 0.6)],
)
def test_a_ladder_reads_what_its_parts_give(r2_ohm, expected):
    """The input resistance follows the changed series part."""
    ends = np.array([[0, 2], [0, 1], [1, 2]])
    healthy = np.full((1, 3), 1e-3)
    changed = np.array([[[1e-3, 1 / r2_ohm, 1e-3]]])

    got = changed_pair_impedance(ends, healthy, changed, np.array([[0, 2]]), 2)

    assert got[0, 0, 0] * 1e-3 == pytest.approx(expected, rel=1e-7)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.booleans())
def test_every_failure_equals_the_plain_solution(seed, moving):
    """Opens, shorts, drifts and bridges of one to three branches agree with solving anew."""
    rng = np.random.default_rng(seed)
    nets, samples, failures = 9, 3, 6
    tree = np.array([[i, rng.integers(i + 1, nets + 1)] for i in range(nets)])
    extra = np.array([rng.choice(nets + 1, 2, replace=False) for _ in range(8)])
    ends = np.vstack([tree, extra])
    healthy = 10.0 ** rng.uniform(-6, -2, (samples, len(ends)))
    if moving:
        healthy = healthy * np.exp(1j * rng.uniform(-1.5, 1.5, healthy.shape))
    changed = np.repeat(healthy[None], failures, axis=0)
    for failure in range(failures):
        for branch in rng.choice(np.arange(nets, len(ends)), rng.integers(0, 4), replace=False):
            changed[failure, :, branch] *= rng.choice([0.0, 0.3, 7.0, 1e3])
    pairs = np.array([rng.choice(nets + 1, 2, replace=False) for _ in range(5)])

    got = changed_pair_impedance(ends, healthy, changed, pairs, nets)

    for failure in range(failures):
        for sample in range(samples):
            expected = plain(ends, changed[failure, sample], pairs, nets)
            np.testing.assert_allclose(got[failure, sample], expected, rtol=1e-6)


def test_a_network_without_a_change_is_the_plain_inverse():
    """No changed branch: the pair impedance of the healthy network comes back."""
    rng = np.random.default_rng(5)
    ends = np.array([[0, 3], [1, 0], [2, 1], [2, 3]])
    healthy = rng.uniform(1e-4, 1e-2, (4, 4))
    pairs = np.array([[0, 3], [1, 2]])

    got = changed_pair_impedance(ends, healthy, healthy[None], pairs, 3)

    np.testing.assert_array_equal(got[0], pair_impedance(inverse_of(ends, healthy, 3), pairs))


def test_a_link_that_opens_is_told_to_be_solved_anew():
    """A 10 mohm link taken away is no small change; a 1 kohm resistor taken away is one."""
    healthy = np.array([[100.0, 1e-3]])
    changed = np.array([[[0.0, 1e-3]], [[100.0, 0.0]], [[30.0, 1e-3]]])

    assert opens_low(healthy, changed).tolist() == [True, False, False]
