"""The leak map of a board that can be worked out by hand, the closed form against the bracketed root."""

from functools import cache

import numpy as np
import pytest
from predict.small import TEXT, small_board

from dustcap.board.circuit import leak_name, to_circuit
from dustcap.board.read import parse_board
from dustcap.circuit.operating import operating_point
from dustcap.circuit.poles import oscillates
from dustcap.errors import InputError
from dustcap.predict import leak_search
from dustcap.predict.leak_limits import growth
from dustcap.predict.leak_map import leak_map, leak_pairs
from dustcap.predict.leak_search import critical_siemens, summit


@cache
def whole():
    return {pair.nets: pair for pair in leak_map(small_board())}


def critical(pair, what):
    (found,) = [each for each in whole()[pair].limits if each.limit.what == what]
    return found


def test_a_leak_into_the_feedback_net_pushes_the_cone():
    """Derived: all of 12 V / R flows through the 22 k from the output: 50 mV at R = 12 V x 22 k / 50 mV = 5.28 Mohm."""
    found = critical(("fb", "plus12"), "dc at driver")

    assert found.ohms == pytest.approx(12 * 22e3 / 0.05, rel=2e-3)
    assert found.method == "closed form"


def test_a_leak_from_a_weak_source_counts_its_resistance():
    """Derived: `mid` is 6 V behind 500 k: 50 mV at R = 6 x 22 k / 50 mV - 500 k = 2.14 Mohm."""
    assert critical(("fb", "mid"), "dc at driver").ohms == pytest.approx(6 * 22e3 / 0.05 - 500e3, rel=5e-3)


def test_a_leak_at_the_blocked_leg_counts_like_one_at_the_feedback_net():
    """Derived: at d.c. the capacitor blocks, so the 1 k in the leg stands in series with the leak."""
    assert critical(("fb_low", "plus12"), "dc at driver").ohms == pytest.approx(5.28e6 - 1e3, rel=2e-3)


def test_a_leak_between_nets_at_one_potential_does_no_harm():
    """Both ends of the blocked leg stand at the output's d.c.: nothing flows, whatever the leak."""
    assert whole()["fb", "fb_low"].worst is None


def test_a_driver_limit_scales_the_critical_leak():
    """Ten times the d.c. allowed, a tenth of the leakage resistance (the circuit is linear)."""
    (found,) = leak_map(small_board(), [("plus12", "fb")], dc_v=0.5)

    assert found.limits[0].ohms == pytest.approx(5.28e5, rel=2e-3)
    assert found.nets == ("plus12", "fb")


def test_the_limit_is_broken_below_and_kept_above():
    """A full solution at 1 % less and at 1 % more than each critical value, one leak after the other."""
    board, pairs = small_board(), leak_pairs(small_board())
    circuit = to_circuit(board, pairs)
    for pair in pairs:
        ohms = critical(pair, "dc at driver").ohms
        if ohms is not None:
            point = operating_point(circuit, {(leak_name(*pair), "ohm"): np.array([0.99, 1.01]) * ohms})
            below, above = np.abs(point.volt("out"))
            assert below > 0.05 > above, pair


def test_the_closed_form_equals_the_bracketed_root(monkeypatch):
    """The same map without any closed form: every critical value within the width of the brackets."""
    closed = whole()
    monkeypatch.setattr(leak_search, "critical_siemens", lambda *given: [])

    for pair in leak_map(small_board()):
        for one, other in zip(pair.limits, closed[pair.nets].limits, strict=True):
            assert one.method in ("", "bracketed root")
            assert (one.ohms is None) == (other.ohms is None)
            if one.ohms is not None:
                assert one.ohms == pytest.approx(other.ohms, rel=0.01)


def test_the_least_root_is_taken():
    """Plug back: |v + G P| = L |1 + G z| at the root, and at no smaller conductance on a fine grid."""
    random = np.random.default_rng(5)
    for _ in range(50):
        v, p, z = (complex(*random.normal(size=2)) for _ in range(3))
        limit = abs(v) * random.uniform(1.1, 3.0)
        found = next(iter(critical_siemens(v, p, z, limit)), None)
        grid = np.geomspace(1e-4, 1e4, 4001)
        over = np.abs(v + grid * p) > limit * np.abs(1 + grid * z)
        if found is None:
            assert not over.any()
        else:
            assert abs(v + found * p) == pytest.approx(limit * abs(1 + found * z), rel=1e-6)
            assert not over[grid < 0.999 * found].any()


RATED = """
layout = 1
[board]
name = "rated"
[parts]
V1 = { kind = "supply", value = "12 V", resistance = "0.1 ohm", pins = ["p12", "0V"] }
R1 = { kind = "resistor", value = "100R", power = "0.25 W", pins = ["a", "0V"] }
K1 = { kind = "relay coil", resistance = "1k", pull_in = "6 V", pins = ["coil", "0V"] }
R2 = { kind = "resistor", value = "400R", power = "1 W", pins = ["p12", "coil"] }
S1 = { kind = "switch", closed = false, driven_by = "K1", pins = ["p12", "b"] }
R3 = { kind = "resistor", value = "10k", pins = ["b", "0V"] }
"""


def test_a_part_over_its_rating_is_named():
    """Derived: 0.25 W in 100 ohm are 50 mA: 12 V / 50 mA - 100.1 ohm = 139.9 ohm of leak; it is R1 that suffers."""
    (found,) = leak_map(parse_board(RATED, "t"), [("p12", "a")])

    (rating,) = [each for each in found.limits if each.limit.what == "part over rating"]
    assert rating.ohms == pytest.approx(12 / 0.05 - 100.1, rel=0.01)
    assert rating.limit.part == "R1"
    assert rating.method == "bracketed root"


def test_a_relay_that_lets_go_is_found():
    """Derived: 8.57 V at rest; with R from coil to common, 12 x (1k || R) / (400.1 + 1k || R) = 6 V at 1k || R = 400.1,
    R = 667 ohm."""
    (found,) = leak_map(parse_board(RATED, "t"), [("coil", "0V")])

    (relay,) = [each for each in found.limits if each.limit.what == "relay state"]
    assert relay.ohms == pytest.approx(667, rel=0.01)


def test_a_mute_that_is_robbed_of_its_current_is_found():
    """Derived: 12 V through 10 k into the pin's 1 k give 1.09 mA; at 0.5 mA the pin stands at 0.5 V and 1.15 mA come
    through the 10 k, so 0.65 mA leave by the leak: R = 0.5 V / 0.65 mA = 769 ohm."""
    text = TEXT.replace('low = "minus12" }', 'low = "minus12", mute = "m" }').replace(
        "[parts.U1]", 'R9 = { kind = "resistor", value = "10k", pins = ["plus12", "m"] }\n[parts.U1]', 1
    )

    (found,) = leak_map(parse_board(text, "t"), [("m", "0V")])

    (mute,) = [each for each in found.limits if each.limit.what == "mute state"]
    assert mute.ohms == pytest.approx(769, rel=0.02)
    assert mute.limit.part == "U1"


def test_an_amplifier_that_feeds_its_own_input_oscillates():
    """Derived: in the middle of the band the leak R and the source's 50 ohm feed the input back its own signal: growth
    from 23 x 50 / (R + 50) x (nearly 1) = 1, R = 1.1 kohm; at d.c. the capacitor keeps the loop open."""
    (found,) = leak_map(small_board(), [("in", "out")])

    (oscillation,) = [each for each in found.limits if each.limit.what == "oscillation"]
    assert oscillation.ohms == pytest.approx(1100, rel=0.02)


def test_a_leak_that_raises_the_gain_raises_the_noise():
    """Derived, limit 0.1 mV from 20 Hz to 20 kHz: G^2 (8 nV)^2 + 4 k T x 22 k x G + G^2 4 k T x 50 ohm over 19.98 kHz,
    times 0.962 for the amplifier's corner at 5 MHz / G (mean of 1 / (1 + (f / fc)^2)) is (0.1 mV)^2 at G = 86.8, that
    is 256 ohm in the leg, 1 k beside 345 ohm of leak."""
    (found,) = leak_map(small_board(), [("fb", "0V")], noise_v=1e-4)

    (noise,) = [each for each in found.limits if each.limit.what == "noise at driver"]
    assert noise.ohms == pytest.approx(345, rel=0.03)
    assert noise.method == "bracketed root"


def test_one_growing_pole_is_a_latch_and_no_oscillation():
    """Onset (a complex pair), relaxation (two real ones), latch (one), rest (none); -inf stands for no pole. The growth
    of a damped pair is minus its damping ratio: -1 + 2j has -1 / sqrt(5)."""
    natural = np.array([[1 + 5j, 1 - 5j, -3], [2, 7, -3], [2, -7, -np.inf], [-1, -1 + 2j, -1 - 2j]])

    assert (growth(natural) > 0).tolist() == oscillates(natural).tolist() == [True, True, False, False]
    assert growth(natural)[3] == pytest.approx(-1 / np.sqrt(5))


WINDOW = """
layout = 1
[board]
name = "window"
[parts]
V1 = { kind = "supply", value = "12 V", pins = ["p12", "0V"] }
V2 = { kind = "supply", value = "12 V", pins = ["0V", "m12"] }
R1 = { kind = "resistor", value = "33k", pins = ["m12", "mute"] }
R2 = { kind = "resistor", value = "10k", pins = ["out", "fb"] }
R3 = { kind = "resistor", value = "10k", pins = ["fb", "0V"] }
[parts.U1]
kind = "power amplifier"
pins = { plus = "0V", minus = "fb", out = "out", high = "p12", low = "m12", mute = "mute" }
mute_current = "0.1 mA"
"""


def test_trouble_in_a_window_narrower_than_a_decade_is_found():
    """Derived: the pin's 1 k and 33 k to -12 V hold the mute at -0.353 V, of 0.1 V needed. A leak R to +12 V adds
    12 V / R: at the pin v (1/1k + 1/33k + 1/R) = 12 V / R - 12 V / 33k. v = -0.1 V: 12.1 / R = 363.6 uA - 103 uA,
    R = 46.4 k. v = +0.1 V: 11.9 / R = 363.6 uA + 103 uA, R = 25.5 k: below that it plays again. No step of a grid by
    decades lies between the two."""
    (found,) = leak_map(parse_board(WINDOW, "t"), [("p12", "mute")])

    (mute,) = [each for each in found.limits if each.limit.what == "mute state"]
    assert mute.ohms == pytest.approx(46.4e3, rel=0.02)


def test_the_summit_of_a_curve_is_found_between_its_points():
    """Law: of a parabola the summit itself; none where the best point lies at an end, or far below."""
    x = np.log(np.array([1e6, 1e5, 1e4, 1e3]))
    y = -0.2 * (x - np.log(3e4)) ** 2

    assert summit(x, y, 2.5) == pytest.approx(3e4, rel=1e-6)
    assert summit(x, y - 10, 2.5) is None
    assert summit(x, -x, 99.0) is None


def test_a_limit_broken_without_any_leak_is_said_to_be():
    """200 mV of offset by design is no leak's doing."""
    text = TEXT.replace('R3 = { kind = "resistor", value = "22k"', 'R3 = { kind = "resistor", value = "10M"').replace(
        'bias = "0 A"', 'bias = "20 nA"'
    )

    (found,) = leak_map(parse_board(text, "t"), [("plus12", "fb")])

    assert found.limits[0].already
    assert found.limits[0].ohms is None


@pytest.mark.parametrize("pair", [("plus12", "nowhere"), ("fb", "fb")])
def test_a_pair_that_is_none_is_refused(pair):
    """A net that is not there, a net with itself."""
    with pytest.raises(InputError, match="--pair"):
        leak_map(small_board(), [pair])


@pytest.mark.parametrize("volts", [0.0, -0.05, float("nan"), float("inf")])
def test_a_limit_that_is_none_is_refused(volts):
    """Nothing, the wrong sign, no number."""
    with pytest.raises(InputError, match="limit"):
        leak_map(small_board(), dc_v=volts)
