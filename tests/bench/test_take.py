"""A take on cards that exist only here: order of the streams, stop, watch, dropouts, the file that is kept."""

from threading import Event

import numpy as np
import pytest
import soundfile
from bench.fake import BOX, LINE, RATE, Cards

from dustcap.bench.audio import Device, find_device
from dustcap.bench.level import amplitude
from dustcap.bench.recorder import Order, Recorder
from dustcap.bench.take import Route, take
from dustcap.errors import DeviceError, InputError, SignalError

ROUTE = Route(LINE, RATE, 1, BOX, 2, cap_dbfs=-12.0)


def noise(seconds, seed=1):
    """White noise, shape (n, 1), well under full scale."""
    samples = 0.05 * np.random.default_rng(seed).standard_normal((round(seconds * RATE), 1))
    return samples.astype(np.float32)


def taken(cards, played, **settings):
    """The take and everything that came in."""
    blocks = []
    found = take(cards, ROUTE, played, blocks.append, **settings)
    return found, np.concatenate(blocks)[:, 0]


def recorder(cards, path, **order):
    """A recorder on these cards."""
    return Recorder(cards, Order(path=path, **order))


def test_the_output_starts_once_the_input_has_delivered_half_a_second():
    """Nothing of what was played is lost at the beginning, and a second is recorded after its end."""
    played = noise(1.0)

    found, heard = taken(Cards(), played)

    assert found.begins >= RATE // 2
    assert (found.stopped, found.complaints) == ("", ())
    at = int(np.argmax(np.correlate(heard, played[:4000, 0], "valid")))
    assert np.array_equal(heard[at : at + RATE], played[:, 0])
    assert len(heard) >= at + RATE + RATE // 2


def test_nothing_ever_goes_out_above_the_cap():
    """Ten times too loud, infinite or no number: the output stays under the cap."""
    loud = 10 * noise(0.5)
    loud[100:110], loud[200:210] = np.inf, np.nan
    cards = Cards()

    taken(cards, loud)

    out = np.concatenate(cards.out)
    assert np.abs(out).max() <= np.float32(amplitude(-12.0))
    assert np.all(np.isfinite(out))


def test_a_stop_fades_out_within_20_ms_and_keeps_what_came_in():
    """After the stop the output falls without a step to nothing; the take says that it was stopped."""
    cards, stop = Cards(), Event()
    tone = (0.2 * np.sin(2 * np.pi * 1000 / RATE * np.arange(5 * RATE)))[:, None].astype(np.float32)

    def look(glance):
        if glance.seconds > 2.0:
            stop.set()

    found, heard = taken(cards, tone, stop=stop, look=look)

    out = np.concatenate(cards.out)
    after = out[np.flatnonzero(np.abs(out) > 0)[-1] - 2 * RATE // 10 :]
    envelope = np.abs(after).reshape(-1)
    last_loud = int(np.flatnonzero(envelope > 0.19)[-1])
    assert found.stopped == "stopped by hand"
    assert found.seconds == pytest.approx(len(heard) / RATE)
    assert 2.0 < found.seconds < 2.5
    assert len(np.flatnonzero(envelope[last_loud:] > 1e-3)) < 0.02 * RATE
    assert np.abs(np.diff(after)).max() < 1.05 * 0.2 * 2 * np.pi * 1000 / RATE


def test_a_stop_before_the_output_opens_plays_nothing():
    """A stop during the first half second ends the take at once."""
    cards, stop = Cards(), Event()
    stop.set()
    blocks = []
    cards.wait(0.1)

    with pytest.raises(DeviceError, match="nothing came in"):
        take(cards, ROUTE, noise(1.0), blocks.append, stop=stop)

    assert cards.out == []


@pytest.mark.parametrize(("side", "word"), [("still_at", "input"), ("mute_at", "output")])
def test_a_stream_that_stands_still_ends_the_take_by_name(side, word):
    """The watch on both streams: two seconds without a call end it, and what came in before is kept."""
    found, heard = taken(Cards(**{side: 2 * RATE}), noise(4.0))

    assert found.stopped == f"the {word} stood still for 2 s"
    assert len(heard) > RATE


def test_an_input_that_never_delivers_is_an_error():
    """One clear line, with what to do."""
    with pytest.raises(DeviceError, match=r"nothing came in from line.*--input"):
        taken(Cards(still_at=0), noise(1.0))


def test_without_anything_to_play_it_records_for_so_long():
    """A plain recording of two seconds opens no output."""
    cards = Cards(noise=0.01)

    found, heard = taken(cards, None, seconds=2.0)

    assert 2.0 <= found.seconds < 2.1
    assert cards.wanted is None
    assert np.std(heard) == pytest.approx(0.01, rel=0.02)


@pytest.mark.parametrize(
    ("cards", "says"),
    [
        (Cards(lose_at=2 * RATE, lose=256), "samples were lost or came twice"),
        (Cards(flag_at=2 * RATE), "input overflow"),
        (Cards(gain=40.0), "clipping"),
        (Cards(gain=0.0, noise=0.01), "too little of what was played is heard"),
        (Cards(gain=0.0), "silence"),
    ],
    ids=["lost", "flag", "clipped", "deaf", "silent"],
)
def test_what_weakens_a_take_is_named(tmp_path, cards, says):
    """Lost samples that no flag tells of, the driver's own flags, clipping, nothing heard."""
    found = recorder(cards, tmp_path / "take.wav", played=noise(3.0), check=False).run()

    assert any(says in warning["what"] for warning in found.document["warnings"]), found.document["warnings"]


def test_a_clean_take_is_warned_of_nothing(tmp_path):
    """The file holds what was played, at the level that was asked for; the level check saw the tone."""
    found = recorder(Cards(noise=1e-4), tmp_path / "take.wav", played=noise(2.0), level_dbfs=-20.0).run()

    heard, rate = soundfile.read(found.path, always_2d=True)
    assert (found.path, found.stopped, rate) == (tmp_path / "take.wav", "", RATE)
    assert found.document["warnings"] == []
    assert found.document["lag"]["kept_time"]
    assert found.document["peak_dbfs"] == pytest.approx(-20.0, abs=0.05)
    assert heard.shape == (round(found.document["seconds"] * RATE), 2)
    assert found.document["level_check"]["tone_dbfs"] == pytest.approx(-20.0, abs=0.1)


@pytest.mark.parametrize(
    ("cards", "says"),
    [(Cards(gain=20.0), "the input clips"), (Cards(gain=0.0, noise=0.01), "does not arrive")],
    ids=["clips", "deaf"],
)
def test_the_level_check_stops_before_the_sweep(tmp_path, cards, says):
    """An input that clips, or hears nothing, is said before anything else is played."""
    made = recorder(cards, tmp_path / "take.wav", played=noise(2.0), level_dbfs=-20.0)

    with pytest.raises(SignalError, match=says):
        made.run()

    assert list(tmp_path.iterdir()) == []
    assert sum(map(len, cards.out)) <= 3.2 * RATE
    if "clips" in says:  # the tone came down before it reached its level
        assert np.abs(np.concatenate(cards.out)).max() < 0.6 * amplitude(-20.0)


def test_a_take_that_breaks_is_kept_as_stopped(tmp_path):
    """When the input stands still, the file says so in its name, and the next one does not overwrite it."""
    for name in ("take.stopped.wav", "take.stopped.2.wav"):
        found = recorder(Cards(still_at=2 * RATE), tmp_path / "take.wav", played=noise(3.0), check=False).run()

        assert found.path == tmp_path / name
        assert found.stopped.startswith("the input stood still")
        assert soundfile.info(found.path).frames > RATE


def test_a_file_that_is_there_is_not_overwritten(tmp_path):
    """Takes are evidence."""
    path = tmp_path / "take.wav"
    path.write_bytes(b"evidence")

    with pytest.raises(InputError, match="there already"):
        recorder(Cards(), path, seconds=1.0).run()

    assert path.read_bytes() == b"evidence"


def test_devices_are_found_by_number_name_or_default():
    """A part of the name is enough when it is one device's only."""
    found = (LINE, BOX, Device(2, "box two", "test", 2, 2, RATE))

    assert find_device(found, "", output=True) == BOX
    assert find_device(found, "2", output=False).name == "box two"
    assert find_device(found, "TWO", output=True).name == "box two"
    assert find_device(found, "box", output=True) == BOX
    with pytest.raises(InputError, match=r"none of them.*0 line"):
        find_device(found, "phone", output=False)
    with pytest.raises(InputError, match=r"more than one.*1 box, 2 box two"):
        find_device(found, "bo", output=True)
    with pytest.raises(DeviceError, match="no audio input"):
        find_device((BOX,), "", output=False)
