"""Impedance of a changed network against numpy's plain solution of each group of nets and a worked ladder."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from dustcap.circuit import changes
from dustcap.circuit.changes import changed_pair_impedance


def plain(ends, admittance, pairs, nets):
    """The same by one full solution for each pair, with one net of its group at 0 V."""
    there = np.abs(admittance) > 0
    graph = coo_array((np.ones(there.sum()), tuple(ends[there].T)), shape=(nets + 1, nets + 1))
    _, label = connected_components(graph, directed=False)
    matrix = np.zeros((nets + 1, nets + 1), dtype=admittance.dtype)
    for (a, b), y in zip(ends, admittance, strict=True):
        matrix[a, a] += y
        matrix[b, b] += y
        matrix[a, b] -= y
        matrix[b, a] -= y
    found = []
    for a, b in pairs:
        others = np.setdiff1d(np.flatnonzero(label == label[a]), [b])
        if label[a] != label[b] or a == b:
            found.append(0.0 if a == b else np.inf)
            continue
        current = (others == a).astype(float)
        found.append(np.linalg.solve(matrix[np.ix_(others, others)], current)[others == a][0])
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

    assert got[0, 0, 0] * 1e-3 == pytest.approx(expected, rel=1e-12)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.booleans())
@example(769, False)  # what an open branch cuts off has no finite rounding
def test_every_failure_equals_the_plain_solution(seed, moving):
    """Opens, shorts, drifts and bridges of up to three branches, within and between groups that hang alone."""
    rng = np.random.default_rng(seed)
    nets, samples, failures = 12, 3, 10
    tree = np.array([[i, rng.integers(i + 1, nets + 1)] for i in range(nets) if i not in (3, 7)])
    extra = np.array([rng.choice(nets + 1, 2, replace=False) for _ in range(10)])
    ends = np.vstack([tree, extra])
    healthy = 10.0 ** rng.uniform(-6, -3, (samples, len(ends)))
    healthy[:, len(tree) :] *= rng.choice([0.0, 1.0], len(extra))
    if moving:
        healthy = healthy * np.exp(1j * rng.uniform(-1.5, 1.5, healthy.shape))
    changed = np.repeat(healthy[None], failures, axis=0)
    for failure in range(failures):
        for branch in rng.choice(len(ends), rng.integers(0, 4), replace=False):
            changed[failure, :, branch] = (healthy[:, branch] + 1e-4 * rng.choice([0, 1])) * rng.choice(
                [0, 0.3, 7, 1e3]
            )
    pairs = np.array([rng.choice(nets + 1, 2, replace=False) for _ in range(6)])

    got = changed_pair_impedance(ends, healthy, changed, pairs, nets)

    for failure in range(failures):
        for sample in range(samples):
            expected = plain(ends, changed[failure, sample], pairs, nets)
            np.testing.assert_allclose(got[failure, sample], expected, rtol=1e-9, atol=2e-9)


def test_a_link_that_opens_reads_its_detour_exactly():
    """A 10 mohm link beside 1 Mohm, taken away: the megohm, not the small difference of large numbers."""
    ends = np.array([[0, 1], [0, 1], [1, 2]])
    healthy = np.array([[100.0, 1e-6, 1e-3]])
    changed = np.array([[[0.0, 1e-6, 1e-3]], [[0.0, 0.0, 1e-3]]])

    got = changed_pair_impedance(ends, healthy, changed, np.array([[0, 1], [0, 2]]), 2)

    np.testing.assert_allclose(got[:, 0], [[1e6, 1e6 + 1e3], [np.inf, np.inf]], rtol=1e-12)


def test_what_a_link_cuts_off_is_not_solved_anew(monkeypatch):
    """Nets behind an open link read inf to the rest and what they read among themselves; two links need both."""
    ends = np.array([[0, 3], [0, 1], [0, 1], [1, 2], [1, 2]])
    healthy = np.array([[1e-3, 100.0, 100.0, 1e-5, 1e-6]])
    opened = np.repeat(healthy[None], 2, axis=0)
    opened[0, 0, 1] = 0.0  # its twin holds
    opened[1, 0, 1:3] = 0.0
    pairs = np.array([[0, 3], [1, 3], [1, 2], [0, 1]])
    monkeypatch.setattr(changes, "pair_impedances", None)

    got = changes.changed_pair_impedance(ends, healthy, opened, pairs, 3)

    behind = 1.0 / 1.1e-5
    np.testing.assert_allclose(got[:, 0], [[1e3, 1e3 + 0.01, behind, 0.01], [1e3, np.inf, behind, np.inf]], rtol=1e-9)
