"""The service sheet: what every net and every part of a good board reads, with the spread that tolerances give.

Readings are those of `dustcap.predict.readings`: powered with the drivers disconnected and no signal, the meter's
10 Mohm counted on d.c. volts, ohms at the low test voltage in the unplugged board. `level` is the signal alone, r.m.s.,
for a stated level at the first input. Volts across a part and its watts are without a meter and without signal; watts
under that signal are with the drivers connected (`sheet_load`).

The spread is that of the parts alone (90 % of the boards built from them lie between `low` and `high`); a meter's own
accuracy comes on top of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from dustcap.board.circuit import to_circuit
from dustcap.board.devices import LINK_OHM
from dustcap.board.model import Board, Part
from dustcap.circuit.meter import resistance
from dustcap.circuit.point import OperatingPoint
from dustcap.errors import InputError
from dustcap.faults.suspects import HEALTHY
from dustcap.predict.cases import Cases, make_cases
from dustcap.predict.checks import DEFAULT_SIGNAL_HZ, DEFAULT_SIGNAL_V, METER_INPUT_OHM, OHMS_OVER_RANGE
from dustcap.predict.powered import GAIN, Arrays, healthy_point, solve_task, tasks_of
from dustcap.predict.sheet_load import Load, load_at_rest, load_at_signal

Floats = NDArray[np.float64]

SAMPLES = 64
SEED = 27
LOW, HIGH = 0.05, 0.95
"""Bounds of 90 %."""
MOST_HZ, MOST_V = 1e6, 100.0
OPEN_OHM = 1e12

ACROSS: Mapping[str, tuple[str, str]] = {
    "potentiometer": ("end1", "end2"),
    "bridge": ("plus", "minus"),
    "npn": ("collector", "emitter"),
    "pnp": ("emitter", "collector"),
    "n-mosfet": ("drain", "source"),
    "p-mosfet": ("source", "drain"),
    "n-jfet": ("drain", "source"),
    "p-jfet": ("source", "drain"),
    "op amp": ("high", "low"),
    "power amplifier": ("high", "low"),
    "regulator": ("in", "out"),
}
"""Between which pins the volts across a part of more than two leads are given; a winding and a module have none."""


@dataclass(frozen=True, slots=True)
class Range:
    """Middle of a value and the bounds of 90 %; inf: over range; `over`: share of the samples that are over range."""

    low: float
    median: float
    high: float
    over: float = 0.0

    @property
    def width(self) -> float:
        """From bound to bound."""
        return self.high - self.low


@dataclass(frozen=True, slots=True)
class NetSheet:
    """One net against common: volts, ohm, volts r.m.s. None: no reading can be taken there."""

    dc_volts: Range | None
    ohms_red_here: Range | None
    ohms_black_here: Range | None
    ripple: Range | None
    level: Range | None


@dataclass(frozen=True, slots=True)
class PartSheet:
    """One part: volts across it (between the nets `across`), its watts, and its share of the rating named by `of`.

    `share_of_rating` is None where the description gives no rating, or none that is known here.
    """

    across: tuple[str, str] | None
    volts: Range | None
    watts: Range | None
    share_of_rating: Range | None
    of: str = ""
    watts_signal: Range | None = None
    amps: Range | None = None
    amps_signal: Range | None = None
    shares: Mapping[str, Range] = field(default_factory=dict)
    shares_signal: Mapping[str, Range] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Sheet:
    """Every net and every part of a good board.

    `solved`: share of the samples that have an operating point; `clips`: amplifiers that the signal drives to their
    limit, and the share of the samples in which it does.
    """

    signal_hz: float
    signal_v: float
    samples: int
    solved: float
    nets: Mapping[str, NetSheet] = field(default_factory=dict)
    parts: Mapping[str, PartSheet] = field(default_factory=dict)
    clips: Mapping[str, float] = field(default_factory=dict)


def service_sheet(
    board: Board,
    signal_hz: float = DEFAULT_SIGNAL_HZ,
    signal_v: float = DEFAULT_SIGNAL_V,
    *,
    samples: int = SAMPLES,
    seed: int = SEED,
) -> Sheet:
    """What a good board reads.

    Parameters
    ----------
    board : Board
    signal_hz, signal_v : hertz and volts r.m.s. at the first input of the board
    samples : boards drawn from the tolerances
    seed : the same seed gives the same boards

    Raises
    ------
    InputError
        If the signal is none, or beyond 1 MHz or 100 V.
    BoardError, SolveError
        If the board has no parts, or its circuit no finite answer.
    """
    _check_signal(signal_hz, signal_v)
    cases = make_cases(board, to_circuit(board), (HEALTHY,), particles=samples, seed=seed)
    (task,) = tasks_of(cases, False, (signal_hz,), samples, healthy_point(cases, False))
    found = {name: array[0] for name, array in solve_task(task).items()}
    loads = load_at_rest(board, task.healthy), load_at_signal(cases, signal_hz, signal_v)
    return Sheet(
        signal_hz,
        signal_v,
        samples,
        float(np.mean(found["solved"])),
        _nets(cases, found, f"{GAIN} {signal_hz:g}", signal_v),
        {part.name: _part(cases, part, found, part_peak(task.healthy, part), loads) for part in board.parts.values()},
        loads[1].clips if loads[1] is not None else {},
    )


def range_of(values: Floats) -> Range | None:
    """Median and bounds of 90 % of readings; nan counts as no reading, inf as over range. None without a reading."""
    known = values[~np.isnan(values)]
    if not known.size:
        return None
    over = np.isinf(known)
    low, median, high = np.quantile(np.where(over, OPEN_OHM, known), (LOW, 0.5, HIGH))
    if over.any():
        low, median, high = (np.inf if each > OHMS_OVER_RANGE else each for each in (low, median, high))
    return Range(float(low), float(median), float(high), float(np.mean(over)))


def _check_signal(hz: float, volts: float) -> None:
    for value, most, unit in ((hz, MOST_HZ, "Hz"), (volts, MOST_V, "V")):
        if not 0 < value <= most:
            raise InputError(
                f"{value:g} {unit} is no signal to test with.", where="signal", mend="Give one such as 1 kHz 100 mV."
            )


def _nets(cases: Cases, found: Arrays, gain: str, signal_v: float) -> dict[str, NetSheet]:
    circuit, values = cases.circuit, cases.values([0])
    nets = [net for net in circuit.nets if net in set(cases.board.nets)]
    columns = [circuit.nets.index(net) for net in nets]
    there, back = (
        resistance(circuit, pairs, values, batch=cases.particles)
        for pairs in ([(net, circuit.common) for net in nets], [(circuit.common, net) for net in nets])
    )
    solved = found["solved"]
    loaded = found["volts"] * METER_INPUT_OHM / (METER_INPUT_OHM + found["source_ohm"].astype(float))
    level = np.abs(found[gain]) * signal_v if gain in found else None
    return {
        net: NetSheet(
            range_of(np.where(solved, loaded[:, column], np.nan)),
            range_of(_shown(there[:, place])),
            range_of(_shown(back[:, place])),
            range_of(np.where(solved, np.abs(found["ripple"][:, column]), np.nan)),
            None if level is None else range_of(np.where(solved, level[:, column], np.nan)),
        )
        for place, (net, column) in enumerate(zip(nets, columns, strict=True))
    }


def _shown(ohms: Floats) -> Floats:
    return np.where(ohms > OHMS_OVER_RANGE, np.inf, ohms)


def _part(cases: Cases, part: Part, found: Arrays, peak: Floats | float, loads: tuple[Load, Load | None]) -> PartSheet:
    pins = across(part)
    place = tuple(cases.board.parts).index(part.name)
    volts = None if pins is None else np.where(found["solved"], _drop(cases, found["volts"], *pins), np.nan)
    most = None if volts is None else np.maximum(np.abs(volts), peak)
    watts, amps, shares = [], [], []
    for load in loads:
        heat = None if load is None else np.where(load.solved, load.watts[:, place], np.nan)
        flow = None if load is None else load.amps.get(part.name)
        watts.append(None if heat is None else range_of(heat))
        amps.append(None if flow is None or load is None else range_of(np.where(load.solved, flow, np.nan)))
        found_shares = {} if heat is None else shares_of_ratings(part, most, heat, flow)
        shares.append({of: one for of, share in found_shares.items() if (one := range_of(share)) is not None})
    of = max(shares[0], key=lambda of: shares[0][of].median, default="")
    return PartSheet(
        pins,
        None if volts is None else range_of(volts),
        watts[0],
        shares[0].get(of),
        of,
        watts[1],
        amps[0],
        amps[1],
        shares[0],
        shares[1],
    )


def part_peak(point: OperatingPoint, part: Part) -> Floats | float:
    """Greatest volts over the mains cycle across a capacitor of a rectifier, (samples,); 0 elsewhere."""
    for region, waves in zip(point.solved.work.problem.regions, point.waves, strict=True):
        local = {point.layout.nets[net]: place for place, net in enumerate(region.nets.tolist())}
        ends = [waves.v[..., local[net]] if net in local else np.zeros(waves.v.shape[:2]) for net in part.pins.values()]
        if any(net in local for net in part.nets) and all(net in (*local, point.circuit.common) for net in part.nets):
            return np.asarray(np.max(np.abs(ends[0] - ends[1]), axis=1))
    return 0.0


def volts_across(point: OperatingPoint, part: Part) -> Floats:
    """Mean volts across a part, (cases,)."""
    a, b = across(part) or (point.circuit.common, point.circuit.common)
    return point.volt(a) - point.volt(b)


def share_of_rating(part: Part, volts: Floats | None, watts: Floats) -> tuple[Floats | None, str]:
    """How much of its rating a part takes, and which rating that is: power, voltage or current.

    `volts` are the greatest across the part, (cases,).
    """
    match part.kind:
        case "resistor":
            return watts / part.number("power"), "power"
        case "capacitor" | "electrolytic" if "voltage" in part.values and volts is not None:
            return np.abs(volts) / part.number("voltage"), "voltage"
        case "relay coil" if "volts" in part.values and volts is not None:
            return np.abs(volts) / part.number("volts"), "voltage"
        case "link" if "rating" in part.values:
            return np.sqrt(np.maximum(watts, 0.0) / LINK_OHM) / part.number("rating"), "current"
    return None, ""


def shares_of_ratings(part: Part, volts: Floats | None, watts: Floats, amps: Floats | None) -> dict[str, Floats]:
    """How much of each of its ratings a part takes, by rating.

    `volts` are the greatest across the part, `amps` the r.m.s. current of a fuse or the ripple of an electrolytic.
    """
    share, of = share_of_rating(part, volts, watts)
    found = {} if share is None else {of: share}
    if part.kind == "link" and amps is not None and "rating" in part.values:
        found = {"current": amps / part.number("rating")}
    if part.kind == "electrolytic" and amps is not None and "ripple" in part.values:
        found["ripple current"] = amps / part.number("ripple")
    return found


def across(part: Part) -> tuple[str, str] | None:
    """The two nets between which a part's volts are given."""
    if part.kind in ("transformer", "module"):
        return None
    pins = ACROSS.get(part.kind)
    if pins is not None:
        return part.pins[pins[0]], part.pins[pins[1]]
    first, second = part.pins.values()
    return first, second


def _drop(cases: Cases, volts: NDArray[np.float64], a: str, b: str) -> Floats:
    index = {net: column for column, net in enumerate(cases.circuit.nets)}

    def at(net: str) -> Floats:
        return volts[:, index[net]].astype(float) if net in index else np.zeros(len(volts))

    return at(a) - at(b)
