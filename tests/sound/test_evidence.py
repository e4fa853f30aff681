"""What recordings tell the hunt: measured complaints, alone and against another take."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal
from sound.takes import RATE, loudspeaker, played, recorded

from dustcap.sound.against import against
from dustcap.sound.document import evidence_document, to_json
from dustcap.sound.evidence import Evidence, evidence_against
from dustcap.sound.listen import listen_to


def take(sections=None, **how):
    settings = {"sections": loudspeaker() if sections is None else sections, "noise_db": -80, "skew_ppm": 100} | how
    return recorded(played("quick 1").samples, **settings)


def shelf(cross_hz, low_db):
    """Everything below a frequency taken down: what is left when the woofer's path loses level (a shelf of first order:
    H = (s + g w)/(s + w), the bilinear transform of it)."""
    w, gain = 2 * RATE * np.tan(np.pi * cross_hz / RATE), 10 ** (low_db / 20)
    b, a = signal.bilinear([1, gain * w], [1, w], RATE)
    return np.array([[*b, 0, *a, 0]])


def told(wave, other=None):
    result = listen_to(wave, RATE)
    found = result.evidence
    if other is not None:
        found = evidence_against(found, against(to_json(result), to_json(listen_to(other, RATE))))
    return {(one.complaint, one.driver): one for one in found}


def test_a_sound_unit_tells_nothing():
    """A healthy recording adds no complaint."""
    assert told(take()) == {}


def test_a_weak_woofer_path_is_told_with_its_level():
    """The woofer's path 23 dB low: weak output of the woofer; a shelf of first order at 1.2 kHz,
    5 to 12.5 kHz against 200 to 800 Hz."""
    weak = np.vstack([loudspeaker(), shelf(1200, -23)])

    one = told(take(weak))["weak output", "woofer"]

    hz = np.geomspace(200, 800, 200)
    high = np.geomspace(5000, 12500, 200)
    through = [20 * np.log10(np.abs(signal.sosfreqz(weak, at, fs=RATE)[1])).mean() for at in (hz, high)]
    assert one.value == pytest.approx(through[0] - through[1], abs=0.3)
    assert one.unit == "dB"


@pytest.mark.parametrize("noise_db", [-110, -85])
@pytest.mark.parametrize(("driver", "passes"), [("tweeter", "low"), ("woofer", "high")])
def test_a_silent_driver_is_no_output(driver, passes, noise_db):
    """Nothing from one driver: a steep filter at 2 kHz, and no dropout is seen in its silence."""
    other = np.vstack([loudspeaker(), signal.butter(8, 2000, passes, fs=RATE, output="sos")])

    wave = take(other, noise_db=noise_db)

    assert ("no output", driver) in told(wave)
    assert listen_to(wave, RATE).response is not None


def test_against_a_healthy_take_a_smaller_loss_is_told():
    """7 dB lost below 1.2 kHz pass alone, and are told against the unit's healthy twin."""
    weak = np.vstack([loudspeaker(), shelf(1200, -8)])

    assert ("weak output", "woofer") not in told(take(weak))
    one = told(take(weak), take())["weak output", "woofer"]
    assert -8.5 < one.value < -5.0
    assert one.spread < 2.0


def test_hum_that_stays_when_the_volume_changes_is_constant():
    """The same hum under a programme 12 dB quieter arises after the control; hum 12 dB lower with it, before it."""
    seconds = take().size / RATE
    hum = 3e-3 * np.sin(2 * np.pi * 100 * np.arange(round(seconds * RATE)) / RATE)
    loud, quiet = take() + hum, take(gain=0.25)

    constant = told(loud, quiet + hum)["hum", "woofer"]
    follows = told(loud, quiet + 0.25 * hum)["hum", "woofer"]

    assert constant.with_volume == "constant"
    assert follows.with_volume == "follows"


def test_volume_is_not_taken_for_a_lost_driver():
    """Two settings of the control leave both drivers as they were."""
    assert told(take(gain=0.25), take()) == {}


def test_a_pair_in_one_take_is_compared():
    """Channel 1 is 0.5 dB louder and 3 samples later than channel 2 (62.5 µs at 48 kHz)."""
    left = take(noise_db=None)
    right = np.roll(left, -3) * 10 ** (-0.5 / 20)
    both = np.stack([left, right]) + 1e-5 * np.random.default_rng(3).standard_normal((2, left.size))

    pair = to_json(listen_to(both, RATE, pair=True))["pair"]

    assert pair["level_db"] == pytest.approx(0.5, abs=0.05)
    assert pair["delay_s"] == pytest.approx(3 / RATE, abs=1e-6)
    assert pair["polarity"] == "same"
    assert all(abs(band["db"] - 0.5) < 0.05 for band in pair["bands"])


def test_a_pair_needs_the_test_recording_in_both_channels():
    """One channel of noise: refused with the reason, everything else is there."""
    left = take()
    both = np.stack([left, 1e-3 * np.random.default_rng(4).standard_normal(left.size)])

    answer = to_json(listen_to(both, RATE, pair=True))

    assert answer["pair"] is None
    assert {"what": "pair", "why": "channel 2 holds no test recording."}.items() <= answer["refused"][-1].items()
    assert answer["response"] is not None


def test_the_near_field_ends_where_the_piston_begins_to_beam():
    """ka = 1 (Keele 1974): 343.2/(pi 0.13) = 840 Hz for 130 mm."""
    result = listen_to(take(), RATE, near_field=True, diameter_m=0.13)

    assert result.response is not None
    assert result.response.valid[1] == pytest.approx(343.2 / (np.pi * 0.13), rel=0.03)


def test_a_reversed_driver_is_told():
    """Low and high of a fourth-order crossover (Linkwitz and Riley 1976) subtract: a null at 2 kHz."""
    butter = signal.butter(2, 2000, fs=RATE, output="sos"), signal.butter(2, 2000, "high", fs=RATE, output="sos")
    pulse = np.zeros(4800)
    pulse[0] = 1
    low, high = (signal.sosfilt(np.vstack([each, each]), pulse) for each in butter)
    wave = signal.fftconvolve(take(), low - high)[: take().size]

    assert ("polarity reversed", None) in told(wave + 1e-5 * np.random.default_rng(5).standard_normal(wave.size))


def test_the_words_survive_the_document():
    """Evidence of the document is evidence again."""
    one = Evidence("hum", None, -50.0, "dB", 1.0, "constant")

    assert Evidence(**evidence_document((one,))[0]) == one
