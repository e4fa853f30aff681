"""Recording through the audio interface: what the devices are, and play and record at once."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from dustcap.cli.edge import Author, Folder, Json, answer, desk, progress
from dustcap.errors import InputError, SafetyStop

if TYPE_CHECKING:
    from rich.console import Console

    from dustcap.bench.audio import Device
    from dustcap.bench.recorder import Recorded

STOPPED_BY_HAND = 130
MOST_PLACES = 5


def record(
    out: Annotated[Path | None, typer.Argument(help="WAV file to write", metavar="OUT.wav")] = None,
    devices: Annotated[bool, typer.Option("--devices", help="list the audio devices, and nothing else")] = False,
    play: Annotated[
        str, typer.Option(help="what to play meanwhile: full or quick (the test recording), or a file")
    ] = "",
    source: Annotated[str, typer.Option("--input", help="input device, by number or part of its name")] = "",
    sink: Annotated[str, typer.Option("--output", help="output device, by number or part of its name")] = "",
    level: Annotated[float, typer.Option(help="peak of what is played, dBFS; never above -3")] = -24.0,
    seconds: Annotated[float, typer.Option(help="how long to record when nothing is played")] = 0.0,
    channels: Annotated[int, typer.Option(help="input channels to record (default: two where there are two)")] = 0,
    rate: Annotated[int, typer.Option(help="samples a second; that of the file when one is played")] = 48000,
    no_check: Annotated[bool, typer.Option("--no-check", help="leave out the rising test tone")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="the cautions are read and met; for scripts")] = False,
    job: Annotated[int | None, typer.Option(help="keep it in this job, with --before or --after")] = None,
    before: Annotated[bool, typer.Option("--before", help="taken before the work")] = False,
    after: Annotated[bool, typer.Option("--after", help="taken after the work")] = False,
    folder: Folder = None,
    author: Author = "",
    json: Json = False,
) -> None:
    """Record, and play the test recording meanwhile.

    Esc, q or Ctrl-C stop at once.
    """
    from dustcap.bench.audio import PortAudio

    if devices:
        found = PortAudio().devices()
        answer(json, {"devices": found}, lambda text: _print_devices(text, found))
        return
    when = _when(job, before, after)
    out = _checked(out, play, seconds)
    if job is not None:
        _job_exists(job, folder, author)
    recorded = _recorded(out, play, (source, sink), level, seconds, channels, rate, no_check, yes)
    document = recorded.document
    if job is not None and when and not recorded.stopped:
        from dustcap.job.recordings import HowTaken, keep_recording

        with progress("listening"):
            kept = keep_recording(desk(folder, author), job, recorded.path, when, HowTaken())
        document |= {"job": job, "entry": kept.entry, "when": when}
    answer(json, document, lambda text: _print_recorded(text, document))
    if recorded.stopped:
        raise typer.Exit(STOPPED_BY_HAND)


def _when(job: int | None, before: bool, after: bool) -> Literal["", "before", "after"]:
    if (job is None and (before or after)) or (job is not None and before == after):
        raise InputError(
            "a recording is kept in a job as taken before or after the work.",
            where="record",
            mend="Give --job with one of --before and --after, or none of the three.",
        )
    return "before" if before else "after" if after else ""


def _checked(out: Path | None, play: str, seconds: float) -> Path:
    """The file to write, once everything that can be wrong without a device is right."""
    from dustcap.job.outputs import check_output

    if out is None:
        raise InputError("no file to write was named.", where="record", mend="Give OUT.wav, or --devices for the list.")
    check_output(out, ".wav")
    if bool(play) == (seconds > 0):
        raise InputError(
            "a take lasts as long as what is played, or a number of seconds.",
            where="record",
            mend="Give one of --play and --seconds.",
        )
    return out


def _job_exists(job: int, folder: Path | None, author: str) -> None:
    from dustcap.job.desk import view

    view(desk(folder, author), job)


def _recorded(
    out: Path,
    play: str,
    devices: tuple[str, str],
    level: float,
    seconds: float,
    channels: int,
    rate: int,
    no_check: bool,
    yes: bool,
) -> Recorded:
    from threading import Event

    from dustcap.bench.audio import PortAudio
    from dustcap.bench.keys import stop_keys
    from dustcap.bench.level import check_level
    from dustcap.bench.recorder import Order, Recorder
    from dustcap.job.live import programme

    check_level(level)
    played = programme(play, rate) if play else None
    order = Order(
        path=out,
        source=devices[0],
        sink=devices[1],
        channels=channels,
        rate=played.rate if played else rate,
        played=played.samples if played else None,
        name=played.name if played else "",
        level_dbfs=level,
        seconds=seconds,
        check=not no_check,
    )
    recorder = Recorder(PortAudio(), order)
    if played is not None and not yes:
        _confirm()
    stop = Event()
    with _meter() as look, stop_keys(stop) as keyboard:
        if keyboard:
            print("Esc, q or Ctrl-C stop at once.", file=sys.stderr)
        return recorder.run(stop, look)


def _confirm() -> None:
    """The cautions, and a yes to them."""
    from dustcap.job.live import BEFORE_PLAYING

    for caution in BEFORE_PLAYING:
        print(f"! {caution}", file=sys.stderr)
    if not sys.stdin or not sys.stdin.isatty():
        raise SafetyStop("nothing is played before the cautions are met.", where="record", mend="Confirm with --yes.")
    if not typer.confirm("All of this is met. Play now?", err=True):
        raise SafetyStop("not confirmed, nothing was played.", where="record")


def _meter() -> Any:
    from dustcap.cli.level_meter import level_meter

    return level_meter()


def _print_devices(out: Console, found: tuple[Device, ...]) -> None:
    for one in found:
        marks = [word for word, on in (("input", one.default_input), ("output", one.default_output)) if on]
        default = f"  (default {' and '.join(marks)})" if marks else ""
        out.print(f"{one.number:>3}  {one.name}  [{one.system}]  {one.inputs} in, {one.outputs} out{default}")
    if not found:
        out.print("no audio device was found")


def _print_recorded(out: Console, row: dict[str, Any]) -> None:
    head = f"{row['file']}: {row['seconds']:.1f} s, {row['sample_rate'] / 1000:g} kHz, {row['channels']} channel(s)"
    out.print(head + (f"; {row['stopped']}, kept as it is" if row["stopped"] else ""), style="bold")
    out.print(f"input   peak {row['peak_dbfs']:.1f} dBFS, r.m.s. {row['rms_dbfs']:.1f} dBFS")
    if row["played"]:
        out.print(f"played  {row['played']} at a peak of {row['level_dbfs']:g} dBFS")
    for warning in row["warnings"]:
        places = ", ".join(f"{at:.2f} s" for at in warning["at_s"][:MOST_PLACES])
        out.print(f"! {warning['what']}{f' at {places}' if places else ''}: {warning['do']}", style="yellow")
    if row.get("entry"):
        out.print(f"job {row['job']}, entry {row['entry']}: {row['when']} the work")
