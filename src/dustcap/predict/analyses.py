"""What the circuit does in every case: volts, ripple, heat, gain, ohms, impedance, each computed once when first asked.

Arrays are (suspects, particles, ...). The powered circuit is solved in the two states a technician can have it in
(drivers disconnected, drivers connected); each suspect's case starts from the same sample of the healthy board. What is
only compared with broad thresholds (drivers connected, gain, stability) is solved for the first few samples, which then
stand for the others.
"""

from __future__ import annotations

from collections.abc import Callable, MutableMapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dustcap.board.model import Part
from dustcap.circuit.changes import changed_pair_impedance
from dustcap.circuit.elements import Circuit
from dustcap.circuit.meter import junction_volts, low_drop_diodes, resistance
from dustcap.circuit.point import OperatingPoint
from dustcap.circuit.unpowered import branches_of
from dustcap.predict.cases import Cases
from dustcap.predict.checks import DEFAULT_SIGNAL_HZ
from dustcap.predict.powered import GAIN, NAMES, UNSTABLE, Spread, blocks, healthy_point, solve_task, tasks_of
from dustcap.predict.warmth import kelvin_per_watt

Floats = NDArray[np.float64]
Store = MutableMapping[str, NDArray[Any]]

Starts = dict[tuple[int, bool], tuple[Circuit, OperatingPoint]]

BAND_HZ = {"woofer": 200.0, "tweeter": 6000.0}
"""Where each driver's level is read; others at the usual signal's frequency."""
COARSE = 32
"""Most samples solved with the drivers connected, for gains and for junctions: a choice of ours. Further samples take
over the readings of the first, so this has to cover a fault's severities by itself."""


@dataclass(frozen=True)
class Powered:
    """The powered board in one state, every field (suspects, particles, ...).

    `volts` and `source_ohm` by net: mean d.c. and the resistance the meter sees; `ripple` and `mains` by net: complex
    r.m.s. at twice the mains frequency and at it; `faster` by net: r.m.s. of all that moves faster; `watts` by part;
    `solved`: the equations have an answer.
    """

    volts: Floats
    source_ohm: Floats
    ripple: NDArray[Any]
    mains: NDArray[Any]
    faster: Floats
    watts: Floats
    solved: NDArray[np.bool_]


@dataclass
class Analyses:
    """Results of every analysis over all cases, kept once computed (in `store` across runs, if one is given).

    `starts`: the healthy board's points, by circuit and state, shared by analyses on the same samples; `before`: such
    analyses, whose volts of the healthy board are near.
    """

    cases: Cases
    store: Store = field(default_factory=dict)
    progress: Callable[[float], None] = lambda share: None
    spread: Spread = map
    kept: dict[Any, Any] = field(default_factory=dict)
    starts: Starts = field(default_factory=dict)
    before: Analyses | None = None

    def __post_init__(self) -> None:
        self.nets = self.cases.circuit.nets
        self.index = {net: i for i, net in enumerate(self.nets)}
        self.parts = tuple(self.cases.board.parts)
        self.shape = (len(self.cases.suspects), self.cases.particles)
        self._conducts_low = {net for e in low_drop_diodes(self.cases.circuit) for net in e.nets}

    # powered ---------------------------------------------------------------------------------------------------------

    def powered(self, connected: bool) -> Powered:
        """The board switched on, with the drivers connected or not."""
        if ("powered", connected) not in self.kept:
            names = list(Powered.__dataclass_fields__)
            stored = {name: f"powered {connected} {name}" for name in names}
            if not all(label in self.store for label in stored.values()):
                for name, array in self._solve_powered(connected).items():
                    self.store[stored[name]] = array
            self.kept["powered", connected] = Powered(**{name: self.store[stored[name]] for name in names})
        found: Powered = self.kept["powered", connected]
        return found

    def _solve_powered(self, connected: bool) -> dict[str, NDArray[Any]]:
        """Every field of `Powered`; what else is read off the same points goes into the store at once."""
        found = self._solved(connected, self._usual_hz(connected))
        for label, array in found.items():
            if label.startswith(GAIN):
                self.store[f"{label} {connected}"] = array
        if connected:
            self.store[UNSTABLE] = found[UNSTABLE]
        fields = {name: found[name] for name in NAMES}
        return {name: self._repeated(array) for name, array in fields.items()} if connected else fields

    def _solved(self, connected: bool, hz: tuple[float, ...]) -> dict[str, NDArray[Any]]:
        cases = self.cases.coarse(COARSE) if connected else self.cases
        label = id(cases.circuit), connected
        if label not in self.starts:
            near = self.healthy_volts(connected)
            near = None if near is None else near[: cases.particles]
            self.starts[label] = cases.circuit, healthy_point(cases, connected, near)
        tasks = list(tasks_of(cases, connected, hz, min(cases.particles, COARSE), self.starts[label][1]))
        pieces = []
        for piece in self.spread(solve_task, tasks):
            pieces.append(piece)
            self.progress(len(pieces) / len(tasks))
        return {name: np.concatenate([piece[name] for piece in pieces]) for name in pieces[0]}

    def healthy_volts(self, connected: bool) -> Floats | None:
        """Net volts of the healthy board, (particles, nets), where they are at hand."""
        label = f"powered {connected} volts"
        if label in self.store:
            return np.asarray(self.store[label][0], dtype=float)
        if self.before is None or self.before.nets != self.nets:
            return None
        return self.before.healthy_volts(connected)

    def _usual_hz(self, connected: bool) -> tuple[float, ...]:
        if not self.cases.board.of_kind("input"):
            return ()
        roles = {str(driver.values.get("role", "")) for driver in self.cases.board.of_kind("driver")}
        bands = {BAND_HZ.get(role, DEFAULT_SIGNAL_HZ) for role in roles}
        return tuple(sorted({DEFAULT_SIGNAL_HZ, *bands})) if connected else (DEFAULT_SIGNAL_HZ,)

    def gain(self, hz: float, connected: bool) -> NDArray[np.complex128]:
        """Complex volts at every net for 1 V at the signal input, by net; for the coarse samples, repeated."""
        label = f"{GAIN} {hz:g} {connected}"
        if label not in self.store and self.cases.board.of_kind("input"):
            self.powered(connected)
            if label not in self.store:
                self.store[label] = self._solved(connected, (hz,))[f"{GAIN} {hz:g}"]
        if label not in self.store:
            return np.zeros((*self.shape, len(self.nets)), complex)
        return np.asarray(self._repeated(self.store[label]))

    def unstable(self) -> NDArray[np.bool_]:
        """Whether the linearised circuit has a growing oscillation, (suspects, particles)."""
        if "unstable" not in self.kept:
            self.powered(True)
            oscillating = np.array([self._oscillates(s) for s in range(len(self.cases.suspects))])
            self.kept["unstable"] = self._repeated(self.store[UNSTABLE]) | oscillating[:, None]
        return np.asarray(self.kept["unstable"])

    def _oscillates(self, suspect: int) -> bool:
        changed = self.cases.of_suspect(suspect, self.cases.base)
        return any(key[1] == "oscillates" and bool(np.any(value > 0)) for key, value in changed.items())

    # unpowered -------------------------------------------------------------------------------------------------------

    def impedance(self, at: str, against: str, hz: float) -> NDArray[Any]:
        """Impedance between two nets of the unplugged board at a frequency (0: ohms after settling)."""
        known: dict[tuple[str, str], NDArray[Any]] = self.kept.setdefault(("unpowered", hz), {})
        if (at, against) not in known:
            pairs = sorted({(at, against), *self.kept.pop(("waiting", hz), set())} - known.keys())
            label = f"unpowered {hz:g} {pairs}"
            if label not in self.store:
                self.store[label] = self._solve_unpowered(pairs, hz)
            found = self.store[label]
            known.update({pair: found[column] for column, pair in enumerate(pairs)})
        return known[at, against]

    def expect(self, pairs: Sequence[tuple[str, str]], hz: float) -> None:
        """Announce pairs that will be asked for at this frequency, so that one pass serves them all."""
        self.kept.setdefault(("waiting", hz), set()).update(pairs)

    def resistance(self, at: str, against: str) -> Floats:
        """Ohms between two nets of the unplugged board at the meter's low voltage."""
        if not self.linear_between(at, against):
            return self._local(f"ohms {at} {against}", at, against, resistance)
        return np.real(self.impedance(at, against, 0.0))

    def linear_between(self, at: str, against: str) -> bool:
        """Whether no diode near the two nets conducts at the meter's low voltage."""
        return not self._conducts_low & self._near(at, against)

    def _waiting(self, hz: float) -> set[tuple[str, str]]:
        found: set[tuple[str, str]] = self.kept.pop(("waiting", hz), set())
        return found

    def _solve_unpowered(self, pairs: Sequence[tuple[str, str]], hz: float) -> NDArray[Any]:
        """Shape (pairs, suspects, particles)."""
        cases, nets = self.cases, len(self.nets)
        leads = np.array([[self.index.get(a, nets), self.index.get(b, nets)] for a, b in pairs])
        found = np.empty((len(pairs), *self.shape), np.complex64 if hz else np.float32)
        ends, healthy = branches_of(cases.circuit, cases.values([0]), hz)
        for rows in blocks(range(len(cases.suspects)), cases.particles):
            _, changed = branches_of(cases.circuit, cases.values(rows), hz)
            changed = changed.reshape(len(rows), cases.particles, -1)
            found[:, rows] = np.moveaxis(changed_pair_impedance(ends, healthy, changed, leads, nets), 2, 0)
        return found

    def junction(self, at: str, against: str) -> Floats:
        """Volts at the diode test's current, red lead on `at`.

        Suspects that share no net with either lead's neighbours read as the healthy board does: the test current
        stays within the parts around the junction.
        """
        return self._local(f"junction {at} {against}", at, against, junction_volts)

    def _local(self, label: str, at: str, against: str, meter: Callable[..., Floats]) -> Floats:
        """A non-linear reading: solved for the healthy board and the suspects on either lead's net, coarse samples."""
        if label not in self.store:
            cases = self.cases.coarse(COARSE)
            leads = {at, against} - {self.cases.circuit.common}
            found = np.empty((len(cases.suspects), cases.particles))
            rows = [0, *(s for s in range(1, len(cases.suspects)) if leads & self._touched(s))]
            for block in blocks(rows, cases.particles):
                shown = meter(cases.circuit, [(at, against)], cases.values(block))
                found[block] = shown[:, 0].reshape(len(block), cases.particles)
            found[np.setdiff1d(np.arange(len(cases.suspects)), rows)] = found[0]
            self.store[label] = found
        return np.asarray(self._repeated(self.store[label]))

    def _repeated(self, coarse: NDArray[Any]) -> NDArray[Any]:
        """Coarse samples standing for all."""
        return np.asarray(coarse[:, np.arange(self.cases.particles) % coarse.shape[1]])

    def _near(self, at: str, against: str) -> set[str]:
        common = self.cases.circuit.common
        leads = {at, against} - {common}
        near = {net for e in self.cases.circuit.elements if leads & set(e.nets) for net in e.nets}
        return near - {common, ""}

    def _touched(self, suspect: int) -> set[str]:
        touched: set[str] = set()
        for fault in self.cases.suspects[suspect].faults:
            part = getattr(fault, "part", "")
            touched |= set(self.cases.board.parts[part].nets) if part else {fault.a, fault.b}  # type: ignore[union-attr]
        return touched - {self.cases.circuit.common}

    # small derived quantities ----------------------------------------------------------------------------------------

    def across(self, part: Part, volts: NDArray[Any]) -> NDArray[Any]:
        """Volts across a two-terminal part, from volts by net."""
        a, b = part.nets[0], part.nets[-1]

        def at(net: str) -> NDArray[Any]:
            index = self.index.get(net)
            return np.zeros(volts.shape[:2], volts.dtype) if index is None else volts[:, :, index]

        return np.asarray(at(a) - at(b))

    def plays(self, driver: Part) -> Floats:
        """1 where the driver's own coil is whole, 0 where it is open, (suspects, particles)."""
        plays = np.ones(self.shape)
        for index, suspect in enumerate(self.cases.suspects):
            if any(getattr(fault, "part", "") == driver.name for fault in suspect.faults):
                changed = self.cases.of_suspect(index, self.cases.base)
                plays[index] = changed.get((driver.name, "present"), np.ones(self.cases.particles))
        return plays

    def warmth(self, part: str, connected: bool) -> Floats:
        """Kelvin above ambient of a part."""
        watts = self.powered(connected).watts[:, :, self.parts.index(part)]
        return np.asarray(watts * kelvin_per_watt(self.cases.board.parts[part]), dtype=float)

    def healthy_watts(self, part: str) -> float:
        """Median watts of a part on the healthy board, drivers disconnected."""
        return float(np.median(self.powered(False).watts[0, :, self.parts.index(part)]))
