"""Commands that enter something into a job."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from dustcap.cli.edge import Author, Folder, Job, Json, answer, desk
from dustcap.errors import InputError


def intake(
    model: Annotated[str, typer.Option(help="model, as the shop calls it")],
    unit: Annotated[str, typer.Option(help="which one of them: a serial number, or where it stands")],
    board: Annotated[Path | None, typer.Option(help="board description (*.board.toml) of its revision")] = None,
    revision: Annotated[str, typer.Option(help="board revision, if no description is given")] = "",
    serial: Annotated[str, typer.Option(help="serial number on the label")] = "",
    pair_with: Annotated[str, typer.Option(help="the unit that it makes a pair with")] = "",
    mains: Annotated[str, typer.Option(help="mains it was used on, such as '230 V 50 Hz'")] = "",
    says: Annotated[str, typer.Option(help="what its owner says")] = "",
    history: Annotated[str, typer.Option(help="age, repairs, damp, heat")] = "",
    folder: Folder = None,
    author: Author = "",
    json: Json = False,
) -> None:
    """Take a unit in: opens a job."""
    from dustcap.job.intake import take_in
    from dustcap.job.payloads import Intake, entered

    fields = {"model": model, "unit": unit, "revision": revision, "serial": serial, "pair_with": pair_with}
    payload = entered(Intake, fields | {"mains": mains, "says": says, "history": history})
    taken = take_in(desk(folder, author), payload, board)
    lines = [f"job {taken.job}: {payload.model}, {payload.unit}"]
    if taken.earlier_of_unit:
        lines.append(f"this unit was here before: job {_numbers(taken.earlier_of_unit)}")
    others = tuple(set(taken.earlier_of_model) - set(taken.earlier_of_unit))
    if others:
        lines.append(f"others of this model: job {_numbers(tuple(sorted(others)))}")
    lines.append("Unplug it, discharge the reservoirs and verify before the first check.")
    answer(json, {"job": taken.job, "earlier_of_unit": taken.earlier_of_unit}, lambda out: out.print("\n".join(lines)))


def complain(
    job: Job,
    word: Annotated[str, typer.Argument(help="what it does: hum, squeal, 'cone pushed out' ...", metavar="COMPLAINT")],
    driver: Annotated[str, typer.Option(help="the driver that does it")] = "",
    absent: Annotated[bool, typer.Option("--absent", help="looked for, and not there")] = False,
    with_volume: Annotated[str, typer.Option(help="follows or constant")] = "",
    when: Annotated[str, typer.Option(help="cold, warm or always")] = "",
    folder: Folder = None,
    author: Author = "",
    json: Json = False,
) -> None:
    """Enter what the unit does, or does not do."""
    from dustcap.job.payloads import Complaint

    fields = {"is": word, "driver": driver, "seen": not absent, "with_volume": with_volume, "when": when}
    _enter(job, Complaint, fields, folder, author, json)


def sight(
    job: Job,
    word: Annotated[str, typer.Argument(help="bulged, leaking, scorched, residue, clean ...", metavar="SIGHTING")],
    part: Annotated[str, typer.Option(help="the part that looks so")] = "",
    area: Annotated[str, typer.Option(help="the area that looks so")] = "",
    folder: Folder = None,
    author: Author = "",
    json: Json = False,
) -> None:
    """Enter what can be seen on the board."""
    from dustcap.job.payloads import Sighting

    _enter(job, Sighting, {"is": word, "part": part, "area": area}, folder, author, json)


def reading(
    job: Job,
    check: Annotated[str, typer.Argument(help="'dc volts', ohms, 'diode test', lifted ...")],
    at: Annotated[str, typer.Argument(help="net of the red lead; or the part")],
    value: Annotated[str, typer.Argument(help="what the meter shows: '-23.8 V', 2k2, 'over', 'under', '4.1..4.3 V'")],
    against: Annotated[str, typer.Option(help="net of the black lead (default: the common net)")] = "",
    meter: Annotated[str, typer.Option(help="handheld (default) or bench")] = "",
    state: Annotated[str, typer.Option(help="unplugged, 'drivers disconnected', 'drivers connected'")] = "",
    signal: Annotated[str, typer.Option(help="signal at the input, such as '1 kHz 100 mV'")] = "",
    test_voltage: Annotated[str, typer.Option(help="test voltage of a leakage check")] = "",
    esr: Annotated[str, typer.Option(help="series resistance beside a lifted capacitor's value")] = "",
    folder: Folder = None,
    author: Author = "",
    json: Json = False,
) -> None:
    """Enter what a meter shows."""
    from dustcap.job.payloads import Reading
    from dustcap.job.readings import answered, placed

    fields: dict[str, Any] = {"check": check, "meter": meter, "state": state, "signal": signal, "esr": esr}
    fields |= {"test_voltage": test_voltage} | placed(check, at, against) | answered(value)
    _enter(job, Reading, fields, folder, author, json)


def work(
    job: Job,
    did: Annotated[str, typer.Argument(help="replaced, cleaned, resoldered, removed, bridged")],
    part: Annotated[str, typer.Option(help="the part that was worked on")] = "",
    between: Annotated[tuple[str, str] | None, typer.Option(help="the two nets between which it was done")] = None,
    area: Annotated[str, typer.Option(help="the area that was cleaned")] = "",
    detail: Annotated[str, typer.Option(help="what was put in")] = "",
    precaution: Annotated[bool, typer.Option("--precaution", help="no fault was found there")] = False,
    folder: Folder = None,
    author: Author = "",
    json: Json = False,
) -> None:
    """Enter what was done.

    Readings after it speak of the repaired board.
    """
    from dustcap.job.payloads import Work

    fields = {"did": did, "part": part, "between": between or (), "area": area, "detail": detail}
    _enter(job, Work, fields | {"precaution": precaution}, folder, author, json)


def twin(
    job: Job,
    of: Annotated[int, typer.Option(help="job of the healthy other unit: of the pair, or of the same revision")],
    good: Annotated[bool, typer.Option("--good", help="it is known to be well, whatever its entries say")] = False,
    folder: Folder = None,
    author: Author = "",
    json: Json = False,
) -> None:
    """Name the good twin of a unit.

    What it read when well corrects the description, and with it what every suspect would read.
    """
    from dustcap.job.payloads import Twin
    from dustcap.job.twin import name_twin
    from dustcap.job.words import said

    position = name_twin(desk(folder, author), job, of, good=good)
    payload = Twin(of=of, good=good)
    document = {"job": job, "entry": position, "kind": payload.KIND, **payload.plain()}
    answer(json, document, lambda out: out.print(f"job {job}, entry {position}: {said(payload)}"))


def note(
    job: Job,
    text: Annotated[str, typer.Argument(help="anything worth keeping")],
    folder: Folder = None,
    author: Author = "",
    json: Json = False,
) -> None:
    """Keep a note with the job."""
    from dustcap.job.payloads import Note

    _enter(job, Note, {"text": text}, folder, author, json)


def correct(
    job: Job,
    entry: Annotated[int, typer.Argument(help="number of the entry, as `dustcap show` prints it")],
    changes: Annotated[list[str] | None, typer.Argument(help="key=value, such as value='-2.38 V'")] = None,
    withdraw: Annotated[bool, typer.Option("--withdraw", help="the entry no longer counts")] = False,
    why: Annotated[str, typer.Option(help="the reason, kept beside it")] = "",
    folder: Folder = None,
    author: Author = "",
    json: Json = False,
) -> None:
    """Correct an earlier entry, or withdraw it.

    The old one stays on the record.
    """
    from dustcap.job import corrections

    at = desk(folder, author)
    if bool(changes) == withdraw:
        raise InputError("nothing to change was given.", where="correct", mend="Give key=value, or --withdraw.")
    if withdraw:
        position = corrections.withdraw(at, job, entry, why)
    else:
        position = corrections.correct(at, job, entry, dict(_pair(text) for text in changes or ()), why)
    document = {"job": job, "entry": position, "corrects": entry}
    answer(json, document, lambda out: out.print(f"job {job}, entry {position}: corrects entry {entry}"))


def _pair(text: str) -> tuple[str, Any]:
    key, sign, value = text.partition("=")
    if not sign:
        raise InputError(f"{text!r} is not of the form key=value.", where="correct", mend="Such as value='-2.38 V'.")
    return key.strip(), {"true": True, "false": False, "": None}.get(value.strip(), value.strip())


def _enter(job: int, kind: Any, fields: dict[str, Any], folder: Path | None, author: str, json: bool) -> None:
    from dustcap.job.findings import enter
    from dustcap.job.payloads import entered
    from dustcap.job.words import said

    payload = entered(kind, fields)
    position = enter(desk(folder, author), job, payload)
    document = {"job": job, "entry": position, "kind": payload.KIND, **payload.plain()}
    answer(json, document, lambda out: out.print(f"job {job}, entry {position}: {said(payload)}"))


def _numbers(jobs: tuple[int, ...]) -> str:
    return ", ".join(str(job) for job in jobs)
