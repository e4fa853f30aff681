"""What a recording tells the hunt stands in the job as complaints, once, and where the board knows the words."""

from __future__ import annotations

import numpy as np
import soundfile
from cli.boards import SMALL
from sound.takes import RATE, loudspeaker, played, recorded

from dustcap.job.desk import append, view
from dustcap.job.intake import take_in
from dustcap.job.payloads import Complaint, Intake, Work
from dustcap.job.recordings import keep_recording


def hum_take(path):
    wave = recorded(played("quick 1").samples, sections=loudspeaker(), noise_db=-85, skew_ppm=50)
    hum = 4e-3 * np.sin(2 * np.pi * 100 * np.arange(wave.size) / RATE)
    soundfile.write(path, wave + hum, RATE, subtype="PCM_24")
    return path


def opened(desk, tmp_path):
    board = tmp_path / "small.board.toml"
    board.write_text(SMALL)
    return take_in(desk, Intake(model="model 27", unit="left"), board).job


def test_hum_that_was_recorded_is_a_complaint_of_the_job(desk, tmp_path):
    """One entry with its measured level and its recording; crackle, listened for in vain, is denied if at all; a
    second take adds nothing that is known already."""
    job = opened(desk, tmp_path)
    take = hum_take(tmp_path / "hum.wav")

    kept = keep_recording(desk, job, take, "before")
    again = keep_recording(desk, job, take, "before")

    found = [fact for fact in view(desk, job).state.standing() if isinstance(fact.payload, Complaint)]
    (hum,) = [fact for fact in found if fact.payload.word == "hum"]
    assert hum.payload.seen
    assert hum.payload.recording == kept.entry
    assert hum.payload.measured.endswith("dB ± 1.0 dB")
    assert hum.position in kept.complaints
    assert again.complaints == ()


def test_a_take_from_before_says_nothing_of_the_board_after_the_work(desk, tmp_path):
    """Entered late, it adds no complaint; a take after the work does."""
    job = opened(desk, tmp_path)
    append(desk, job, Work(did="replaced", part="R1"))
    take = hum_take(tmp_path / "hum.wav")

    assert keep_recording(desk, job, take, "before").complaints == ()
    assert keep_recording(desk, job, take, "after").complaints != ()


def test_hum_that_passes_its_limit_is_no_complaint(desk, tmp_path):
    """A line far below the limit is told as absent, not as hum."""
    job = opened(desk, tmp_path)
    wave = recorded(played("quick 1").samples, sections=loudspeaker(), noise_db=-95, skew_ppm=50)
    wave = wave + 3e-5 * np.sin(2 * np.pi * 100 * np.arange(wave.size) / RATE)
    soundfile.write(tmp_path / "still.wav", wave, RATE, subtype="PCM_24")

    kept = keep_recording(desk, job, tmp_path / "still.wav", "after")

    assert kept.document["noise"]["hum"]
    found = view(desk, job).state.all(Complaint)
    assert [(one.word, one.seen) for one in found if one.word == "hum"] == [("hum", False)]
