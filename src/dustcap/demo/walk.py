"""The demonstration: the invented scenario from intake to hand-over, through the calls that the commands make.

The units exist only in numbers: their readings come from `job.rehearse`, their recordings from `demo.loudspeaker`.
Clock, ids and seeds are fixed, so that the same program always tells the same story.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from importlib.resources import files
from itertools import count
from pathlib import Path
from typing import Any, Literal, Protocol

from dustcap.board.read import read_board
from dustcap.demo.scenario import CONE_OUT, HISTORY, MODEL, OTHERS, DemoUnit
from dustcap.demo.takes import write_takes
from dustcap.errors import InputError
from dustcap.job.desk import Desk
from dustcap.job.findings import enter
from dustcap.job.handover import gather, keep_sheet
from dustcap.job.handover_data import HandoverData
from dustcap.job.hunt import HuntAnswer
from dustcap.job.intake import take_in
from dustcap.job.job_hunt import JobHunt
from dustcap.job.outputs import write_output
from dustcap.job.payloads import Complaint, Intake, Payload, Reading, Sighting, Work
from dustcap.job.prove import prove
from dustcap.job.recordings import HowTaken, keep_recording
from dustcap.job.rehearse import RehearsedUnit, check_of, rehearse
from dustcap.job.words import said

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
STEP = timedelta(minutes=3)
AUTHOR = "bench 1"
BENCH = "bench"
SHEET = "handover room 1 left.pdf"
FIRST_READINGS = ("rail+", "rail-", "wf_out", "tw_out")
REMAINING = (
    "The other three units of the lot have the same glue.",
    "The rail capacitors are seven years old.",
)


class Teller(Protocol):
    """Who tells the story: the command line, or a test."""

    def heading(self, text: str) -> None:
        """A new unit or stage."""

    def command(self, words: Sequence[str]) -> None:
        """The command that a technician would type here."""

    def say(self, text: str) -> None:
        """One sentence, or the answer to a command."""

    def hunt(self, answer: HuntAnswer) -> None:
        """What a hunt says."""

    def recording(self, document: Mapping[str, Any]) -> None:
        """What a recording says."""

    def verdicts(self, rows: Sequence[Mapping[str, Any]]) -> None:
        """What the proof says."""


@dataclass
class Walk:
    """One run of the demonstration in a folder."""

    folder: Path
    tell: Teller
    sheet: Callable[[HandoverData], bytes]
    desk: Desk = field(init=False)
    takes: Mapping[str, Path] = field(init=False)

    def __post_init__(self) -> None:
        minutes, ids = count(), count(1)
        self.desk = Desk(self.folder / BENCH, AUTHOR, lambda: START + next(minutes) * STEP, lambda: f"{next(ids):032d}")

    def run(self) -> Path:
        """Play the scenario; returns the hand-over sheet of the unit that is carried through."""
        self.folder.mkdir(parents=True, exist_ok=True)
        if (self.desk.folder / "bench.sqlite3").exists():
            raise InputError(
                "there is a demonstration in this folder already.", where=str(self.folder), mend="Name a new folder."
            )
        self._copy_boards()
        self.takes = write_takes(self.folder)
        sheet = self._carry_through(CONE_OUT)
        for unit in OTHERS:
            self._begin(unit)
        return sheet

    def _copy_boards(self) -> None:
        for revision in ("A", "C"):
            path = self._board(revision)
            write_output(path, files("dustcap.demo").joinpath("boards", path.name).read_bytes())

    def _board(self, revision: str) -> Path:
        return self.folder / f"model_27_{revision.lower()}.board.toml"

    # one unit from complaint to hand-over --------------------------------------------------------------------------

    def _carry_through(self, unit: DemoUnit) -> Path:
        job, rehearsed = self._take_in(unit)
        self.tell.heading("Before the work: one quiet take, to have something to compare with")
        self._listen(job, "before", "before")
        self.tell.heading("First power-up, drivers disconnected, through a lamp in series")
        for net in FIRST_READINGS:
            self._check(job, {"check": "dc volts", "at": net, "against": rehearsed.board.common}, rehearsed)
        self.tell.heading("The hunt")
        self._hunt(unit, job, rehearsed)
        self.tell.heading("The proof")
        self._read_driver(job, rehearsed)
        self._listen(job, "after", "after")
        self._listen(job, "switched on", "after", HowTaken(power_on=True))
        self.tell.command(("prove", str(job)))
        proof = prove(self.desk, job)
        self.tell.verdicts(proof.verdicts)
        self.tell.heading("Handing over")
        self.tell.command(("handover", str(job), SHEET))
        content = self.sheet(gather(self.desk, job, remaining=REMAINING))
        write_output(self.folder / SHEET, content)
        keep_sheet(self.desk, job, content, remaining=REMAINING)
        self.tell.say(f"written: {self.folder / SHEET}")
        return self.folder / SHEET

    def _take_in(self, unit: DemoUnit) -> tuple[int, RehearsedUnit]:
        board = self._board(unit.revision)
        self.tell.heading(f"{MODEL}, {unit.unit}: {unit.says}")
        self.tell.command(("intake", "--model", MODEL, "--unit", unit.unit, "--board", board.name, "--says", unit.says))
        intake = Intake(model=MODEL, unit=unit.unit, pair_with=unit.pair_with, says=unit.says, history=HISTORY)
        job = take_in(self.desk, intake, board).job
        self.tell.say(f"job {job}")
        for word, driver, volume in unit.complaints:
            payload = Complaint.model_validate({"is": word, "driver": driver, "with_volume": volume})
            self._enter(job, ("complain", word), payload)
        for word, driver in unit.absent:
            self._enter(
                job,
                ("complain", word, "--absent"),
                Complaint.model_validate({"is": word, "driver": driver, "seen": False}),
            )
        for word, place in unit.sightings:
            self._enter(job, ("sight", word, "--area", place), Sighting.model_validate({"is": word, "area": place}))
        return job, rehearse(read_board(board), [unit.fault], [unit.severity], unit.seed)

    def _enter(self, job: int, words: tuple[str, ...], payload: Payload) -> None:
        options = {"--driver": getattr(payload, "driver", ""), "--with-volume": getattr(payload, "with_volume", "")}
        tail = [word for pair in options.items() if pair[1] for word in pair]
        self.tell.command((words[0], str(job), *words[1:], *tail))
        self.tell.say(f"entry {enter(self.desk, job, payload)}: {said(payload)}")

    def _hunt(self, unit: DemoUnit, job: int, rehearsed: RehearsedUnit) -> None:
        """Check by check until the work is done and the complaint gone, or the technician is called away."""
        self.tell.say("(what every check would read is computed once for a board; that takes a minute or two)")
        hunt = JobHunt(self.desk, job)
        for checks in range(unit.checks):
            self.tell.command(("hunt", "--job", str(job)))
            answer = hunt.ask()
            self.tell.hunt(answer)
            advice = answer.document["advice"]
            more = answer.document["next"]
            if advice["do"] in ("replace", "clean") and not (more and checks < unit.checks_first):
                self._work(job, advice, rehearsed)
                if not self._look_again(unit, job, rehearsed):
                    return
            elif more:
                self._check(job, more[0], rehearsed)
            else:
                return

    def _look_again(self, unit: DemoUnit, job: int, rehearsed: RehearsedUnit) -> bool:
        """Whether the unit still does what it came in for; entered either way."""
        still = False
        for word, driver, _ in unit.complaints:
            seen = rehearsed.complains(word, driver)
            payload = Complaint.model_validate({"is": word, "driver": driver, "seen": seen})
            self._enter(job, ("complain", word, *(() if seen else ("--absent",))), payload)
            still = still or seen
        return still

    def _check(self, job: int, proposed: Mapping[str, Any], rehearsed: RehearsedUnit) -> None:
        payload = rehearsed.answer(check_of(proposed))
        if isinstance(payload, Reading):
            shown = payload.value or ("over" if payload.over else "under")
            words: tuple[str, ...] = ("reading", payload.check, payload.at or payload.part, shown)
            if payload.against:
                words += ("--against", payload.against)
        elif isinstance(payload, Sighting):
            words = ("sight", payload.word, "--part" if payload.part else "--area", payload.part or payload.area)
        else:
            absent = () if getattr(payload, "seen", True) else ("--absent",)
            words = ("complain", getattr(payload, "word", ""), *absent)
        self._enter(job, words, payload)

    def _work(self, job: int, advice: Mapping[str, Any], rehearsed: RehearsedUnit) -> None:
        """Do what is advised; the hidden fault goes if the work removes it."""
        works: list[Work] = []
        if advice["do"] == "clean":
            works.append(
                Work(did="cleaned", area=advice["area"])
                if advice["area"]
                else Work(did="cleaned", between=tuple(advice["between"]))
            )
        works += [Work(did="replaced", part=part) for part in advice.get("parts", ())]
        works += [Work(did="replaced", part=part, precaution=True) for part in advice.get("also", ())]
        for work in works:
            target = ("--area", work.area) if work.area else ("--part", work.part)
            if work.between:
                target = ("--between", " ".join(work.between))
            self._enter(job, ("work", work.did, *target), work)
            rehearsed.work_done(work)

    def _read_driver(self, job: int, rehearsed: RehearsedUnit) -> None:
        """The reading that allows the drivers to be connected again."""
        for driver in rehearsed.board.of_kind("driver"):
            check = {"check": "dc volts", "at": driver.pins["plus"], "against": rehearsed.board.common}
            self._check(job, check, rehearsed)

    def _listen(self, job: int, name: str, when: Literal["before", "after"], how: HowTaken | None = None) -> None:
        take = self.takes[name]
        switch = ("--power-on",) if how and how.power_on else ()
        self.tell.command(("listen", take.name, *switch, "--job", str(job), f"--{when}"))
        self.tell.recording(keep_recording(self.desk, job, take, when, how).document)

    # the other units, as short jobs --------------------------------------------------------------------------------

    def _begin(self, unit: DemoUnit) -> None:
        job, rehearsed = self._take_in(unit)
        if unit.take:
            self._listen(job, unit.take, "before")
        self._hunt(unit, job, rehearsed)
