"""Recordings: what one says, held against another and against the limits; and keeping it with a job."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from dustcap.errors import InputError, SignalError
from dustcap.job.desk import Desk, add, view
from dustcap.job.findings import board_names
from dustcap.job.heard import told
from dustcap.job.payloads import Recording, Work
from dustcap.proof.judge import judge
from dustcap.proof.limits import Limits, default_limits
from dustcap.sound.against import against as compare
from dustcap.sound.against import against_document
from dustcap.sound.calibration import NOMINAL_DB, calibration_of
from dustcap.sound.document import evidence_document, to_json
from dustcap.sound.evidence import Evidence, evidence_against
from dustcap.sound.listen import listen_to
from dustcap.sound.recording import read_recording
from dustcap.sound.stimulus import Stimulus

Document = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class HowTaken:
    """How a recording was taken, as far as its samples cannot tell."""

    channel: int | None = None
    near_field: bool = False
    power_on: bool = False
    gain_changed: bool = False  # between this take and the one it is compared with
    stimulus: Path | None = None  # what was played, when it was not the test recording
    pair: bool = False  # channels 1 and 2 are two loudspeakers
    diameter_m: float | None = None  # of the diaphragm, for the near field
    gate_s: float | None = None  # of the response; found from the first reflection when left out
    smoothing: int | None = None  # denominator of the octave fraction
    calibrator: Path | None = None  # its tone, recorded with the same microphone and gain
    calibrator_db: float = NOMINAL_DB


def listen(
    path: Path,
    how: HowTaken | None = None,
    *,
    against: Path | None = None,
    limits: Limits | None = None,
) -> Document:
    """Everything that a recording tells, as the document of `dustcap listen`.

    Parameters
    ----------
    path : Path
        WAV or FLAC.
    how : HowTaken, optional
        How it was taken; the other recording was taken in the same way, but for the channel.
    against : Path, optional
        Another recording that it is compared with.
    limits : mapping, optional
        What it is held against; the program's own when left out.

    Raises
    ------
    InputError
        If a file or an option is wrong.
    SignalError
        If a recording is in order but carries no answer.
    """
    how = how or HowTaken()
    if how.power_on and how.stimulus is not None:
        raise InputError(
            "nothing is played in a power-on recording.", where="--stimulus", mend="Leave out one of the two."
        )
    played = _played(how.stimulus)
    other = None
    if against is not None:
        same_way = replace(how, channel=None, pair=False, stimulus=None, calibrator=None)
        other = _heard(against, same_way, played)
    document = _heard(path, how, played)
    document["verdicts"] = [one.as_document() for one in judge(document, limits or default_limits()).verdicts]
    if against is not None and other is not None:
        difference = compare(document, other, gain_changed=how.gain_changed)
        document["against"] = against_document(difference, against.name)
        alone = tuple(Evidence(**one) for one in document["evidence"])
        document["evidence"] = evidence_document(evidence_against(alone, difference))
    return document


def _heard(path: Path, how: HowTaken, played: Stimulus | None) -> dict[str, Any]:
    recording = read_recording(path)
    shape: dict[str, Any] = {}
    if how.diameter_m is not None:
        shape["diameter_m"] = how.diameter_m
    if how.smoothing is not None:
        shape["smoothing"] = how.smoothing
    try:
        result = listen_to(
            recording.samples,
            recording.rate,
            channel=how.channel,
            near_field=how.near_field,
            power_on=how.power_on,
            stimulus=played,
            pair=how.pair,
            gate_s=how.gate_s,
            **shape,
        )
    except SignalError as error:
        raise SignalError(error.what, where=str(path), mend=error.mend) from error
    except InputError as error:
        raise InputError(error.what, where=f"{path}, {error.where}", mend=error.mend) from error
    document = {"layout": 1, "recording": path.name} | to_json(result)
    return document | {"calibration": _calibration(how, result.channel, document)}


def _calibration(how: HowTaken, channel: int, document: Document) -> dict[str, Any] | None:
    """What full scale stands for, and the levels that follow in sound pressure."""
    if how.calibrator is None:
        return None
    tone = read_recording(how.calibrator)
    number = channel if tone.samples.shape[0] >= channel else 1
    try:
        found = calibration_of(tone.samples[number - 1], tone.rate, how.calibrator_db)
    except SignalError as error:
        raise SignalError(error.what, where=str(how.calibrator), mend=error.mend) from error
    noise, sweep = document.get("noise"), document.get("sweep_dbfs")
    return {
        "recording": how.calibrator.name,
        "level_db_spl": how.calibrator_db,
        "hz": round(found.hz, 2),
        "full_scale_db_spl": round(found.full_scale_db, 3),
        "uncertainty_db": round(found.uncertainty_db, 3),
        "noise_db_spl_a": None if not noise else round(noise["dbfs_a"] + found.full_scale_db, 2),
        "sweep_db_spl": None if sweep is None else round(sweep + found.full_scale_db, 2),
    }


def _played(path: Path | None) -> Stimulus | None:
    if path is None:
        return None
    recording = read_recording(path)
    return Stimulus(recording.samples[0].astype(float), recording.rate, path.name, None)


@dataclass(frozen=True, slots=True)
class KeptRecording:
    """A recording that was kept: its entry, what it says, and the complaints that it adds to the hunt, by entry."""

    entry: int
    document: Document
    complaints: tuple[int, ...] = ()


def keep_recording(
    desk: Desk,
    job: int,
    path: Path,
    when: Literal["before", "after"],
    how: HowTaken | None = None,
    *,
    against: Path | None = None,
) -> KeptRecording:
    """Analyse a recording and keep it, with what it says, in a job.

    Raises
    ------
    InputError, SignalError
        As `listen`; nothing is kept then.
    RecordError
        If there is no such job.
    """
    how = how or HowTaken()
    seen = view(desk, job)
    known, state = board_names(seen.board_text), seen.state
    document = listen(path, how, against=against)
    content = path.read_bytes()
    with desk.open() as bench, bench.write() as write:
        at = desk.now()
        recording = Recording(
            name=path.name,
            file=write.add_file(path.name, content, at),
            result=write.add_file(f"{path.stem}.listen.json", json.dumps(document, allow_nan=False).encode(), at),
            when=when,
            near_field=how.near_field,
            power_on=how.power_on,
            channel=how.channel,
        )
        entry = add(write, desk, job, recording)
        late = when == "before" and state.last(Work) is not None  # it speaks of a board that is no more
        heard = [] if late else [add(write, desk, job, one) for one in told(document, entry, known, state)]
        return KeptRecording(entry, document, tuple(heard))
