"""The powered board, block of suspects by block, so that the blocks can be spread over cores.

Each block starts from the healthy board's samples and is read off completely where it is solved: nothing but small
arrays travels back.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dustcap.circuit.elements import Values
from dustcap.circuit.families import family_points, source_resistance
from dustcap.circuit.operating import operating_point
from dustcap.circuit.point import OperatingPoint
from dustcap.circuit.poles import oscillates, poles
from dustcap.circuit.signal import small_signal
from dustcap.faults.suspects import Leak
from dustcap.predict.cases import Cases

Arrays = dict[str, NDArray[Any]]
Spread = Callable[[Callable[["Task"], Arrays], Sequence["Task"]], Iterable[Arrays]]
"""A `map` over tasks: in-process, on all cores or elsewhere; results in order."""

CASES_AT_ONCE = 768
NAMES = ("volts", "source_ohm", "ripple", "mains", "faster", "watts", "solved")
GAIN, UNSTABLE = "gain", "unstable"
PROBES = 4
"""Samples whose stability is solved at first, for a fault that is no leak."""


@dataclass(frozen=True)
class Task:
    """Suspects `rows` of the cases in one state, from the healthy point, with the gains to read."""

    cases: Cases
    rows: tuple[int, ...]
    healthy: OperatingPoint
    connected: bool
    hz: tuple[float, ...]
    gains_of: int


def healthy_point(cases: Cases, connected: bool, near: NDArray[np.float64] | None = None) -> OperatingPoint:
    """The healthy board on every sample, from which every suspect's cases start; `near`: its volts, if known."""
    return operating_point(cases.circuit, cases.values([0], drivers_off(cases, connected)), start=near)


def tasks_of(
    cases: Cases, connected: bool, hz: tuple[float, ...], gains_of: int, healthy: OperatingPoint
) -> Iterator[Task]:
    """The work in blocks; gains for the first `gains_of` samples of each suspect."""
    for rows in blocks(range(len(cases.suspects)), cases.particles):
        severity = cases.severity[rows]
        yield Task(cases.of(rows, severity), tuple(range(len(rows))), healthy, connected, hz, gains_of)


def solve_task(task: Task) -> Arrays:
    """Every array of one block, (suspects of the block, particles, ...)."""
    cases = task.cases
    extra = drivers_off(cases, task.connected)
    start = task.healthy.take(np.tile(np.arange(cases.particles), len(task.rows)))
    family = np.repeat(np.arange(len(task.rows)), cases.particles)
    point = family_points(cases.circuit, cases.values(task.rows, extra), start, family)
    return _read(task, point)


def drivers_off(cases: Cases, connected: bool) -> Values:
    """Overrides that take the drivers off."""
    if connected:
        return {}
    return {(element.name, "present"): 0.0 for element in cases.circuit.elements if element.law == "driver"}


def blocks(rows: Sequence[int], particles: int) -> Iterator[list[int]]:
    """Suspects in blocks of about `CASES_AT_ONCE` cases."""
    step = max(1, CASES_AT_ONCE // particles)
    for first in range(0, len(rows), step):
        yield list(rows[first : first + step])


def _read(task: Task, point: OperatingPoint) -> Arrays:
    cases = task.cases
    shape = (len(task.rows), cases.particles)
    found: Arrays = {
        "volts": point.volts.astype(np.float32),
        "source_ohm": source_resistance(point).astype(np.float32),
        "ripple": point.ripple.astype(np.complex64),
        "mains": point.ripple_mains.astype(np.complex64),
        "faster": np.hypot(point.overtones, point.oscillation).astype(np.float32),
        "watts": np.stack([_part_watts(cases, point, name) for name in cases.board.parts], axis=1).astype(np.float32),
        "solved": point.converged,
    }
    found = {name: array.reshape(*shape, *array.shape[1:]) for name, array in found.items()}
    some = point.take(np.flatnonzero(np.arange(len(point.converged)) % cases.particles < task.gains_of))
    source = [part.name for part in cases.board.of_kind("input")][:1]
    for hz in task.hz if source else ():
        volts = small_signal(cases.circuit, some, hz, source=source[0]).volts[:, :, 0].astype(np.complex64)
        found[f"{GAIN} {hz:g}"] = volts.reshape(shape[0], task.gains_of, -1)
    if task.connected:
        found[UNSTABLE] = _unstable(cases, point)
    return found


def _unstable(cases: Cases, point: OperatingPoint) -> NDArray[np.bool_]:
    """Whether each case oscillates, (suspects, particles): every sample of a leak, a few of each other fault.

    The few lie evenly by severity. Where they agree they stand for all, else every sample is solved: a fault that
    oscillates only within less than a third of its range may be missed.
    """
    count = cases.particles
    probes = np.unique(np.linspace(0, count - 1, PROBES).round().astype(int))
    wanted = np.zeros((len(cases.suspects), count), dtype=bool)
    for row, suspect in enumerate(cases.suspects):
        leaks = [number for number, fault in enumerate(suspect.faults) if isinstance(fault, Leak)]
        by_severity = np.argsort(cases.severity[row, leaks[0] if leaks else 0], kind="stable")
        wanted[row, by_severity[probes]] = True
        wanted[row] |= bool(leaks) and len(suspect.faults) == 1
    found = np.zeros_like(wanted)
    found[wanted] = _oscillate(cases, point, wanted)
    some = (found & wanted).any(axis=1)
    mixed = np.asarray(some & (~found & wanted).any(axis=1))
    rest = mixed[:, None] & ~wanted
    found[some & ~mixed] = True
    if rest.any():
        found[rest] = _oscillate(cases, point, rest)
    return found


def _oscillate(cases: Cases, point: OperatingPoint, which: NDArray[np.bool_]) -> NDArray[np.bool_]:
    return np.asarray(oscillates(poles(cases.circuit, point.take(np.flatnonzero(which)))))


def _part_watts(cases: Cases, point: OperatingPoint, name: str) -> NDArray[np.float64]:
    total = np.zeros(len(point.converged))
    for element in cases.circuit.elements:
        if element.part == name:
            total = total + np.asarray(point.watts(element.name))
    return total
