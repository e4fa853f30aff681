r"""A good board under its signal: what its parts dissipate, and the currents that ratings are given for.

Drivers are connected. A sine of peak current I out of an amplifier is drawn in halves from both of its rails, which
adds I/pi to the mean of each; with that in its quiescent current the operating point is solved again, so that rails
sag, fuses, rectifier and reservoirs carry it. What reaches a load is taken off the heat of its amplifier.

==================  ============  ====================================================================
symbol              name here     meaning
==================  ============  ====================================================================
y, v                              admittance of a branch, r.m.s. volts of the signal across it: heat Re(y) |v|^2
I, v_o              `amps`        peak current and r.m.s. volts at the output of an amplifier
==================  ============  ====================================================================

.. math:: P = (V_+ - V_-) (I_q + I / \pi) - \Re(v_o \overline{i})

Currents of fuses and reservoirs are those of the mains cycle, and of the signal where it flows itself. What an
amplifier draws from its rails half by half counts with its mean: a fuse between reservoir and amplifier sees more.

References
----------
The mean of a half sine, I/pi, and with it the dissipation of a class-B stage: `Malvino and Bates`, class B operation
(from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from dustcap.board.devices import LINK_OHM
from dustcap.board.model import Board
from dustcap.circuit.branches import BranchList, ac_admittances
from dustcap.circuit.operating import operating_point
from dustcap.circuit.point import OperatingPoint
from dustcap.circuit.signal import small_signal
from dustcap.predict.cases import Cases

Floats = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class Load:
    """Each part at rest or under a signal: watts, currents of fuses and electrolytics (samples,), amplifiers that clip.

    `watts` in the order of the board's parts, (samples, parts); `solved` (samples,).
    """

    watts: Floats
    amps: Mapping[str, Floats]
    solved: NDArray[np.bool_]
    clips: Mapping[str, float] = field(default_factory=dict)  # share of the samples in which an amplifier clips


def load_at_rest(board: Board, point: OperatingPoint) -> Load:
    """What the parts take without a signal."""
    heat = {element.name: np.asarray(point.watts(element.name)) for element in point.circuit.elements}
    return Load(_by_part(board, point, heat), _amps(board, point, heat, None), point.converged)


def load_at_signal(cases: Cases, hz: float, volts: float) -> Load | None:
    """The same with a signal at the first input and drivers connected; None without an input.

    `hz`, `volts`: of the signal, r.m.s.
    """
    sources = cases.board.of_kind("input")
    if not sources:
        return None
    values = cases.values([0])
    rest = operating_point(cases.circuit, values)
    signal = small_signal(cases.circuit, rest, hz, source=sources[0].name).volts[:, :, 0] * volts
    flow = _Flow(rest, signal, hz)
    amps = flow.out_amps()
    drawn = {
        (element.name, "quiescent_a"): values.get((element.name, "quiescent_a"), element.value("quiescent_a"))
        + np.sqrt(2.0) * np.abs(amps[:, number]) / np.pi
        for number, element in enumerate(rest.layout.elements.get("amplifier", ()))
    }
    point = operating_point(cases.circuit, values | drawn, start=rest)
    heat = {element.name: np.asarray(point.watts(element.name)) for element in point.circuit.elements}
    for name, watts in flow.heat().items():
        heat[name] = heat[name] + watts
    clips = {}
    for number, element in enumerate(rest.layout.elements.get("amplifier", ())):
        out = flow.at("amplifier", "out")[:, number]
        heat[element.name] = heat[element.name] - np.real(out * amps[:, number].conj())
        high, low = (point.volt(element.nets[pin]) for pin in (3, 4))
        room = np.minimum(high, -low) - element.value("headroom_v")
        peak = np.sqrt(2.0) * np.abs(out)
        beyond = (peak > room) | (np.sqrt(2.0) * np.abs(amps[:, number]) > element.value("limit_a"))
        if beyond.any():
            clips[element.part or element.name] = float(beyond.mean())
    ok = rest.converged & point.converged
    return Load(_by_part(cases.board, point, heat), _amps(cases.board, point, heat, flow), ok, clips)


class _Flow:
    """The signal in every linear branch: complex r.m.s. volts by net, (cases, nets), become currents and heat."""

    def __init__(self, point: OperatingPoint, signal: Complex, hz: float) -> None:
        self.layout = point.layout
        self._signal = signal.copy()
        if self.layout.count("amplifier"):
            rails = np.concatenate([self.layout.at("amplifier", pin) for pin in ("high", "low")])
            self._signal[:, rails[rails >= 0]] = 0.0
        self._branches = BranchList.of(self.layout)
        parts = ac_admittances(self.layout, point.table, point.state.closed, hz)
        cases = len(signal)
        self._y = np.concatenate([np.broadcast_to(part, (cases, part.shape[1])) for part in parts], axis=1)
        self._across = self._volts(self._branches.a) - self._volts(self._branches.b)
        self._names = [
            element.name for law, _ in self._branches.owners for element in self.layout.elements.get(law, ())
        ]

    def _volts(self, places: NDArray[np.intp]) -> Complex:
        inside = (places >= 0) & (places < self._signal.shape[1])
        return np.asarray(np.where(inside, self._signal[:, np.where(inside, places, 0)], 0.0))

    def at(self, law: str, terminal: str) -> Complex:
        """Volts at a terminal of every element of a law, (cases, elements)."""
        return self._volts(self.layout.at(law, terminal))

    def heat(self) -> dict[str, Floats]:
        """Heat of the signal in the linear branches of every element, (cases,)."""
        found: dict[str, Floats] = {}
        for column, name in enumerate(self._names):
            watts = self._y[:, column].real * np.abs(self._across[:, column]) ** 2
            found[name] = found.get(name, 0.0) + watts
        return found

    def amps(self, name: str) -> Floats:
        """R.m.s. current of the signal in the branches of an element, (cases,)."""
        columns = [column for column, owner in enumerate(self._names) if owner == name]
        return np.asarray(np.abs((self._y[:, columns] * self._across[:, columns]).sum(axis=1)))

    def out_amps(self) -> Complex:
        """Current out of every amplifier into the linear branches at its output, (cases, amplifiers), r.m.s."""
        if not self.layout.count("amplifier"):
            return np.zeros((len(self._signal), 0), dtype=complex)
        current = self._y * self._across
        places = self.layout.at("amplifier", "out")
        ends = (self._branches.a[:, None] == places).astype(float) - (self._branches.b[:, None] == places)
        return np.asarray(current @ (ends * (places >= 0)))


def _by_part(board: Board, point: OperatingPoint, heat: Mapping[str, Floats]) -> Floats:
    found = np.zeros((len(point.converged), len(board.parts)))
    place = {name: number for number, name in enumerate(board.parts)}
    for element in point.circuit.elements:
        if element.part in place:
            found[:, place[element.part]] += heat[element.name]
    return found


def _amps(board: Board, point: OperatingPoint, heat: Mapping[str, Floats], flow: _Flow | None) -> dict[str, Floats]:
    """R.m.s. currents of links with a rating, and the ripple current of electrolytics with a resistance."""
    found = {}
    for part in board.of_kind("link"):
        if "rating" in part.values:
            found[part.name] = np.sqrt(np.maximum(heat[part.name], 0.0) / LINK_OHM)
    for part in board.of_kind("electrolytic"):
        law, number = point.layout.place[part.name]
        esr = point.table.get(law, "esr_ohm")[:, number]
        leak = point.table.get(law, "leak_ohm")[:, number]
        a, b = part.pins.values()
        leaking = (point.volt(a) - point.volt(b)) ** 2 / leak
        mains = np.sqrt(np.maximum(np.asarray(point.watts(part.name)) - leaking, 0.0) / np.maximum(esr, 1e-6))
        found[part.name] = np.hypot(mains, flow.amps(part.name)) if flow is not None else mains
    return found
