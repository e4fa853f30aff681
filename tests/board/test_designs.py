"""Design equations of the library's blocks: published values, and the answers plugged back into the physics."""

from math import log10, sqrt

import eseries
import pytest
from scipy.integrate import solve_ivp

from dustcap.board.library.designs import DESIGNS


def _design(name, **settings):
    return DESIGNS[name]({"round_to": "exact", **settings})


# Handbook of check values, cases 5.40, 5.38 and 5.39: with 10 nF and 2 kHz each low-pass resistor is 5626.98 ohm; the
# high-pass with 5627 and 11254 ohm has its corner at 2000 Hz and a Q of 0.70711.
def test_a_low_pass_section_has_the_handbooks_resistors():
    """Two sections of it make a Linkwitz-Riley band."""
    got = _design("low-pass section", frequency=2000.0, capacitor=10e-9)

    assert got["section_ohm"] == pytest.approx(5626.98, abs=0.005)


def test_a_high_pass_section_has_the_handbooks_resistors():
    """The resistor to common is twice the one from the output."""
    got = _design("high-pass section", frequency=2000.0, capacitor=10e-9)

    assert (got["feedback_ohm"], got["ground_ohm"]) == (pytest.approx(5627, abs=0.5), pytest.approx(11254, abs=0.5))


@pytest.mark.parametrize("series", ["E12", "E24", "E96"])
def test_values_are_rounded_to_the_series_that_is_asked_for(series):
    """The rounded value stands in the series as the package eseries lists it, next to the exact one."""
    settings = {"frequency": 1730.0, "capacitor": 10e-9}
    exact = _design("low-pass section", **settings)["section_ohm"]

    got = DESIGNS["low-pass section"]({"round_to": series, **settings})["section_ohm"]

    key = eseries.ESeries[series]
    assert got == pytest.approx(eseries.find_nearest(key, exact), rel=1e-9)


def test_a_zener_keeps_its_current():
    """Load and zener current together flow in the resistor (plugged back)."""
    ohm = _design("zener rails", raw_volts=27.0, volts=15.0, load=0.02, zener_current=0.008)["series_ohm"]

    assert (27 - 15) / ohm == pytest.approx(0.028)


def test_a_zener_above_its_raw_rail_is_refused():
    """There is nothing left for the resistor."""
    with pytest.raises(ValueError, match="not above the zener's volts"):
        _design("zener rails", raw_volts=12.0, volts=15.0, load=0.02, zener_current=0.008)


def _time_to(reached, slope):
    """When a charging capacitor passes a level, by integrating its equation (scipy)."""

    def event(_, state):
        return state[0] - reached

    event.terminal = True
    answer = solve_ivp(slope, (0, 50), [0.0], events=event, rtol=1e-9, atol=1e-12)
    return answer.t_events[0][0]


def test_a_mute_lets_go_after_its_delay():
    """The capacitor charged by the rail reaches 0.5 mA in the pin's branch when the delay is over."""
    settings = {"mute_resistor": 8200.0, "raw_volts": 27.0, "mute_current": 0.5e-3, "delay": 0.5}
    farad = _design("mute delay", **settings)["mute_farad"]

    def slope(_, state):
        return [((27 - state[0]) / 8200 - state[0] / 9200) / farad]

    assert _time_to(0.5e-3 * 9200, slope) == pytest.approx(0.5, rel=1e-6)


def test_a_relay_pulls_in_after_its_delay():
    """The capacitor reaches the zener's volts and one junction when the delay is over."""
    settings = {"delay_resistor": 22e3, "raw_volts": 27.0, "zener_volts": 12.0, "delay": 1.5}
    farad = _design("relay delay", **settings)["delay_farad"]

    assert _time_to(12.65, lambda _, state: [(27 - state[0]) / (22e3 * farad)]) == pytest.approx(1.5, rel=1e-6)


@pytest.mark.parametrize(
    ("name", "settings"),
    [
        ("mute delay", {"mute_resistor": 47e3, "raw_volts": 27.0, "mute_current": 0.5e-3, "delay": 0.5}),
        ("relay delay", {"delay_resistor": 22e3, "raw_volts": 13.0, "zener_volts": 12.0, "delay": 1.5}),
    ],
)
def test_a_delay_that_never_ends_is_refused(name, settings):
    """A rail that does not carry the current, or not the volts, is told."""
    with pytest.raises(ValueError, match="never ends safely"):
        _design(name, **settings)


def test_a_supply_that_overstrains_its_capacitors_is_refused():
    """18 V r.m.s. is 28.0 V peak at mains +10 % (handbook, case 4.14: 27.2 V behind a drop of 0.8 V)."""
    with pytest.raises(ValueError, match=r"28\.0 V at mains"):
        _design("split supply", volts=18.0, regulation=0.0, rating=25.0)
    assert _design("split supply", volts=18.0, regulation=0.0, rating=35.0) == {}


def test_a_treble_lift_ends_where_it_should():
    """Full lift far above, half of it in dB at the middle of the slope (the shelf is symmetrical there)."""
    got = _design("high-frequency trim", frequency=4000.0, lift=6.0, feedback_resistor=4700.0)

    def lift_db(hz):
        branch = got["ground_ohm"] + 1 / (2j * 3.141592653589793 * hz * got["lift_farad"])
        return 20 * log10(abs(1 + 4700 / branch))

    assert lift_db(4e7) == pytest.approx(6.0, abs=1e-4)
    assert lift_db(4000.0) == pytest.approx(3.0, abs=1e-9)
    assert lift_db(4.0) == pytest.approx(0.0, abs=1e-4)


def test_a_lift_of_nothing_is_refused():
    """0 dB has no ground branch."""
    with pytest.raises(ValueError, match="above 0 dB"):
        _design("high-frequency trim", frequency=4000.0, lift=0.0, feedback_resistor=4700.0)


def test_a_detector_of_direct_voltage_has_its_corner():
    """The reactance of the capacitor equals the resistor at the corner (plugged back)."""
    farad = _design("direct voltage detection", frequency=0.5, sense_resistor=47e3)["sense_farad"]

    assert abs(1 / (1 + 2j * 3.141592653589793 * 0.5 * 47e3 * farad)) == pytest.approx(1 / sqrt(2))


def test_a_limiters_level_is_zener_and_junction():
    """5.75 V needs zeners of 5.1 V; a level below one junction is refused."""
    assert _design("limiter", level=5.75)["zener_volts"] == pytest.approx(5.1)
    with pytest.raises(ValueError, match="below one forward drop"):
        _design("limiter", level=0.5)


def test_a_difference_stage_has_its_gain_in_both_halves():
    """Feedback over input resistor is the gain."""
    assert _design("difference stage", input_resistor=10e3, gain=2.2)["ratio_ohm"] == pytest.approx(22e3)
