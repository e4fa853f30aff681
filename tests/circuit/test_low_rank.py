"""Many faults from one elimination a sample, against numpy's solution of each and a worked ladder."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from ways import WAYS, way

from dustcap.circuit import eliminated
from dustcap.circuit.low_rank import LowRank
from dustcap.circuit.stamps import Changes, Stamps
from dustcap.circuit.updates import TOLERANCE

FLOOR_S = 1e-12


def network(rng, nets, moving, controlled):
    """Stamps and one row of admittances: a tree, loops over it, and currents controlled by distant voltages."""
    tree = np.array([[i, rng.integers(i + 1, nets + 1)] for i in range(nets)])
    loops = np.array([rng.choice(nets + 1, 2, replace=False) for _ in range(nets)])
    ends = np.vstack([tree, loops])
    steered = np.array([rng.choice(nets, 4, replace=False) for _ in range(controlled)], dtype=int).reshape(-1, 4)
    stamps = Stamps(
        nets,
        np.append(ends[:, 0], steered[:, 0]),
        np.append(ends[:, 1], np.full(controlled, nets)),
        np.append(ends[:, 0], steered[:, 1]),
        np.append(ends[:, 1], steered[:, 2]),
    )
    y = 10.0 ** rng.uniform(-6, -2, len(stamps.to))
    y[len(ends) :] = 10.0 ** rng.uniform(-5, -3, controlled)
    return stamps, y * np.exp(1j * rng.uniform(-1.4, 1.4, len(y))) if moving else y


def plain(stamps, y, current):
    """One dense solution; an infinite admittance joins its two nets."""
    size = stamps.size
    matrix = np.zeros((size + 1, size + 1), dtype=y.dtype)
    short = np.isinf(y)
    terminals = zip(stamps.to, stamps.back, stamps.plus, stamps.minus, strict=True)
    for (to, back, plus, minus), g in zip(terminals, np.where(short, 0, y), strict=True):
        matrix[to, plus] += g
        matrix[back, minus] += g
        matrix[to, minus] -= g
        matrix[back, plus] -= g
    joined = np.flatnonzero(short)
    column, row = np.zeros((size + 1, len(joined))), np.zeros((len(joined), size + 1))
    for place, k in enumerate(joined):
        np.add.at(column[:, place], [stamps.to[k], stamps.back[k]], [1, -1])
        np.add.at(row[place], [stamps.plus[k], stamps.minus[k]], [1, -1])
    nodal = matrix[:size, :size] + FLOOR_S * np.eye(size)
    matrix = np.block([[nodal, column[:size]], [row[:, :size], np.zeros((len(joined), len(joined)))]])
    right = np.append(current, np.zeros(len(joined)))
    found = np.linalg.solve(matrix, right)
    for _ in range(2):  # where the network is nearly singular, that alone is right to eight digits
        rest = right - matrix.astype(np.clongdouble) @ found
        found = found + np.linalg.solve(matrix, rest.astype(complex))
    return np.append(found[:size], 0)


def faults(rng, y, rank):
    """Opens, shorts, drifts and exact shorts of `rank` or fewer stamps."""
    count = 12
    stamps = np.array([rng.choice(len(y), rank, replace=False) for _ in range(count)])
    factor = rng.choice([0.0, 0.3, 5.0, 1e3], (count, rank))
    factor[::3, 0] = np.inf  # one at most: two in parallel leave the reference without an answer
    values = np.where(np.isinf(factor)[..., None], np.inf, y[stamps] * np.where(np.isinf(factor), 1, factor)[..., None])
    stamps[::4, -1] = -1  # fewer
    return Changes.of(stamps, values)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 100_000), st.booleans(), st.integers(1, 3), st.sampled_from([0, 3]), st.sampled_from(WAYS))
@example(1949, True, 1, 3, WAYS[0])  # condition number 1.5e9
@example(375, True, 3, 3, WAYS[0])  # some samples of a fault are solved anew
def test_every_fault_equals_the_plain_solution(seed, moving, rank, controlled, how):
    """Of the largest voltage in the network, within 1e-9; an exact short only where nothing steers it."""
    rng = np.random.default_rng(seed)
    nets, samples = int(rng.integers(5, 24)), 3
    stamps, nominal = network(rng, nets, moving, controlled)
    y = nominal[:, None] * rng.uniform(0.9, 1.1, (len(nominal), samples))
    changes = faults(rng, y[: 2 * nets], rank)
    current = rng.standard_normal(nets) * 1e-3
    reads = np.stack([rng.integers(0, nets, 4), rng.integers(0, nets + 1, 4)], axis=1)

    with way(how):
        got = LowRank(stamps, y, changes, FLOOR_S).voltages(current, reads)

    for fault in range(len(changes.stamps)):
        for sample in range(samples):
            changed = y[:, sample].copy()
            there = changes.stamps[fault] >= 0
            changed[changes.stamps[fault][there]] = changes.values[changes.rows[fault][there], sample]
            volts = plain(stamps, changed, current)
            expected, most = volts[reads[:, 0]] - volts[reads[:, 1]], np.abs(volts).max()
            if most < 1e6:  # beyond, a part of the network hangs on the floor alone and has no voltage to agree on
                assert np.abs(got[fault, sample] - expected).max() < 1e-9 * most


LADDER = Stamps.branches(np.array([[0, 2], [0, 1], [1, 2], [1, 2]]), 2)


@pytest.mark.parametrize("how", WAYS)
@pytest.mark.parametrize(
    ("changed", "values", "expected"),
    # 1 mA into net 1; 1 kohm from net 1 to common (R1), between the nets (R2), from net 2 to common (R3), and a place
    # for a bridge beside R3. Derived by hand as series and parallel resistances.
    [
        ([-1, -1], [0, 0], (2 / 3, 1 / 3)),
        ([1, -1], [0, 0], (1.0, 0.0)),
        ([1, -1], [1 / 2e3, 0], (0.75, 0.25)),
        ([1, -1], [1 / 500, 0], (0.6, 0.4)),
        ([1, -1], [np.inf, 0], (0.5, 0.5)),
        ([3, -1], [1 / 100, 0], (0.5217391304, 0.0434782609)),
        ([1, 2], [1 / 2e3, 1 / 3e3], (5 / 6, 0.5)),
        ([3, 1], [np.inf, 0], (1.0, 0.0)),
    ],
)
def test_a_ladder_stands_where_its_parts_put_it(changed, values, expected, how):
    """Open, drift, short, bridge and two at once."""
    healthy = np.array([[1e-3], [1e-3], [1e-3], [0.0]])
    changes = Changes.of(np.array([changed]), np.array(values, dtype=float)[None, :, None])

    with way(how):
        got = LowRank(LADDER, healthy, changes, 0.0).voltages(np.array([1e-3, 0]), np.array([[0, 2], [1, 2]]))

    np.testing.assert_allclose(got[0, 0], expected, rtol=1e-9, atol=1e-15)


@pytest.mark.parametrize("how", WAYS)
def test_few_cases_need_to_be_solved_anew(how):
    """Where every net has two ways to common, fewer than one fault in a hundred."""
    rng = np.random.default_rng(3)
    stamps, nominal = network(rng, 40, False, 0)
    ends = np.concatenate([np.stack([np.arange(40), np.full(40, 40)], 1), np.stack([stamps.to, stamps.back], 1)])
    y = np.append(10.0 ** rng.uniform(-5, -3, 40), nominal)[:, None] * rng.uniform(0.9, 1.1, (120, 30))
    every = np.arange(120)
    values = np.stack([0 * y, 0.5 * y, 2 * y, np.full_like(y, 1e3), np.full_like(y, np.inf)], 1).reshape(600, 1, 30)
    faults = LowRank(Stamps.branches(ends, 40), y, Changes.of(np.repeat(every, 5)[:, None], values), FLOOR_S)

    with way(how):
        _, poor = faults.attempt(rng.standard_normal((40, 1)), np.array([[3, 40], [7, 20]]))

    assert poor.mean() < 0.01


@pytest.mark.parametrize("how", WAYS)
def test_a_sample_that_does_not_answer_to_its_equations_is_solved_anew(monkeypatch, how):
    """An elimination spoilt in one sample changes no result."""
    rng = np.random.default_rng(8)
    stamps, nominal = network(rng, 12, False, 2)
    y = nominal[:, None] * rng.uniform(0.9, 1.1, (len(nominal), 4))
    changes = Changes.of(np.arange(20)[:, None], np.zeros((20, 1, 1)))
    sound = LowRank(stamps, y, changes, 1e-6).voltages(np.ones(12), np.array([[0, 12], [5, 12]]))

    class Spoilt(eliminated.Factors):
        def __init__(self, plan, numbers):
            numbers[:, 2] *= 1.001
            super().__init__(plan, numbers)

    monkeypatch.setattr(eliminated, "Factors", Spoilt)
    spoilt = LowRank(stamps, y, changes, 1e-6)

    with way(how):
        _, poor = spoilt.attempt(np.ones((12, 1)), np.array([[0, 12]]))
    assert poor.all(axis=0).tolist() == [False, False, True, False]
    np.testing.assert_allclose(spoilt.voltages(np.ones(12), np.array([[0, 12], [5, 12]])), sound, rtol=1e-8)


def exactly(stamps, y, current):
    """The solution with numbers of 64 binary digits instead of 53, by plain elimination with pivots."""
    size = stamps.size
    matrix = np.zeros((size + 1, size + 1), dtype=np.longdouble)
    for row, column, sign in ((0, 0, 1), (1, 1, 1), (0, 1, -1), (1, 0, -1)):
        places = (stamps.to, stamps.back)[row], (stamps.plus, stamps.minus)[column]
        np.add.at(matrix, places, sign * y.astype(np.longdouble))
    a = np.column_stack([matrix[:size, :size] + FLOOR_S * np.eye(size), current]).astype(np.longdouble)
    for k in range(size):
        best = k + np.argmax(np.abs(a[k:, k]))
        a[[k, best]] = a[[best, k]]
        a[k] /= a[k, k]
        others = np.arange(size) != k
        a[others] -= a[others, k][:, None] * a[k]
    return np.append(a[:, -1], 0)


@pytest.mark.skipif(np.finfo(np.longdouble).nmant < 63, reason="no longer numbers here")
@pytest.mark.parametrize("how", WAYS)
def test_no_fast_result_is_off_by_more_than_the_tolerance(how):
    """Resistors of 100 ohm to 1 Mohm, open, shorted and drifted, before anything is solved anew."""
    for seed in range(12):
        rng = np.random.default_rng(seed)
        stamps, y = network(rng, 16, False, 3)
        changes = Changes.of(np.arange(20)[:, None], (y[:20] * rng.choice([0.0, 0.3, 7.0, 1e6], 20))[:, None, None])
        reads, current = np.stack([rng.integers(0, 16, 4), np.full(4, 16)], axis=1), rng.standard_normal(16) * 1e-3
        with way(how):
            got, poor = LowRank(stamps, y[:, None], changes, FLOOR_S).attempt(current[:, None], reads)
        assert poor.mean() < 0.2
        for fault in np.flatnonzero(~poor[:, 0]):
            changed = y.copy()
            changed[fault] = changes.values[fault, 0]
            expected = exactly(stamps, changed, current)[reads[:, 0]]
            assert np.abs(got[fault, 0] - expected).max() < TOLERANCE * np.abs(expected).max()


@pytest.mark.parametrize("moving", [False, True])
def test_both_ways_solve_alike(moving):
    """A network large enough for a dense core, opens, drifts and exact shorts of one stamp and of two; to rounding."""
    rng = np.random.default_rng(11)
    stamps, nominal = network(rng, 90, moving, 6)
    y = nominal[:, None] * rng.uniform(0.9, 1.1, (len(nominal), 40))
    one = np.concatenate([rng.choice(180, 60, replace=False)[:, None], np.full((60, 1), -1)], axis=1)
    two = np.stack([rng.choice(180, 2, replace=False) for _ in range(20)])
    changed = np.concatenate([one, two])
    values = y[changed] * rng.choice([0.0, 0.4, 30.0], (80, 2, 1))
    values[:60:3] = np.inf
    reads, current = np.stack([rng.integers(0, 90, 6), np.full(6, 90)], axis=1), rng.standard_normal((90, 40))
    found = {}
    for how in WAYS:
        with way(how):
            network_ = LowRank(stamps, y, Changes.of(changed, values), 1e-6)
            assert len(network_._plan.core) > 8
            found[how] = network_.attempt(current, reads)

    most = np.abs(found["numpy"][0]).max(axis=2, keepdims=True)
    good = ~(found["numpy"][1] | found["compiled"][1])
    assert good.mean() > 0.9
    assert (np.abs(found["compiled"][0] - found["numpy"][0]) / most)[good].max() < 4 * TOLERANCE
