"""How many ohms a leak has: bounds that hold as often as they say."""

from dataclasses import dataclass

import numpy as np
from hunt.tables import HEALTHY, Tables, leak, part
from scipy.stats import binom, qmc

from dustcap.faults.effects import LEAK_OHM
from dustcap.hunt.evidence import Evidence, Reading
from dustcap.hunt.meter import BENCH, positions, values_at
from dustcap.hunt.ohms import CLOSE, ohms_told
from dustcap.hunt.posterior import posterior
from dustcap.predict.checks import Check

TO_COMMON, ACROSS = Check("ohms", "x", "0V"), Check("ohms", "x", "rail")
R_X, R_RAIL, SPREAD = 22e3, 4.7e3, 0.05
SAMPLES = 16


def healthy(shares):
    """Ohms from x and from the rail to common, each in its own 5 %, (samples,) each."""
    return R_X * (1 + SPREAD * (2 * shares[:, 0] - 1)), R_RAIL * (1 + SPREAD * (2 * shares[:, 1] - 1))


def read(check, shares, ohms):
    """What the check reads with a leak from x to the rail: two resistors to common and one between them, by hand."""
    x, rail = healthy(shares)
    if check == TO_COMMON:
        return x * (ohms + rail) / (x + ohms + rail)
    return ohms * (x + rail) / (ohms + x + rail)


@dataclass
class Divider(Tables):
    """The two resistors; suspects are a leak between them and an open one."""

    def beside_a_leak(self, check, a, b):
        x, rail = healthy(qmc.Sobol(2, seed=9).random(256))
        through = x if check == TO_COMMON else x + rail
        return through, np.zeros(256), through, x + rail


def source():
    shares = qmc.Sobol(3, seed=4).random(SAMPLES)
    ohms = LEAK_OHM[0] * (LEAK_OHM[1] / LEAK_OHM[0]) ** shares[:, 2]
    rows = {}
    for check in (TO_COMMON, ACROSS):
        x, rail = healthy(shares)
        good = x if check == TO_COMMON else x + rail
        rows[check] = np.stack([good, read(check, shares, ohms), np.full(SAMPLES, np.inf)])
    severities = np.stack([np.full(SAMPLES, np.nan), ohms, np.full(SAMPLES, np.nan)])
    return Divider((HEALTHY, leak("x", "rail"), part("R1")), np.array([0.4, 0.3, 0.2]), rows, ohms=severities)


def told(table, rng, true, shares, checks=(TO_COMMON, ACROSS)):
    """Bounds after readings that are off as the meter's documentation and the spread of the model say."""
    entries = []
    for check in checks:
        place = positions(read(check, shares[None], true)[0], CLOSE) + rng.standard_normal()
        value = float(values_at(place, CLOSE)) * (1 + BENCH.share * rng.uniform(-1, 1))
        entries.append(Reading(check, value, value, meter=BENCH))
    evidence = Evidence(tuple(entries))
    return ohms_told(posterior(table, evidence), [1], evidence)[1][0]


def test_bounds_hold_as_often_as_they_say():
    """Nine in ten of 200 units drawn as the hunt reckons; a little more, for now and then it takes a model as poor.

    S. R. Cook, A. Gelman, D. B. Rubin, "Validation of software for Bayesian models using posterior quantiles",
    J. Comput. Graph. Stat. 15 (2006) 675: truths drawn from the prior lie in such bounds as often as these say.
    """
    table, rng = source(), np.random.default_rng(1)
    held, off = 0, []
    for _ in range(200):
        true, shares = 10.0 ** rng.uniform(3.1, 4.6), rng.random(2)
        bounds = told(table, rng, true, shares)
        held += bounds.low <= true <= bounds.high
        off.append(abs(np.log(bounds.median / true)))
    low, high = binom.ppf([0.005, 0.995], 200, [0.90, 0.95])
    assert low <= held <= high
    assert np.median(off) < 0.02


def test_bounds_are_narrower_than_those_of_few_samples():
    """Without the healthy board's samples (a table) they come out of sixteen particles."""
    table, shares = source(), np.array([0.3, 0.6])
    plain = Tables(table.suspects, table.prior, table.rows, ohms=table.ohms)
    close, wide = (told(one, np.random.default_rng(2), 9e3, shares) for one in (table, plain))
    assert np.log(close.high / close.low) < 0.7 * np.log(wide.high / wide.low)
    assert close.low < 9e3 < close.high


def test_where_no_reading_of_ohms_was_taken_the_particles_stand():
    """And where a twin corrects what is foretold."""
    table = source()
    nothing = Evidence(())
    assert ohms_told(posterior(table, nothing), [1], nothing) == ohms_told(posterior(table, nothing), [1])
    value = float(read(TO_COMMON, np.array([[0.5, 0.5]]), 9e3)[0])
    entry = Reading(TO_COMMON, value, value)
    twin = Evidence((entry,), twin=(entry,))
    assert ohms_told(posterior(table, twin), [1], twin) == ohms_told(posterior(table, twin), [1])
