"""Listening to hours: a recording in which nothing was played, scanned in pieces on all cores."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, Literal

import numpy as np

from dustcap.errors import SignalError
from dustcap.job.desk import Desk, add, view
from dustcap.job.findings import board_names
from dustcap.job.heard import told
from dustcap.job.payloads import Note, Work
from dustcap.job.recordings import KeptRecording
from dustcap.proof.judge import judge
from dustcap.proof.limits import default_limits
from dustcap.sound.document import crackle_document, evidence_document, figure, figures
from dustcap.sound.evidence import crackle_evidence
from dustcap.sound.health import Stretches
from dustcap.sound.long_recording import LongScan, long_samples, scan_long
from dustcap.sound.noise import mains_locked
from dustcap.sound.played import DROPOUT_DO
from dustcap.sound.recording import opened
from dustcap.sound.result import SPEECH, SPEECH_DO

Document = dict[str, Any]

LONG_S = 600.0
"""From here on a recording is scanned in pieces."""
CLIPPING_DO = "lower the recording level by 6 dB"
STILL_DO = "nothing was heard there: check the cable, the input and the recorder's noise gate"


def is_long(path: Path) -> bool:
    """Whether a recording lasts longer than ten minutes.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    with opened(path) as sound:
        return bool(sound.frames > LONG_S * sound.samplerate)


def listen_long(path: Path, *, channel: int | None = None, progress: Callable[[float], None] | None = None) -> Document:
    """What hours of recording tell, as the document of `dustcap listen`, with ``long`` for the level over the time.

    Raises
    ------
    InputError
        If the file or the channel is wrong.
    SignalError
        If it is silent throughout.
    """
    with long_samples(path, channel) as (samples, rate, number), ThreadPoolExecutor(_cores()) as pool:
        try:
            scan = scan_long(samples, rate, spread=_spread(pool), progress=progress)
        except SignalError as error:
            raise SignalError(error.what, where=str(path), mend=error.mend) from error
    document = _document(path, scan, rate, number)
    document["verdicts"] = [one.as_document() for one in judge(document, default_limits()).verdicts]
    return document


def keep_long(
    desk: Desk,
    job: int,
    path: Path,
    when: Literal["before", "after"],
    *,
    channel: int | None = None,
    progress: Callable[[float], None] | None = None,
) -> KeptRecording:
    """Scan hours and keep what they say in a job: a note, and the complaints that follow.

    The recording itself is too long to be kept; the note has its name.

    Raises
    ------
    InputError, SignalError
        As `listen_long`; nothing is kept then.
    RecordError
        If there is no such job.
    """
    seen = view(desk, job)
    document = listen_long(path, channel=channel, progress=progress)
    known, state = board_names(seen.board_text), seen.state
    with desk.open() as bench, bench.write() as write:
        entry = add(write, desk, job, Note(text=_said(document, when)))
        late = when == "before" and state.last(Work) is not None
        heard = [] if late else [add(write, desk, job, one) for one in told(document, entry, known, state)]
        return KeptRecording(entry, document, tuple(heard))


def _said(document: Document, when: str) -> str:
    long, crackle = document["long"], document["crackle"]
    hours = f"{document['recording']}, {document['seconds'] / 3600:.2f} h, {when} the work, nothing played"
    said = [f"{hours}: level {long['middle_rms_dbfs']:.1f} dBFS"]
    if crackle:
        rate = " to ".join(f"{3600 * crackle[bound]:.3g}" for bound in ("low", "high"))
        said.append(f"{crackle['events']} crackles, {rate} an hour (95 %)")
    said += [f"{one['what']} at {one['where'][0][0]:.1f} s" for one in document["warnings"]]
    return "; ".join(said) + ". The recording itself is not kept here."


def _cores() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else (os.cpu_count() or 1)


def _spread(pool: ThreadPoolExecutor) -> Callable[[Callable[[Any], Any], Iterable[Any]], Iterable[Any]]:
    """A map in threads (the libraries let go of the interpreter), with only a few pieces in memory at a time."""

    def spread(work: Callable[[Any], Any], items: Iterable[Any]) -> Iterator[Any]:
        waiting: list[Any] = []
        for item in items:
            waiting.append(pool.submit(work, item))
            if len(waiting) > 2 * _cores():
                yield waiting.pop(0).result()
        for one in waiting:
            yield one.result()

    return spread


def _document(path: Path, scan: LongScan, rate: int, channel: int) -> Document:
    hum, crackle = scan.hum, scan.crackle
    why = scan.crackle_refused
    rms = np.array(scan.rms_dbfs)
    return {
        "layout": 1,
        "recording": path.name,
        "sample_rate": rate,
        "channel": channel,
        "found_stimulus": False,
        "stimulus": None,
        "seconds": figure(scan.seconds, 3),
        "sweep_dbfs": None,
        "warnings": [
            *_warned("clipping", scan.clipping, CLIPPING_DO),
            *_warned("dropouts", scan.dropouts, DROPOUT_DO),
            *_warned("no noise at all", scan.still, STILL_DO),
            *_warned(SPEECH, scan.speech, SPEECH_DO),
        ],
        "refused": [{"what": "crackle", "why": why, "do": "Record again."}] if crackle is None else [],
        "response": None,
        "harmonics": None,
        "harmonics_total": None,
        "irregular": None,
        "noise": None,
        "crackle": crackle_document(crackle, mains_locked(crackle, hum)) if crackle else None,
        "polarity": None,
        "polarity_drivers": None,
        "thump": None,
        "evidence": evidence_document((crackle_evidence(crackle),)) if crackle and crackle.found else [],
        "verdicts": [],
        "against": None,
        "long": {
            "piece_s": scan.piece_s,
            "rms_dbfs": figures(scan.rms_dbfs, 2),
            "peak_dbfs": figures(scan.peak_dbfs, 2),
            "middle_rms_dbfs": figure(float(np.median(rms)), 2),
            "mains_hz": figure(hum.mains_hz, 4),
            "hum": [{"order": line.order, "hz": figure(line.hz, 4), "db": figure(line.db, 2)} for line in hum.lines],
        },
    }


def _warned(what: str, where: Stretches, do: str) -> list[Document]:
    return [{"what": what, "where": [figures(span, 4) for span in where], "do": do}] if where else []
