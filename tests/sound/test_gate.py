"""Gates against geometry: direct sound and first reflection are found where they were put."""

import numpy as np
import pytest
from scipy import signal
from sound.takes import RATE, loudspeaker

from dustcap.sound.gate import LONGEST_S, SHORTEST_S, find_gate, third_octave_level

BEFORE_S = 0.1


def impulse(arrivals, sections=None, noise=1e-6, seconds=0.6):
    """Impulse response with arrivals (delay in s, share), through a filter, in a little noise."""
    wave = np.zeros(int((BEFORE_S + seconds) * RATE))
    for late_s, share in arrivals:
        wave[round((BEFORE_S + late_s) * RATE)] += share
    wave = signal.sosfilt(loudspeaker() if sections is None else sections, wave)
    return wave + noise * np.random.default_rng(1).standard_normal(wave.size)


# Floor reflection with microphone and loudspeaker both at height h, d apart: D = sqrt(d^2 + 4 h^2) - d, T = D / c,
# c = 343.2 m/s: d 1 m, h 1.2 m: 4.662 ms; d 0.5, h 1.2: 5.686 ms; d 1, h 1.0: 3.602 ms (plane geometry).
@pytest.mark.parametrize(
    ("d_m", "h_m", "late_s"), [(1.0, 1.2, 0.0046619), (0.5, 1.2, 0.0056861), (1.0, 1.0, 0.0036015)]
)
@pytest.mark.parametrize("share", [0.5, 0.1, 0.03])
def test_the_floor_s_reflection_ends_the_gate(d_m, h_m, late_s, share):
    """From -6 to -30 dB the reflection is found within 0.1 ms, and the gate ends before it."""
    assert (np.sqrt(d_m**2 + 4 * h_m**2) - d_m) / 343.215 == pytest.approx(late_s, abs=1e-6)

    gate = find_gate(impulse([(0.0, 1.0), (late_s, share)]), RATE, BEFORE_S, (50.0, 19000.0))

    assert gate.reflection_s - gate.direct_s == pytest.approx(late_s, abs=1e-4)
    assert 0.93 * late_s < gate.length_s < late_s


@pytest.mark.parametrize("late_s", [-0.004, 0.0, 0.007])
def test_the_direct_sound_is_the_first_arrival(late_s):
    """Wherever it lies, and though the reflection after it is stronger."""
    gate = find_gate(impulse([(late_s, 1.0), (late_s + 0.006, -1.6)]), RATE, BEFORE_S, (50.0, 19000.0))

    assert gate.direct_s == pytest.approx(late_s, abs=2e-4)
    assert gate.length_s == pytest.approx(0.006, rel=0.06)


CLEAN = {
    "loudspeaker": loudspeaker(),
    "straight": np.array([[1.0, 0, 0, 1, 0, 0]]),
    "ringing low": np.array([[*signal.iirpeak(60, 8, fs=RATE)[0], *signal.iirpeak(60, 8, fs=RATE)[1]]])
    + np.array([[1.0, 0, 0, 0, 0, 0]]),
    "woofer only": signal.butter(4, 500, fs=RATE, output="sos"),
    "tweeter only": signal.butter(4, 3000, "high", fs=RATE, output="sos"),
}


@pytest.mark.parametrize("sections", CLEAN.values(), ids=CLEAN)
@pytest.mark.parametrize("noise", [1e-9, 1e-5, 1e-3])
def test_no_reflection_is_seen_where_there_is_none(sections, noise):
    """Ringing, steep slopes and noise are not reflections: the gate stays as long as it may."""
    usable = {"woofer only": (50.0, 1000.0), "tweeter only": (1500.0, 19000.0)}
    name = next(key for key, value in CLEAN.items() if value is sections)

    gate = find_gate(impulse([(0.0, 1.0)], sections, noise), RATE, BEFORE_S, usable.get(name, (50.0, 19000.0)))

    assert gate.reflection_s is None
    assert gate.length_s == pytest.approx(LONGEST_S)


def test_the_bench_top_belongs_to_the_loudspeaker():
    """A reflection after 0.8 ms cannot be gated away and does not shorten the gate."""
    gate = find_gate(impulse([(0.0, 1.0), (0.0008, 0.4), (0.006, 0.3)]), RATE, BEFORE_S, (50.0, 19000.0))

    assert gate.length_s == pytest.approx(0.006, rel=0.06)
    assert gate.length_s > SHORTEST_S


def test_a_third_of_an_octave_is_averaged():
    """The r.m.s. of a level spectrum is level; of a single line 1/sqrt(bins) beside it."""
    hz = np.arange(1000.0)
    line = np.zeros(1000)
    line[500] = 1.0

    assert third_octave_level(np.full(1000, 3.0), hz) == pytest.approx(3.0)
    level = third_octave_level(line, hz)[500]
    assert level == pytest.approx(1 / np.sqrt(500 * (2 ** (1 / 6) - 2 ** (-1 / 6))), rel=0.02)
