"""Weightings against the printed tables of their standards."""

from __future__ import annotations

import numpy as np
import pytest

from dustcap.errors import InputError
from dustcap.sound.bands import power_density
from dustcap.sound.weighting import bs468_response, gain_of, weighted_power

# IEC 61672-1:2013, Table 3: exponent n of the exact frequency 1000 * 10^(n/10), A, C, class 1 upper, class 1 lower (dB)
TABLE_3 = np.array(
    [
        (-20, -70.4, -14.3, 3.0, -np.inf), (-19, -63.4, -11.2, 2.5, -np.inf), (-18, -56.7, -8.5, 2.0, -4.0),
        (-17, -50.5, -6.2, 2.0, -2.0), (-16, -44.7, -4.4, 2.0, -1.5), (-15, -39.4, -3.0, 1.5, -1.5),
        (-14, -34.6, -2.0, 1.0, -1.0), (-13, -30.2, -1.3, 1.0, -1.0), (-12, -26.2, -0.8, 1.0, -1.0),
        (-11, -22.5, -0.5, 1.0, -1.0), (-10, -19.1, -0.3, 1.0, -1.0), (-9, -16.1, -0.2, 1.0, -1.0),
        (-8, -13.4, -0.1, 1.0, -1.0), (-7, -10.9, 0.0, 1.0, -1.0), (-6, -8.6, 0.0, 1.0, -1.0),
        (-5, -6.6, 0.0, 1.0, -1.0), (-4, -4.8, 0.0, 1.0, -1.0), (-3, -3.2, 0.0, 1.0, -1.0),
        (-2, -1.9, 0.0, 1.0, -1.0), (-1, -0.8, 0.0, 1.0, -1.0), (0, 0.0, 0.0, 0.7, -0.7),
        (1, 0.6, 0.0, 1.0, -1.0), (2, 1.0, -0.1, 1.0, -1.0), (3, 1.2, -0.2, 1.0, -1.0),
        (4, 1.3, -0.3, 1.0, -1.0), (5, 1.2, -0.5, 1.0, -1.0), (6, 1.0, -0.8, 1.0, -1.0),
        (7, 0.5, -1.3, 1.5, -1.5), (8, -0.1, -2.0, 1.5, -2.0), (9, -1.1, -3.0, 1.5, -2.5),
        (10, -2.5, -4.4, 2.0, -3.0), (11, -4.3, -6.2, 2.0, -5.0), (12, -6.6, -8.5, 2.5, -16.0),
        (13, -9.3, -11.2, 3.0, -np.inf),
    ]
)  # fmt: skip
EXACT_HZ = 1000.0 * 10.0 ** (TABLE_3[:, 0] / 10)

# ITU-R BS.468-4, Table 1 (dB re 1 kHz); the tolerance at 6.3 kHz is zero, so the table's own last digit is the bound
BS468_HZ = (31.5, 63, 100, 200, 400, 800, 1000, 2000, 3150, 4000, 5000, 6300, 7100, 8000, 9000, 10000, 12500, 14000,
            16000, 20000, 31500)  # fmt: skip
BS468_DB = (-29.9, -23.9, -19.8, -13.8, -7.8, -1.9, 0, 5.6, 9.0, 10.5, 11.7, 12.2, 12.0, 11.4, 10.1, 8.1, 0, -5.3,
            -11.7, -22.2, -42.7)  # fmt: skip


def db(factor):
    return 20 * np.log10(factor)


@pytest.mark.parametrize(("weighting", "column"), [("A", 1), ("C", 2)])
def test_the_curve_is_the_printed_table(weighting, column):
    """A and C agree with IEC 61672-1:2013 Table 3 to the printed digit at the exact frequencies."""
    off = db(gain_of(weighting, EXACT_HZ)) - TABLE_3[:, column]

    assert np.max(np.abs(off)) <= 0.05


@pytest.mark.parametrize(("weighting", "column"), [("A", 1), ("C", 2)])
@pytest.mark.parametrize("rate", [44100, 48000, 96000])
def test_a_weighted_tone_is_within_class_1(weighting, column, rate):
    """Tones measured through the spectrum keep to the class 1 limits of IEC 61672-1:2013 Table 3."""
    time = np.arange(6 * rate) / rate
    for row, hz in zip(TABLE_3, EXACT_HZ, strict=True):
        tone = np.sqrt(2) * np.sin(2 * np.pi * hz * time)

        level = 10 * np.log10(weighted_power(*power_density(tone, rate), weighting))

        assert row[4] <= level - row[column] <= row[3], hz


@pytest.mark.parametrize(
    ("hz", "a_db", "c_db"), [(50, -30.2716, -1.2999), (120, -16.7070, -0.1912), (2500, 1.2707, -0.2963)]
)
def test_the_closed_form_between_the_table_rows(hz, a_db, c_db):
    """Off the table the closed form of IEC 61672-1 Annex E holds (computed from its rounded poles by hand)."""
    assert db(gain_of("A", hz)) == pytest.approx(a_db, abs=0.001)
    assert db(gain_of("C", hz)) == pytest.approx(c_db, abs=0.001)


def test_c_is_three_db_down_at_its_corners():
    """By definition C is 10 lg 2 below its middle at 10^1.5 and 10^3.9 Hz; 1 kHz itself is 0.062 dB down (E.4.2)."""
    corners = db(gain_of("C", [10**1.5, 10**3.9])) - db(gain_of("C", np.sqrt(10**1.5 * 10**3.9)))

    assert corners == pytest.approx([-3.0103 - 0.0326] * 2, abs=0.002)


def test_the_noise_weighting_is_the_printed_table():
    """The BS.468-4 curve agrees with Table 1 of the Recommendation within the table's last digit."""
    off = db(gain_of("468", BS468_HZ)) - np.array(BS468_DB)

    assert np.max(np.abs(off)) <= 0.0505


def test_the_network_is_causal():
    """The phase is that of a passive network: the impulse response is nothing before time zero."""
    size, rate = 8192, 192000
    impulse = np.fft.irfft(bs468_response(np.fft.rfftfreq(size, 1 / rate)), size)

    assert np.max(np.abs(impulse[size // 2 :])) < 1e-3 * np.max(np.abs(impulse))


@pytest.mark.parametrize(
    # integrals of the standards' curves over 20 Hz to 20 kHz by adaptive quadrature
    ("weighting", "white_db", "pink_db"),
    [("A", -2.048, -2.859), ("C", -3.450, -1.112), ("468", 7.301, 4.666)],
)
def test_noise_of_a_known_band_is_weighted_as_the_integral_says(weighting, white_db, pink_db):
    """A density that is white or pink from 20 Hz to 20 kHz has the weighted level of the integral."""
    hz = np.arange(0, 24000, 0.25)
    inside = ((hz >= 20) & (hz <= 20000)).astype(float)
    pink = np.divide(inside, hz, where=hz > 0, out=np.zeros_like(hz))

    for density, expected in ((inside, white_db), (pink, pink_db)):
        level = 10 * np.log10(weighted_power(hz, density, weighting) / (density.sum() * hz[1]))

        assert level == pytest.approx(expected, abs=0.02)


def test_an_unknown_weighting_is_refused():
    """The sentence names the weightings there are, and a negative frequency is refused."""
    with pytest.raises(InputError, match="A, C and 468"):
        gain_of("B", 100.0)
    with pytest.raises(InputError, match="negative or not a number"):
        gain_of("A", [100.0, np.nan])
