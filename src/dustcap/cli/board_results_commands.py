"""What a board says before anything is measured: the service sheet, the leak map, two revisions side by side."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dustcap.cli.edge import Json, answer, progress

BoardFile = Annotated[Path, typer.Argument(help="board description (*.board.toml)", metavar="BOARD")]


def sheet(
    file: BoardFile,
    signal: Annotated[str, typer.Option(help="signal at the first input")] = "1 kHz 100 mV",
    pdf: Annotated[Path | None, typer.Option(help="write it as PDF for the wall over the bench")] = None,
    power_up: Annotated[bool, typer.Option("--power-up", help="follow switch-on too: takes a minute or so")] = False,
    json: Json = False,
) -> None:
    """Compute what a good board reads: the service sheet."""
    from dustcap.cli.board_results_text import print_sheet
    from dustcap.job.outputs import check_output, write_output
    from dustcap.job.sheet import read_signal, sheet_of_file

    if pdf is not None:
        check_output(pdf, ".pdf")
    found = sheet_of_file(file, *read_signal(signal), power_up=power_up)
    document = found.document
    if pdf is not None:
        from dustcap.report.sheet import sheet_pdf

        write_output(pdf, sheet_pdf(found))
        document |= {"file": str(pdf)}
    answer(json, document, lambda out: print_sheet(out, found, pdf))


def leakmap(
    file: BoardFile,
    pair: Annotated[tuple[str, str] | None, typer.Option(help="these two nets only", metavar="NET NET")] = None,
    dc_limit: Annotated[str, typer.Option(help="d.c. that is too much at a driver")] = "50 mV",
    picture: Annotated[Path | None, typer.Option(help="draw the board, shaded, as SVG")] = None,
    json: Json = False,
) -> None:
    """Compute which leakage between which nets matters: the leak map."""
    from dustcap.cli.board_results_text import print_leak_map
    from dustcap.job.leak_map import map_leaks
    from dustcap.job.outputs import check_output, write_output

    if picture is not None:
        check_output(picture, ".svg")
    with progress("computing what every leak would do") as show:
        found = map_leaks(file, pair, dc_limit, progress=show)
    document = found.document
    if picture is not None:
        from dustcap.report.leak_picture import leak_picture

        write_output(picture, leak_picture(found).encode())
        document |= {"file": str(picture)}
    answer(json, document, lambda out: print_leak_map(out, found, picture))


def compare(
    old: Annotated[Path, typer.Argument(help="the older board (*.board.toml)", metavar="BOARD")],
    new: Annotated[Path, typer.Argument(help="the newer board (*.board.toml)", metavar="BOARD")],
    signal: Annotated[str, typer.Option(help="signal at the first input")] = "1 kHz 100 mV",
    json: Json = False,
) -> None:
    """Compare two revisions of a board: parts, blocks, and what a good one reads."""
    from dustcap.cli.board_results_text import print_comparison
    from dustcap.job.compare import compare_files
    from dustcap.job.sheet import read_signal

    found = compare_files(old, new, *read_signal(signal))
    answer(json, found.document, lambda out: print_comparison(out, found))
