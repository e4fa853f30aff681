"""Recordings: send one in, see what it says beside the one before and the twin's, fetch the test recording."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, File, Query, Request, Response, UploadFile
from fastapi.responses import HTMLResponse, RedirectResponse

from dustcap.errors import InputError, SignalError
from dustcap.job.bench import JobLine, jobs
from dustcap.job.desk import Desk, JobView, view
from dustcap.job.handover import limit_regions, verdict_line
from dustcap.job.handover_data import LimitRegion, VerdictLine
from dustcap.job.kept_takes import KeptTake, kept_file, kept_takes, newest
from dustcap.job.recordings import HowTaken, keep_recording
from dustcap.job.stimulus import CAUTIONS, write_stimulus
from dustcap.report.crackle_plot import crackle_plot
from dustcap.report.recording_plots import harmonics_plot, noise_plot, response_plot
from dustcap.web.entries import Word
from dustcap.web.frame import ANSWERS, AtDesk, JobNumber, page
from dustcap.web.guard import MOST_BYTES, checked
from dustcap.web.mistakes import Mistake, mistake_of
from dustcap.web.uploads import on_disk, sent

router = APIRouter(dependencies=[Depends(checked)], default_response_class=HTMLResponse, responses=ANSWERS)

PLOT_PT = 560.0
STIMULI = ("full", "quick")
FILE: dict[int | str, dict[str, Any]] = {200: {"content": {"application/octet-stream": {}}}}


@dataclass(frozen=True, slots=True)
class SoundPage:
    """Everything `sound.html` may use."""

    seen: JobView
    takes: tuple[KeptTake, ...]
    shown: KeptTake | None
    beside: KeptTake | None
    beside_words: str
    twin: int | None
    others: tuple[JobLine, ...]
    verdicts: tuple[VerdictLine, ...]
    plots: tuple[str, ...]
    cautions: tuple[str, ...]
    mistake: Mistake | None = None


@router.get("/jobs/{job}/sound")
def sound(
    request: Request,
    desk: AtDesk,
    job: JobNumber,
    take: Annotated[int | None, Query(ge=1, le=2**31, description="entry of the recording to show")] = None,
    twin: Annotated[int | None, Query(ge=1, le=2**31, description="job to set beside it")] = None,
) -> HTMLResponse:
    """What the recordings say."""
    return _show(request, desk, job, take=take, twin=twin)


@router.post("/jobs/{job}/sound", status_code=303)
def keep(
    request: Request,
    desk: AtDesk,
    job: JobNumber,
    when: Word = "",
    near_field: Word = "",
    power_on: Word = "",
    channel: Word = "",
    recording: Annotated[UploadFile | None, File(description="WAV or FLAC")] = None,
) -> Response:
    """Analyses a recording and keeps it with the job."""
    typed = {"when": when, "near_field": near_field, "power_on": power_on, "channel": channel}
    try:
        if recording is None or not sent(recording):
            raise InputError("no file was chosen.", where="recording", mend="Choose a WAV or FLAC file.")
        how = HowTaken(channel=_channel(channel), near_field=bool(near_field), power_on=bool(power_on))
        with on_disk(recording, MOST_BYTES, "recording") as path:
            kept = keep_recording(desk, job, path, _time(when), how)
    except (InputError, SignalError) as error:
        plain = error if isinstance(error, InputError) else InputError(error.what, where=error.where, mend=error.mend)
        found = mistake_of("sound", plain, typed)
        named = "" if found.field or error.where == "recording" else f"{error.where}: "
        mistake = Mistake("sound", named + found.line, found.field or "recording", typed)
        return _show(request, desk, job, mistake=mistake)
    return RedirectResponse(f"/jobs/{job}/sound?take={kept.entry}#shown", 303)


@router.get("/jobs/{job}/files/{position}", responses=FILE)
def file(desk: AtDesk, job: JobNumber, position: JobNumber) -> Response:
    """The file behind an entry, as it was kept."""
    name, content = kept_file(desk, job, position)
    kind = "application/pdf" if content.startswith(b"%PDF") else "application/octet-stream"
    quoted = name.encode("ascii", "replace").decode().replace('"', "'").replace("\\", "_")
    how = "inline" if kind == "application/pdf" else "attachment"
    return Response(content, media_type=kind, headers={"Content-Disposition": f'{how}; filename="{quoted}"'})


@router.get("/stimulus.wav", responses=FILE)
def stimulus(name: Annotated[Literal["full", "quick"], Query()] = "full") -> Response:
    """The test recording, to play from anything."""
    with tempfile.TemporaryDirectory(prefix="dustcap-") as folder:
        path = Path(folder, "stimulus.wav")
        write_stimulus(path, name=name)
        content = path.read_bytes()
    said = f'attachment; filename="dustcap {name}.wav"'
    return Response(content, media_type="audio/wav", headers={"Content-Disposition": said})


def _newest(takes: tuple[KeptTake, ...]) -> KeptTake | None:
    """The recording to show by itself: the last one of the test recording, else the last one."""
    found = [one for one in takes if not one.recording.power_on] or list(takes)
    return found[-1] if found else None


def _time(when: str) -> Literal["before", "after"]:
    if when == "before":
        return "before"
    if when == "after":
        return "after"
    raise InputError("was it made before or after the work?", where="when", mend="Choose one of the two.")


def _channel(text: str) -> int | None:
    if not text.strip():
        return None
    if not text.strip().isdecimal() or not 1 <= int(text) <= 64:
        raise InputError(f"there is no channel {text!r}.", where="channel", mend="Give 1, 2 ... or leave it empty.")
    return int(text)


def _show(
    request: Request,
    desk: Desk,
    job: int,
    *,
    take: int | None = None,
    twin: int | None = None,
    mistake: Mistake | None = None,
) -> HTMLResponse:
    seen, takes = view(desk, job), kept_takes(desk, job)
    shown = next((one for one in takes if one.position == take), None) or _newest(takes)
    beside, words = _beside(desk, shown, takes, twin)
    context = SoundPage(
        seen=seen,
        takes=takes,
        shown=shown,
        beside=beside,
        beside_words=words,
        twin=twin,
        others=tuple(line for line in jobs(desk) if line.job != job),
        verdicts=tuple(verdict_line(row) for row in shown.document.get("verdicts", ())) if shown else (),
        plots=_plots(shown, beside) if shown else (),
        cautions=CAUTIONS,
        mistake=mistake,
    )
    title = f"Sound, job {job}"
    return page(request, "sound.html", context, title=title, tab="sound", job=seen, status=422 if mistake else 200)


def _beside(
    desk: Desk, shown: KeptTake | None, takes: tuple[KeptTake, ...], twin: int | None
) -> tuple[KeptTake | None, str]:
    """The recording that the shown one is drawn with: the twin's when one is named, else the one before the work."""
    if shown is None or shown.recording.power_on:
        return None, ""
    if twin is not None:
        others = kept_takes(desk, twin)
        return newest(others, "after") or newest(others, "before"), f"twin, job {twin}"
    before = newest(takes, "before")
    if before is None or before.position == shown.position or shown.recording.when != "after":
        return None, ""
    return before, "before the work"


def _plots(shown: KeptTake, beside: KeptTake | None) -> tuple[str, ...]:
    now, old = shown.document, beside.document if beside else None
    limits: tuple[LimitRegion, ...] = limit_regions(now)
    drawn: list[Callable[[Mapping[str, Any], Mapping[str, Any] | None], str | None]] = [
        lambda one, other: response_plot(one, other, limits=limits, width=PLOT_PT),
        lambda one, other: harmonics_plot(one, other, limits=limits, width=PLOT_PT),
        lambda one, other: noise_plot(one, other, limits=limits, width=PLOT_PT),
        lambda one, other: crackle_plot(one, other, width=PLOT_PT),
    ]
    found = (draw(now, old) for draw in drawn)
    return tuple(svg for svg in found if svg)
