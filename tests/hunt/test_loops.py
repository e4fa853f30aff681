"""The hunt with its compiled loops says what it says with numpy alone."""

import numpy as np
from hunt.tables import HEALTHY, Tables, part
from ways import WAYS, way

from dustcap.hunt.actions import group_by_action
from dustcap.hunt.entropy import information
from dustcap.hunt.evidence import Evidence, Reading
from dustcap.hunt.outcomes import cloud_of
from dustcap.hunt.posterior import posterior
from dustcap.hunt.telling import careful_bits, quick_bits
from dustcap.predict.checks import Check

SUSPECTS, SAMPLES, CHECKS = 14, 12, 9


def board(seed):
    """Suspects of which each changes some of the checks; some are over range, some cannot be read."""
    rng = np.random.default_rng(seed)
    checks = [Check("ohms", f"n{i}", "0V") for i in range(CHECKS)]
    good = 10.0 ** rng.uniform(2, 5, CHECKS)[:, None] * rng.lognormal(0.0, 0.03, (CHECKS, SAMPLES))
    rows = {}
    for i, check in enumerate(checks):
        values = np.repeat(good[i][None], SUSPECTS, axis=0)
        changed = rng.random(SUSPECTS) < 0.4
        changed[0] = False
        values[changed] *= 10.0 ** rng.uniform(-1, 1, (SUSPECTS, 1))[changed] * rng.lognormal(0, 0.1, (1, SAMPLES))
        values[rng.random(SUSPECTS) < 0.05] = np.inf
        values[rng.random(SUSPECTS) < 0.05, ::3] = np.nan
        rows[check] = values
    suspects = (HEALTHY, *(part(f"R{i}") for i in range(SUSPECTS - 1)))
    return Tables(suspects, rng.dirichlet(np.ones(SUSPECTS)), rows), checks


def test_both_ways_say_the_same():
    """What is foretold after no readings, one or two, and the bits of every check, to rounding."""
    most = []
    for seed in range(6):
        table, checks = board(seed)
        truth = [float(table.rows[check][5, 3]) for check in checks[: seed % 3]]
        entries = [Reading(c, v, v) for c, v in zip(checks, truth, strict=False) if np.isfinite(v)]
        found = {}
        for how in WAYS:
            with way(how):
                after = posterior(table, Evidence(tuple(entries)))
                cloud = cloud_of(after, group_by_action(table.suspects), 200)
                foretold = [np.stack(after.predicted(check)) for check in checks]
                quick = quick_bits(cloud, after, {})
                found[how] = (*foretold, np.array([quick[c] for c in checks]), careful_bits(cloud, after, checks, {}))
        for compiled, numpy in zip(*(found[how] for how in WAYS), strict=True):
            np.testing.assert_allclose(compiled, numpy, rtol=1e-9, atol=1e-6)  # bits: places have 24 digits
        most.append(max(found["numpy"][-1]))
    assert max(most) > 0.5


def test_information_is_the_same_with_empty_groups_and_outcomes():
    """Tables of which some have rows, columns or everything at nothing."""
    rng = np.random.default_rng(3)
    joint = rng.random((20, 6, 9)) * (rng.random((20, 6, 9)) < 0.3)
    joint[3], joint[4, :, 2:], joint[5, 1:] = 0.0, 0.0, 0.0
    found = []
    for how in WAYS:
        with way(how):
            found.append(information(joint))
    np.testing.assert_allclose(*found, atol=1e-12)
    assert found[0][3] == 0.0
