"""What a leak may not do, as logarithmic excess over a limit: above 0 the limit is broken.

The state is drivers connected, no signal. An output of an amplifier that plays at rest and is muted by the leak (or the
other way about) breaks `mute state`, a relay contact that moves breaks `relay state`. A part that is over its rating
without any leak is left out of account.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dustcap.board.model import Board, Part
from dustcap.circuit.branches import MUTE_PIN_OHM
from dustcap.circuit.elements import Circuit
from dustcap.circuit.noise import Noise, noise_of_nets
from dustcap.circuit.point import OperatingPoint
from dustcap.circuit.poles import LEAST_DAMPING, poles
from dustcap.predict.complaints import HUM_V
from dustcap.predict.sheet import part_peak, share_of_rating, volts_across

Floats = NDArray[np.float64]

DC_AT_DRIVER_V = 0.05
NOISE_V = 1e-3
"""R.m.s., 20 Hz to 20 kHz: some 21 dB SPL at one metre from 90 dB at 2.83 V (common practice, no published source)."""
NOISE_HZ = (20.0, 100.0, 500.0, 2e3, 6e3, 20e3)
DC, HUM, NOISE, OSCILLATION, MUTE, RELAY, RATING = (
    "dc at driver", "hum at driver", "noise at driver", "oscillation", "mute state", "relay state", "part over rating",
)  # fmt: skip
SLOW = (NOISE, OSCILLATION)
"""What takes longest to compute."""
FAR = 9.0
"""Excess of what is only broken or not."""


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit: what is limited, to how much, and at which driver or part."""

    what: str
    limit: float | None = None
    unit: str = ""
    driver: str = ""
    part: str = ""


def limits_of(
    board: Board, dc_v: float = DC_AT_DRIVER_V, hum_v: float = HUM_V, noise_v: float = NOISE_V
) -> tuple[Limit, ...]:
    """The limits that a board can break: for each driver, amplifier with a mute, relay, and for all at once."""
    return tuple(_limits(board, dc_v, hum_v, noise_v))


def _limits(board: Board, dc_v: float, hum_v: float, noise_v: float) -> Iterator[Limit]:
    for driver in board.of_kind("driver"):
        yield Limit(DC, dc_v, "V", driver=driver.name)
        yield Limit(HUM, hum_v, "V", driver=driver.name)
        if board.common in driver.nets and len(driver.nets) == 2:
            yield Limit(NOISE, noise_v, "V", driver=driver.name)
    if board.of_kind("op amp", "power amplifier", "regulator", "npn", "pnp", "module"):
        yield Limit(OSCILLATION)
    for part in board.of_kind("power amplifier"):
        if "mute" in part.pins:
            yield Limit(MUTE, part=part.name)
    for part in board.of_kind("switch"):
        if part.values.get("driven_by"):
            yield Limit(RELAY, part=part.name)
    yield Limit(RATING, 1.0)


class Judge:
    """Judges operating points of a board with a leak against the limits, knowing the board without it."""

    def __init__(self, board: Board, circuit: Circuit, limits: tuple[Limit, ...], healthy: OperatingPoint) -> None:
        self._board, self._circuit, self.limits, self._healthy = board, circuit, limits, healthy
        rated = [part for part in board.parts.values() if share_of_rating(part, np.zeros(1), np.zeros(1))[1]]
        self._rated = [part for part in rated if self._shares(healthy, [part])[0, 0] < 1]

    def excess(self, point: OperatingPoint, *, slow: bool = True) -> Floats:
        """Shape (cases, limits); nan where there is no answer, or for what is `SLOW` when it is not asked for."""
        noises = self._noises(point) if slow else {}
        columns = [self._of(limit, point, slow, noises) for limit in self.limits]
        found = np.stack([np.broadcast_to(column, (len(point.converged),)) for column in columns], axis=1)
        return np.where(point.converged[:, None], found, np.nan)

    def worst_part(self, point: OperatingPoint) -> list[str]:
        """The part that takes most of its rating, by case."""
        if not self._rated:
            return [""] * len(point.converged)
        return [self._rated[place].name for place in np.argmax(self._shares(point, self._rated), axis=1)]

    def _noises(self, point: OperatingPoint) -> dict[str, Noise]:
        """Noise at the live net of every driver that has a limit."""
        nets = tuple(dict.fromkeys(self._live(limit) for limit in self.limits if limit.what == NOISE))
        return noise_of_nets(self._circuit, point, NOISE_HZ, nets) if nets else {}

    def _live(self, limit: Limit) -> str:
        (net,) = set(self.driver_nets(limit)) - {self._circuit.common}
        return net

    def _of(self, limit: Limit, point: OperatingPoint, slow: bool, noises: dict[str, Noise]) -> Floats:
        if limit.what in SLOW and not slow:
            return np.full(1, np.nan)
        match limit.what:
            case "dc at driver":
                return _log(np.abs(self.at_driver(limit, point, point.volts)), limit)
            case "hum at driver":
                both = [np.abs(self.at_driver(limit, point, each)) for each in (point.ripple, point.ripple_mains)]
                return _log(np.hypot(*both), limit)
            case "noise at driver":
                return _log(noises[self._live(limit)].volts(NOISE_HZ[0], NOISE_HZ[-1]), limit)
            case "oscillation":
                return growth(poles(self._circuit, point)) - LEAST_DAMPING
            case "mute state":
                playing = self._plays(limit.part, point)
                return -playing if self._plays(limit.part, self._healthy)[0] >= 0 else playing
            case "relay state":
                rest = self._closed(limit.part, self._healthy)
                return np.where(self._closed(limit.part, point) != rest, FAR, -FAR)
        shares = self._shares(point, self._rated)
        return np.log(np.maximum(np.max(shares, axis=1), 1e-30)) if self._rated else np.full(1, -FAR)

    def at_driver(self, limit: Limit, point: OperatingPoint, volts: NDArray[Any]) -> NDArray[Any]:
        """What stands across the driver of a limit, of volts by net (cases, nets)."""
        plus, minus = self.driver_nets(limit)
        return np.asarray(_column(point, volts, plus) - _column(point, volts, minus))

    def driver_nets(self, limit: Limit) -> tuple[str, str]:
        """Both nets of the driver of a limit."""
        plus, minus = self._board.parts[limit.driver].pins.values()
        return plus, minus

    def _plays(self, name: str, point: OperatingPoint) -> Floats:
        part = self._board.parts[name]
        need = part.number("mute_current") * MUTE_PIN_OHM
        return np.log(np.maximum(np.abs(point.volt(part.pins["mute"])), 1e-12) / need)

    def _closed(self, name: str, point: OperatingPoint) -> NDArray[np.bool_]:
        return np.asarray(point.state.closed[:, point.layout.place[name][1]], dtype=bool)

    @staticmethod
    def _shares(point: OperatingPoint, parts: Sequence[Part]) -> Floats:
        """Share of its rating that each part takes, (cases, parts)."""
        found = []
        for part in parts:
            volts = np.maximum(np.abs(volts_across(point, part)), part_peak(point, part))
            found.append(np.asarray(share_of_rating(part, volts, _watts(point, part))[0]))
        return np.stack(found, axis=1)


def growth(natural: NDArray[np.complex128]) -> Floats:
    """How far a circuit is beyond its onset of oscillation, (cases,): the real part of a pole over its size.

    Of the second of the poles in order of growth: a pair stands for an oscillation, a single one for a latch. Minus the
    damping ratio of the least damped pair; above 0 it grows, so that it has the sign of `oscillates` and is continuous.
    """
    if natural.shape[1] < 2:
        return np.full(len(natural), -1.0)
    size = np.abs(natural)
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = np.where(np.isfinite(size) & (size > 0), natural.real / size, -1.0)
    return np.asarray(np.sort(ratio, axis=1)[:, -2])


def with_part(limit: Limit, part: str) -> Limit:
    """The limit on any part, with the part named that broke it."""
    return replace(limit, part=part) if limit.what == RATING else limit


def _watts(point: OperatingPoint, part: Part) -> Floats:
    if part.kind not in ("resistor", "link"):
        return np.zeros(len(point.converged))
    return np.asarray(point.watts(part.name))


def _log(value: NDArray[Any], limit: Limit) -> Floats:
    return np.asarray(np.log(np.maximum(value.real, 1e-15) / float(limit.limit or 1.0)))


def _column(point: OperatingPoint, volts: NDArray[Any], net: str) -> NDArray[Any]:
    position = point.layout.position.get(net)
    return np.zeros(len(volts), volts.dtype) if position is None else volts[:, position]
