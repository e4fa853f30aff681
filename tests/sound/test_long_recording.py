"""Hours in pieces: the same events as at once, level and faults where they are, flat memory."""

import tracemalloc
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
import soundfile
from cli.conftest import run as run  # the program in the test's own process
from sound.crackling import background, crackling, f1

from dustcap.errors import InputError, SignalError
from dustcap.sound.crackle import crackle_of
from dustcap.sound.long_recording import long_samples, scan_long
from dustcap.sound.noise import rest_of

RATE = 48_000


@pytest.fixture
def crackly(tmp_path):
    """Forty-two seconds with crackle and 100 Hz hum, as a 24-bit file; its path and the times of the events."""
    generator = np.random.default_rng(27)
    wave, times, _ = crackling(generator, 42.0, 1.0, lambda: generator.uniform(16, 40))
    wave = wave + 2e-3 * np.sin(2 * np.pi * 100.0 * np.arange(wave.size) / RATE)
    path = tmp_path / "soak.wav"
    soundfile.write(path, wave, RATE, subtype="PCM_24")
    return path, times


def test_the_events_are_those_of_the_whole_file_at_once(crackly):
    """Times, sizes, levels, threshold and rate are the same, to the last digit, in threads too."""
    path, times = crackly
    whole = soundfile.read(path, dtype="float32")[0]
    at_once = rest_of(whole, RATE).crackle

    with long_samples(path) as (samples, rate, _), ThreadPoolExecutor(2) as pool:
        scan = scan_long(samples, rate, spread=pool.map)

    assert scan.crackle == at_once
    assert f1(times, scan.crackle.times) > 0.95
    assert [line.order for line in scan.hum.lines] == [2]
    assert crackle_of(whole, RATE, hum=scan.hum) == at_once


def test_the_level_is_told_for_each_piece(tmp_path):
    """A fan that starts after 40 s lifts the third piece by 20 dB; r.m.s. and peak are those of the samples."""
    generator = np.random.default_rng(3)
    wave = 1e-3 * generator.standard_normal(60 * RATE)
    wave[40 * RATE :] *= 10

    scan = scan_long(wave, RATE)

    assert scan.rms_dbfs == pytest.approx((-60.0, -60.0, -40.0), abs=0.1)
    assert scan.peak_dbfs[2] == pytest.approx(20 * np.log10(np.abs(wave[40 * RATE :]).max()))
    assert (scan.clipping, scan.dropouts, scan.still) == ((), (), ())


def test_dropouts_and_clipping_are_found_where_they_are(tmp_path):
    """A held sample across the edge of two pieces, and a clipped thump, each at its time."""
    wave = background(np.random.default_rng(5), 45.0)
    held = slice(int(19.995 * RATE), int(20.015 * RATE))
    wave[held] = wave[held.start]
    thump = 3.0 * np.sin(2 * np.pi * 40 * np.arange(RATE // 10) / RATE)
    wave[30 * RATE : 30 * RATE + thump.size] += thump
    path = tmp_path / "faults.wav"
    soundfile.write(path, np.clip(wave, -1, 1), RATE, subtype="PCM_16")

    with long_samples(path) as (samples, rate, _):
        scan = scan_long(samples, rate)

    ((begin, end),) = scan.dropouts
    assert (begin, end) == (pytest.approx(19.995, abs=0.001), pytest.approx(20.015, abs=0.001))
    ((begin, end),) = scan.clipping
    assert 30.0 < begin < end < 30.1


def test_a_stretch_without_any_noise_is_named_and_the_rest_is_heard(tmp_path):
    """A recorder that gated twenty seconds away does not end the scan."""
    generator = np.random.default_rng(7)
    wave, times, _ = crackling(generator, 80.0, 0.5, lambda: 30.0)
    wave[20 * RATE : 40 * RATE] = 0.0
    kept = [at for at in times if not 20 <= at < 40]

    scan = scan_long(wave, RATE)

    assert scan.still == ((20.0, 40.0),)
    assert scan.crackle.windows == ((0.0, 20.0), (40.0, 80.0))
    assert f1(kept, scan.crackle.times) > 0.95


def test_memory_does_not_grow_with_the_length(tmp_path):
    """Three minutes take no more than one: less than 5 MB more, where the file holds 23 MB more as numbers."""
    peaks = []
    generator = np.random.default_rng(11)
    for minutes in (1, 3):
        path = tmp_path / f"{minutes}.wav"
        with soundfile.SoundFile(path, "w", RATE, 1, "PCM_16") as file:
            for _ in range(minutes):
                file.write(3e-3 * generator.standard_normal(60 * RATE))
        tracemalloc.start()
        with long_samples(path) as (samples, rate, _):
            scan_long(samples, rate)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()

    assert peaks[1] - peaks[0] < 5e6


def test_the_command_scans_and_judges(run, crackly, tmp_path):
    """`listen --long` answers JSON and text with the crackle's verdict; what it does not go with is refused."""
    path, times = crackly

    ran = run("listen", path, "--long", "--json")

    assert (ran.code, ran.err) == (0, "")
    assert ran.json["crackle"]["events"] == pytest.approx(len(times), abs=2)
    assert {row["what"]: row["verdict"] for row in ran.json["verdicts"]}["crackle"] == "fail"
    assert len(ran.json["long"]["rms_dbfs"]) == 3
    text = run("listen", path, "--long").out
    assert "hum lines at 100 Hz" in text
    assert run("listen", path, "--long", "--power-on").code == 2
    assert run("listen", path, "--long", "--channel", 2).code == 2


def test_a_long_recording_is_kept_as_what_it_says(run, crackly, tmp_path):
    """A note with its figures and the complaint with its measured rate; after a quiet night the crackle is denied."""
    path, _ = crackly
    at = ("--folder", tmp_path / "bench")
    run("intake", "--model", "m", "--unit", "u", *at)
    assert run("listen", path, "--long", "--job", 1, *at).code == 2

    kept = run("listen", path, "--long", "--job", 1, "--before", "--json", *at)
    assert (kept.code, kept.err) == (0, "")
    assert (kept.json["entry"], kept.json["complaints"]) == (2, [3])
    said = run("show", 1, *at).out
    assert f"{kept.json['crackle']['events']} crackles" in " ".join(said.split())

    quiet = tmp_path / "night.wav"
    soundfile.write(quiet, 1e-3 * np.random.default_rng(2).standard_normal(60 * RATE), RATE, subtype="PCM_24")
    run("work", 1, "resoldered", "--part", "C1", *at)
    after = run("listen", quiet, "--long", "--job", 1, "--after", "--json", *at)
    assert after.code == 0
    assert not after.json["crackle"]["events"]


def test_what_lasts_ten_minutes_is_scanned_by_itself(run, tmp_path, monkeypatch):
    """Beyond the limit no option is needed."""
    path = tmp_path / "soak.wav"
    soundfile.write(path, 1e-2 * np.random.default_rng(1).standard_normal(5 * RATE), RATE, subtype="PCM_16")
    assert "long" not in run("listen", path, "--json").json
    monkeypatch.setattr("dustcap.job.long_listen.LONG_S", 4.0)

    assert "long" in run("listen", path, "--json").json


def test_what_carries_no_answer_is_refused(tmp_path):
    """Silence throughout, too short, a channel that is not there, a file that is not finite."""
    with pytest.raises(SignalError, match="silent"):
        scan_long(np.zeros(30 * RATE), RATE)
    with pytest.raises(SignalError, match="shorter"):
        scan_long(np.ones(100), RATE)
    path = tmp_path / "x.wav"
    wave = np.random.default_rng(1).standard_normal(3 * RATE) * 0.01
    wave[RATE] = np.nan
    soundfile.write(path, wave, RATE, subtype="FLOAT")
    with pytest.raises(InputError, match="not a finite number"), long_samples(path) as (samples, rate, _):
        scan_long(samples, rate)
    with pytest.raises(InputError, match="no channel 3"), long_samples(path, 3):
        pass


def test_the_loudest_channel_is_taken(tmp_path):
    """Of two channels the one that hears something."""
    wave = np.random.default_rng(1).standard_normal((2 * RATE, 2)) * (1e-4, 1e-2)
    path = tmp_path / "two.wav"
    soundfile.write(path, wave, RATE, subtype="PCM_24")

    with long_samples(path) as (samples, _, number):
        assert number == 2
        assert np.std(samples[0:RATE]) == pytest.approx(1e-2, rel=0.02)
