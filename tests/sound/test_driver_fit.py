"""Parameters from curves: exact curves, noisy recordings, tables, and what has no resonance."""

from dataclasses import replace

import numpy as np
import pytest
from sound.drivers import A, box_load, recorded, speaker, sweep

from dustcap.errors import InputError, SolveError
from dustcap.sound.driver_figures import by_added_mass, by_test_box, cone_area, one_resonance
from dustcap.sound.impedance import impedance_from_table, impedance_of

HZ = np.geomspace(8, 16000, 240)


def table(driver, load=None):
    """A noiseless curve of a driver."""
    return impedance_from_table(HZ, driver.impedance(HZ, 0.0 if load is None else load(HZ)))


# Complete sets of makers' data sheets: Re, fs, Qms, Qes, Mms in kg, Sd in m2; and Bl, Cms, Vas, Rms as printed
SETS = [
    (6.0, 29, 4.91, 0.37, 0.062, 0.0340, 13.5, 0.48e-3, 78e-3, 2.3),
    (3.5, 28, 5.04, 0.33, 0.063, 0.0340, 10.8, 0.51e-3, 84e-3, 2.2),
    (5.7, 33, 4.9, 0.4, 0.0118, 0.0118, 5.9, 1.97e-3, 39e-3, 0.5),
    (5.8, 38, 2.46, 0.4, 0.0175, 0.0132, 7.8, None, 25e-3, None),
    (6.05, 44.75, 2.74, 0.55, 0.0115, 0.0141, 5.98, 1.1014e-3, 30.77e-3, None),
]


@pytest.mark.parametrize(("re", "fs", "qms", "qes", "mms", "sd", "bl", "cms", "vas", "rms"), SETS)
def test_the_makers_figures_come_back_from_the_curve(re, fs, qms, qes, mms, sd, bl, cms, vas, rms):
    """Added mass gives the sheet's mass, compliance, force factor and volume within the sheet's own rounding."""
    driver = speaker(re, fs, qms, qes, mms=mms, sd=sd, coil="shunted")
    heavy = replace(driver, mms=mms + 0.01)

    free = one_resonance(table(driver))
    moving = by_added_mass(free, one_resonance(table(heavy)), 0.01, sd)

    assert (free.re.value, free.f0.value) == pytest.approx((re, fs), rel=1e-3)
    assert (free.qm.value, free.qe.value) == pytest.approx((qms, qes), rel=2e-3)
    assert moving.mms.value == pytest.approx(mms, rel=5e-3)
    assert moving.bl.value == pytest.approx(bl, rel=0.01)
    assert moving.vas.value == pytest.approx(vas, rel=0.025)  # rho c^2 of 140 to 142 kPa, Mms of three digits
    if cms is not None:
        assert moving.cms.value == pytest.approx(cms, rel=0.015)
    if rms is not None:
        assert moving.rms.value == pytest.approx(rms, rel=0.03)


@pytest.mark.parametrize(("litres", "alpha", "fc", "qmc", "qec"), [
    (10, 3.077, 90.3573, 5.53249, 1.11054),
    (15, 2.051333, 78.1696, 4.78625, 0.960744),
    (30.77, 1.0, 63.2861, 3.87495, 0.777817),
])  # fmt: skip
def test_a_closed_box_moves_the_resonance_and_gives_the_compliance(litres, alpha, fc, qmc, qec):
    """f_C, the Qs and V_AS follow the closed-box relations (Small 1972)."""
    driver = speaker(**A, coil="power law")
    volume = driver.vas / alpha
    free = one_resonance(table(driver))

    boxed = one_resonance(table(driver, lambda hz: box_load(hz, volume)), closed=True)
    moving, vas = by_test_box(free, boxed, volume, driver.sd)

    assert boxed.leaky is None
    assert (boxed.f0.value, boxed.qm.value, boxed.qe.value) == pytest.approx((fc, qmc, qec), rel=2e-3)
    assert vas.value == pytest.approx(driver.vas, rel=5e-3)
    assert moving.mms.value == pytest.approx(0.0115, rel=5e-3)


def test_a_leak_in_a_closed_box_is_seen():
    """A closed box with Q_L of 4 is fitted with its leak."""
    driver = speaker(**A, coil="power law")
    volume = driver.vas / 2

    boxed = one_resonance(table(driver, lambda hz: box_load(hz, volume, ql=4.0, qb_hz=44.75 * np.sqrt(3))), closed=True)

    assert boxed.leaky is not None
    assert 1 / boxed.leaky["inv_ql"] == pytest.approx(4.0, rel=0.05)


@pytest.mark.parametrize("coil", ["inductor", "power law", "shunted", "shunted half power", "two powers"])
def test_a_recording_at_40_db_gives_the_parameters_within_one_per_cent(coil):
    """Every published law of the coil: one per cent in each parameter, and the 95 % ranges are not absurdly wide."""
    curve = impedance_of(*recorded(speaker(**A, coil=coil).impedance, sweep(6.0), seed=3), 48000, 10.0)

    found = one_resonance(curve)

    got = {"re": found.re, "fs": found.f0, "qms": found.qm, "qes": found.qe}
    assert {name: one.value for name, one in got.items()} == pytest.approx(A, rel=0.01)
    assert all(one.high / one.low < 1.02 for one in got.values())


def test_ranges_hold_the_truth_as_often_as_they_say():
    """Of 95 % ranges of seeded noisy curves, no fewer than a fair chance allows hold the truth (binomial, 3 sigma)."""
    rng = np.random.default_rng(11)
    held = tried = 0
    for _ in range(16):
        true = {
            "re": rng.uniform(3, 8),
            "fs": rng.uniform(25, 120),
            "qms": rng.uniform(2, 8),
            "qes": rng.uniform(0.3, 1),
        }
        driver = speaker(**true, coil="power law")
        ohm = driver.impedance(HZ)
        noisy = ohm * (1 + 0.01 * (rng.standard_normal(HZ.size) + 1j * rng.standard_normal(HZ.size)) / np.sqrt(2))

        found = one_resonance(impedance_from_table(HZ, noisy))

        for name, one in (("re", found.re), ("fs", found.f0), ("qms", found.qm), ("qes", found.qe)):
            held += one.low <= true[name] <= one.high
            tried += 1
    assert tried == 64
    assert held >= 0.95 * tried - 3 * np.sqrt(tried * 0.95 * 0.05)


def test_what_does_not_move_is_refused():
    """A blocked coil has no resonance, a mass that does nothing gives no mass."""
    driver = speaker(**A, coil="power law")
    free = one_resonance(table(driver))

    with pytest.raises(SolveError, match="no resonance"):
        one_resonance(impedance_from_table(HZ, 6.05 + driver.blocked(HZ)))
    with pytest.raises(SolveError, match="did not fall"):
        by_added_mass(free, free, 0.01)
    with pytest.raises(SolveError, match="did not rise"):
        by_test_box(free, free, 0.01, None)
    with pytest.raises(InputError, match="above zero"):
        by_added_mass(free, free, 0.0)


def test_the_cones_area_is_that_of_a_circle():
    """134 mm between the middles of the surround are 141 square centimetres."""
    assert cone_area(0.134) == pytest.approx(0.0141, rel=2e-3)
