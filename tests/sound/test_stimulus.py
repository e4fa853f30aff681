"""The test recording against the formulas of the synchronised sweep, and its own rules."""

import numpy as np
import pytest

from dustcap.errors import InputError
from dustcap.sound.stimulus import (
    CHIRP_S,
    LEVEL_DBFS,
    NAMES,
    START_HZ,
    STOP_HZ,
    layout_of,
    make_stimulus,
    signal_at,
    sweep_at,
    tone_hz,
)


@pytest.mark.parametrize(("about_s", "growth_s", "seconds"), [(10.0, 1.45, 10.01624515)])
def test_growth_time_is_rounded_to_whole_cycles_as_published(about_s, growth_s, seconds):
    """L is round(f1 T / ln(f2/f1)) / f1, and T is L ln(f2/f1)."""
    # Novak, Lotton, Simon, J. Audio Eng. Soc. 63 (10), 2015, eq. 49; 20 Hz to 20 kHz, 10 s: f1 L = 29, L = 1.45 s,
    # T = 10.01624515 s, as a public acoustics library's tests quote it.
    assert round(START_HZ * about_s / np.log(STOP_HZ / START_HZ)) / START_HZ == growth_s
    assert growth_s * np.log(STOP_HZ / START_HZ) == pytest.approx(seconds, abs=5e-9)


@pytest.mark.parametrize("name", NAMES)
def test_a_harmonic_is_the_sweep_itself_earlier(name):
    """sin(n phase(t)) equals the sweep L ln n later, for every order (Novak 2015, section 2)."""
    growth_s = layout_of(name).rate_s
    since_s = np.linspace(0.6, 1.0, 4001) * growth_s

    for order in range(2, 8):
        later = sweep_at(growth_s, since_s + growth_s * np.log(order))
        phase = 2 * np.pi * START_HZ * growth_s * np.exp(since_s / growth_s)
        assert later == pytest.approx(np.sin(order * phase), abs=1e-6)


@pytest.mark.parametrize("name", NAMES)
def test_the_sweep_passes_the_geometric_mean_at_half_time(name):
    """At T/2 a sweep from 20 Hz to 20 kHz passes 632.4555 Hz, the geometric mean of its ends."""
    growth_s, seconds = layout_of(name).rate_s, layout_of(name).sweep.seconds
    step_s = 1e-7
    wave = sweep_at(growth_s, seconds / 2 + step_s * np.arange(-1, 2))
    slope = (wave[2] - wave[0]) / (2 * step_s)

    assert abs(slope) / np.sqrt(1 - wave[1] ** 2) / (2 * np.pi) == pytest.approx(632.4555, abs=0.001)


@pytest.mark.parametrize("rate", [44100, 96000])
@pytest.mark.parametrize("name", NAMES)
def test_every_rate_plays_the_same_signal(name, rate):
    """Samples at any rate are values of one function of time, below the promised peak, silent at both ends."""
    stimulus = make_stimulus(rate, name)
    times_s = np.arange(stimulus.samples.size) / rate

    assert np.allclose(stimulus.samples[::7], signal_at(layout_of(name), times_s[::7]), rtol=0, atol=1e-12)
    assert np.abs(stimulus.samples).max() <= 10 ** (LEVEL_DBFS / 20) * (1 + 1e-9)
    assert not stimulus.samples[: int(0.5 * rate)].any()
    assert not stimulus.samples[-int(0.4 * rate) :].any()


@pytest.mark.parametrize("name", NAMES)
def test_quiet_parts_are_long_enough(name):
    """The first gap leaves 6 s of rest, and the sweep has time to die away; segments lie end to end."""
    layout = layout_of(name)

    assert layout.part("rest")[0].seconds - 0.5 >= 6.0
    assert layout.part("decay")[0].seconds >= 1.0
    stops = [segment.stop_s for segment in layout.segments[:-1]]
    assert [segment.start_s for segment in layout.segments[1:]] == pytest.approx(stops)


def test_no_pilot_spacing_occurs_twice():
    """Each pilot has its own pair of spacings, at least 40 ms from every other one, longer than a chirp."""
    gaps = [pair for name in NAMES for pair in layout_of(name).pilot_gaps_s]

    for k, pair in enumerate(gaps):
        assert min(pair) > CHIRP_S + 0.1
        for other in gaps[k + 1 :]:
            assert max(abs(a - b) for a, b in zip(pair, other, strict=True)) > 0.04


def test_products_of_two_tones_fall_on_no_third():
    """Sums and differences of any two tones keep 3 Hz from every tone: six lines of a two-second spectrum."""
    tones = tone_hz()
    first, second = np.triu_indices(tones.size, 1)
    products = np.concatenate([tones[first] + tones[second], tones[second] - tones[first], 2 * tones])

    assert np.min(np.abs(products[:, None] - tones)) > 3.0


def test_an_unknown_name_is_refused():
    """The message lists the names that exist."""
    with pytest.raises(InputError, match="no test recording called 'long'") as why:
        make_stimulus(48000, "long")
    assert "full 1" in why.value.mend


@pytest.mark.parametrize("rate", [8000, 44099.9, 192001, float("nan")])
def test_a_rate_outside_the_range_is_refused(rate):
    """Rates below 44.1 or above 192 kHz, and no number at all, are refused."""
    with pytest.raises(InputError, match="cannot carry"):
        make_stimulus(rate)
