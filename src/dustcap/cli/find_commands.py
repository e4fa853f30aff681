"""Finding the fault: the hunt, over files or over a job."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dustcap.cli.edge import Author, Folder, Json, answer, desk, progress
from dustcap.errors import InputError

MOST_NEXT = 50


def hunt(
    board: Annotated[
        Path | None, typer.Argument(help="board description (*.board.toml); left out with --job", metavar="[BOARD]")
    ] = None,
    findings: Annotated[Path | None, typer.Option(help="what is known so far (*.findings.toml)")] = None,
    job: Annotated[int | None, typer.Option(help="hunt over the entries of this job instead")] = None,
    outline: Annotated[
        bool, typer.Option("--outline", help="no description: blocks of a usual two-way loudspeaker, by plain names")
    ] = False,
    next: Annotated[int, typer.Option(help="how many next checks to propose")] = 5,
    why: Annotated[str, typer.Option(help="a part: why it is cleared, or how much of a suspect it is")] = "",
    folder: Folder = None,
    author: Author = "",
    json: Json = False,
) -> None:
    """Rank the suspects and name the next check."""
    from dustcap.cli.hunt_text import print_hunt

    on_files = (board is not None) != outline and job is None
    on_job = job is not None and findings is None and not outline
    if not (on_files or on_job):
        raise InputError(
            "a hunt goes over files or over a job.",
            where="hunt",
            mend="Give BOARD (or --outline) and --findings, or --job, with BOARD where the job has none.",
        )
    if not 0 <= next <= MOST_NEXT:
        raise InputError(f"{next} next checks cannot be proposed.", where="--next", mend=f"Give 0 to {MOST_NEXT}.")
    with progress("computing what every check would read") as show:
        if job is not None:
            from dustcap.job.job_hunt import hunt_job

            found = hunt_job(desk(folder, author), job, board=board, next=next, why=why, progress=show)
        else:
            from dustcap.job.hunt import hunt_file  # without the record, whose library takes half a second to load

            found = hunt_file(board, findings, next=next, why=why, keep_in=_cache(), progress=show)
    document = dict(found.document) | {"cautions": found.cautions}
    answer(json, document, lambda out: print_hunt(out, found.document, found.cautions))


def _cache() -> Path:
    """Where predictions of boards that belong to no bench are kept."""
    import platformdirs

    return Path(platformdirs.user_cache_dir("dustcap", appauthor=False)) / "predictions"
