"""Commands about recordings: what to play, and what a recording says."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dustcap.cli.edge import Json, answer
from dustcap.errors import InputError

if TYPE_CHECKING:
    from rich.console import Console

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
