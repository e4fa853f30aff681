"""Whole recordings in, one document out: every block there, spoiled ones named, nothing that JSON cannot hold."""

import json

import numpy as np
import pytest
from scipy import signal
from sound.takes import RATE, loudspeaker, played, recorded

from dustcap.errors import InputError, SignalError
from dustcap.sound.document import to_json
from dustcap.sound.listen import listen_to
from dustcap.sound.stimulus import Stimulus

# the fields of the contract "results", layout 1, `dustcap listen`
FIELDS = {
    "layout", "sample_rate", "channel", "found_stimulus", "stimulus", "reference", "clock_skew_ppm", "snr_db",
    "warnings", "refused", "response", "harmonics", "irregular", "noise", "crackle", "polarity", "polarity_drivers",
    "thump", "evidence", "verdicts", "against",
}  # fmt: skip
SWEEP_BLOCKS = {"response", "harmonics", "irregular", "polarity"}


def take(name="quick 1", distort=0.0, **how):
    wave = played(name).samples
    settings = {"sections": loudspeaker(), "noise_db": -80, "skew_ppm": 100} | how
    return recorded(wave + distort * wave**2, **settings)


def document(samples, rate=RATE, **how):
    answer = to_json(listen_to(samples, rate, **how))
    json.dumps(answer, allow_nan=False)
    return answer


def refused(answer):
    return {each["what"] for each in answer["refused"]}


def warned(answer):
    return {each["what"] for each in answer["warnings"]}


def test_a_good_recording_gives_every_block():
    """All fields of the contract, nothing refused, nothing to warn of."""
    answer = document(take(distort=0.05))

    assert answer.keys() >= FIELDS
    assert answer["found_stimulus"] is True
    assert answer["stimulus"] == "quick 1"
    assert answer["clock_skew_ppm"] == pytest.approx(100, abs=0.1)
    assert answer["warnings"] == []
    assert answer["refused"] == []
    assert answer["harmonics"][0].keys() >= {"order", "hz", "db_below_fundamental", "valid"}
    assert answer["irregular"]["events"] == []
    assert answer["response"].keys() >= {"hz", "db", "valid", "gate_s", "smoothing", "uncertainty_db"}
    assert len(answer["response"]["hz"]) == len(answer["response"]["db"]) == len(answer["response"]["uncertainty_db"])
    assert answer["noise"]["dbfs_a"] == pytest.approx(-80 + 3.01 - 2.7, abs=0.3)  # white 0 to 24 kHz reads -2.722 dB(A)
    assert answer["crackle"]["found"] is False
    assert answer["polarity"] == "+"


def test_the_ratio_is_sweep_over_gap():
    """S/N is the r.m.s. of the sweep against that of the gap: a 0.25 peak sine over noise of -60 dB."""
    answer = document(take(sections=None, noise_db=-60))

    expected_db = 20 * np.log10(10 ** (-12 / 20) / np.sqrt(2) / 1e-3)
    assert answer["snr_db"] == pytest.approx(expected_db, abs=0.15)


def test_the_channel_with_the_stimulus_is_found():
    """Silence, noise, and the recording on channel 3."""
    good = take()
    noise = 1e-3 * np.random.default_rng(1).standard_normal(good.size)

    assert document(np.stack([np.zeros(good.size), noise, good]))["channel"] == 3
    assert document(np.stack([good, noise]), channel=2)["found_stimulus"] is False


def test_a_fast_recorder_hears_what_the_stimulus_carried():
    """A 96 kHz recording of the 48 kHz stimulus: the response ends where the stimulus ends."""
    answer = document(take(at_rate=96000), 96000)

    assert answer["sample_rate"] == 96000
    assert 19000 < answer["response"]["valid"][1] <= 20000


def test_near_field_is_passed_on():
    """Down to the sweep's start, up to ka = 1 of the piston assumed."""
    answer = document(take(echoes=((0.005, 0.3),)), near_field=True)

    assert answer["response"]["near_field"] is True
    assert answer["response"]["valid"][0] < 25
    assert answer["response"]["valid"][1] < 700


def test_outside_the_valid_band_there_is_null():
    """A gate of 5 ms leaves null below 200 Hz."""
    answer = document(take(echoes=((0.0055, 0.4),)))

    hz, db = np.array(answer["response"]["hz"]), answer["response"]["db"]
    low, high = answer["response"]["valid"]
    assert all((value is None) == (not low - 0.01 <= at <= high + 0.01) for at, value in zip(hz, db, strict=True))
    assert 1 / answer["response"]["gate_s"] <= low + 0.01


def test_a_recording_of_noise_gives_noise_hum_and_crackle():
    """No stimulus: the whole file is the rest; nothing is refused, the other blocks are null."""
    times_s = np.arange(10 * RATE) / RATE
    hum = 1e-3 * np.sin(2 * np.pi * 100.04 * times_s) + 2e-4 * np.sin(2 * np.pi * 200.08 * times_s)
    answer = document(hum + 1e-4 * np.random.default_rng(2).standard_normal(times_s.size))

    assert answer["found_stimulus"] is False
    assert answer["noise"]["mains_hz"] == pytest.approx(50.02, abs=0.01)
    assert answer["noise"]["hum_kind"] == "ripple"
    assert answer["crackle"]["windows"] == [[0.0, 10.0]]
    assert refused(answer) == set()
    assert all(answer[block] is None for block in SWEEP_BLOCKS)


def test_a_dropout_in_the_sweep_spoils_its_blocks_only():
    """Response and what hangs on it are refused, noise and crackle stay."""
    samples = take("full 1")
    samples[13 * RATE : 13 * RATE + 2400] = 0.0

    answer = document(samples)

    assert warned(answer) == {"dropouts"}
    assert refused(answer) == SWEEP_BLOCKS
    assert all(answer[block] is None for block in SWEEP_BLOCKS)
    assert answer["noise"] is not None


@pytest.mark.parametrize("every", [None, 3360], ids=["once", "again and again"])
def test_lost_or_added_samples_spoil_the_sweep(every):
    """64 samples lost once, or two added every 70 ms as a badly set-up driver does: no response is given."""
    samples = take("full 1")
    if every is None:
        spoiled = np.delete(samples, slice(13 * RATE, 13 * RATE + 64))
    else:
        at = np.repeat(np.arange(every, samples.size - 2000, every), 2)
        spoiled = np.insert(samples, at, samples[at])

    answer = document(spoiled)

    assert warned(answer) == {"samples lost or added"}
    assert refused(answer) == SWEEP_BLOCKS


def test_a_slow_room_does_not_make_crackle():
    """A decay of 0.9 s: the gap counts from where it has come down to the noise."""
    rng = np.random.default_rng(3)
    times_s = np.arange(RATE) / RATE
    room = 0.08 * rng.standard_normal(RATE) * 10 ** (-3 * times_s / 0.9)
    room[0] = 1.0
    samples = recorded(signal.fftconvolve(played("quick 1").samples, room), sections=loudspeaker(), noise_db=-80)

    answer = document(samples)

    assert answer["crackle"]["events"] == 0
    assert answer["crackle"]["windows"][0][0] > 0.7 + 1.43 + 0.7
    assert answer["noise"]["dbfs_a"] == pytest.approx(-80 + 3.01 - 2.7, abs=0.5)
    assert "dropouts" not in warned(answer)


def test_a_clipped_sweep_spoils_its_blocks():
    """Clipped over most of the sweep: warned with where and what to do, refused."""
    samples = np.clip(4 * take(noise_db=-95), -0.4, 0.4)

    answer = document(samples)

    (warning,) = answer["warnings"]
    assert warning["what"] == "clipping"
    assert all(start < stop for start, stop in warning["where"])
    assert "6 dB" in warning["do"]
    assert refused(answer) == SWEEP_BLOCKS


def test_a_little_clipping_costs_a_little_of_the_band():
    """Clipped at the resonance only: the response ends where clipping begins, and says so."""
    samples = take("full 1", noise_db=-95)
    limit = 0.93 * np.abs(samples).max()

    answer = document(np.clip(samples, -limit, limit))

    assert "clipping" in warned(answer)
    assert answer["response"] is not None
    assert answer["response"]["valid"][1] < 19000


@pytest.mark.parametrize(
    ("begin_s", "end_s", "missing", "lost"),
    [
        (0.0, 12.0, "second pilot missing", SWEEP_BLOCKS),
        (0.0, 19.5, "second pilot missing", set()),
        (5.0, 40.0, "first pilot missing", set()),
        (21.0, 40.0, "first pilot missing", SWEEP_BLOCKS),
    ],
)
def test_a_cut_recording_gives_what_is_left(begin_s, end_s, missing, lost):
    """Cut in the sweep its blocks go; cut elsewhere they stay. The noise comes from whichever gap is there."""
    answer = document(take("full 1")[int(begin_s * RATE) : int(end_s * RATE)])

    assert warned(answer) == {missing}
    assert refused(answer) == lost
    assert answer["noise"] is not None
    assert answer["clock_skew_ppm"] == pytest.approx(100, abs=1)


def test_a_level_that_changed_takes_the_response():
    """Automatic gain: the curve is not the loudspeaker's."""
    samples = take("full 1")
    samples[: 14 * RATE] *= 0.6

    answer = document(samples)

    assert "level not held" in warned(answer)
    assert "response" in refused(answer)
    assert answer["harmonics"] is not None


def test_polarity_needs_twenty_decibels():
    """Below 20 dB the sign is null, with its reason."""
    answer = document(take(noise_db=-35))

    assert answer["snr_db"] < 20
    assert answer["polarity"] is None
    assert "polarity" in refused(answer)
    assert "low signal-to-noise ratio" in warned(answer)


def test_an_inverted_recording_is_told():
    """The sign of the woofer against the stimulus."""
    assert document(take(gain=-1.0))["polarity"] == "-"


def test_a_foreign_stimulus_needs_to_be_named():
    """Unknown by itself; with its samples it gives the response, and no irregular distortion."""
    times_s = np.arange(4 * RATE) / RATE
    growth = 4 / np.log(1000)
    sweep = 0.25 * np.sin(2 * np.pi * 20 * growth * np.expm1(times_s / growth)) * np.clip((4 - times_s) / 0.02, 0, 1)
    wave = np.concatenate([np.zeros(2 * RATE), sweep, np.zeros(2 * RATE)])
    samples = recorded(wave, sections=loudspeaker(), noise_db=-80)

    assert document(samples)["found_stimulus"] is False
    answer = document(samples, stimulus=Stimulus(wave, RATE, "sweep of ours", None))
    assert answer["found_stimulus"] is True
    assert answer["stimulus"] == "foreign"
    assert answer["response"]["valid"][1] > 15000
    assert refused(answer) == {"irregular"}


def test_a_named_stimulus_that_is_not_there_is_refused_by_name():
    """The blocks of the sweep are refused, the noise stays."""
    wave = np.random.default_rng(1).standard_normal(2 * RATE)
    answer = document(
        1e-3 * np.random.default_rng(2).standard_normal(8 * RATE), stimulus=Stimulus(wave, RATE, "x", None)
    )

    assert refused(answer) == SWEEP_BLOCKS
    assert answer["noise"] is not None


def test_evidence_is_what_was_found():
    """Hum against the sweep as recorded: it does not change with the recorder's gain."""
    values = []
    for gain in (1.0, 0.05):
        samples = take("full 1", noise_db=-95)
        times_s = np.arange(samples.size) / RATE
        samples = gain * (samples + 2e-3 * np.sin(2 * np.pi * 100 * times_s) + 5e-4 * np.sin(2 * np.pi * 200 * times_s))
        (hum,) = document(samples)["evidence"]
        assert (hum["complaint"], hum["unit"]) == ("hum", "dB")
        values.append(hum["value"])

    assert values[0] == pytest.approx(values[1], abs=0.1)


@pytest.mark.parametrize(
    ("samples", "rate", "how", "says"),
    [
        (np.zeros((2, 9 * RATE)), RATE, {"channel": 3}, "no channel 3: the recording has 2 channels"),
        (np.zeros((1, 9 * RATE)), RATE, {"channel": 0}, "no channel 0"),
        (np.ones((1, RATE)), 22050, {}, "22050 Hz"),
        (np.full((1, 2 * RATE), np.nan), RATE, {}, "finite"),
        (np.zeros((1, 1)), RATE, {}, "finite"),
    ],
)
def test_wrong_input_is_refused(samples, rate, how, says):
    """The option or the file is wrong in itself."""
    with pytest.raises(InputError, match=says):
        listen_to(samples, rate, **how)


@pytest.mark.parametrize(
    ("samples", "says"),
    [
        (np.zeros(5 * RATE), "silent"),
        (np.full(5 * RATE, 0.25), "silent"),
        (0.1 * np.random.default_rng(1).standard_normal(RATE // 2), "lasts 0.5 s"),
    ],
)
def test_a_fine_file_without_an_answer_is_refused(samples, says):
    """Silent, constant, or too short."""
    with pytest.raises(SignalError, match=says):
        listen_to(samples, RATE)


def test_the_same_samples_give_the_same_answer():
    """Twice the same, to the last digit; in single precision, in the tenth of a decibel."""
    samples = take()

    first, again = document(samples), document(samples)
    single = document(samples.astype(np.float32))

    assert first == again
    assert np.allclose(
        *([x for x in each["response"]["db"] if x is not None] for each in (first, single)), rtol=0, atol=0.01
    )
