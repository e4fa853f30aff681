"""What a board says before anything is measured: the service sheet, the leak map, two revisions side by side."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dustcap.cli.edge import Json, answer

BoardFile = Annotated[Path, typer.Argument(help="board description (*.board.toml)", metavar="BOARD")]


def sheet(
    file: BoardFile,
    signal: Annotated[str, typer.Option(help="signal at the first input")] = "1 kHz 100 mV",
    pdf: Annotated[Path | None, typer.Option(help="write it as PDF for the wall over the bench")] = None,
    json: Json = False,
) -> None:
    """Compute what a good board reads: the service sheet."""
    from dustcap.cli.board_results_text import print_sheet
    from dustcap.job.outputs import check_output, write_output
    from dustcap.job.sheet import read_signal, sheet_of_file

    if pdf is not None:
        check_output(pdf, ".pdf")
    found = sheet_of_file(file, *read_signal(signal))
    document = found.document
    if pdf is not None:
        from dustcap.report.sheet import sheet_pdf

        write_output(pdf, sheet_pdf(found))
        document |= {"file": str(pdf)}
    answer(json, document, lambda out: print_sheet(out, found, pdf))
