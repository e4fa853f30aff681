"""Commands that look at what is kept: one job's entries, all jobs of the bench."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dustcap.cli.edge import Folder, Job, Json, answer, desk

if TYPE_CHECKING:
    from rich.console import Console

    from dustcap.job.bench import JobLine
    from dustcap.job.desk import JobView


def show(job: Job, folder: Folder = None, json: Json = False) -> None:
    """Show all that happened in a job."""
    from dustcap.job.desk import view

    seen = view(desk(folder), job)
    facts = [
        {
            "entry": fact.position,
            "at": fact.at,
            "author": fact.author,
            "kind": fact.payload.KIND,
            "payload": fact.payload.plain(),
            "withdrawn": fact.withdrawn,
            "corrected_by": fact.corrected_by,
            "why": fact.why,
        }
        for fact in seen.state.facts
    ]
    board = seen.row.board
    document = {
        "job": job,
        "model": seen.row.model,
        "unit": seen.row.unit,
        "stage": seen.state.stage,
        "board": {"name": board.name, "revision": board.revision, "hash": board.hash} if board else None,
        "entries": facts,
    }
    answer(json, document, lambda out: _print_job(out, seen))


def _print_job(out: Console, seen: JobView) -> None:
    from dustcap.job.words import fact_said

    board = seen.row.board
    described = f"board {board.name} revision {board.revision}" if board else "no board description"
    out.print(f"job {seen.number}: {seen.row.model}, {seen.row.unit} ({described}); {seen.state.stage}\n")
    for fact in seen.state.facts:
        head = f"{fact.position:>4}  {fact.at:%Y-%m-%d %H:%M}  {fact.author:<12.12}  {fact.payload.KIND:<10}  "
        out.print(head + fact_said(fact), style="dim" if fact.withdrawn else None)


def bench(folder: Folder = None, json: Json = False) -> None:
    """List all jobs of the bench."""
    from dustcap.job.bench import jobs

    lines = jobs(desk(folder))
    answer(json, {"jobs": lines}, lambda out: _print_bench(out, lines))


def _print_bench(out: Console, lines: tuple[JobLine, ...]) -> None:
    for line in lines:
        revision = f" {line.revision}" if line.revision else ""
        out.print(f"{line.job:>4}  {line.model}{revision}, {line.unit}  [{line.stage}]", style="bold")
        facts = [f"last entry {line.touched:%Y-%m-%d}, {line.entries} in all"]
        if line.complaints:
            facts.append(", ".join(line.complaints))
        if line.probability is not None:
            facts.append(f"leading suspect {line.suspect}, {100 * line.probability:.0f} %")
        out.print(f"      {'; '.join(facts)}")
