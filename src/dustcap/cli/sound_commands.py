"""Commands about recordings: what to play, and what a recording says."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from dustcap.cli.edge import Author, Folder, Json, answer, desk, progress
from dustcap.errors import InputError
from dustcap.quantities import read

if TYPE_CHECKING:
    from rich.console import Console

    from dustcap.job.desk import Desk
    from dustcap.job.recordings import KeptRecording
    from dustcap.job.stimulus import Written


def stimulus(
    out: Annotated[Path, typer.Argument(help="WAV file to write", metavar="OUT.wav")],
    quick: Annotated[bool, typer.Option("--quick", help="the short one: less is told, sooner")] = False,
    full: Annotated[bool, typer.Option("--full", help="the full one (this is the default)")] = False,
    rate: Annotated[int, typer.Option(help="samples a second: 44100 to 192000")] = 48000,
    json: Json = False,
) -> None:
    """Write the test recording, to play from anything."""
    from dustcap.job.stimulus import CAUTIONS, write_stimulus

    if quick and full:
        raise InputError("quick and full exclude each other.", where="stimulus", mend="Leave one out.")
    written = write_stimulus(out, name="quick" if quick else "full", rate=rate)
    document = {"file": written.file, "stimulus": written.stimulus, "sample_rate": written.sample_rate}
    document |= {"seconds": written.seconds, "bits": written.bits, "peak_dbfs": written.peak_dbfs}
    answer(json, document, lambda text: _print_written(text, written, CAUTIONS))


def _print_written(out: Console, written: Written, cautions: tuple[str, ...]) -> None:
    rate = f"{written.sample_rate / 1000:g} kHz, {written.bits} bit"
    out.print(f"{written.file}: {written.stimulus!r}, {written.seconds:.1f} s, {rate}, peak {written.peak_dbfs:g} dBFS")
    out.print("Play it once from start to end; start recording before it and stop after it, all automatics off.")
    for caution in cautions:
        out.print(f"! {caution}", style="yellow")


def listen(
    recording: Annotated[Path, typer.Argument(help="WAV or FLAC, 44.1 to 192 kHz", metavar="RECORDING")],
    against: Annotated[Path | None, typer.Option(help="another recording to compare with")] = None,
    channel: Annotated[int | None, typer.Option(help="channel, from 1 (default: the one with the signal)")] = None,
    near_field: Annotated[bool, typer.Option("--near-field", help="the microphone stood at the diaphragm")] = False,
    power_on: Annotated[
        bool, typer.Option("--power-on", help="nothing is played; it starts before the mains switch")
    ] = False,
    stimulus: Annotated[Path | None, typer.Option(help="what was played, if not the test recording")] = None,
    diameter: Annotated[str, typer.Option(help="of the diaphragm, with --near-field: `130 mm`", metavar="LENGTH")] = "",
    gate: Annotated[
        str, typer.Option(help="length of the response's gate: `5 ms` (default: found)", metavar="TIME")
    ] = "",
    smoothing: Annotated[str, typer.Option(help="of the response, in octaves: `1/3`", metavar="1/N")] = "",
    calibrator: Annotated[
        Path | None, typer.Option(help="recording of a sound calibrator: levels in sound pressure too")
    ] = None,
    calibrator_level: Annotated[float, typer.Option(help="what the calibrator's label says, dB")] = 94.0,
    pair: Annotated[bool, typer.Option("--pair", help="channels 1 and 2 are two loudspeakers in one take")] = False,
    gain_changed: Annotated[
        bool, typer.Option("--gain-changed", help="the recorder's gain was changed between the two takes")
    ] = False,
    long: Annotated[
        bool, typer.Option("--long", help="hours, nothing played: scan in pieces (by itself beyond ten minutes)")
    ] = False,
    job: Annotated[int | None, typer.Option(help="keep it in this job, with --before or --after")] = None,
    before: Annotated[bool, typer.Option("--before", help="taken before the work")] = False,
    after: Annotated[bool, typer.Option("--after", help="taken after the work")] = False,
    folder: Folder = None,
    author: Author = "",
    json: Json = False,
) -> None:
    """Analyse a recording."""
    from dustcap.cli.listen_text import print_listen
    from dustcap.job.recordings import HowTaken, keep_recording
    from dustcap.job.recordings import listen as heard

    if (job is None and (before or after)) or (job is not None and before == after):
        raise InputError(
            "a recording is kept in a job as taken before or after the work.",
            where="listen",
            mend="Give --job with one of --before and --after, or none of the three.",
        )
    when: Literal["before", "after"] = "before" if before else "after"
    more = any(one is not None for one in (against, stimulus, calibrator)) or near_field or power_on or pair
    if long and more:
        raise InputError(
            "a long recording is scanned alone.", where="--long", mend="Give --channel, --job and --json only."
        )
    if long or (not more and _lasts_long(recording)):
        _listen_long(recording, channel, json, job, when, lambda: desk(folder, author))
        return
    if diameter and not near_field:
        raise InputError("a diameter counts in the near field only.", where="--diameter", mend="Add --near-field.")
    diameter_m = read(diameter, "m", "--diameter") if diameter else None
    how = HowTaken(
        channel,
        near_field,
        power_on,
        gain_changed,
        stimulus,
        pair,
        diameter_m,
        read(gate, "s", "--gate") if gate else None,
        _fraction(smoothing),
        calibrator,
        calibrator_level,
    )
    with progress("listening"):
        if job is None:
            document = dict(heard(recording, how, against=against))
        else:
            kept = keep_recording(desk(folder, author), job, recording, when, how, against=against)
            document = _with_entries(kept, job)
    answer(json, document, lambda out: print_listen(out, document))


def _lasts_long(recording: Path) -> bool:
    from dustcap.job.long_listen import is_long

    return is_long(recording)


def _with_entries(kept: KeptRecording, job: int) -> dict[str, Any]:
    return dict(kept.document) | {"job": job, "entry": kept.entry, "complaints": list(kept.complaints)}


def _listen_long(
    recording: Path,
    channel: int | None,
    json: bool,
    job: int | None,
    when: Literal["before", "after"],
    at: Callable[[], Desk],
) -> None:
    from dustcap.cli.listen_text import print_listen
    from dustcap.job.long_listen import keep_long, listen_long

    with progress("listening") as show:
        if job is None:
            document = listen_long(recording, channel=channel, progress=show)
        else:
            document = _with_entries(keep_long(at(), job, recording, when, channel=channel, progress=show), job)
    answer(json, document, lambda out: print_listen(out, document))


def _fraction(text: str) -> int | None:
    """The denominator of ``1/N``."""
    if not text:
        return None
    one, _, number = text.partition("/")
    if one.strip() != "1" or not number.strip().isdecimal():
        raise InputError(f"{text!r} is no octave fraction.", where="--smoothing", mend="Write it like 1/3 or 1/24.")
    return int(number)
