"""Readings taken together, against the exact answer for a normal unknown and scipy's multivariate normal."""

import numpy as np
import pytest
from hunt.tables import HEALTHY, Tables, part
from scipy.stats import multivariate_normal, norm, qmc

from dustcap.hunt.evidence import Evidence, Reading, Work
from dustcap.hunt.kernel import Given, Kernel
from dustcap.hunt.likelihoods import blur, of_reading
from dustcap.hunt.meter import SPREADS, MeterClass, positions, values_at
from dustcap.hunt.posterior import posterior
from dustcap.predict.checks import Check

OHMS = SPREADS["ohms"]
SHARP = MeterClass("sharp", 0.0, 1e-3, 6000)
WIDE, OWN = 30.0, 2.0  # sigmas of the model's error: an unknown in all readings, and one in each
SAMPLES, READINGS = 32, 5


def places(middle, seed=4):
    """Samples of predictions on the scale: one wide unknown shared by all readings and a narrow one in each."""
    draws = norm.ppf(qmc.Sobol(READINGS + 1, seed=seed).random(SAMPLES))
    return middle + WIDE * draws[:, :1] + OWN * draws[:, 1:]


def exact(middle, read):
    """Logarithm of the density of the readings, on the scale, the model's own error of one included."""
    covariance = WIDE**2 * np.ones((READINGS, READINGS)) + (OWN**2 + 1.0) * np.eye(READINGS)
    return multivariate_normal(np.full(READINGS, middle), covariance).logpdf(read)


def given(rows, read):
    """The readings with the predictions of each row, none of them odd."""
    values = [values_at(np.stack([row[:, i] for row in rows]), OHMS) for i in range(READINGS)]
    checks = [Check("ohms", f"n{i}", "0V") for i in range(READINGS)]
    said = values_at(np.array(read), OHMS)
    return [
        Given(Reading(check, value, value, meter=SHARP), values[i], np.full(len(rows), 1e-9))
        for i, (check, value) in enumerate(zip(checks, said, strict=True))
    ]


def weights_of(kernel):
    return np.prod(kernel.likelihoods, axis=0)


MIDDLE, OFF = float(positions(100e3, OHMS)), 30.0
READ = MIDDLE + 12.0 + np.array([1.0, -2.0, 0.5, 2.0, -1.0])


def errors(seed):
    """Errors of the logarithmic odds of a wide suspect to one further off, together and each reading by itself."""
    items = given([places(MIDDLE, seed), places(MIDDLE - OFF, seed)], READ)
    alone = np.ones((2, SAMPLES))
    for item in items:
        place = positions(item.values, OHMS)
        alone *= of_reading(item.reading, place, np.square(blur(place)), np.array(1e-9))
    truth = exact(MIDDLE, READ) - exact(MIDDLE - OFF, READ)
    return [float(np.subtract(*np.log(w.mean(axis=1)))) - truth for w in (weights_of(Kernel(items)), alone)]


def test_redundant_readings_weigh_as_the_multivariate_normal_says():
    """Over twenty sets of 32 samples the mean error of the logarithmic odds is below 1.2 (measured 1.0).

    With each reading blurred by itself it is above 2.5 (measured 2.9): five readings of one unknown count five times.
    """
    together, alone = np.mean([errors(seed) for seed in range(20)], axis=0)

    assert abs(together) < 1.2
    assert alone > 2.5


def test_what_is_read_next_is_the_conditional_normal():
    """After four readings the fifth is told as by regression: mean within half a sigma, sigma within a third."""
    rows = [places(MIDDLE)]
    items = given(rows, READ)
    kernel = Kernel(items[:-1])
    weights = weights_of(kernel)[0] / weights_of(kernel)[0].sum()

    middle, variance = kernel.predicted(positions(items[-1].values, OHMS), np.array([True]))
    mean = np.sum(weights * middle[0])
    spread = np.sqrt(np.sum(weights * (variance[0] + (middle[0] - mean) ** 2)))

    left = WIDE**2 * np.ones((4, 4)) + (OWN**2 + 1.0) * np.eye(4)
    gain = np.linalg.solve(left, np.full(4, WIDE**2))
    expected = MIDDLE + gain @ (READ[:4] - MIDDLE)
    sigma = np.sqrt(WIDE**2 + OWN**2 - gain @ np.full(4, WIDE**2))
    assert abs(mean - expected) < 0.5 * sigma
    assert spread == pytest.approx(sigma, rel=1 / 3)


def test_the_posterior_takes_readings_together():
    """The same odds come out of the whole posterior: mean error over twenty sets below 1.2, as above."""
    found = []
    for seed in range(20):
        rows = [np.zeros((SAMPLES, READINGS)), places(MIDDLE, seed), places(MIDDLE - OFF, seed)]
        items = given(rows, READ)
        table = Tables(
            (HEALTHY, part("R1"), part("R2")),
            np.array([0.1, 0.45, 0.45]),
            {item.reading.check: item.values for item in items},
        )
        got = posterior(table, Evidence(tuple(item.reading for item in items))).probability
        found.append(np.log(got[1] / got[2]) - exact(MIDDLE, READ) + exact(MIDDLE - OFF, READ))

    assert abs(np.mean(found)) < 1.2


def unlike(seed):
    """Two faults that change the first reading only, to values of their own; the others read as on the good board."""
    good = places(MIDDLE, seed)
    rows = [good.copy(), good.copy(), good.copy()]
    for number, row in enumerate(rows[1:]):
        severity = norm.ppf((np.random.default_rng([seed, number]).permutation(SAMPLES) + 0.5) / SAMPLES)
        row[:, 0] = MIDDLE - 100.0 + 40.0 * severity
    items = given(rows, np.concatenate([[MIDDLE - 90.0], READ[1:]]))
    return [Given(item.reading, item.values, item.odd, good=item.values[0]) for item in items]


def test_what_no_fault_changes_leaves_the_odds_of_the_faults_as_they_were():
    """By Bayes' rule: two faults that foretell the same of four readings keep the odds that the first one gave them.

    Samples that carry tolerances and severity together would move them by a factor of three by chance.
    """
    moved = []
    for seed in range(10):
        items = unlike(seed)
        first, all_of_them = (weights_of(Kernel(some)).mean(axis=1) for some in (items[:1], items))
        moved.append(np.log(all_of_them[1] / all_of_them[2]) - np.log(first[1] / first[2]))

    assert np.max(np.abs(moved)) < 1e-6


def test_readings_of_the_good_board_weigh_as_the_multivariate_normal_says():
    """The density of four readings that all samples foretell: within 0.6 of scipy's logarithm on average of ten sets.

    The covariance of the exact answer is that of the process, not of the samples.
    """
    covariance = WIDE**2 * np.ones((4, 4)) + (OWN**2 + 1.0) * np.eye(4)
    errors = []
    for seed in range(10):
        items = unlike(seed)[1:]
        told = [float(kernel[0, 0]) for kernel in Kernel(items).likelihoods]
        scale = [values_slope(item.reading.low) for item in items]
        exact_here = multivariate_normal(np.full(4, MIDDLE), covariance).logpdf(READ[1:]) + np.log(scale).sum()
        errors.append(np.log(told).sum() - exact_here)

    assert abs(np.mean(errors)) < 0.6


def values_slope(ohms):
    """Sigmas of the model's error for one ohm."""
    low, high = positions([ohms * 0.999, ohms * 1.001], OHMS)
    return float((high - low) / (0.002 * ohms))


def test_a_reading_in_two_halves_narrows_as_one():
    """The same reading twice with half its power each leaves the variance that it leaves once."""
    rows = [places(MIDDLE)]
    item, _, further = given(rows, READ)[:3]
    half = Given(item.reading, item.values, item.odd, power=0.5)
    place = positions(further.values, OHMS)

    once = Kernel([item]).predicted(place, np.array([True]))[1]
    twice = Kernel([half, half]).predicted(place, np.array([True]))[1]

    np.testing.assert_allclose(twice, once, rtol=1e-4, atol=1e-4)


def test_what_is_read_after_work_is_told_from_after_work():
    """The healthy board's unknown is learned from readings since the repair, not from those that the fault made."""
    a, b, c = (Check("ohms", net, "0V") for net in "abc")
    healthy = np.geomspace(50e3, 200e3, SAMPLES)
    rows = {a: np.stack([healthy, 0.5 * healthy]), b: np.stack([healthy, healthy])}
    rows[c] = np.stack([np.full(SAMPLES, 1e3), np.full(SAMPLES, 5e3)])
    table = Tables((HEALTHY, part("R1")), np.array([0.1, 0.85]), rows)

    def read(check, ohms):
        return Reading(check, ohms, ohms)

    found = posterior(table, Evidence((read(c, 5e3), read(a, 30e3), Work("replaced", part="R1"), read(a, 60e3))))
    place, _ = found.predicted(b)
    told = values_at(np.sum(found.weights(0) * place[0]), OHMS)

    assert float(told) == pytest.approx(60e3, rel=0.1)


def test_an_odd_reading_moves_nothing():
    """A reading a hundred sigmas off, that may be odd, leaves what is told of the next one as it was."""
    rows = [np.full((SAMPLES, READINGS), MIDDLE) + 0.1 * np.arange(SAMPLES)[:, None]]
    items = given(rows, READ + 5000.0)
    odd = Given(items[0].reading, items[0].values, np.array([0.01]))

    before = Kernel([]).empty
    middle, _ = Kernel([odd]).predicted(positions(items[1].values, OHMS), np.array([True]))

    assert before
    np.testing.assert_allclose(middle, positions(items[1].values, OHMS), atol=1e-6)


def test_samples_without_a_number_are_kept_apart():
    """A sample over range and one without a reading neither move nor are moved."""
    rows = [places(MIDDLE)]
    items = given(rows, READ)
    values = items[0].values.copy()
    values[0, :2] = np.inf, np.nan
    kernel = Kernel([Given(items[0].reading, values, np.array([0.01])), *items[1:]])

    place = positions(items[1].values, OHMS)
    place[0, 0] = np.inf
    middle, variance = kernel.predicted(place, np.array([True]))

    assert np.isinf(middle[0, 0])
    assert variance[0, 0] == 0.0
    assert np.all(np.isfinite(weights_of(kernel)))


def test_what_a_fault_does_not_change_moves_no_odds_though_its_few_samples_read_over_range():
    """Half of the good board's samples leak 18 Mohm, half do not; the one sample of R1 that fits reads over range.

    Both suspects foretell the same there, in one half each, so by Bayes' rule the odds stay (derived), before work and
    after it; so too with a second such reading, which hangs together with the first.
    """
    volts, leaks, again = Check("dc volts", "a", "0V"), Check("ohms", "b", "0V"), Check("ohms", "c", "0V")
    over = np.where(np.arange(16) % 2 == 0, np.inf, 18e6)
    drifts = np.linspace(5.0, 20.0, 16)  # only the first reads 5 V
    table = Tables(
        (HEALTHY, part("R1"), part("R2")),
        np.array([0.1, 0.4, 0.4]),
        {
            volts: np.stack([np.full(16, 5.2), drifts, np.full(16, 9.0)]),
            leaks: np.stack([over] * 3),
            again: np.stack([over] * 3),
        },
    )
    read = Reading(volts, 5.05, 5.05)
    shown = [Reading(check, 18e6, 18e6) for check in (leaks, again)]

    def odds(*told):
        got = posterior(table, Evidence(tuple(told))).probability
        return got[1] / got[0]

    assert odds(read, *shown[:1]) == pytest.approx(odds(read), rel=1e-6)
    assert odds(read, *shown) == pytest.approx(odds(read), rel=1e-6)
    work = (Reading(volts, 9.0, 9.0), Work("replaced", part="R2"), read)
    assert odds(*work, *shown) == pytest.approx(odds(*work), rel=1e-6)
