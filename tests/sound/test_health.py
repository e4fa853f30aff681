"""Faults put into a recording are found where they are, and none are seen in a clean one."""

import numpy as np
import pytest
from scipy import signal
from sound.takes import RATE, aligned, loudspeaker, played, recorded

from dustcap.sound.health import clipped, held, interrupted, outside, overlaps, spoiled_hz, uneven_db
from dustcap.sound.stimulus import START_HZ


def rounded(samples, bits):
    """What a converter of so many bits keeps; 0: floating point."""
    return np.round(samples * 2 ** (bits - 1)) / 2 ** (bits - 1) if bits else samples


def clean(name="full 1", **how):
    return recorded(played(name).samples, **({"sections": loudspeaker(), "noise_db": -80, "skew_ppm": 100} | how))


@pytest.mark.parametrize("bits", [16, 24, 0])
@pytest.mark.parametrize("noise_db", [None, -85, -60])
@pytest.mark.parametrize("sections", [None, loudspeaker()], ids=["straight", "loudspeaker"])
def test_a_clean_recording_has_no_fault(bits, noise_db, sections):
    """Rounded tops of slow waves, fades, low levels and digital silence are no faults, at any word length."""
    samples = rounded(clean("quick 1", noise_db=noise_db, sections=sections, gain=0.9), bits)

    assert clipped(samples, RATE) == ()
    assert interrupted(samples, RATE, aligned(samples)) == ()
    assert uneven_db(aligned(samples), ()) < 0.05


@pytest.mark.parametrize("bits", [16, 24, 0])
@pytest.mark.parametrize("limit", [0.2, 1.0 - 2.0**-15])
def test_clipping_is_found_where_it_is(bits, limit):
    """Flat tops at full scale or below are found; every stretch lies where the unclipped wave exceeds the limit."""
    samples = clean(gain=limit / 0.15)
    flat = rounded(np.clip(samples, -limit, limit), bits)

    stretches = clipped(flat, RATE)

    beyond = np.flatnonzero(np.abs(samples) > limit * 1.0001) / RATE
    found = [any(a - 0.001 <= at <= b + 0.001 for a, b in stretches) for at in beyond[:: max(beyond.size // 300, 1)]]
    assert np.mean(found) > 0.95
    for start, stop in stretches:
        assert np.any((beyond >= start - 0.01) & (beyond <= stop + 0.01))


def test_one_side_clipped_is_enough():
    """A recorder that clips positive peaks only."""
    samples = np.minimum(clean(gain=2.0), 0.2)

    assert clipped(samples, RATE)


def damage(samples, kind, at):
    """A copy with one fault of 10 ms or more at a sample, and how long it lasts."""
    spoiled = samples.copy()
    if kind == "zeros":
        spoiled[at : at + 960] = 0.0
    elif kind == "held":
        spoiled[at : at + 480] = spoiled[at]
    elif kind == "repeated":
        spoiled[at : at + 512] = spoiled[at - 512 : at]
    elif kind == "muted":
        spoiled[at : at + 2400] = 1e-4 * np.random.default_rng(1).standard_normal(2400)
    return spoiled


@pytest.mark.parametrize("kind", ["zeros", "held", "repeated", "muted"])
@pytest.mark.parametrize("at_s", [13.0, 14.1])
def test_a_dropout_in_the_sweep_is_found(kind, at_s):
    """Zeros, a held sample, a repeated buffer and a muted stretch are found within 10 ms of where they are."""
    spoiled = damage(clean(), kind, round(at_s * RATE))

    stretches = interrupted(spoiled, RATE, aligned(spoiled))

    assert len(stretches) == 1
    assert stretches[0][0] == pytest.approx(at_s, abs=0.012)
    assert 0.005 < stretches[0][1] - stretches[0][0] < 0.06


def test_a_dropout_in_the_quiet_gap_is_found():
    """Noise that stands still for 20 ms."""
    spoiled = damage(clean(), "zeros", 5 * RATE)

    assert interrupted(spoiled, RATE, aligned(spoiled)) == (
        (pytest.approx(5.0, abs=1e-3), pytest.approx(5.02, abs=1e-3)),
    )


def test_a_dropout_without_a_stimulus_is_found():
    """The same in a recording of nothing but noise; a recording that begins with silence has none."""
    noise = rounded(1e-3 * np.random.default_rng(2).standard_normal(8 * RATE), 16)
    late = np.concatenate([np.zeros(RATE), noise])

    assert held(damage(noise, "zeros", 3 * RATE), RATE) == ((pytest.approx(3.0), pytest.approx(3.02)),)
    assert held(noise, RATE) == ()
    assert held(late, RATE) == ()


@pytest.mark.parametrize("change_db", [-3.0, 1.0, 6.0])
def test_a_level_that_was_turned_is_found(change_db):
    """Turned up or down before the second pilot: that pilot is off by as much."""
    samples = clean(noise_db=-85)
    samples[round(26.0 * RATE) :] *= 10 ** (change_db / 20)

    assert uneven_db(aligned(samples), ()) == pytest.approx(abs(change_db), abs=0.1)


def test_automatic_gain_is_found():
    """A leveller of 0.3 s lifts the weak steps by many decibels."""
    samples = clean()
    share = 1 - np.exp(-1 / (0.3 * RATE))
    level = np.sqrt(signal.lfilter([share], [1, share - 1], samples**2))

    assert uneven_db(aligned(samples / np.maximum(level, 0.02) * 0.1), ()) > 3.0


def test_chirps_in_spoiled_stretches_do_not_count():
    """A clipped pilot is not taken for a changed level."""
    samples = clean()
    samples[round(27.0 * RATE) :] *= 0.5
    alignment = aligned(samples)

    assert uneven_db(alignment, ()) > 5
    assert uneven_db(alignment, ((27.0, 29.0),)) < 0.1


def test_spoiled_times_become_excitation_frequencies():
    """What the sweep passed in the stretch, f1 exp(t/L), and a sixth of an octave to either side."""
    alignment = aligned(clean())
    growth_s = alignment.layout.rate_s
    begin_s = alignment.heard(alignment.layout.sweep.start_s)

    ((low, high),) = spoiled_hz(alignment, ((begin_s + 3.0, begin_s + 3.1), (1.0, 1.1)))

    assert low == pytest.approx(START_HZ * np.exp(3.0 / growth_s) / 2 ** (1 / 6), rel=1e-3)
    assert high == pytest.approx(START_HZ * np.exp(3.1 / growth_s) * 2 ** (1 / 6), rel=1e-3)
    assert outside(np.array([low * 0.99, low * 1.01, high * 1.01]), ((low, high),)).tolist() == [True, False, True]


def test_stretches_overlap_when_they_share_a_moment():
    """Touching is not overlapping."""
    assert overlaps(((1.0, 2.0),), 1.9, 3.0)
    assert not overlaps(((1.0, 2.0),), 2.0, 3.0)
