"""Real streams through a headless audio server whose output is its input: what comes in is what went out."""

import json
import signal
import subprocess
import sys
import time

import numpy as np
import pytest
import soundfile

RATE = 48_000


@pytest.fixture
def stimulus(tmp_path):
    """Two seconds of white noise with silence before and after it, 24 bit; the file and its samples."""
    noise = 0.2 * np.random.default_rng(27).standard_normal(2 * RATE)
    samples = np.concatenate([np.zeros(RATE // 4), np.clip(noise, -0.9, 0.9), np.zeros(RATE // 4)])
    path = tmp_path / "noise.wav"
    soundfile.write(path, samples, RATE, subtype="FLOAT")
    return path, samples


def started(loopback, *words):
    """The program with these words, on the loop's devices."""
    command = [sys.executable, "-m", "dustcap.cli.main", "record", *map(str, words)]
    pipe = subprocess.PIPE
    return subprocess.Popen(
        command, env=loopback.environment, stdin=subprocess.DEVNULL, stdout=pipe, stderr=pipe, text=True
    )


def test_what_comes_in_is_what_went_out_sample_for_sample(loopback, stimulus, tmp_path):
    """Every sample that was played at -12 dBFS is in the recording as it was, the lag is one, nothing is warned of."""
    path, samples = stimulus
    out = tmp_path / "take.wav"
    words = (out, "--play", path, "--input", loopback.hear, "--output", loopback.play, "--level", "-12", "--yes")

    told, said = started(loopback, *words, "--json").communicate(timeout=40)

    document = json.loads(told or said)
    heard, rate = soundfile.read(out, dtype="float32", always_2d=True)
    single = samples.astype(np.float32)
    gain, cap = 10 ** (-12 / 20) / float(np.abs(single).max()), np.float32(10 ** (-12 / 20))
    played = np.clip(single * np.float32(gain), -cap, cap)
    lag = int(document["lag"]["places"][0]["samples"])
    assert rate == RATE
    assert (document["warnings"], document["stopped"]) == ([], "")
    assert document["lag"]["steady"]
    assert document["lag"]["kept_time"]
    assert len(document["lag"]["places"]) >= 3
    assert lag > RATE // 2
    assert heard.shape[1] == 2
    assert np.array_equal(heard[lag : lag + len(played)], np.stack([played, played], axis=1))
    # the tone before the take came back at the level at which it went out, out of digital silence
    assert document["level_check"]["tone_dbfs"] == pytest.approx(-12.0, abs=0.1)
    assert document["level_check"]["noise_dbfs"] < -150


def test_an_interrupt_fades_out_at_once_and_keeps_what_came_in(loopback, tmp_path):
    """Ctrl-C ends the take within a quarter of a second; the file is whole, and is called stopped."""
    tone = tmp_path / "tone.wav"
    soundfile.write(tone, 0.5 * np.sin(2 * np.pi * 997 / RATE * np.arange(30 * RATE)), RATE, subtype="PCM_24")
    out = tmp_path / "take.wav"
    words = (out, "--play", tone, "--input", loopback.hear, "--output", loopback.play, "--no-check", "--yes", "--json")
    process = started(loopback, *words)
    part = tmp_path / "take.wav.part"
    deadline = time.monotonic() + 20
    while not (part.exists() and part.stat().st_size > 3 * 8 * RATE) and time.monotonic() < deadline:
        time.sleep(0.02)

    process.send_signal(signal.SIGINT)
    told, said = process.communicate(timeout=20)

    assert process.returncode == 130, said
    document = json.loads(told)
    heard, _ = soundfile.read(tmp_path / "take.stopped.wav", dtype="float32")
    assert document["stopped"] == "stopped by hand"
    assert document["file"].endswith("take.stopped.wav")
    assert not out.exists()
    assert not part.exists()
    assert len(heard) == round(document["seconds"] * RATE)
    assert np.abs(heard).max() == pytest.approx(10 ** (-24 / 20), rel=1e-3)


def test_a_device_that_is_not_there_is_named_with_those_that_are(loopback, stimulus, tmp_path):
    """A wrong name ends with one line and exit 2, and leaves no file."""
    out = tmp_path / "take.wav"

    process = started(loopback, out, "--play", stimulus[0], "--yes", "--input", "no such thing")
    told, said = process.communicate(timeout=20)

    assert (process.returncode, told) == (2, "")
    (line,) = said.strip().splitlines()
    assert loopback.hear in line
    assert not out.exists()


def test_the_list_of_devices_holds_the_loop(loopback):
    """`--devices` names what can be recorded from and played to."""
    told, _ = started(loopback, "--devices", "--json").communicate(timeout=20)

    names = {row["name"]: row for row in json.loads(told)["devices"]}

    assert names[loopback.hear]["inputs"] >= 1
    assert names[loopback.play]["outputs"] >= 1
