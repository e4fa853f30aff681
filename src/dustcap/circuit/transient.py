"""What happens from switch-on: rails, thump and cone, muting, relays, inrush.

Direct supplies rise in a straight line, the mains starts at a phase of its cycle, every capacitor begins empty. The
rectifiers are followed within the cycle. Meant for a few cases: the nominal board, or a handful of samples.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dustcap.circuit.amplifiers import MUTE_WIDTH
from dustcap.circuit.branches import MUTE_PIN_OHM
from dustcap.circuit.elements import Circuit, Values
from dustcap.circuit.layout import Layout, Real, layout_of
from dustcap.circuit.motion import Motion
from dustcap.circuit.newton import gathered
from dustcap.circuit.stepping import Pace, Walk
from dustcap.circuit.switching import contacts, rest
from dustcap.circuit.values import Table, conductance, table_of
from dustcap.errors import SolveError

RAMP_S = 5e-3
"""Rise of direct supplies; common practice, no published source."""
FINEST_S = 20e-6
CYCLE_STEPS = 40
"""Least number of steps in a mains cycle."""
LEAST_STEPS = 100
RELATIVE = 1e-3
CAN_MUTE = 0.5


@dataclass(frozen=True, eq=False)
class PowerUp:
    """The circuit from switch-on, one row a case.

    Attributes
    ----------
    t_s : times, (n,), unequal steps; the first is 0
    volts : of the nets that were asked for, (cases, nets, n)
    drivers : names of the drivers
    driver_volts : (cases, drivers, n)
    displacement_m : of the cones, outward with the driver's sign, (cases, drivers, n)
    unmute_s : when each amplifier that can be muted begins to play and each relay contact turns over, and then stays
        so, (cases,); nan where it does not
    inrush_a : largest current of each transformer (in a winding) and direct supply, (cases,), A
    solved : (cases,); where false the case stands still from where no step was found
    """

    t_s: Real
    nets: tuple[str, ...]
    volts: Real
    drivers: tuple[str, ...]
    driver_volts: Real
    displacement_m: Real
    unmute_s: Mapping[str, Real]
    inrush_a: Mapping[str, Real]
    solved: NDArray[np.bool_]

    def volt(self, net: str) -> Real:
        """One net, (cases, n)."""
        if net not in self.nets:
            raise SolveError(f"the net {net!r} was not asked for.", where="power-up")
        return self.volts[:, self.nets.index(net)]

    def mean(self, net: str, from_s: float, to_s: float) -> Real:
        """Mean volts of a net between two times, (cases,)."""
        if not 0 <= from_s < to_s <= self.t_s[-1]:
            raise SolveError(f"{from_s:g} to {to_s:g} s is not within 0 to {self.t_s[-1]:g} s.", where="power-up")
        t = np.concatenate([[from_s], self.t_s[(self.t_s > from_s) & (self.t_s < to_s)], [to_s]])
        return np.array([np.trapezoid(np.interp(t, self.t_s, row), t) for row in self.volt(net)]) / (to_s - from_s)

    @property
    def peak_v(self) -> Real:
        """Largest volts at each driver, (cases, drivers): the thump."""
        return np.asarray(np.abs(self.driver_volts).max(axis=2))

    @property
    def peak_m(self) -> Real:
        """Largest displacement of each cone either way, (cases, drivers)."""
        return np.asarray(np.abs(self.displacement_m).max(axis=2))


def power_up(
    circuit: Circuit,
    values: Values | None = None,
    *,
    seconds: float,
    nets: Sequence[str] = (),
    ramp_s: float = RAMP_S,
    phase: float = np.pi / 2,
    finest_s: float = FINEST_S,
    relative: float = RELATIVE,
) -> PowerUp:
    """Follow the circuit from switch-on.

    Parameters
    ----------
    values : overrides of element values, one number or shape (cases,) each
    seconds : how long to follow it
    nets : nets whose volts are kept
    ramp_s : time in which direct supplies rise
    phase : of the mains at switch-on, rad; its peak (the default) gives the largest inrush
    finest_s : what swings faster than a few of these is damped and not followed
    relative : error allowed in one step, as a share of the largest level so far plus 1 V or 1 A

    Raises
    ------
    SolveError
        A net or an override names nothing, or a time is not positive.
    """
    layout = layout_of(circuit)
    for net in nets:
        if net not in layout.position:
            raise SolveError(f"there is no net {net!r}.", where="power-up")
    if not (seconds > 0 and finest_s > 0 and ramp_s >= 0 and relative > 0):
        raise SolveError("a power-up needs times and an error above zero.", where="power-up")
    table = table_of(layout, values or {})
    longest = seconds / LEAST_STEPS
    if layout.count("transformer"):
        longest = min(longest, 1.0 / (CYCLE_STEPS * layout.mains_hz))
    breaks = (ramp_s,) if 0 < ramp_s < seconds else ()
    motion = Motion(layout, table, ramp_s, phase)
    walk = Walk(motion, rest(layout, table), Pace(seconds, min(finest_s, longest), longest, relative, breaks))
    log = _Log(motion, tuple(nets))
    for t, x, closed in walk.steps():
        log.add(t, x, closed)
    return log.result(walk.solved)


class _Log:
    """What is kept of each step."""

    def __init__(self, motion: Motion, nets: tuple[str, ...]) -> None:
        self.motion, self.layout, self.table = motion, motion.layout, motion.table
        self.nets = nets
        self._places = np.array([self.layout.position[net] for net in nets], dtype=np.intp)
        self._motions = np.array(motion.stores.motion, dtype=np.intp)
        self._t: list[float] = []
        self._volts: list[Real] = []
        self._driver: list[Real] = []
        self._cone: list[Real] = []
        self._turned: list[NDArray[np.bool_]] = []
        self._surge = np.zeros((self.table.cases, len(self._surging())))
        self.add(0.0, np.zeros((self.table.cases, motion.size)), rest(self.layout, self.table).closed)

    def add(self, t: float, x: Real, closed: Real) -> None:
        """Keep one step."""
        self._t.append(t)
        self._volts.append(x[:, self._places])
        self._driver.append(_across(x, self.layout, "driver"))
        self._cone.append(gathered(x, self._motions))
        self._turned.append(np.concatenate([_plays(x, self.layout, self.table), self._moved(closed)], axis=1))
        if t > 0:
            self._surge = np.maximum(self._surge, np.abs(self._supplied(t, x)))

    def result(self, solved: NDArray[np.bool_]) -> PowerUp:
        """Everything that was kept."""
        t = np.array(self._t)
        turned = np.stack(self._turned, axis=2)
        names = [element.name for law in ("amplifier", "contact") for element in self.layout.elements.get(law, ())]
        wanted = self._can_mute() + (self.layout.coil_of >= 0).tolist()
        surge: dict[str, Real] = {}
        for name, column in zip(self._surging(), self._surge.T, strict=True):
            surge[name] = np.maximum(surge.get(name, 0.0), column)
        cone = np.stack(self._cone, axis=2)
        if self.layout.count("driver"):
            get = self.table.get
            factor = get("driver", "bl") * get("driver", "cms_m_n") * np.sign(get("driver", "sign"))
            cone = cone * factor[:, :, None]
        return PowerUp(
            t_s=t,
            nets=self.nets,
            volts=np.stack(self._volts, axis=2),
            drivers=tuple(element.name for element in self.layout.elements.get("driver", ())),
            driver_volts=np.stack(self._driver, axis=2),
            displacement_m=cone,
            unmute_s={n: _since(t, turned[:, k]) for k, n in enumerate(names) if wanted[k]},
            inrush_a=surge,
            solved=solved,
        )

    def _surging(self) -> list[str]:
        """Names of what `_supplied` gives the currents of."""
        wound = [self.layout.elements["transformer"][number].name for number in self.motion.windings.owner]
        return wound + [element.name for element in self.layout.elements.get("source", ())]

    def _supplied(self, t: float, x: Real) -> Real:
        """Currents of the windings, then of the sources, (cases, windings + sources)."""
        windings = self.motion.windings
        ends = gathered(x, windings.ends)
        amps = windings.siemens * (ends[..., 0] - ends[..., 1] - self.motion.emf(t))
        if not self.layout.count("source"):
            return amps
        driven = self.motion.supply(t) * self.table.get("source", "volts")
        g = conductance(self.table.get("source", "ohm"))
        return np.concatenate([amps, g * (_across(x, self.layout, "source") - driven)], axis=1)

    def _can_mute(self) -> list[bool]:
        if not self.layout.count("amplifier"):
            return []
        pinned = np.array([bool(element.nets[5]) for element in self.layout.elements["amplifier"]])
        can: list[bool] = (pinned & (self.table.get("amplifier", "mute_a") > 0).any(axis=0)).tolist()
        return can

    def _moved(self, closed: Real) -> NDArray[np.bool_]:
        resting = contacts(self.layout, self.table, np.zeros((self.table.cases, self.layout.count("coil"))))
        return np.asarray(np.abs(closed - resting) > 0.5)


def _across(x: Real, layout: Layout, law: str) -> Real:
    if not layout.count(law):
        return np.zeros((len(x), 0))
    ends = gathered(x, layout.terminals[law])
    return ends[..., 0] - ends[..., 1]


def _plays(x: Real, layout: Layout, table: Table) -> NDArray[np.bool_]:
    """Which amplifiers have more than half of the drive that their mute pin allows, (cases, amplifiers)."""
    if not layout.count("amplifier"):
        return np.zeros((len(x), 0), dtype=bool)
    need = table.get("amplifier", "mute_a") * MUTE_PIN_OHM
    volts = np.abs(gathered(x, layout.at("amplifier", "mute")))
    return np.asarray((volts >= need * (1 - 0.5 * MUTE_WIDTH)) & (table.get("amplifier", "muted") < CAN_MUTE))


def _since(t: Real, state: NDArray[np.bool_]) -> Real:
    """Time from which each case's state (cases, n) is true to the end; nan where it is not at the end."""
    count = state.shape[1] - np.cumprod(state[:, ::-1], axis=1).sum(axis=1)
    return np.where(state[:, -1], t[np.minimum(count, state.shape[1] - 1)], np.nan)
