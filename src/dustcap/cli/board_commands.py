"""Commands about board descriptions: look one over, list the library of blocks."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dustcap.cli.edge import Json, answer

if TYPE_CHECKING:
    from rich.console import Console

    from dustcap.job.boards import BlockLine, BoardSummary

BoardFile = Annotated[Path, typer.Argument(help="board description (*.board.toml)", metavar="BOARD")]


def board(file: BoardFile, json: Json = False) -> None:
    """Check a board description."""
    from dustcap.job.boards import look_over

    summary = look_over(file)
    answer(json, asdict(summary), lambda out: _print_summary(out, summary))


def _print_summary(out: Console, summary: BoardSummary) -> None:
    revision = f", revision {summary.revision}" if summary.revision else ""
    out.print(f"{summary.board}{revision}", style="bold")
    out.print(f"{summary.parts} parts on {summary.nets} nets, {summary.placed} of them with their place")
    out.print("  " + ", ".join(f"{count} {kind}" for kind, count in summary.kinds.items()))
    for title, words in (
        ("blocks", ", ".join(f"{name} ({count})" for name, count in summary.blocks.items())),
        ("drivers", ", ".join(summary.drivers)),
        ("areas", ", ".join(summary.areas)),
    ):
        out.print(f"{title}: {words or 'none'}")
    out.print(f"{summary.assumed} values were not given and are assumed")
    for remark in summary.remarks:
        out.print(f"! {remark}", style="yellow")


def blocks(json: Json = False) -> None:
    """List the library of blocks."""
    from dustcap.job.boards import library

    lines = library()
    answer(json, {"blocks": [asdict(line) for line in lines]}, lambda out: _print_blocks(out, lines))


def _print_blocks(out: Console, lines: tuple[BlockLine, ...]) -> None:
    for line in lines:
        out.print(f'from = "{line.name}"', style="bold")
        out.print(f"  {line.says} ({line.parts} parts)" + (f" Source: {line.source}" if line.source else ""))
        for name, says in line.ports.items():
            out.print(f"    {name:<18} net: {says}")
        for name, default in line.settings.items():
            out.print(f"    {name:<18} set: {default}")
