"""The demonstration at the command line: the scenario told as the commands would answer."""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from dustcap.cli.edge import Json, answer

if TYPE_CHECKING:
    from rich.console import Console

    from dustcap.job.hunt import HuntAnswer

SUSPECTS = 3


class Told:
    """Tells the walk on a console, with the same words as the commands."""

    def __init__(self, out: Console) -> None:
        self.out = out

    def heading(self, text: str) -> None:
        """A new unit or stage."""
        self.out.print(f"\n{text}\n{'=' * len(text)}", style="bold")

    def command(self, words: Sequence[str]) -> None:
        """The command that a technician would type here."""
        self.out.print(f"\n$ dustcap {shlex.join(words)}", style="cyan")

    def say(self, text: str) -> None:
        """One sentence."""
        self.out.print(text)

    def hunt(self, answer: HuntAnswer) -> None:
        """The leading suspects, the next check and the advice."""
        from dustcap.cli.hunt_text import print_short

        print_short(self.out, answer.document, SUSPECTS)

    def recording(self, document: Mapping[str, Any]) -> None:
        """What a recording says."""
        from dustcap.cli.listen_text import print_listen

        print_listen(self.out, document)

    def verdicts(self, rows: Sequence[Mapping[str, Any]]) -> None:
        """What the proof says."""
        from dustcap.cli.listen_text import print_verdicts

        print_verdicts(self.out, rows)


def demo(
    folder: Annotated[Path, typer.Argument(help="new folder for the demonstration's bench, recordings and sheet")],
    json: Json = False,
) -> None:
    """Play an invented job from complaint to hand-over."""
    from rich.console import Console

    from dustcap.cli.edge import console
    from dustcap.demo.walk import BENCH, Walk
    from dustcap.report.handover import handover_pdf

    told = Told(Console(stderr=True, quiet=True) if json else console())
    sheet = Walk(folder, told, handover_pdf).run()
    bench = folder / BENCH
    document = {"folder": str(folder), "bench": str(bench), "sheet": str(sheet)}
    lines = f"\nOpen {sheet}\nList the jobs with: dustcap bench --folder {bench}"
    answer(json, document, lambda out: out.print(lines))
