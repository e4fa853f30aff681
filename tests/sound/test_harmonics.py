"""Harmonics against closed forms of polynomials, sent through the sweep."""

import numpy as np
import pytest
from scipy import signal
from sound.takes import high_pass, peak, played, recorded, swept

from dustcap.sound.harmonics import harmonics_of
from dustcap.sound.stimulus import LEVEL_DBFS

# y = x + a2 x^2 + a3 x^3 + a4 x^4 + a5 x^5 with x = A sin: H1 = A + 3/4 a3 A^3 + 5/8 a5 A^5, H2 = a2 A^2/2 + a4 A^4/2,
# H3 = a3 A^3/4 + 5/16 a5 A^5, H4 = a4 A^4/8, H5 = a5 A^5/16 (multiple angles). The rows below are a table of amplitudes
# for given A, computed from these and checked against FFT to 1e-12; dB below the fundamental follow from them.
# The simulation runs at 96 kHz, where orders up to 4 of a 20 kHz sweep do not fold back.
RATE = 96000
AMPLITUDE = 10 ** (LEVEL_DBFS / 20)
TABLE = [  # A, (a2, a3, a4, a5), (H1, H2, H3, H4, H5)
    (1.0, (0.01, 0.005, 0, 0), (1.00375, 0.005, 0.00125, 0, 0)),
    (0.5, (0.01, 0.005, 0, 0), (0.50046875, 0.00125, 0.00015625, 0, 0)),
    (0.5, (0.1, 0.2, 0, 0), (0.51875, 0.0125, 0.00625, 0, 0)),
    (0.8, (0.02, -0.03, 0.01, 0.004), (0.7892992, 0.008448, 0.0034304, 0.000512, 0.00008192)),
]


def distorted(amplitude, coefficients, name="full 1"):
    """The test recording as if played at `amplitude` through the polynomial, brought back to its own level."""
    x = played(name, RATE).samples * (amplitude / AMPLITUDE)
    y = x + sum(a * x ** (n + 2) for n, a in enumerate(coefficients))
    return y * (AMPLITUDE / amplitude)


def at(harmonic, hz):
    return np.interp(hz, harmonic.hz, harmonic.db_below_fundamental)


@pytest.mark.parametrize(("amplitude", "coefficients", "levels"), TABLE)
@pytest.mark.parametrize(("name", "skew_ppm"), [("full 1", 200.0), ("quick 1", 0.0)])
def test_polynomial_table_within_a_twentieth_of_a_decibel(amplitude, coefficients, levels, name, skew_ppm):
    """Every order of the table that lies above -100 dB is right within 0.05 dB at 200 Hz, 1 kHz and 3 kHz."""
    samples = recorded(distorted(amplitude, coefficients, name), rate=RATE, at_rate=RATE, skew_ppm=skew_ppm)

    found = {each.order: each for each in harmonics_of(*swept(samples, RATE)).orders}

    for order, level in enumerate(levels[1:], start=2):
        if level == 0:
            assert order not in found
            continue
        expected = 20 * np.log10(levels[0] / level)
        hz = np.array([200, 1000, 3000])
        assert at(found[order], hz) == pytest.approx(expected, abs=0.05)


def test_the_total_is_the_power_sum():
    """Total of the first row: 45.790 dB below the fundamental (THD_F 0.513463 %)."""
    samples = recorded(distorted(1.0, (0.01, 0.005, 0, 0)), rate=RATE, at_rate=RATE)

    total = harmonics_of(*swept(samples, RATE)).total

    assert at(total, 1000.0) == pytest.approx(45.7898, abs=0.05)


@pytest.mark.parametrize("name", ["full 1", "quick 1"])
def test_minus_sixty_decibels_in_a_clean_recording(name):
    """Orders 2 and 3 near -60 dB at 75 dB S/N are right within 0.3 dB over the whole valid band."""
    samples = recorded(distorted(1.0, (0.002, 0.004, 0, 0), name), rate=RATE, at_rate=48000, skew_ppm=200, noise_db=-90)
    h1 = 1.003

    orders = harmonics_of(*swept(samples)).orders

    for order, level in ((2, 0.001), (3, 0.001)):
        harmonic = next(each for each in orders if each.order == order)
        inside = ~np.isnan(harmonic.db_below_fundamental)
        error = harmonic.db_below_fundamental[inside] - 20 * np.log10(h1 / level)
        assert np.abs(error).max() < 0.3
        assert harmonic.valid[0] < 50
        assert harmonic.valid[1] == pytest.approx(18000 / order, rel=0.03)


def test_both_are_taken_as_recorded():
    """A filter behind the distortion acts on the harmonic at its own frequency: d(f) = |G(f)| H1 / (|G(n f)| Hn)."""
    sections = np.array([high_pass(60, 0.8, RATE), peak(3000, 3.0, 6.0, RATE)])
    samples = recorded(distorted(0.5, (0.1, 0.2, 0, 0)), rate=RATE, at_rate=RATE, sections=sections, noise_db=-110)

    orders = harmonics_of(*swept(samples, RATE)).orders

    for harmonic, level in zip(orders[:2], (0.0125, 0.00625), strict=True):
        hz = harmonic.hz[~np.isnan(harmonic.db_below_fundamental)]
        gain = np.abs(signal.sosfreqz(sections, np.concatenate([hz, harmonic.order * hz]), fs=RATE)[1])
        expected = 20 * np.log10(gain[: hz.size] / gain[hz.size :] * 0.51875 / level)
        assert at(harmonic, hz) == pytest.approx(expected, abs=0.15)


def test_nothing_is_shown_below_the_noise():
    """At 40 dB S/N a harmonic at -90 dB is not shown, and none of the others is invented."""
    samples = recorded(distorted(1.0, (0.00006, 0, 0, 0)), rate=RATE, at_rate=48000, noise_db=-55)

    found = harmonics_of(*swept(samples))

    assert not any(each.order > 2 for each in found.orders)
    for each in found.orders:  # order 2 only low down, where the sweep is strongest against white noise
        assert each.valid[1] < 100


def test_the_claimed_uncertainty_covers():
    """In noise 90 % or more of the points of a harmonic at -50 dB lie within what is claimed."""
    clean = recorded(distorted(1.0, (0.0063, 0, 0, 0), "quick 1"), rate=RATE, at_rate=48000)
    rng = np.random.default_rng(5)
    inside = []
    for _ in range(8):
        found = harmonics_of(*swept(clean + 10 ** (-78 / 20) * rng.standard_normal(clean.size)))
        second = found.orders[0]
        shown = ~np.isnan(second.db_below_fundamental)
        error = np.abs(second.db_below_fundamental[shown] - 20 * np.log10(1 / 0.00315))
        inside.append(np.mean(error <= second.uncertainty_db[shown] + 0.02))

    assert np.mean(inside) > 0.9


def test_a_spoiled_stretch_is_left_out():
    """Excitation frequencies named as spoiled belong to no order's valid band."""
    samples = recorded(distorted(0.5, (0.1, 0.2, 0, 0)), rate=RATE, at_rate=48000)
    sweep, rest = swept(samples)

    found = harmonics_of(sweep, rest, spoiled_hz=((150.0, 400.0),))

    for each in found.orders:
        assert each.valid[0] > 400 or each.valid[1] < 150
        assert np.isnan(each.db_below_fundamental[(each.hz > 150) & (each.hz < 400)]).all()
