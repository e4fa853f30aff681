"""Clock skew and marks against the clock that the recording was made with."""

import numpy as np
import pytest
from sound.takes import RATE, aligned, loudspeaker, played, recorded
from sound.test_pilots import ROOM, tweeter_only, woofer_only

from dustcap.sound.stimulus import NAMES

# soxr at its best quality is the other clock: resampling from r to r (1 + e) is what a recorder does whose clock is
# e fast. Required: found within 1 ppm over +-300 ppm.


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(("at_rate", "skew_ppm"), [(48000, 0.0), (48000, -300.0), (96000, 200.0), (44100, 37.2)])
def test_skew_is_found(name, at_rate, skew_ppm):
    """Within 0.05 ppm at 40 dB above the noise, in an echoing room, whatever the rates."""
    samples = recorded(
        played(name).samples,
        at_rate=at_rate,
        skew_ppm=skew_ppm,
        sections=loudspeaker(),
        noise_db=-65,
        echoes=ROOM,
        gain=-0.5,
    )

    alignment = aligned(samples, at_rate)

    assert alignment.skew_ppm == pytest.approx(skew_ppm, abs=0.05)
    assert alignment.pilots == (True, True)
    assert alignment.broken_s == 0.0
    assert all(mark.good for mark in alignment.marks)


@pytest.mark.parametrize("sections", [loudspeaker(), tweeter_only(), woofer_only()], ids=["all", "tweeter", "woofer"])
def test_skew_is_found_where_noise_is_as_strong_as_the_signal(sections):
    """Within 1 ppm at 0 dB, and the error that is claimed holds within its four sigma."""
    samples = recorded(played("full 1").samples, skew_ppm=150, sections=sections, noise_db=-24, gain=0.5)

    alignment = aligned(samples)

    assert alignment.skew_ppm == pytest.approx(150, abs=1.0)
    assert abs(alignment.skew_ppm - 150) < 4 * alignment.skew_error_ppm + 0.05


def test_the_claimed_error_covers_what_noise_does():
    """Over 24 noisy takes the skew scatters as much as the standard error says, within a factor of two."""
    clean = recorded(played("quick 1").samples, skew_ppm=80, sections=loudspeaker())
    rng = np.random.default_rng(11)
    takes = [aligned(clean + 0.05 * rng.standard_normal(clean.size)) for _ in range(24)]

    scatter = np.std([take.skew_ppm for take in takes])
    claimed = np.mean([take.skew_error_ppm for take in takes])

    assert 0.5 < scatter / claimed < 2.0


def test_the_start_is_where_the_sound_arrived():
    """A delay of 5 ms moves the start by 5 ms, to a fifth of a sample."""
    here = aligned(recorded(played("quick 1").samples, lead_s=0.7, sections=loudspeaker()))
    there = aligned(recorded(played("quick 1").samples, lead_s=0.705, sections=loudspeaker()))

    assert there.start_s - here.start_s == pytest.approx(0.005, abs=0.2 / RATE)


@pytest.mark.parametrize(("begin_s", "end_s", "pilots"), [(0, 24, (True, False)), (4, 40, (False, True))])
def test_one_pilot_and_the_steps_still_give_the_clock(begin_s, end_s, pilots):
    """Without one of the pilots the skew is still found within 1 ppm, and the missing one is named."""
    samples = recorded(played("full 1").samples, skew_ppm=-120, sections=loudspeaker(), noise_db=-65)

    alignment = aligned(samples[begin_s * RATE : end_s * RATE])

    assert alignment.pilots == pilots
    assert alignment.skew_ppm == pytest.approx(-120, abs=1.0)


def test_lost_samples_are_noticed():
    """A buffer of 64 samples lost in the sweep: the marks no longer lie on one line."""
    samples = recorded(played("full 1").samples, sections=loudspeaker(), noise_db=-65)

    broken = aligned(np.delete(samples, slice(12 * RATE, 12 * RATE + 64)))

    # the steps lie two thirds of the way between the pilots: a third of the loss shows
    assert abs(broken.broken_s) == pytest.approx(64 / RATE / 3, rel=0.1)


def test_levels_of_the_marks_follow_the_stimulus():
    """Linear recording: every chirp stands at its due level within 0.1 dB, the weakest at 24 dB down too."""
    alignment = aligned(recorded(played("full 1").samples, sections=loudspeaker(), noise_db=-75, gain=0.2))

    assert max(abs(mark.level_db) for mark in alignment.marks) < 0.1
    assert max(mark.level_error_db for mark in alignment.marks) < 0.1


def test_one_spoiled_chirp_does_not_move_the_clock():
    """A chirp that came a millisecond late (a stumbling player) is left out of the line."""
    samples = recorded(played("full 1").samples, skew_ppm=60, sections=loudspeaker(), noise_db=-70)
    around = slice(round((0.7 + 0.74) * RATE), round((0.7 + 0.94) * RATE))
    samples[around] = np.roll(samples[around], 48)

    alignment = aligned(samples)

    assert alignment.skew_ppm == pytest.approx(60, abs=0.1)
    assert [mark.good for mark in alignment.marks].index(False) == 1
