"""A unit for the games of the hunt: part values, faults, meter and ear that differ from what the hunt reckons with.

Each case is solved alone from rest by the plain solver. Shares of the tolerances crowd about the middle and severities
about the middle or the ends, where the hunt takes both as even; the meter has one gain error, an offset and the
resistance of its leads for the whole job; the model is off by one per cent, and one reading of 200 slips a decimal.
"""

from __future__ import annotations

import pickle
from copy import copy
from dataclasses import dataclass, field, replace
from itertools import combinations
from pathlib import Path

import numpy as np

from dustcap.board.circuit import to_circuit
from dustcap.board.model import Board
from dustcap.circuit.meter import impedance, resistance
from dustcap.circuit.operating import operating_point
from dustcap.faults.severity import leak_ohms
from dustcap.faults.sighting import seen
from dustcap.faults.suspects import Leak, Suspect, prior, suspects
from dustcap.hunt.board_names import known_of
from dustcap.hunt.evidence import Complaint, Entry, Reading, Sighting, Work
from dustcap.hunt.meter import spread_of
from dustcap.job.predictions import _name
from dustcap.predict.analyses import Analyses
from dustcap.predict.cases import make_cases
from dustcap.predict.checks import Check
from dustcap.predict.complaints import QUANTITIES, heard
from dustcap.predict.powered import _read, drivers_off
from dustcap.predict.readings import reading

SLIPS, MODEL, CLEANS, REPLACES = 0.005, 0.01, 0.85, 0.99
MOST_DRAWN = 40
PLAIN, FAINT = 0.6, 0.3  # chances of a complaint from which an owner speaks of it, and from which the proof hears it


class Alone(Analyses):
    """Analyses that solve every case by itself, from rest, and unplugged without any short cut."""

    def _solve_unpowered(self, pairs, hz):
        circuit, values = self.cases.circuit, self.cases.values(range(len(self.cases.suspects)))
        found = impedance(circuit, pairs, hz, values)[:, :, 0] if hz else resistance(circuit, pairs, values)
        return found.T.reshape(len(pairs), *self.shape)


def print_nothing(_share: float) -> None:
    """Progress that nobody wants to see."""


def each_alone(_, tasks):
    """In place of a map: the plain solver for each row."""
    for task in tasks:
        rows = []
        for row in task.rows:
            one = replace(task, cases=task.cases.of([row], task.cases.severity[[row]]), rows=(0,))
            point = operating_point(one.cases.circuit, one.cases.values([0], drivers_off(one.cases, one.connected)))
            rows.append(_read(one, point))
        yield {name: np.concatenate([row[name] for row in rows]) for name in rows[0]}


@dataclass
class Unit:
    """One unit on the bench; `hidden` is what is wrong with it, `left` what still is."""

    board: Board
    hidden: Suspect
    rng: np.random.Generator
    left: Suspect = field(init=False)

    def __post_init__(self) -> None:
        rng, faults, self.left = self.rng, self.hidden.faults, self.hidden
        some = [part for size in range(len(faults) + 1) for part in combinations(range(len(faults)), size)]
        choices = tuple(Suspect(tuple(faults[i] for i in one)) for one in some)
        circuit = to_circuit(self.board, [(f.a, f.b) for f in faults if isinstance(f, Leak)])
        cases = make_cases(self.board, circuit, choices, particles=1, seed=1)
        bend = rng.choice([0.7, 2.0])
        self.severities = np.clip(rng.beta(bend, bend, len(faults)), 1e-3, 1 - 1e-3)
        severity = cases.severity.copy()
        for row, one in enumerate(some):
            severity[row, : len(one), 0] = self.severities[list(one)]
        cases = replace(cases, points=np.clip(rng.beta(2.5, 2.5, cases.points.shape), 1e-3, 0.999), severity=severity)
        self.analyses = Alone(cases, progress=print_nothing, spread=each_alone)
        self.gain, self.offset, self.leads = rng.normal(0, 0.004), rng.normal(0, 2e-3), rng.uniform(0.1, 0.4)
        self.units = known_of(self.board).parts

    def again(self, seed: list[int]) -> Unit:
        """The same unit as it came in, for another player; chances fall anew."""
        other = copy(self)
        other.left, other.rng = self.hidden, np.random.default_rng(seed)
        return other

    @property
    def row(self) -> int:
        """Number of the case that the unit is in now."""
        return self.analyses.cases.suspects.index(self.left)

    def ohms(self, number: int) -> float:
        """Ohms of a fault that is a leak."""
        return float(leak_ohms(self.severities[number]))

    def does(self, word: str, driver: str) -> bool:
        """Whether the unit is heard to do that; one ear in thirty errs."""
        chance = float(heard(self.analyses, word, driver)[self.row, 0])
        return bool((chance > 0.5) != (self.rng.random() < 1 / 30))

    def complaints(self) -> tuple[Complaint, ...]:
        """What its owner says: at most two things that it plainly does."""
        worst = sorted((one for one in self._would_say() if one[0] > PLAIN), reverse=True)[:2]
        return tuple(Complaint(word, driver) for _, word, driver in worst)

    def _would_say(self) -> list[tuple[float, str, str]]:
        """Chance of every complaint at every driver."""
        return [
            (float(heard(self.analyses, word, part.name)[self.row, 0]), word, part.name)
            for word in (*QUANTITIES, "hiss", "crackle")
            for part in self.board.of_kind("driver")
        ]

    def answer(self, check: Check) -> Entry:
        """What the technician enters after a check."""
        where = check.part or check.at
        if check.kind == "listen":
            return Complaint(check.word, where, seen=self.does(check.word, where))
        if check.kind == "look":
            chance = seen(self.board, self.left, where, check.word)
            return Sighting(where, check.word if self.rng.random() < chance else "clean")
        unit = self.units.get(check.part, "")
        spread, value = spread_of(check, unit), float(reading(self.analyses, check)[self.row, 0])
        if np.isnan(value):
            return Reading(check, 0.0, 0.0, unit=unit, withdrawn=True)
        value *= (1 + self.gain) * np.exp(MODEL * self.rng.standard_normal())
        value += self.offset if check.unit == "V" else self.leads if check.kind in ("ohms", "esr") else 0.0
        value *= 10.0 if self.rng.random() < SLIPS else 1.0
        if value > spread.over or np.isinf(value):
            return Reading(check, over=True, unit=unit)
        value = float(f"{value if spread.signed else max(value, 0.0):.4g}")
        return Reading(check, value, value, unit=unit)

    def fails(self) -> list[str]:
        """What the proof shows, against the good unit of the same part values: rails, outputs, hum, level, complaints.

        Five per cent or 50 mV of d.c., 1 dB of level, twice the ripple and 4 mV; a complaint that would be heard in
        one of `FAINT` units, though no owner speaks of it.
        """
        board, found = self.board, [f"{word} {driver}" for chance, word, driver in self._would_say() if chance > FAINT]
        good = self.analyses.cases.suspects.index(Suspect(()))
        supplied = board.of_kind("op amp", "power amplifier", "regulator")
        rails = [part.pins[pin] for part in supplied for pin in ("high", "low", "out") if pin in part.pins]
        outs = [net for driver in board.of_kind("driver") for net in driver.nets]
        for net in dict.fromkeys(net for net in (*rails, *outs) if net != board.common):
            for kind, share, floor in (("dc volts", 0.05, 0.05), ("ripple", 1.0, 4e-3), ("ac volts", 0.12, 4e-3)):
                if kind == "ac volts" and (net not in outs or not board.of_kind("input")):
                    continue
                table = np.atleast_2d(reading(self.analyses, Check(kind, net, board.common)))
                now, was = float(table[self.row, 0]), float(table[good, 0])
                if not abs(now - was) <= share * abs(was) + floor:
                    found.append(f"{kind} {net} {now:.3g} for {was:.3g}")
        return found

    def worked(self, work: Work) -> None:
        """The faults that the work took away are gone; now and then it takes nothing away."""
        if self.rng.random() > (CLEANS if work.did == "cleaned" else REPLACES):
            return

        def gone(fault) -> bool:
            if isinstance(fault, Leak):
                return work.area == fault.area != "" or set(work.between or ()) == {fault.a, fault.b}
            return fault.part == work.part

        self.left = Suspect(tuple(fault for fault in self.left.faults if not gone(fault)))


def draw(board: Board, kind: str, rng: np.random.Generator) -> Unit | None:
    """A unit with a fault of a part, a leak, or both of two faults, that plainly does something; None: none was met."""
    every = suspects(board)
    share = np.asarray(prior(board, every)) ** 0.7
    leaks = np.array([isinstance(suspect.faults[0], Leak) for suspect in every])
    for _ in range(MOST_DRAWN):
        wanted = {"part": ~leaks, "leak": leaks, "double": np.ones(leaks.size, dtype=bool)}[kind]
        p = np.where(wanted, share, 0.0) / share[wanted].sum()
        picked = rng.choice(len(every), 2 if kind == "double" else 1, replace=False, p=p)
        faults = tuple(fault for i in sorted(picked) for fault in every[i].faults)
        if len({getattr(fault, "part", fault) for fault in faults}) < len(faults):
            continue
        unit = Unit(board, Suspect(faults), rng)
        if unit.complaints():
            return unit
    return None


def kept_unit(folder: Path, board: Board, kind: str, seed: list[int]) -> Unit | None:
    """A drawn unit, kept across runs as long as what computes it stays as it is."""
    path = folder / f"{_name(board)} {kind} {' '.join(map(str, seed))}.pickle"
    if not path.exists():
        folder.mkdir(parents=True, exist_ok=True)
        drawn = draw(board, kind, np.random.default_rng(seed))
        if drawn is not None:
            drawn.analyses.powered(False)
        path.write_bytes(pickle.dumps(drawn))
    found: Unit | None = pickle.loads(path.read_bytes())
    return found.again(seed) if found is not None else None
