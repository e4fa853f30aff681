"""The soak of a fault that comes and goes: how many clean cycles or hours are enough, and where it stands."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated

import typer

from dustcap.cli.edge import Author, Folder, Json, answer, desk
from dustcap.errors import InputError

if TYPE_CHECKING:
    from rich.console import Console

    from dustcap.job.payloads import Soak
    from dustcap.job.soak import Standing, Target


def soak(
    job: Annotated[int | None, typer.Argument(help="number of the job; without one it is a plain calculation")] = None,
    came: Annotated[int | None, typer.Option(help="how often the fault came before the work ...")] = None,
    tried: Annotated[int | None, typer.Option(help="... in so many switch-ons")] = None,
    in_hours: Annotated[float | None, typer.Option("--in-hours", help="... or in so many hours")] = None,
    cycles: Annotated[int | None, typer.Option(help="switch-ons that were run after the work")] = None,
    hours: Annotated[float | None, typer.Option(help="hours that were run after the work")] = None,
    again: Annotated[int, typer.Option(help="how often the fault came again in these")] = 0,
    below: Annotated[str, typer.Option(help="show it in less than this share of switch-ons, such as 1%")] = "",
    once_in: Annotated[float | None, typer.Option("--once-in", help="show so many hours between faults")] = None,
    confidence: Annotated[float, typer.Option(help="confidence of what is shown, 0 to 1")] = 0.95,
    folder: Folder = None,
    author: Author = "",
    json: Json = False,
) -> None:
    """Say how many clean switch-ons or hours make "fixed" a fair word.

    With a job, what is given is kept in it.
    """
    from dustcap.job.soak import enter_runs, job_standings

    target = _target(below, once_in, confidence)
    entries = _entries(came, tried, in_hours, cycles, hours, again)
    document: dict[str, object] = {"confidence": confidence}
    if job is None:
        found = _plain(entries, target)
    else:
        at = desk(folder, author)
        positions = [enter_runs(at, job, entry) for entry in entries]
        found = job_standings(at, job, target)
        document |= {"job": job, "entries": positions}
    answer(json, document | {"soak": [asdict(one) for one in found]}, lambda out: _print(out, found))


def _target(below: str, once_in: float | None, confidence: float) -> Target:
    from dustcap.job.soak import Target
    from dustcap.quantities import read

    share = read(below, "%", "--below") if below else None
    return Target(share, once_in, confidence)


def _entries(
    came: int | None, tried: int | None, in_hours: float | None, cycles: int | None, hours: float | None, again: int
) -> tuple[Soak, ...]:
    """What was counted before the work, then what was run after it."""
    from dustcap.job.payloads import Soak, entered

    if (came is None) != (tried is None and in_hours is None):
        raise InputError(
            "how often it came needs the switch-ons or hours beside it.",
            where="soak",
            mend="Such as --came 3 --tried 10, or --came 2 --in-hours 40.",
        )
    if again and cycles is None and hours is None:
        raise InputError(
            "that it came again needs the switch-ons or hours it came in.",
            where="--again",
            mend="Such as --cycles 1 --again 1.",
        )
    found = []
    if came is not None:
        found.append(entered(Soak, _given("before", tried, in_hours, came)))
    if cycles is not None or hours is not None:
        found.append(entered(Soak, _given("after", cycles, hours, again)))
    return tuple(found)


def _given(when: str, cycles: int | None, hours: float | None, came: int) -> dict[str, object]:
    fields: dict[str, object] = {"when": when, "came": came}
    if cycles is not None:
        fields["cycles"] = cycles
    if hours is not None:
        fields["hours"] = hours
    return fields


def _plain(entries: tuple[Soak, ...], target: Target) -> tuple[Standing, ...]:
    """The calculation without a job."""
    from dustcap.job.soak import By, Runs, standing

    by: By = "hours" if any(entry.hours is not None for entry in entries) or target.once_in_h else "cycles"
    if not entries and target.below is None and target.once_in_h is None:
        raise InputError(
            "nothing was given to compute from.", where="soak", mend="Such as --came 3 --tried 10, or --below 1%."
        )
    if len({entry.hours is None for entry in entries}) > 1:
        raise InputError("switch-ons and hours are not compared.", where="soak", mend="Give one of them throughout.")
    runs = {"before": Runs(), "after": Runs()}
    for entry in entries:
        runs[entry.when] = Runs(entry.came, float(getattr(entry, by)))
    return (standing(by, runs["before"], runs["after"], target),)


def _print(out: Console, found: tuple[Standing, ...]) -> None:
    from dustcap.cli.listen_text import MARKS, STYLES
    from dustcap.job.soak import amount_said, percent

    for one in found:
        out.print(f"{MARKS[one.verdict]:<12} soak by {one.by}", style=STYLES[one.verdict])
        out.print(f"  {one.said}")
        if one.needed is not None:
            out.print(f"  {_bar(one)} {one.run:.3g} of {amount_said(one.by, one.needed)}")
        sure = percent(one.confidence)
        if one.shown is not None and one.by == "cycles":
            out.print(f"  shown so far: it comes in less than {percent(one.shown)} of switch-ons ({sure} confidence)")
        elif one.shown is not None:
            out.print(f"  shown so far: at least {one.shown:.3g} h between faults ({sure} confidence)")
        if one.target is not None and one.target_remaining is not None:
            whole, more = (amount_said(one.by, amount) for amount in (one.target, one.target_remaining))
            out.print(f"  for what was asked: {whole} in all, {more} more ({sure} confidence)")


def _bar(one: Standing) -> str:
    share = min(one.run / one.needed, 1.0) if one.needed else 1.0
    return "[" + "#" * round(20 * share) + "." * (20 - round(20 * share)) + "]"
