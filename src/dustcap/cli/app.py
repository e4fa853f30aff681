"""Every command, in the order of the job."""

from __future__ import annotations

from typing import Annotated

import typer

from dustcap import __version__
from dustcap.cli import (
    bench_commands,
    board_commands,
    board_results_commands,
    demo_command,
    find_commands,
    impedance_command,
    job_commands,
    prove_commands,
    record_command,
    serve_command,
    soak_command,
    sound_commands,
)

ABOUT = """From complaint to a repair proven by measurement, for powered loudspeakers.

Commands are in the order of the job. Every one of them answers --help, and --json for other programs.

Mains and charged capacitors kill: this program does not replace local codes or a licensed person.
"""

app = typer.Typer(
    help=ABOUT, no_args_is_help=True, add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False
)


def _version(show: bool) -> None:
    if show:
        print(f"dustcap {__version__}")
        raise typer.Exit


@app.callback()
def about(
    version: Annotated[bool, typer.Option("--version", callback=_version, is_eager=True, help="print the version")] = (
        False
    ),
) -> None:
    """Options before the command."""


# numbers begin with a minus, and must not be taken for options there
NUMBERS = {"ignore_unknown_options": True}

app.command("intake")(job_commands.intake)
app.command("complain")(job_commands.complain)
app.command("sight")(job_commands.sight)
app.command("reading", context_settings=NUMBERS)(job_commands.reading)
app.command("twin")(job_commands.twin)
app.command("sheet")(board_results_commands.sheet)
app.command("leakmap")(board_results_commands.leakmap)
app.command("compare")(board_results_commands.compare)
app.command("hunt")(find_commands.hunt)
app.command("work")(job_commands.work)
app.command("stimulus")(sound_commands.stimulus)
app.command("record")(record_command.record)
app.command("listen")(sound_commands.listen)
app.command("impedance")(impedance_command.impedance)
app.command("soak")(soak_command.soak)
app.command("prove")(prove_commands.prove)
app.command("handover")(prove_commands.handover)
app.command("note")(job_commands.note)
app.command("correct")(job_commands.correct)
app.command("show")(bench_commands.show)
app.command("bench")(bench_commands.bench)
app.command("board")(board_commands.board)
app.command("blocks")(board_commands.blocks)
app.command("serve")(serve_command.serve)
app.command("demo")(demo_command.demo)
