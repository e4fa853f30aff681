"""Proving a repair and handing the unit over."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dustcap.cli.edge import Author, Folder, Job, Json, answer, desk

if TYPE_CHECKING:
    from rich.console import Console

    from dustcap.job.prove import Proven


def prove(
    job: Job,
    twin: Annotated[int | None, typer.Option(help="job of the other unit of the pair")] = None,
    reference: Annotated[
        Path | None, typer.Option(help="recording of the model's reference unit, from the same place")
    ] = None,
    gain_changed: Annotated[
        bool, typer.Option("--gain-changed", help="the recorder's gain was changed between that take and this one")
    ] = False,
    pdf: Annotated[Path | None, typer.Option(help="write the page of verdicts and plots", metavar="OUT.pdf")] = None,
    folder: Folder = None,
    author: Author = "",
    json: Json = False,
) -> None:
    """Judge the repair by its recordings."""
    from dustcap.job.outputs import check_output, write_output
    from dustcap.job.prove import prove as judged

    if pdf is not None:
        check_output(pdf, ".pdf")
    at = desk(folder, author)
    proven = judged(at, job, twin=twin, reference=reference, gain_changed=gain_changed)
    if pdf is not None:
        from dustcap.job.handover import gather_proof
        from dustcap.report.handover import proof_pdf

        write_output(pdf, proof_pdf(gather_proof(at, job)))
    answer(json, {"job": job} | asdict(proven), lambda out: _print_proven(out, job, proven))


def _print_proven(out: Console, job: int, proven: Proven) -> None:
    from dustcap.cli.listen_text import print_verdicts

    out.print(f"job {job}, entry {proven.entry}: {proven.overall}", style="bold")
    print_verdicts(out, proven.verdicts)
    for line in proven.not_measured:
        out.print(f"- not measured: {line}")


def handover(
    job: Job,
    out: Annotated[Path, typer.Argument(help="PDF file to write", metavar="OUT.pdf")],
    risk: Annotated[list[str] | None, typer.Option(help="a remaining risk, in words; can be repeated")] = None,
    folder: Folder = None,
    author: Author = "",
    json: Json = False,
) -> None:
    """Write the sheet that leaves with the unit."""
    from dustcap.job.handover import gather, keep_sheet
    from dustcap.job.outputs import check_output, write_output
    from dustcap.report.handover import handover_pdf

    check_output(out, ".pdf")
    at, risks = desk(folder, author), tuple(risk or ())
    sheet = handover_pdf(gather(at, job, remaining=risks))
    write_output(out, sheet)
    entry = keep_sheet(at, job, sheet, remaining=risks)
    document = {"job": job, "entry": entry, "file": str(out), "bytes": len(sheet)}
    answer(json, document, lambda text: text.print(f"job {job}, entry {entry}: written to {out}"))
