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
    if summary.covers:
        out.print("covers: " + ", ".join(f"{name} ({minutes:g} min)" for name, minutes in summary.covers.items()))
    out.print(f"{summary.assumed} values were not given and are assumed")
    for remark in summary.remarks:
        out.print(f"! {remark}", style="yellow")


def blocks(
    pictures: Annotated[Path | None, typer.Option(help="draw every block as SVG into this folder")] = None,
    json: Json = False,
) -> None:
    """List the library of blocks, and draw them."""
    from dustcap.job.boards import library

    lines = library()
    document: dict[str, object] = {"blocks": [asdict(line) for line in lines]}
    if pictures is not None:
        from dustcap.job.drawn_blocks import drawn_library
        from dustcap.job.outputs import check_output, write_output
        from dustcap.report.drawn_block import block_svg

        files = {block.name: pictures / f"{block.name.replace(' ', '_')}.svg" for block in drawn_library()}
        for file in files.values():
            check_output(file, ".svg")
        for block in drawn_library():
            write_output(files[block.name], block_svg(block).encode())
        document["files"] = [str(file) for file in files.values()]
    answer(json, document, lambda out: _print_blocks(out, lines))


def _print_blocks(out: Console, lines: tuple[BlockLine, ...]) -> None:
    for line in lines:
        out.print(f'from = "{line.name}"', style="bold")
        out.print(f"  {line.says} ({line.parts} parts)" + (f" Source: {line.source}" if line.source else ""))
        for name, says in line.ports.items():
            out.print(f"    {name:<18} net: {says}")
        for name, default in line.settings.items():
            out.print(f"    {name:<18} set: {default}")
