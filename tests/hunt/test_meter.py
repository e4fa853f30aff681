"""The meter's limits against printed examples, and the likelihood's laws."""

import numpy as np
import pytest
from scipy.integrate import quad

from dustcap.errors import InputError
from dustcap.hunt.meter import (
    BENCH,
    BLUNDER,
    HANDHELD,
    SPREADS,
    MeterClass,
    Spread,
    half_width,
    likelihood,
    positions,
    spread_of,
    values_at,
)
from dustcap.predict.checks import Check

VOLTS = SPREADS["dc volts"]


def chance(values, spread, **said):
    """Likelihood of a reading for predicted values in base units."""
    return likelihood(positions(values, spread), spread, **said)


def test_limits_of_a_hundred_volts_are_those_printed():
    """1 % + 2 counts at 100.0 V: 98.8 to 101.2 V (gvda-instrument.com, DMM basic specifications; references 7.01)."""
    meter = MeterClass("printed", 0.01, 2, 6000)

    assert 100.0 - half_width(meter, VOLTS, 100.0) == pytest.approx(98.8, abs=1e-9)


def test_counts_are_those_of_the_range():
    """0.5 % + 3 counts at 12.00 V with a last digit of 10 mV: 0.09 V (references 7.05, computed)."""
    meter = MeterClass("printed", 0.005, 3, 6000)

    assert half_width(meter, VOLTS, 12.0) == pytest.approx(0.09, abs=1e-12)


@pytest.mark.parametrize(
    ("meter", "kind", "value", "half"),
    [
        (HANDHELD, "dc volts", -23.8, 0.008 * 23.8 + 3 * 0.01),
        (HANDHELD, "dc volts", 0.0, 3 * 1e-4),
        (HANDHELD, "dc volts", 0.6, 0.008 * 0.6 + 3 * 1e-4),
        (HANDHELD, "ohms", 2200.0, 0.008 * 2200 + 3 * 1.0),
        (BENCH, "ohms", 2200.0, 0.0002 * 2200 + 2 * 0.1),
    ],
)
def test_the_classes_of_the_contract_give_their_limits(meter, kind, value, half):
    """Handheld 0.8 % + 3 of 6000, bench 0.02 % + 2 of 60000, worked by hand for the range that shows the value."""
    assert half_width(meter, SPREADS[kind], value) == pytest.approx(half, rel=1e-9)


def test_a_rectangle_has_the_printed_standard_uncertainty():
    """Limits of 1.2 V have a standard uncertainty of 0.6928 V (GUM 4.3.7, a / sqrt 3; references 7.03)."""
    sharp = Spread(1e-6, 1e-5, 0.6, 0.05, 400.0, signed=True)

    def density(reading):
        return float(chance(100.0, sharp, low=reading, high=reading, half=1.2, odd=0.0))

    mass = quad(density, 98, 102, points=[98.8, 101.2], limit=200)[0]
    variance = quad(lambda r: (r - 100) ** 2 * density(r), 98, 102, points=[98.8, 101.2], limit=200)[0]

    assert mass == pytest.approx(1.0, abs=1e-4)
    assert np.sqrt(variance) == pytest.approx(0.69282, rel=1e-3)


@pytest.mark.parametrize(
    ("kind", "value"), [("dc volts", -12.0), ("ohms", 4.7e3), ("ohms", 49e6), ("ohms", 52e6), ("diode test", 0.6)]
)
def test_everything_a_meter_can_show_adds_up_to_one(kind, value):
    """Density over all values and the mass over range sum to one, within what lies beyond the broad density's top."""
    spread = SPREADS[kind]
    top = float(np.arcsinh(spread.top / spread.fine))

    def density(t):  # in t = asinh(reading / fine), where the broad density is even
        reading = spread.fine * np.sinh(t)
        return (
            float(chance(value, spread, low=reading, high=reading, half=0.01 * abs(value))) * spread.fine * np.cosh(t)
        )

    grid = np.linspace(-top if spread.signed else 0.0, 1.05 * top, 200_001)
    shown = np.trapezoid(np.array([density(t) for t in grid[::20]]), grid[::20])
    over = float(chance(value, spread, over=True))

    assert shown + over == pytest.approx(1.0, abs=0.01)


def test_no_reading_is_impossible():
    """A reading far from every prediction keeps the share of odd readings, and over range against 1 kohm too."""
    far = float(chance(5.0, VOLTS, low=-20.0, high=-20.0, half=0.2))
    broad = float(chance(np.nan, VOLTS, low=-20.0, high=-20.0, half=0.2)) / 0.1

    assert far == pytest.approx(BLUNDER * broad, rel=1e-9)
    assert float(chance(1e3, SPREADS["ohms"], over=True)) == pytest.approx(BLUNDER * 0.3, rel=1e-9)


def test_over_range_fits_what_is_beyond_the_range():
    """An open circuit and 80 Mohm read over range (above 50 Mohm); 20 Mohm does not."""
    got = chance([np.inf, 80e6, 20e6], SPREADS["ohms"], over=True)

    assert np.all(got[:2] > 0.98)
    assert got[2] < 0.01


def test_a_range_weighs_what_lies_in_it():
    """Between 4 and 6 V lies nearly all of a prediction of 5 V; half of one at 6 V."""
    got = chance([5.0, 6.0, 9.0], VOLTS, low=4.0, high=6.0, odd=0.0)

    assert got[0] == pytest.approx(1.0, abs=1e-3)
    assert got[1] == pytest.approx(0.5, abs=1e-2)
    assert got[2] < 1e-6


@pytest.mark.parametrize("kind", list(SPREADS))
def test_the_scale_goes_there_and_back_and_one_is_one_sigma(kind):
    """Values come back from their places; near any value one step is the model's sigma there (derivative)."""
    spread = SPREADS[kind]
    values = np.array([0.0, spread.floor, 0.01 * spread.top, 0.5 * spread.top])

    places = positions(values, spread)
    step = (values_at(places + 1e-6, spread) - values) / 1e-6

    np.testing.assert_allclose(values_at(places, spread), values, rtol=1e-9, atol=1e-15)
    np.testing.assert_allclose(step, np.hypot(spread.relative * values, spread.floor), rtol=1e-5)


def test_a_lifted_part_is_read_by_its_unit():
    """Lifted parts are judged as ohms, farads, junction volts or series resistance; a look has no number."""
    assert spread_of(Check("lifted", part="C9"), "F") is SPREADS["capacitance"]
    assert spread_of(Check("lifted", part="D1"), "V") is SPREADS["diode test"]
    assert spread_of(Check("lifted", part="R1"), "ohm") is SPREADS["ohms"]
    assert spread_of(Check("lifted", part="C9", word="esr"), "ohm") is SPREADS["esr"]
    with pytest.raises(InputError, match="no number"):
        spread_of(Check("look", part="C9"))
