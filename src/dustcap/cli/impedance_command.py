"""Command about impedance: what to play, and what a two-channel recording or a table says."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from dustcap.cli.edge import Author, Folder, Json, answer, desk, progress
from dustcap.errors import InputError
from dustcap.quantities import read

if TYPE_CHECKING:
    from rich.console import Console


class Box(StrEnum):
    """What the driver is mounted in."""

    closed = "closed"
    vented = "vented"


def impedance(
    recording: Annotated[
        Path | None, typer.Argument(help="WAV or FLAC of both sides of the resistor, or CSV: Hz, ohm, degrees")
    ] = None,
    resistor: Annotated[str | None, typer.Option(help="the known resistor: '10 ohm'")] = None,
    resistor_tolerance: Annotated[str, typer.Option(help="its tolerance, or that of --known-resistor")] = "1 %",
    play: Annotated[
        Path | None, typer.Option(help="write the sweep to play, and say how to wire", metavar="OUT.wav")
    ] = None,
    calibration: Annotated[Path | None, typer.Option(help="recording with both inputs on the source side")] = None,
    known_resistor: Annotated[str | None, typer.Option(help="ohms of a resistor put in the driver's place")] = None,
    known_resistor_recording: Annotated[Path | None, typer.Option(help="recording of it")] = None,
    source_channel: Annotated[int, typer.Option(help="channel of the source side, 1 or 2")] = 1,
    leads: Annotated[str, typer.Option(help="resistance of the leads to the driver, taken off")] = "0",
    box: Annotated[Box | None, typer.Option(help="what the driver is mounted in (default: free air)")] = None,
    added_mass: Annotated[str | None, typer.Option(help="mass fixed on the cone, grams")] = None,
    added_mass_recording: Annotated[Path | None, typer.Option(help="recording with it")] = None,
    test_box: Annotated[str | None, typer.Option(help="volume of a closed test box, litres")] = None,
    test_box_recording: Annotated[Path | None, typer.Option(help="recording on it")] = None,
    diameter: Annotated[str | None, typer.Option(help="cone, between the middles of the surround, mm")] = None,
    twin: Annotated[Path | None, typer.Option(help="the healthy twin, or this one before, measured alike")] = None,
    louder: Annotated[Path | None, typer.Option(help="the same at a higher level: shows a rubbing coil")] = None,
    rated: Annotated[str | None, typer.Option(help="rated impedance: '8 ohm'")] = None,
    cold: Annotated[str | None, typer.Option(help="d.c. resistance when cold: gives the coil's temperature")] = None,
    cold_temperature: Annotated[str, typer.Option(help="temperature then")] = "20 degC",
    plot: Annotated[Path | None, typer.Option(help="draw the curve", metavar="OUT.svg")] = None,
    driver: Annotated[str, typer.Option(help="which driver, for the job")] = "",
    job: Annotated[int | None, typer.Option(help="keep it in this job: before or after")] = None,
    before: Annotated[bool, typer.Option("--before", help="taken before the work")] = False,
    after: Annotated[bool, typer.Option("--after", help="taken after the work")] = False,
    folder: Folder = None,
    author: Author = "",
    json: Json = False,
) -> None:
    """Measure a driver or a cabinet by its impedance, with two inputs and a known resistor."""
    from dustcap.job.impedance import HowWired, keep_impedance
    from dustcap.job.impedance import impedance as measured

    if play is not None:
        _play(play, recording, json)
        return
    if recording is None:
        raise InputError("no recording.", where="impedance", mend="Name one; --play OUT.wav writes what to play.")
    if (job is None and (before or after)) or (job is not None and before == after):
        raise InputError(
            "an impedance is kept in a job as taken before or after the work.",
            where="impedance",
            mend="Give --job with one of --before and --after, or none of the three.",
        )
    if plot is not None:
        from dustcap.job.outputs import check_output

        check_output(plot, ".svg")
    how = HowWired(
        resistor_ohm=_asked(resistor, "ohm", "--resistor"),
        resistor_tolerance=read(resistor_tolerance, "%", "--resistor-tolerance"),
        source_channel=source_channel,
        leads_ohm=read(leads, "ohm", "--leads"),
        calibration=calibration,
        known=known_resistor_recording,
        known_ohm=_asked(known_resistor, "ohm", "--known-resistor"),
        box=box.value if box else "",
        added_kg=_scaled(_asked(added_mass, "g", "--added-mass"), 1e-3),
        added=added_mass_recording,
        test_box_m3=_scaled(_asked(test_box, "L", "--test-box"), 1e-3),
        test_box=test_box_recording,
        diameter_m=_asked(diameter, "mm", "--diameter"),
        twin=twin,
        louder=louder,
        rated_ohm=_asked(rated, "ohm", "--rated"),
        cold_ohm=_asked(cold, "ohm", "--cold"),
        cold_c=read(cold_temperature, "degC", "--cold-temperature"),
    )
    document: dict[str, Any]
    with progress("measuring"):
        if job is None:
            document = measured(recording, how)
        else:
            when: Literal["before", "after"] = "before" if before else "after"
            kept = keep_impedance(desk(folder, author), job, recording, when, how, driver)
            document = dict(kept.document) | {"job": job, "entry": kept.entry, "complaints": list(kept.complaints)}
    if plot is not None:
        _draw(plot, document)
    from dustcap.cli.impedance_text import print_impedance

    answer(json, document, lambda out: print_impedance(out, document))


def _play(path: Path, recording: Path | None, json: bool) -> None:
    from dustcap.job.impedance_files import RATE_HZ, WIRING, write_impedance_stimulus

    if recording is not None:
        raise InputError("--play writes a file and reads none.", where="impedance", mend="Leave the recording out.")
    seconds = write_impedance_stimulus(path)

    def words(out: Console) -> None:
        out.print(f"{path}: sweep for impedance, {seconds:.0f} s, {RATE_HZ // 1000} kHz, 24 bit")
        for line in WIRING:
            out.print(f"! {line}", style="yellow")

    answer(json, {"file": str(path), "seconds": seconds, "sample_rate": RATE_HZ, "wiring": list(WIRING)}, words)


def _draw(path: Path, document: Mapping[str, Any]) -> None:
    from dustcap.job.outputs import write_output
    from dustcap.report.impedance_plot import impedance_plot

    drawing = impedance_plot(document)
    if drawing is None:
        raise InputError("there is no curve to draw.", where="--plot", mend="Leave --plot out: the text says why.")
    write_output(path, drawing.encode())


def _asked(text: str | None, unit: str, where: str) -> float | None:
    return None if text is None else read(text, unit, where)


def _scaled(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor
