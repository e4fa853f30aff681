"""One linearised mains cycle of a region, closed on itself.

Capacitors are carried from phase to phase by the theta method with theta fitted to the exponential (Liniger &
Willoughby 1970, from memory): the trapezoidal rule for large capacitors, backward Euler for those that follow within
a step.

| symbol | unit | meaning |
| --- | --- | --- |
| v, w | V | net voltages; capacitor voltages behind their series resistance |
| M v = s + W w - J | A | the nets at one phase |
| w' = T w + c | V | the capacitors from one phase to the next |
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dustcap.circuit.devices import load_share
from dustcap.circuit.junctions import diode_current
from dustcap.circuit.layout import Index, Real
from dustcap.circuit.rectifier import Region
from dustcap.circuit.values import Table, conductance

PHASES = 40
CROWDING = 0.6
CROWDED_AT = np.radians(75.0)
"""Phases lie closer where rectifiers conduct, before the peaks of the mains; choices of ours."""
LEAST_ESR_OHM = 2e-3
LEAST_F = 1e-9
LEAK_S = 1e-9
FADE_V = 0.5
"""A load that devices draw fades to nothing below about one volt, as they do."""
MOST_OHM = 1e3


def _grid() -> tuple[Real, Real, Real]:
    """Phases (K,), step before each phase, weight of each in a mean."""
    s = 2 * np.pi * np.arange(PHASES) / PHASES
    phase = s - 0.5 * CROWDING * np.sin(2 * (s - CROWDED_AT))
    step = np.diff(phase, prepend=phase[-1] - 2 * np.pi)
    return phase, step, (step + np.roll(step, -1)) / (4 * np.pi)


PHASE, STEP, WEIGHT = _grid()


def harmonic_weights(order: int) -> NDArray[np.complex128]:
    """Weights (K,) whose sum with a wave, straight between the phases, is its r.m.s. phasor at `order` times mains.

    The phase counts from the mains sine: v = sqrt(2) Re(phasor exp(j order phase)).
    """
    wave = np.exp(-1j * order * PHASE)
    chord = (wave - np.roll(wave, 1)) / STEP
    # the integral of v exp(-jn phase) by parts: sum of slopes times (wave_k - wave_(k-1)) / n^2
    return np.asarray((chord - np.roll(chord, -1)) * np.sqrt(2.0) / (2 * np.pi * order**2))


@dataclass(frozen=True, eq=False)
class Network:
    """The elements of a region, case by case, and their incidence."""

    diode_ends: Real  # (diodes, nets) of +1 and -1
    capacitor_ends: Real
    diode_outer: Real  # (diodes, nets * nets)
    diodes: tuple[Real, Real, Real, Real]  # saturation, ideality, series, present: (cases, diodes)
    winding_ends: Real
    wound: Real  # (cases, windings), S
    emf: Real  # peak volts of the windings, (cases, windings)
    windings: Real  # (cases, nets, nets), S
    fixed: Real  # windings and capacitors' series resistances, (cases, nets, nets)
    drive: Real  # peak currents of the windings into the nets, (cases, nets)
    siemens: Real  # of the capacitors' series resistances, (cases, capacitors)
    ratio: Real  # time step over capacitance, (cases, K, capacitors)
    theta: Real  # (cases, K, capacitors)
    ports: Index
    built: Real  # all that the region's own values come to, (cases, numbers - nets * nets)

    @staticmethod
    def numbers(region: Region) -> int:
        """How many numbers tell one network and its linear loads from another."""
        size, capacitors = len(region.nets), len(region.capacitors)
        return 2 * size * size + size + 2 * capacitors + 4 * len(region.diodes)

    @staticmethod
    def of(region: Region, table: Table, mains_hz: float, scale: Real) -> Network:
        """Values of a region's elements; `scale` (cases,) multiplies the windings' volts."""
        size, cases = len(region.nets), table.cases
        ends = [_incidence(pairs, size) for pairs in (region.diode_ends, region.capacitor_ends, region.winding_ends)]
        wound, volts = _windings(region, table)
        farad = np.maximum(_wide(table, "capacitor", "farad", region.capacitors), LEAST_F)
        esr = np.maximum(_wide(table, "capacitor", "esr_ohm", region.capacitors), LEAST_ESR_OHM)
        windings = (wound @ _outer(ends[2])).reshape(cases, size, size)
        source = np.minimum(1.0 / np.maximum(wound.max(axis=1, initial=0.0), 1e-9), MOST_OHM)
        ratio = STEP[None, :, None] / (2 * np.pi * mains_hz) / farad[:, None, :]
        fixed = windings + ((1.0 / esr) @ _outer(ends[1])).reshape(cases, size, size)
        drive, diodes = (wound * volts * scale[:, None]) @ ends[2], _diodes(region, table)
        return Network(
            diode_ends=ends[0],
            capacitor_ends=ends[1],
            diode_outer=_outer(ends[0]),
            diodes=diodes,
            winding_ends=ends[2],
            wound=wound,
            emf=volts * scale[:, None],
            windings=windings,
            fixed=fixed,
            drive=drive,
            siemens=1.0 / esr,
            ratio=ratio,
            theta=_theta(ratio / (np.minimum(esr, MOST_OHM) + source[:, None])[:, None, :]),
            ports=region.ports,
            built=np.concatenate([fixed.reshape(cases, -1), drive, farad, esr, *diodes], axis=1),
        )

    def take(self, rows: Index) -> Network:
        """The same for some of the cases."""
        return Network(
            self.diode_ends,
            self.capacitor_ends,
            self.diode_outer,
            tuple(value[rows] for value in self.diodes),  # type: ignore[arg-type]
            self.winding_ends,
            self.wound[rows],
            self.emf[rows],
            self.windings[rows],
            self.fixed[rows],
            self.drive[rows],
            self.siemens[rows],
            self.ratio[rows],
            self.theta[rows],
            self.ports,
            self.built[rows],
        )

    def diode_law(self, drops: Real) -> tuple[Real, Real]:
        """Currents and conductances of the diodes at drops (cases, K, diodes)."""
        saturation, ideality, series, present = (value[:, None] for value in self.diodes)
        i, g = diode_current(drops, saturation, ideality, series)
        return present * i, present * g

    def winding_current(self, v: Real, winding: int) -> Real:
        """Current into the first end of a winding at net voltages v (cases, K, nets), (cases, K)."""
        drive = np.sin(PHASE) * self.emf[:, winding, None]
        current: Real = self.wound[:, winding, None] * (v @ self.winding_ends[winding] - drive)
        return current

    def capacitor_current(self, v: Real, number: int) -> Real:
        """Current into a capacitor at net voltages v (cases, K, nets), (cases, K)."""
        drop, g = v @ self.capacitor_ends[number], self.siemens[:, number, None]
        ahead = self.ratio[..., number] * self.theta[..., number]
        behind = self.ratio[..., number] * (1.0 - self.theta[..., number])
        leak = g + LEAK_S
        moved = g * (ahead * drop + behind * np.roll(drop, 1, axis=1))
        steps = np.stack([1.0 - behind * leak, moved], axis=-1) / (1.0 + ahead * leak)[..., None]
        current: Real = g * (drop - _closed(steps[:, :, None, :], 1)[..., 0, 0])
        return current

    def cycle(self, local: Real, offset: Real, g: Real, drawn: Real, fading: Real, last: Real) -> Real:
        """Net voltages over the cycle and their derivatives by J, (cases, K, nets, 1 + ports).

        Parameters
        ----------
        local : linear loads, (cases, nets, nets), S
        offset, g : each diode is a current source beside a conductance, (cases, K, diodes)
        drawn, fading : J and the share of it that fades with the voltage, (cases, ports)
        last : net voltages at which the fading is linearised, (cases, K, nets)
        """
        cases, phases, size = last.shape
        ports, capacitors = self.ports, self.siemens.shape[1]
        matrix = (self.fixed + local)[:, None] + (g @ self.diode_outer).reshape(cases, phases, size, size)
        sources = np.sin(PHASE)[:, None] * self.drive[:, None, :] - offset @ self.diode_ends
        load, slope = _fading(fading[:, None], last[..., ports])
        matrix[..., ports, ports] += slope
        sources[..., ports] -= (drawn - fading)[:, None] + load - slope * last[..., ports]
        right = np.zeros((cases, phases, size, 1 + len(ports) + capacitors))
        right[..., 0] = sources
        right[..., ports, 1 + np.arange(len(ports))] = -1.0
        right[..., 1 + len(ports) :] = (self.siemens[:, :, None] * self.capacitor_ends).transpose(0, 2, 1)[:, None]
        solved = np.linalg.solve(matrix, right).astype(np.float64, copy=False)
        free, by_w = solved[..., : 1 + len(ports)], solved[..., 1 + len(ports) :]
        if not capacitors:
            return free
        v: Real = free + by_w @ self._charged(free, by_w)
        return v

    def _charged(self, free: Real, by_w: Real) -> Real:
        """Capacitor voltages of the closed cycle, (cases, K, capacitors, 1 + ports)."""
        flow = self.siemens[:, None, :, None] * self.capacitor_ends
        a, d = flow @ free, flow @ by_w
        count = np.arange(d.shape[-1])
        d[..., count, count] -= self.siemens[:, None] + LEAK_S
        ahead, behind = (self.ratio * self.theta)[..., None], (self.ratio * (1.0 - self.theta))[..., None]
        left, right = -ahead * d, behind * np.roll(d, 1, axis=1)
        left[..., count, count] += 1.0
        right[..., count, count] += 1.0
        moved = ahead * a + behind * np.roll(a, 1, axis=1)
        return _closed(np.linalg.solve(left, np.concatenate([right, moved], axis=-1)), len(count))


def _closed(steps: Real, count: int) -> Real:
    """Solution of w_k = T_k w_(k-1) + c_k around the cycle; `steps` (cases, K, count, count + n) holds T and c."""
    t, c = steps[..., :count], steps[..., count:]
    around = steps[:, 0].copy()
    for k in range(1, steps.shape[1]):
        around = t[:, k] @ around
        around[..., count:] += c[:, k]
    w = np.linalg.solve(np.eye(count) - around[..., :count], around[..., count:])
    waves = np.empty_like(c)
    for k in range(steps.shape[1]):
        w = t[:, k] @ w + c[:, k]
        waves[:, k] = w
    return waves


def _fading(share: Real, v: Real) -> tuple[Real, Real]:
    """Current that devices draw at v, from `share` at full voltage to none at zero, with its derivative."""
    sign = np.sign(share)
    step, slope = load_share(sign * v, FADE_V)
    return share * step, np.abs(share) * slope


def _theta(q: Real) -> Real:
    small = q < 1e-3
    safe = np.where(small, 1.0, q)
    return np.where(small, 0.5 + q / 12.0, -1.0 / np.expm1(-safe) - 1.0 / safe)


def _incidence(pairs: Index, size: int) -> Real:
    ends = np.zeros((len(pairs), size))
    for row, (a, b) in zip(ends, pairs, strict=True):
        if a >= 0:
            row[a] += 1.0
        if b >= 0:
            row[b] -= 1.0
    return ends


def _outer(ends: Real) -> Real:
    outer: Real = np.einsum("er,es->ers", ends, ends).reshape(len(ends), ends.shape[1] ** 2)
    return outer


def _wide(table: Table, law: str, value: str, numbers: tuple[int, ...]) -> Real:
    if not numbers:
        return np.zeros((table.cases, 0))
    return np.broadcast_to(table.get(law, value)[:, list(numbers)], (table.cases, len(numbers)))


def _diodes(region: Region, table: Table) -> tuple[Real, Real, Real, Real]:
    saturation, ideality, series, present = (
        _wide(table, "diode", value, region.diodes) for value in ("saturation_a", "ideality", "series_ohm", "present")
    )
    return saturation, ideality, series, present


def _windings(region: Region, table: Table) -> tuple[Real, Real]:
    """Conductance and peak volts of every winding, (cases, windings); the second half is in antiphase."""
    first = np.array([not second for second in region.second])
    ohm = np.where(first, *(_wide(table, "transformer", name, region.transformers) for name in ("ohm_a", "ohm_b")))
    scale = np.where(
        first, *(_wide(table, "transformer", name, region.transformers) for name in ("scale_a", "scale_b"))
    )
    volts = np.sqrt(2.0) * _wide(table, "transformer", "volts_rms", region.transformers) * scale
    return conductance(ohm), volts * np.where(first, 1.0, -1.0)
