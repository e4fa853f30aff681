"""What good readings after work make of the healthy board, and how a part that was replaced falls."""

import numpy as np
import pytest
from hunt.tables import HEALTHY, Tables, flat, leak, part

from dustcap.hunt.cures import REPLACED
from dustcap.hunt.evidence import Complaint, Evidence, Reading, Work
from dustcap.hunt.fold import MASKED
from dustcap.hunt.posterior import posterior
from dustcap.predict.cases import unit_points
from dustcap.predict.checks import Check

PARTS = 12
CHECKS = [Check("dc volts", f"n{number}", "0V") for number in range(PARTS)]


def many_tolerances(seed):
    """Twelve nets of 5 V within 5 %, each of its own tolerance; a leak pulls down the first two, another n0 and n2."""
    u = unit_points(16, PARTS + 1, seed + 1)
    good = 5 * (1 + 0.05 * (2 * u[:, :PARTS] - 1))
    ohms = np.exp(np.log(1e3) + np.log(1e5) * u[:, PARTS])
    near, far, broken = good.copy(), good.copy(), good.copy()
    near[:, :2] /= 1 + 3e4 / ohms[:, None]
    far[:, [0, 2]] /= 1 + 2e4 / ohms[:, None]
    broken[:, 3] *= 0.3
    rows = {check: np.stack([good[:, i], near[:, i], far[:, i], broken[:, i]]) for i, check in enumerate(CHECKS)}
    suspects = (HEALTHY, leak("n0", "n1"), leak("n0", "n2"), part("R1"))
    hears = {("hum", ""): flat(0.02, 0.9, 0.9, 0.9, particles=16)}
    return Tables(suspects, np.array([0.02, 0.4, 0.4, 0.15]), rows, hears)


@pytest.mark.parametrize("seed", range(4))
def test_good_readings_of_good_parts_leave_a_cleaned_board_as_likely_as_it_was(seed):
    """Every suspect foretells the same for a net that no fault reaches, so by Bayes' rule the odds stay (derived).

    Sixteen samples of twelve tolerances: what was read before the work has to go on telling of the parts that stayed.
    """
    table, rng = many_tolerances(seed), np.random.default_rng(seed)
    true = 5 * (1 + 0.05 * rng.uniform(-1, 1, PARTS))
    sick = true / np.where(np.arange(PARTS) < 2, 1 + 3e4 / 2e4, 1.0)
    told = [Complaint("hum"), *(Reading(check, v, v) for check, v in zip(CHECKS, sick, strict=True))]
    told += [Work("cleaned", area="glue"), Complaint("hum", seen=False)]

    shares = []
    for number in range(4, PARTS):
        told.append(Reading(CHECKS[number], 1.002 * true[number], 1.002 * true[number]))
        shares.append(posterior(table, Evidence(tuple(told))).probability[0])

    assert min(shares) > 0.95


def test_each_replacement_is_good_by_itself():
    """Two replacements leave the part the square of what one leaves: derived from independent chances."""
    table = Tables((HEALTHY, part("R1"), part("R2")), np.array([0.0, 0.6, 0.37]), {CHECKS[0]: flat(5.0, 1.0, 1.0)})
    replaced = Work("replaced", part="R1")

    def stays(*works):
        return posterior(table, Evidence((Complaint("hum"), *works))).old[1].sum()

    whole = stays()
    assert stays(replaced) == pytest.approx(whole * (1 - REPLACED))
    assert stays(replaced, replaced) == pytest.approx(whole * (1 - REPLACED) ** 2)


def test_how_bad_the_first_fault_was_says_nothing_of_the_second():
    """A leak is told to one of its samples and cleaned: R2 behind it may be as bad as on any of its own."""
    first, worse = Check("ohms", "a", "b"), np.geomspace(1e3, 1e5, 16)
    rows = {first: np.stack([np.full(16, 1e6), worse, np.full(16, 1e6)])}
    table = Tables((HEALTHY, leak("a", "b"), part("R2", "drifted")), np.array([0.05, 0.6, 0.3]), rows)
    told = (Reading(first, worse[1], worse[1]), Work("cleaned", area="glue"))

    before, after = posterior(table, Evidence(told[:1])), posterior(table, Evidence(told))

    assert np.ptp(before.weights(1)) > 0.2
    np.testing.assert_allclose(after.new[2], after.new[2].mean(), rtol=1e-9)
    assert after.new[2].sum() > 0.01


def test_what_was_read_before_the_work_tells_of_a_second_fault():
    """Ohms that R1 does not change and R2 would: read as good before R1 was replaced, R2 is `MASKED` or nothing.

    By Bayes' rule its odds against the good board fall to that share (derived); those of R3, never read, stay.
    """
    volts, ohms = CHECKS[0], Check("ohms", "a", "b")
    rows = {volts: flat(0.0, 5.0, 0.0, 0.0), ohms: flat(1e3, 1e3, 9e3, 1e3)}
    table = Tables((HEALTHY, part("R1"), part("R2"), part("R3")), np.array([0.02, 0.4, 0.3, 0.2]), rows)
    work = (Work("replaced", part="R1"), Reading(volts, 0.0, 0.0))

    def odds(*before):
        got = posterior(table, Evidence((Reading(volts, 5.0, 5.0), *before, *work))).probability
        return got[2] / got[0], got[3] / got[0]

    (second, third), (read, unread) = odds(), odds(Reading(ohms, 1e3, 1e3))
    assert read / second == pytest.approx(MASKED, rel=0.1)
    assert unread / third == pytest.approx(1.0, rel=0.01)
    assert odds(Reading(ohms, 9e3, 9e3))[0] > 10.0 * second
