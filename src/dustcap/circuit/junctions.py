"""Diodes, zener diodes and bipolar transistors.

| symbol | unit | meaning |
| --- | --- | --- |
| Is | A | saturation current |
| n | 1 | ideality |
| Vt | V | kT/q at 25 degC |
| Rs | ohm | series resistance |
"""

from __future__ import annotations

import numpy as np
from scipy.special import wrightomega

from dustcap.circuit.devices import Group, hinge
from dustcap.circuit.layout import Layout, Real
from dustcap.circuit.values import FLOOR_OHM, THERMAL_V, Table

LEAST_EXPONENT = 100.0
"""exp(-100) is nothing; smaller numbers would only slow the arithmetic down."""
SERIES_BELOW = -10.0
"""The next term of the series is a share of 3e-17 there."""
MAX_EXPONENT = 60.0
"""Beyond it the exponential goes on as a straight line; such a current is far outside any part."""
DYING = 1e-4
"""Least share of its current that a junction keeps in one step."""
ZENER_KNEE_V = 0.02
ZENER_BULK_OHM = 0.02


def diode_current(v: Real, saturation_a: Real, ideality: Real | float, series_ohm: Real) -> tuple[Real, Real]:
    """Current and conductance of a diode with series resistance.

    Notes
    -----
    i = Is (exp((v - i Rs) / n Vt) - 1) in closed form through the Wright omega function (Corless & Jeffrey 2002, from
    memory):
    (i + Is) Rs / n Vt = omega(ln(Is Rs / n Vt) + (v + Is Rs) / n Vt).
    """
    ohm = np.maximum(series_ohm, FLOOR_OHM)
    scale = np.asarray(ideality * THERMAL_V)
    omega = _omega(
        np.asarray(np.maximum(np.log(saturation_a * ohm / scale) + (v + saturation_a * ohm) / scale, -LEAST_EXPONENT))
    )
    total = omega * scale / ohm
    return total - saturation_a, total / (total * ohm + scale)


def _omega(x: Real) -> Real:
    """The Wright omega function; far below zero by the first terms of its series in exp(x), a fifth of the time."""
    t = np.exp(np.minimum(x, SERIES_BELOW))
    found = np.asarray(t * (1.0 - t * (1.0 - t * (1.5 - t * (8.0 / 3.0)))))
    large = np.asarray(x > SERIES_BELOW)
    if large.any():
        found[large] = wrightomega(x[large])
    return found


def diode_voltage(i: Real, saturation_a: Real, ideality: Real | float, series_ohm: Real) -> Real:
    """Voltage at a forward current, the inverse of `diode_current`."""
    v: Real = ideality * THERMAL_V * np.log1p(np.maximum(i, 0.0) / saturation_a)
    return v + np.maximum(series_ohm, FLOOR_OHM) * i


def limited_diode(new: Real, old: Real, saturation_a: Real, ideality: Real | float, series_ohm: Real) -> Real:
    """A junction is linearised next where its law carries the current that the last linearisation foretold.

    This holds for a junction that starts to conduct and for one whose current dies away; one that is driven into
    reverse is taken as it comes.
    """
    scale = ideality * THERMAL_V
    knee = scale * np.log(scale / (np.sqrt(2.0) * saturation_a))
    rising = (new > knee) & (new > old + 2.0 * scale)
    falling = (new < old) & (old > 0.5 * knee) & (new > old - 2.0 * scale)
    if not (rising.any() or falling.any()):
        return new
    i, g = diode_current(old, saturation_a, ideality, series_ohm)
    foretold = diode_voltage(np.maximum(i + g * (new - old), DYING * i), saturation_a, ideality, series_ohm)
    limited = np.where(rising, np.minimum(np.maximum(foretold, knee), new), new)
    return np.where(falling, np.minimum(foretold, new), limited)


def _two_terminal(i: Real, g: Real) -> tuple[Real, Real]:
    f = np.stack([i, -i], axis=-1)
    row = np.stack([g, -g], axis=-1)
    return f, np.stack([row, -row], axis=-2)


class Diodes(Group):
    """Every diode, or those of them that are named by number."""

    law = "diode"

    def __init__(self, layout: Layout, numbers: list[int]) -> None:
        self.numbers = np.array(numbers, dtype=np.intp)
        self.columns = layout.terminals["diode"][self.numbers]
        self.rows = self.columns

    def _law(self, table: Table) -> tuple[Real, Real, Real]:
        pick = self.numbers
        return (
            table.get("diode", "saturation_a")[:, pick],
            table.get("diode", "ideality")[:, pick],
            table.get("diode", "series_ohm")[:, pick],
        )

    def evaluate(self, u: Real, table: Table) -> tuple[Real, Real]:
        """Currents leaving anode and cathode."""
        return _two_terminal(*self.branch(_drop(u), table))

    def branch(self, v: Real, table: Table) -> tuple[Real, Real]:
        """Current from anode to cathode and its derivative."""
        i, g = diode_current(v, *self._law(table))
        present = table.get("diode", "present")[:, self.numbers]
        return i * present, g * present

    def limit(self, new: Real, old: Real, table: Table) -> Real:
        """Junction limiting at the cathode's side."""
        return _limited_pair(new, limited_diode(_drop(new), _drop(old), *self._law(table)))


def _drop(u: Real) -> Real:
    return u[..., 0] - u[..., 1]


def _limited_pair(new: Real, drop: Real) -> Real:
    return np.stack([new[..., 0], new[..., 0] - drop], axis=-1)


class Zeners(Group):
    """Every zener diode: a silicon diode forward, beyond `zener_v` backward a slope."""

    law = "zener"

    def __init__(self, layout: Layout) -> None:
        self.columns = layout.terminals["zener"]
        self.rows = self.columns

    def evaluate(self, u: Real, table: Table) -> tuple[Real, Real]:
        """Currents leaving anode and cathode."""
        return _two_terminal(*self.branch(_drop(u), table))

    def branch(self, v: Real, table: Table) -> tuple[Real, Real]:
        """Current from anode to cathode and its derivative."""
        bulk = np.full((1, 1), ZENER_BULK_OHM)
        i, g = diode_current(v, table.get("zener", "saturation_a"), 1.0, bulk)
        slope = np.maximum(table.get("zener", "slope_ohm"), FLOOR_OHM)
        over, rise = softplus(-v - table.get("zener", "zener_v"), ZENER_KNEE_V)
        present = table.get("zener", "present")
        return present * (i - over / slope), present * (g + rise / slope)

    def limit(self, new: Real, old: Real, table: Table) -> Real:
        """Junction limiting forward; backward the breakdown is entered at its corner."""
        corner = table.get("zener", "zener_v") + 2.0 * ZENER_KNEE_V
        bulk = np.full((1, 1), ZENER_BULK_OHM)
        v, last = _drop(new), _drop(old)
        drop = limited_diode(v, last, table.get("zener", "saturation_a"), 1.0, bulk)
        drop = np.where((-v > corner) & (-last < corner - 2.0 * ZENER_KNEE_V), -corner, drop)
        return _limited_pair(new, drop)


def softplus(u: Real, width: float) -> tuple[Real, Real]:
    """Smooth max(u, 0), exponentially small below, with its derivative."""
    x = u / width
    small = np.exp(-np.minimum(np.abs(x), LEAST_EXPONENT))
    return width * (np.maximum(x, 0.0) + np.log1p(small)), np.where(x > 0, 1.0, small) / (1.0 + small)


def _exponential(v: Real) -> tuple[Real, Real]:
    x = v / THERMAL_V
    capped = np.exp(np.clip(x, -LEAST_EXPONENT, MAX_EXPONENT))
    return capped * (1.0 + np.maximum(x - MAX_EXPONENT, 0.0)), capped / THERMAL_V


class Bipolars(Group):
    """Every bipolar transistor: Ebers-Moll in transport form (Gummel & Poon 1970, without their second-order terms).

    ic = Is (exp(vbe/Vt) - exp(vbc/Vt)) - Is/Br (exp(vbc/Vt) - 1);
    ib = Is/Bf (exp(vbe/Vt) - 1) + Is/Br (exp(vbc/Vt) - 1).
    """

    law = "bipolar"

    def __init__(self, layout: Layout) -> None:
        self.columns = layout.terminals["bipolar"]  # collector, base, emitter
        self.rows = self.columns

    def evaluate(self, u: Real, table: Table) -> tuple[Real, Real]:
        """Currents leaving collector, base and emitter."""
        sign, saturation = table.get("bipolar", "sign"), table.get("bipolar", "saturation_a")
        present = table.get("bipolar", "present")
        forward, d_forward = _exponential(sign * (u[..., 1] - u[..., 2]))
        back, d_back = _exponential(sign * (u[..., 1] - u[..., 0]))
        base_f = present * saturation / np.maximum(table.get("bipolar", "gain"), 1e-6)
        base_r = saturation / table.get("bipolar", "reverse_gain")
        through = present * saturation
        ic = through * (forward - back) - base_r * (back - 1.0)
        ib = base_f * (forward - 1.0) + base_r * (back - 1.0)
        f = np.stack([sign * ic, sign * ib, -sign * (ic + ib)], axis=-1)
        # derivatives by vbe and vbc; the sign cancels
        c_be, c_bc = through * d_forward, -(through + base_r) * d_back
        b_be, b_bc = base_f * d_forward, base_r * d_back
        c = np.stack([-c_bc, c_be + c_bc, -c_be], axis=-1)
        b = np.stack([-b_bc, b_be + b_bc, -b_be], axis=-1)
        return f, np.stack([c, b, -(c + b)], axis=-2)

    def limit(self, new: Real, old: Real, table: Table) -> Real:
        """Junction limiting of both junctions."""
        sign, saturation = table.get("bipolar", "sign"), table.get("bipolar", "saturation_a")
        base = new[..., 1]
        none = np.full((1, 1), FLOOR_OHM)
        be = limited_diode(sign * (base - new[..., 2]), sign * (old[..., 1] - old[..., 2]), saturation, 1.0, none)
        bc = limited_diode(sign * (base - new[..., 0]), sign * (old[..., 1] - old[..., 0]), saturation, 1.0, none)
        return np.stack([base - sign * bc, base, base - sign * be], axis=-1)


class FieldEffects(Group):
    """Every transistor of one square-law field-effect kind.

    n channel, drain above source: i = k (vgs - Vth)^2 saturated, k (2 (vgs - Vth) vds - vds^2) below; drain and source
    change places when vds is negative. A mosfet carries its body diode, a jfet its two gate junctions.
    """

    def __init__(self, layout: Layout, law: str) -> None:
        self.law = law
        self.columns = layout.terminals[law]  # drain, gate, source
        self.rows = self.columns

    def _channel(self, table: Table) -> tuple[Real, Real]:
        if self.law == "mosfet":
            return table.get("mosfet", "threshold_v"), table.get("mosfet", "k_a_v2")
        cutoff = np.maximum(np.abs(table.get("jfet", "cutoff_v")), 1e-3)
        return -cutoff, table.get("jfet", "idss_a") / cutoff**2

    def evaluate(self, u: Real, table: Table) -> tuple[Real, Real]:
        """Currents leaving drain, gate and source."""
        sign, present = table.get(self.law, "sign"), table.get(self.law, "present")
        threshold, k = self._channel(table)
        gd, gs = sign * (u[..., 1] - u[..., 0]), sign * (u[..., 1] - u[..., 2])
        # k (over_s^2 - over_d^2) with both overdrives cut at zero is the square law in all its regions
        over_s, d_s = hinge(gs - threshold, FET_KNEE_V)
        over_d, d_d = hinge(gd - threshold, FET_KNEE_V)
        i = present * k * (over_s**2 - over_d**2)
        by_s, by_d = present * k * 2.0 * over_s * d_s, -present * k * 2.0 * over_d * d_d
        f_d, f_g, f_s = i, np.zeros_like(i), -i
        d = np.stack([-by_d, by_s + by_d, -by_s], axis=-1)
        g = np.zeros_like(d)
        s = -d
        for p, q in self._junctions():
            drop = sign * (u[..., p] - u[..., q])
            j, slope = diode_current(drop, np.full((1, 1), FET_JUNCTION_A), 1.0, np.full((1, 1), FET_JUNCTION_OHM))
            currents = [f_d, f_g, f_s]
            currents[p], currents[q] = currents[p] + present * j, currents[q] - present * j
            f_d, f_g, f_s = currents
            rows = [d, g, s]
            for row, plus in ((p, 1.0), (q, -1.0)):
                rows[row] = rows[row].copy()
                rows[row][..., p] += plus * present * slope
                rows[row][..., q] -= plus * present * slope
            d, g, s = rows
        return sign[..., None] * np.stack([f_d, f_g, f_s], axis=-1), np.stack([d, g, s], axis=-2)

    def _junctions(self) -> tuple[tuple[int, int], ...]:
        return ((2, 0),) if self.law == "mosfet" else ((1, 0), (1, 2))

    def limit(self, new: Real, old: Real, table: Table) -> Real:
        """Turn-on at most half a volt past the threshold in one step; junctions limited where they are."""
        sign = table.get(self.law, "sign")
        threshold, _ = self._channel(table)
        gate = new[..., 1]
        ends = []
        for end in (0, 2):
            v, last = sign * (gate - new[..., end]), sign * (old[..., 1] - old[..., end])
            bound = np.maximum(last, threshold) + FET_STEP_V
            v = np.minimum(v, bound)
            if self.law == "jfet":
                v = limited_diode(v, last, np.full((1, 1), FET_JUNCTION_A), 1.0, np.full((1, 1), FET_JUNCTION_OHM))
            ends.append(gate - sign * v)
        if self.law == "mosfet":
            drop, last = sign * (ends[1] - ends[0]), sign * (old[..., 2] - old[..., 0])
            drop = limited_diode(drop, last, np.full((1, 1), FET_JUNCTION_A), 1.0, np.full((1, 1), FET_JUNCTION_OHM))
            ends[0] = ends[1] - sign * drop
        return np.stack([ends[0], gate, ends[1]], axis=-1)


FET_KNEE_V = 1e-3
FET_STEP_V = 2.0
FET_JUNCTION_A = 1e-13
FET_JUNCTION_OHM = 0.02
