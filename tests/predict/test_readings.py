"""What checks read on a board that can be worked out by hand, healthy and with each kind of fault."""

from functools import cache

import numpy as np
import pytest
from predict.small import small_board

from dustcap.circuit.elements import LAWS
from dustcap.circuit.meter import impedance, resistance
from dustcap.errors import InputError
from dustcap.predict.checks import CONNECTED, Check
from dustcap.predict.predictor import Predictor


@cache
def predictor():
    return Predictor(small_board(), particles=8)


def row(words):
    return [suspect.words() for suspect in predictor().suspects].index(words)


def sampled(element, value):
    return predictor().analyses.cases.base[element, value]


def test_d_c_volts_count_the_meter_itself():
    """A divider of two megohm from 12 V, read with 10 Mohm: derived, V R2 || 10M / (R1 + R2 || 10M)."""
    v, r1, r2 = sampled("V1", "volts"), sampled("R1", "ohm"), sampled("R2", "ohm")
    loaded = r2 * 10e6 / (r2 + 10e6)

    got = predictor().readings(Check("dc volts", "mid", "0V"))[0]

    np.testing.assert_allclose(got, v * loaded / (r1 + loaded), rtol=1.5e-3)  # the silent diode leaks a little


def test_the_meter_is_never_left_out():
    """The tolerance above is narrow enough: without the meter the divider reads 5 % more."""
    assert np.all(predictor().readings(Check("dc volts", "mid", "0V"))[0] < 0.97 * sampled("V1", "volts") / 2)


def test_a_leak_into_the_feedback_net_offsets_the_output():
    """Derived: the capacitor blocks R5, so all of (V - 0) / R_leak flows through R4: V_out = -V R4 / R_leak."""
    leak = row("leak between plus12 and fb in glue")
    ohms = predictor().severities()[leak]
    expected = -sampled("V1", "volts") * sampled("R4", "ohm") / ohms
    linear = np.abs(expected) < 8.0

    got = predictor().readings(Check("dc volts", "out", "0V"))[leak]

    assert linear.sum() >= 3
    offset = sampled("U1", "offset_v")
    assert np.all(np.abs(got[linear] - expected[linear]) < 0.01 * np.abs(expected[linear]) + 2 * np.abs(offset[linear]))


def test_every_sample_has_the_gain_of_its_own_severity():
    """A leak that drives the output against a rail silences it; one that does not leaves it its level.

    Contract: 12 V less 3 V of headroom +-20 % is where the output is clamped; level and offset speak of one sample.
    """
    found = Predictor(small_board(), particles=16)
    leak = [each.words() for each in found.suspects].index("leak between plus12 and fb in glue")
    offset = np.abs(found.readings(Check("dc volts", "out", "0V"))[leak])
    level = found.readings(Check("ac volts", "out", "0V"))
    plays = level[leak] > 0.5 * np.median(level[0])

    assert 2 <= plays.sum() <= 14
    assert np.all(offset[plays] < 9.7)
    assert np.all(offset[~plays] > 8.0)


def test_ohms_of_every_suspect_equal_the_plain_reading():
    """The reading from one inverse a sample equals the circuit solved anew with the fault in it."""
    cases = predictor().analyses.cases
    pairs = [("mid", "0V"), ("out", "fb"), ("plus12", "fb"), ("amp_in", "in")]
    for index in range(len(cases.suspects)):
        plain = resistance(cases.circuit, pairs, cases.values([index]))
        for column, pair in enumerate(pairs):
            got = predictor().readings(Check("ohms", *pair))[index]
            over = plain[:, column] > 50e6
            assert np.array_equal(np.isinf(got), over), (cases.suspects[index].words(), pair)
            np.testing.assert_allclose(got[~over], plain[~over, column], rtol=3e-4)


def test_series_resistance_equals_the_plain_impedance():
    """At 100 kHz the electrolytic capacitor reads its own series resistance, faulty or not."""
    cases = predictor().analyses.cases
    for index in (0, row("C2 esr up"), row("C2 capacity lost")):
        plain = impedance(cases.circuit, [("fb_low", "0V")], [100e3], cases.values([index]))[:, 0, 0]

        got = predictor().readings(Check("esr", "fb_low", "0V"))[index]

        np.testing.assert_allclose(got, plain.real, rtol=3e-4)


def test_a_lifted_capacitor_shows_its_series_resistance_beside_its_farads():
    """Contract: esr at 100 kHz beside the value; C2 is described with 0.3 ohm +-30 %, 100 uF."""
    farad = predictor().readings(Check("lifted", part="C2"))
    ohms = predictor().readings(Check("lifted", part="C2", word="esr"))
    up = row("C2 esr up")

    np.testing.assert_allclose(ohms[0], sampled("C2", "esr_ohm"), rtol=1e-3)
    assert np.all(ohms[up] > 2.9 * ohms[0])
    np.testing.assert_allclose(farad[up], farad[0])


def test_a_shorted_capacitor_reads_what_the_meter_computes():
    """By hand: 0.05 to 2 ohm beside 100 uF (13 ohm at 120 Hz): series reactance R^2 w C, 4 mF and more."""
    farad = predictor().readings(Check("lifted", part="C2"))[row("C2 short")]

    assert np.all(farad > 0.004)
    assert np.all(predictor().readings(Check("lifted", part="C2", word="esr"))[row("C2 short")] < 0.4)


def test_a_lifted_part_reads_its_own_value():
    """With one end free nothing around the part counts."""
    got = predictor().readings(Check("lifted", part="R2"))

    np.testing.assert_allclose(got[0], sampled("R2", "ohm"))
    assert np.all(np.isinf(got[row("R2 open")]))
    ratio = got[row("R2 drifted high")] / sampled("R2", "ohm")
    assert np.all((ratio >= 1.3) & (ratio <= 10.0))


def test_gain_is_read_at_the_signal_asked_for():
    """1 + R4/R5 = 23 at 1 kHz and 100 mV, derived; the capacitors pass 1 kHz (corner of C2 and R5: 1.6 Hz)."""
    gain = 1 + sampled("R4", "ohm") / sampled("R5", "ohm")

    got = predictor().readings(Check("ac volts", "out", "0V"))[0]

    np.testing.assert_allclose(got, 0.1 * gain, rtol=5e-3)


def test_a_cone_pushed_out_follows_from_the_offset():
    """Seen with a sick offset, not with a healthy one: x = Bl V Cms / R against a fifth of the excursion."""
    leak = row("leak between plus12 and fb in glue")
    volts = predictor().readings(Check("dc volts", "out", "0V", state=CONNECTED))[leak]
    metres = 6.0 * np.abs(volts) / 6.0 * 0.8e-3
    heard = predictor().heard("cone pushed out", "woofer")[leak]

    assert np.all(heard[metres > 2 * 0.2 * 4e-3] > 0.85)
    assert np.all(heard[metres < 0.5 * 0.2 * 4e-3] < 0.15)
    assert np.all(predictor().heard("cone pushed out", "woofer")[0] < 0.05)


def test_a_lost_gain_is_a_weak_or_absent_output():
    """A dead amplifier says nothing; a healthy one is not weak."""
    assert np.all(predictor().heard("no output", "woofer")[row("U1 dead")] > 0.85)
    assert np.all(predictor().heard("no output", "")[0] < 0.05)


def test_priors_leave_room_for_what_is_not_described():
    """The suspects of the description never take the whole of the probability."""
    assert predictor().prior.sum() == pytest.approx(0.97)
    assert np.all(predictor().prior > 0)


def test_renewed_severities_gather_near_the_survivors_and_leave_the_others_alone():
    """Half of the new particles lie near the heavy one; other suspects read exactly as before."""
    old, leak = predictor(), row("leak between plus12 and fb in glue")
    weights = np.full((len(old.suspects), old.particles), 1.0 / old.particles)
    weights[leak] = np.eye(old.particles)[3]

    new = old.renewed([leak], weights, np.random.default_rng(1))

    check = Check("dc volts", "out", "0V")
    others = np.arange(len(old.suspects)) != leak
    np.testing.assert_array_equal(new.readings(check)[others], old.readings(check)[others])
    distance = np.abs(np.log10(new.severities()[leak] / old.severities()[leak, 3]))
    assert np.sum(distance < 0.75) >= 3
    assert np.mean(new.shares[leak]) == pytest.approx(1.0)
    assert np.min(new.shares[leak]) == pytest.approx(new.shares[leak][np.argmin(distance)])


def test_the_same_seed_gives_the_same_cases():
    """Two predictors with one seed agree to the last bit, another seed does not."""
    one, two = (Predictor(small_board(), particles=4, seed=3).analyses.cases for _ in range(2))
    other = Predictor(small_board(), particles=4, seed=4).analyses.cases

    np.testing.assert_array_equal(one.points, two.points)
    np.testing.assert_array_equal(one.severity, two.severity)
    assert not np.array_equal(one.points, other.points)


@pytest.mark.parametrize(
    ("check", "says"),
    [
        (Check("dc volts", "nowhere", "0V"), "no net 'nowhere'"),
        (Check("warmth", part="R99"), "no part 'R99'"),
        (Check("lifted", part="U1"), "not read with one end lifted"),
    ],
)
def test_a_check_of_what_is_not_there_is_refused(check, says):
    """The refusal names what was asked for."""
    with pytest.raises(InputError, match=says):
        predictor().readings(check)


def test_every_value_of_every_law_is_known_to_the_cases():
    """A fault may override any value of any element."""
    cases = predictor().analyses.cases
    assert all((e.name, v) in cases.own for e in cases.circuit.elements for v in LAWS[e.law].values)
