"""The posterior against Bayes' rule by quadrature, and what work and doubt do to it."""

import numpy as np
import pytest
from hunt.tables import HEALTHY, Tables, flat, leak, part
from scipy.integrate import quad
from scipy.stats import norm, qmc

from dustcap.errors import EvidenceError, InputError
from dustcap.hunt.evidence import Complaint, Evidence, Reading, Sighting, Work
from dustcap.hunt.fold import HIDDEN_SECOND, NO_COMPLAINT, NOTHING_FOUND
from dustcap.hunt.likelihoods import blur
from dustcap.hunt.meter import MeterClass, half_width, likelihood, positions, spread_of
from dustcap.hunt.posterior import posterior
from dustcap.predict.checks import Check

A, B, C = (Check("dc volts", net, "0V") for net in ("a", "b", "c"))


def volts(check, value, **more):
    return Reading(check, value, value, **more)


def test_correlated_readings_agree_with_bayes_by_quadrature():
    """Two readings that share one tolerance: odds of the suspects equal the ratio of one-dimensional integrals.

    The reference is scipy's adaptive quadrature over the shared tolerance, of the product of both likelihoods; a
    histogram kept for each reading would make the odds one, as both suspects have the same. Within a tenth: the blur.
    """
    draws = norm(0, 0.05).ppf(qmc.Sobol(1, seed=1).random(2048)[:, 0])
    same, opposed = np.stack([5 * (1 + draws), 5 * (1 + draws)]), np.stack([5 * (1 + draws), 5 * (1 - draws)])
    rows = {A: np.stack([np.zeros(2048), same[0], opposed[0]]), B: np.stack([np.zeros(2048), same[1], opposed[1]])}
    table = Tables((HEALTHY, part("R1"), part("R2")), np.array([0.1, 0.4, 0.4]), rows)
    spread, half = spread_of(A), half_width(MeterClass("handheld", 0.008, 3, 6000), spread_of(A), 5.2)

    def evidence(sign):
        def both(t):
            one = likelihood(positions(5 * (1 + t), spread), spread, low=5.2, high=5.2, half=half)
            two = likelihood(positions(5 * (1 + sign * t), spread), spread, low=5.2, high=5.2, half=half)
            return float(one) * float(two) * norm.pdf(t, 0, 0.05)

        return quad(both, -0.4, 0.4, points=[-0.08, 0.08], limit=200)[0]

    got = posterior(table, Evidence((volts(A, 5.2), volts(B, 5.2)))).probability

    assert got[1] / got[2] == pytest.approx(evidence(1) / evidence(-1), rel=0.1)
    assert evidence(1) / evidence(-1) > 20.0


def simple(prior=(0.05, 0.5, 0.3), unexplained=0.15):
    """Healthy 0 V everywhere; R1 open: 5 V at a; R2 open: 5 V at b."""
    assert sum(prior) + unexplained == pytest.approx(1.0)
    rows = {A: flat(0.0, 5.0, 0.0), B: flat(0.0, 0.0, 5.0), C: flat(1.0, 1.0, 1.0)}
    hears = {("hum", ""): flat(0.02, 0.95, 0.95)}
    sees = {("R1", "scorched"): np.array([0.01, 0.3, 0.01])}
    return Tables((HEALTHY, part("R1"), part("R2")), np.array(prior), rows, hears, sees)


def test_a_reading_singles_out_its_suspect():
    """5 V at a speaks for R1 and against R2 and the healthy board."""
    got = posterior(simple(), Evidence((volts(A, 5.0),)))

    assert got.probability[1] > 0.95
    assert got.probability.sum() + got.unexplained == pytest.approx(1.0, abs=1e-12)


def test_a_reading_that_nobody_explains_raises_what_is_not_in_the_model():
    """12 V where 0, 1 or 5 V are possible makes "not in the model" the likeliest."""
    before = posterior(simple(), Evidence(())).unexplained
    after = posterior(simple(), Evidence((volts(C, 12.0), volts(A, -7.0)))).unexplained

    assert after > 0.9 > before


def test_one_odd_reading_does_not_rule_out_the_truth():
    """Three readings that fit R1 outweigh one that nothing explains."""
    other = Check("dc volts", "d", "0V")
    table = simple()
    table.rows = {**table.rows, other: flat(2.0, 6.0, 2.0)}
    readings = (volts(A, 5.0), volts(other, 6.0), volts(B, 0.0), volts(C, 9.0))

    got = posterior(table, Evidence(readings))

    assert np.argmax(got.probability) == 1
    assert got.probability[1] > 0.4


def test_the_healthy_board_is_held_down_before_work():
    """With a complaint the prior of the healthy board is one in a hundred, without any one in five at most."""
    table = simple(prior=(0.6, 0.2, 0.1), unexplained=0.1)
    told = posterior(table, Evidence((Complaint("rattle"),))).probability
    silent = posterior(table, Evidence(())).probability

    assert silent[0] == pytest.approx(NO_COMPLAINT, rel=1e-9)
    assert told[0] < 1.2 * NOTHING_FOUND


def test_complaints_and_sightings_multiply_the_odds_by_their_likelihoods():
    """Hum seen or absent and a scorched R1 change the odds of R1 to R2 by the tables' ratios (Bayes' rule)."""
    start = 0.5 / 0.3
    hum = posterior(simple(), Evidence((Complaint("hum"),))).probability
    scorched = posterior(simple(), Evidence((Sighting("R1", "scorched"),))).probability
    absent = posterior(simple(), Evidence((Complaint("hum", seen=False),))).probability

    assert hum[1] / hum[2] == pytest.approx(start, rel=1e-9)
    assert scorched[1] / scorched[2] == pytest.approx(start * 30, rel=1e-9)
    assert absent[1] / absent[0] == pytest.approx((0.05 * 0.5 / 0.05) / 0.98, rel=1e-6)


def test_a_withdrawn_reading_says_nothing():
    """The posterior with a withdrawn reading is that without it, digit for digit."""
    got = posterior(simple(), Evidence((volts(A, 5.0, withdrawn=True), volts(B, 0.0))))

    assert np.array_equal(got.mass, posterior(simple(), Evidence((volts(B, 0.0),))).mass)


def test_a_doubtful_reading_says_less():
    """A doubtful reading moves the odds the same way, but less."""
    sure = posterior(simple(), Evidence((volts(A, 5.0),))).probability
    doubtful = posterior(simple(), Evidence((volts(A, 5.0, doubtful=True),))).probability

    assert simple().prior[1] < doubtful[1] < sure[1]


def test_a_check_made_twice_counts_once():
    """Repeating the same reading, leads swapped or not, changes nothing: meter and model error are the same."""
    pair = Check("ohms", "a", "b"), Check("ohms", "b", "a")
    rows = dict.fromkeys(pair, flat(1000.0, 1020.0, 990.0))
    table = Tables((HEALTHY, part("R1"), part("R2")), np.array([0.1, 0.5, 0.4]), rows)

    once = posterior(table, Evidence((volts(pair[0], 1010.0),)))
    twice = posterior(table, Evidence((volts(pair[0], 1010.0), volts(pair[1], 1010.0))))

    np.testing.assert_allclose(twice.mass, once.mass, rtol=1e-9)


def test_replacing_the_part_leaves_a_healthy_board():
    """R1 found, replaced, and the reading gone: healthy is likely and R1 is not."""
    entries = (Complaint("hum"), volts(A, 5.0), Work("replaced", part="R1"), volts(A, 0.0))

    got = posterior(simple(), Evidence(entries))

    assert got.probability[0] > 0.85
    assert got.probability[1] < 0.01


def test_readings_before_work_speak_of_the_old_board():
    """The old reading does not speak against the healthy board that is there now."""
    with_old = posterior(simple(), Evidence((volts(A, 5.0), Work("replaced", part="R1"))))
    after_replacing_the_wrong_one = posterior(simple(), Evidence((volts(A, 5.0), Work("replaced", part="R2"))))

    assert with_old.probability[0] > 0.85
    assert after_replacing_the_wrong_one.probability[1] > 0.9


def test_a_fault_that_stays_after_its_part_was_replaced_is_still_suspected():
    """Replaced and the reading is as before: the new part or its joint is bad, or it was something else."""
    entries = (volts(A, 5.0), Work("replaced", part="R1"), volts(A, 5.0))

    got = posterior(simple(), Evidence(entries))

    assert got.probability[1] > 0.4
    assert got.probability[0] < 0.05


def test_a_part_that_was_replaced_twice_falls_twice():
    """R1 replaced, still 5 V at a, replaced again: a fresh part is as surely good as the first one was."""
    once = (volts(A, 5.0), Work("replaced", part="R1"), volts(A, 5.0))
    first = posterior(simple(), Evidence(once[:2])).probability[1]
    again = posterior(simple(), Evidence((*once, Work("replaced", part="R1")))).probability[1]

    assert first < 0.05
    assert again < 0.05


def test_cleaning_done_again_helps_less():
    """The second cleaning moves 0.54 of the mass that is left, the first 0.9."""
    table = Tables((HEALTHY, leak("a", "b")), np.array([0.05, 0.9]), {A: flat(0.0, 5.0)})
    cleaned = Work("cleaned", area="glue")
    once = (volts(A, 5.0), cleaned, volts(A, 5.0))

    assert posterior(table, Evidence(once[:2])).probability[1] < 0.15
    assert posterior(table, Evidence((*once, cleaned))).probability[1] > 0.4


def test_a_second_fault_behind_the_first_is_found():
    """R1 cured, and now b reads 5 V: R2 was hidden behind it, and the old reading is not held against it."""
    entries = (volts(A, 5.0), volts(B, 0.0), Work("replaced", part="R1"), volts(A, 0.0), volts(B, 5.0))

    got = posterior(simple(), Evidence(entries))

    assert got.probability[2] > 0.8
    assert 0 < HIDDEN_SECOND < 0.2


def test_a_joint_fault_that_loses_one_part_becomes_the_other():
    """R1 and R2 both open, R1 replaced: what is left is R2."""
    both = part("R1").faults + part("R2").faults
    rows = {A: flat(0.0, 5.0, 0.0, 5.0), B: flat(0.0, 0.0, 5.0, 5.0)}
    table = Tables((HEALTHY, part("R1"), part("R2"), type(HEALTHY)(both)), np.array([0.1, 0.4, 0.4, 0.05]), rows)

    before = posterior(table, Evidence((volts(A, 5.0), volts(B, 5.0))))
    after = posterior(table, Evidence((volts(A, 5.0), volts(B, 5.0), Work("replaced", part="R1"))))

    assert before.probability[3] > 0.9
    assert after.probability[2] > 0.8


def test_cleaning_takes_the_leaks_of_its_area_only():
    """A leak in the cleaned area goes, one elsewhere stays; cleaning between two nets takes that pair."""
    rows = {A: flat(0.0, 5.0, 5.0)}
    table = Tables((HEALTHY, leak("a", "b", "glue"), leak("c", "d", "rust")), np.array([0.1, 0.4, 0.4]), rows)

    area = posterior(table, Evidence((volts(A, 5.0), Work("cleaned", area="glue")))).probability
    pair = posterior(table, Evidence((volts(A, 5.0), Work("cleaned", between=("d", "c"))))).probability

    assert area[1] < 0.15 * area[2]
    assert pair[2] < 0.15 * pair[1]


def test_a_removed_part_reads_as_open_afterwards():
    """With R1 out, 5 V at a is what the board without R1 gives, and no longer speaks of a fault."""
    entries = (Work("removed", part="R1"), volts(A, 5.0))

    got = posterior(simple(prior=(0.05, 0.3, 0.6), unexplained=0.05), Evidence(entries))
    put_back = posterior(simple(), Evidence((Work("removed", part="R1"), Work("replaced", part="R1"), volts(A, 0.0))))

    assert got.probability[0] > 0.2
    assert put_back.probability[0] > 0.5


def test_a_sample_beside_the_reading_is_blurred_to_it():
    """A leak sampled at few severities is not ruled out by a reading between two samples."""
    ohms = 1e3 * 1e5 ** ((np.arange(16) + 0.5) / 16)
    rows = {Check("ohms", "a", "b"): np.stack([np.full(16, 47e3), 1 / (1 / 47e3 + 1 / ohms)])}
    table = Tables((HEALTHY, leak("a", "b")), np.array([0.3, 0.65]), rows)

    got = posterior(table, Evidence((volts(Check("ohms", "a", "b"), 9.0e3),)))

    assert got.probability[1] > 0.9


def test_blur_is_the_distance_to_the_kth_neighbour():
    """32 samples in steps of 2: the eighth by rank is 8 away inside, 16 at the ends; few samples take their range."""
    ladder = np.arange(32) * 2.0

    inside = blur(ladder[None])[0]
    few = blur(np.array([[0.0, 2.0, 4.0, 6.0, np.inf, np.nan] * 4]))[0]

    assert round(32**0.6) == 8
    assert np.array_equal(inside[4:28], np.full(24, 8.0))
    assert (inside[0], inside[-1]) == (16.0, 16.0)
    assert np.array_equal(few[4:6], [0.0, 0.0])
    assert np.all(few[:4] <= 6.0)


def test_two_clusters_are_not_blurred_into_each_other():
    """Samples at 0 and at 24 V, an amplifier that latches either way, keep clear of the gap."""
    values = np.concatenate([np.linspace(-0.1, 0.1, 32), np.linspace(23.9, 24.1, 32)])

    assert blur(values[None]).max() < 0.2


def test_where_no_reading_can_be_taken_a_reading_speaks_against():
    """A suspect that blows the fuse allows no volts; a reading of 5 V lowers it far, but not to nothing."""
    rows = {A: np.array([[0.0] * 4, [5.0] * 4, [np.nan] * 4])}
    table = Tables((HEALTHY, part("R1"), part("F1", "short")), np.array([0.1, 0.3, 0.5]), rows)

    got = posterior(table, Evidence((volts(A, 5.0),))).probability

    assert 0 < got[2] < 0.02 * got[1]


class Renewable(Tables):
    """Particles near a value on demand."""

    calls = 0

    def renewed(self, which, weights, rng):
        type(self).calls += 1
        assert which == [1]
        assert np.allclose(weights.sum(axis=1), 1.0)
        rows = {A: self.rows[A].copy()}
        rows[A][1] = np.linspace(6.9, 7.5, self.particles)
        fresh = Renewable(self.suspects, self.prior, rows)
        fresh.shares = np.ones((3, self.particles))
        return fresh


def test_particles_that_run_out_are_drawn_anew():
    """One particle in five left at the reading: new ones are asked for, once."""
    grid = np.concatenate([np.linspace(7.1, 7.3, 13), np.linspace(30.0, 50.0, 51)])
    table = Renewable(
        (HEALTHY, part("R1"), part("R2")), np.array([0.1, 0.5, 0.3]), {A: np.stack([0 * grid, grid, 0 * grid])}
    )

    plain = posterior(table, Evidence((volts(A, 7.2),)))
    fresh = posterior(table, Evidence((volts(A, 7.2),)), np.random.default_rng(1))

    assert Renewable.calls == 1
    assert plain.effective()[1] < 0.3 < fresh.effective()[1]


def test_a_renewed_suspect_weighs_the_mean_of_both_counts():
    """The odds of R1 to R2 are the mean of the odds by the first particles and by the new ones alone."""
    grid = np.concatenate([np.linspace(7.1, 7.3, 13), np.linspace(30.0, 50.0, 51)])
    rows = {A: np.stack([0 * grid, grid, 0 * grid + 6.0])}
    table, evidence = (
        Renewable((HEALTHY, part("R1"), part("R2")), np.array([0.1, 0.5, 0.3]), rows),
        Evidence((volts(A, 7.2),)),
    )
    fresh = table.renewed([1], np.full((3, 64), 1 / 64), np.random.default_rng(1))

    def odds(found):
        return found.probability[1] / found.probability[2]

    both = odds(posterior(table, evidence, np.random.default_rng(1)))

    assert odds(posterior(table, evidence)) < 0.5 * odds(posterior(fresh, evidence))
    assert both == pytest.approx(0.5 * (odds(posterior(table, evidence)) + odds(posterior(fresh, evidence))), rel=1e-9)


def test_impossible_priors_and_suspects_are_refused():
    """Priors above one and suspects without any mass are refused in words."""
    with pytest.raises(InputError, match="not probabilities"):
        posterior(Tables((HEALTHY, part("R1")), np.array([0.5, 0.9]), {A: flat(0.0, 1.0)}), Evidence(()))
    with pytest.raises((InputError, EvidenceError), match=r"not probabilities|possible"):
        posterior(Tables((HEALTHY, part("R1")), np.array([0.0, 0.0]), {A: flat(0.0, 1.0)}), Evidence(()))
