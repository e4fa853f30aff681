"""Where the room counts as quiet after something was played."""

import numpy as np
import pytest
from sound.takes import RATE, aligned, played, recorded

from dustcap.sound.played import AFTERWARDS_S, _died_away, quiet_windows

FLOOR = 1e-3


def gap(reverberation_s, seconds=6.0, seed=5):
    """Noise of a quiet room with the end of something loud: 60 dB above it, dying away by 60 dB in the given time."""
    rng = np.random.default_rng(seed)
    times = np.arange(round(seconds * RATE)) / RATE
    loud = 10 ** (-3 * times / reverberation_s) if reverberation_s else 0.0
    return FLOOR * rng.standard_normal(times.size) + loud * rng.standard_normal(times.size)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("reverberation_s", [0.5, 1.0, 2.0])
def test_the_moment_is_that_at_which_the_room_has_died_away(reverberation_s, seed):
    """At 5 % above the floor the rest is 10 dB under it: 70 of the 60 dB that are lost in a reverberation time."""
    # ISO 3382-2: the reverberation time is that of a fall by 60 dB; powers of unrelated noise add
    found = _died_away(gap(reverberation_s, seed=seed), RATE, 0.0, 6.0)
    assert found == pytest.approx(70 / 60 * reverberation_s + AFTERWARDS_S, abs=0.2 + 0.1 * reverberation_s)


@pytest.mark.parametrize("at_s", [0.01, 0.3, 0.62, 1.4])
def test_one_bang_does_not_put_it_off(at_s):
    """A crackle in a gap that was quiet from the start costs a tenth of a second or two, wherever it lies."""
    wave = gap(0.0)
    wave[round(at_s * RATE) :][:200] += 0.5
    wave[round(at_s * RATE) + 3] -= 1.0
    assert _died_away(wave, RATE, 0.0, 6.0) < 0.5


def test_it_waits_half_of_the_gap_at_most():
    """What dies away too slowly is cut off at half time."""
    assert _died_away(gap(20.0), RATE, 0.0, 6.0) == pytest.approx(3.0, abs=0.1)


def test_the_windows_lie_in_the_rests_of_the_test_recording():
    """All of them, each inside the stretch that the layout leaves silent."""
    stimulus = played("full 1")
    samples = recorded(stimulus.samples, noise_db=-70)
    alignment = aligned(samples)
    rests = [(alignment.heard(one.start_s), alignment.heard(one.stop_s)) for one in alignment.layout.part("rest")]
    windows = quiet_windows(samples, RATE, alignment)
    assert windows
    for begin, end in windows:
        assert any(start < begin < end < stop for start, stop in rests)
