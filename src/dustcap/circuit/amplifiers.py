"""Operational and power amplifiers at d.c.

Each amplifier has one unknown z, its target output, and the law is written backwards so that Newton's method meets
no slope of 1e5: inside the limits v_plus - v_minus + offset = z / gain and the output is z; beyond them the output
stays at the limit (within 1 mV for 30 V of overdrive) and the input difference grows as z does.

| symbol | unit | meaning |
| --- | --- | --- |
| z | V | target output |
| y | V | output before the output resistance |
| e | V | y - v_out |
| play | 1 | 1 playing, 0 muted |
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from dustcap.circuit.branches import MUTE_PIN_OHM
from dustcap.circuit.devices import Group, clamped, faded, hinge, within_corner
from dustcap.circuit.layout import Flags, Layout, Real
from dustcap.circuit.values import FLOOR_OHM, Table

MUTED_OHM = 10e3
"""A muted output is held to common through this (physics: 10 kohm)."""
CORNER_V = 1e-3
BEYOND = 1e-5
"""Slope of the output beyond its limits: 0.3 mV for 30 V of overdrive."""
COLLAPSE_V = 0.02
UNSUPPLIED = 0.05
"""Share of the drive that is left without a supply: an output cannot stand outside its rails, so where one rail is lost
and idle current lifts it to the other, the output follows them. A choice of ours."""
MUTE_WIDTH = 0.05
"""Width of the mute threshold as a share of it."""
FORCE_V = 10.0
LAG, LAGGED = ("amplifier", "lag"), ("amplifier", "lagged")
"""Columns of a table that give amplifiers their dominant pole in a step of time: (dy/dt) / wt = lag y + lagged."""
LIMIT_ROUNDING = 0.02
SPLIT = 1e-4
OVERDRIVE = 4.0
"""A target is overdriven when it is sent this many times its range."""

Z, OUT, HIGH, LOW, MUTE = range(5)


def supply_knee(table: Table) -> Real:
    """Supply span below which an amplifier's quiescent current and drive fade."""
    return np.maximum(table.get("amplifier", "headroom_v"), 0.5)


class _Target(NamedTuple):
    y: Real
    y_z: Real
    y_high: Real
    y_low: Real
    difference: Real
    difference_z: Real
    difference_high: Real
    difference_low: Real
    top: Real
    bottom: Real


class Amplifiers(Group):
    """Every amplifier; unknowns are (target, out, high, low, mute), rows are (target, out, high, low)."""

    law = "amplifier"

    def __init__(self, layout: Layout) -> None:
        pins = [layout.at("amplifier", name) for name in ("out", "high", "low", "mute")]
        self.columns = np.stack([layout.targets, *pins], axis=-1)
        self.rows = self.columns[:, :4]
        self._has_mute = pins[3] >= 0
        names = [element.nets[5] for element in layout.elements["amplifier"]]
        self._mute_given = np.array([bool(name) for name in names])
        self._last: tuple[Real, _Target] | None = None  # the point that was evaluated last: it is asked for again

    def target(self, u: Real, table: Table) -> _Target:
        """Output before the output resistance and the input difference that it takes, with derivatives."""
        last = self._last
        return last[1] if last is not None and last[0] is u else self._target(u, table)

    @staticmethod
    def _target(u: Real, table: Table) -> _Target:
        headroom, gain = table.get("amplifier", "headroom_v"), table.get("amplifier", "gain")
        high, low, z = u[..., HIGH], u[..., LOW], u[..., Z]
        half, d_half = hinge(0.5 * (high - low) - headroom, COLLAPSE_V)
        middle = 0.5 * (high + low)
        top, bottom = middle + half, middle - half
        over, d_over = hinge(z - top, CORNER_V)
        under, d_under = hinge(bottom - z, CORNER_V)
        held = 1.0 - BEYOND
        # by the limits: d(over)/d(top) = -d_over, d(under)/d(bottom) = d_under
        top_high, top_low = 0.5 + 0.5 * d_half, 0.5 - 0.5 * d_half
        excess_high = -d_over * top_high - d_under * top_low
        excess_low = -d_over * top_low - d_under * top_high
        excess, excess_z = over - under, d_over + d_under
        y, y_z = z - held * excess, 1.0 - held * excess_z
        y_high, y_low = -held * excess_high, -held * excess_low
        return _Target(
            y,
            y_z,
            y_high,
            y_low,
            y / gain + excess,
            y_z / gain + excess_z,
            y_high / gain + excess_high,
            y_low / gain + excess_low,
            top,
            bottom,
        )

    def _play(self, u: Real, table: Table) -> tuple[Real, Real]:
        """1 while it plays, 0 muted, with the derivative by the mute voltage."""
        need, force = table.get("amplifier", "mute_a"), table.get("amplifier", "force")
        v = u[..., MUTE]
        width = MUTE_WIDTH * np.maximum(need, 1e-9) * MUTE_PIN_OHM
        x = (np.abs(v) - need * MUTE_PIN_OHM) / width + 1.0  # 0 to 1 just below the current that it needs
        inside = (x > 0) & (x < 1)
        t = np.clip(x, 0.0, 1.0)
        play = t * t * (3.0 - 2.0 * t)
        slope = np.where(inside, 6.0 * t * (1.0 - t), 0.0) / width * np.sign(v)
        mutes = (need > 0) & self._mute_given
        play, slope = np.where(mutes, play, 1.0), np.where(mutes, slope, 0.0)
        free = 1.0 - np.clip(table.get("amplifier", "muted"), 0.0, 1.0)
        stuck = np.abs(force) > 0
        return np.where(stuck, 1.0, play * free), np.where(stuck, 0.0, slope * free)

    def evaluate(self, u: Real, table: Table) -> tuple[Real, Real]:
        """Input difference taken (row of z), with the lag if there is one, and currents leaving out, high and low."""
        get = table.get
        t = self._target(u, table)
        self._last = (u, t)
        out, span = u[..., OUT], u[..., HIGH] - u[..., LOW]
        ohm = np.maximum(get("amplifier", "out_ohm"), FLOOR_OHM)
        limit = np.maximum(get("amplifier", "limit_a"), 1e-9)
        alive, d_alive = faded(span, supply_knee(table))
        live, d_live = np.maximum(alive, 0.0), np.where(alive > 0, d_alive, 0.0)
        play, d_play = self._play(u, table)
        live, d_live = UNSUPPLIED + (1.0 - UNSUPPLIED) * live, (1.0 - UNSUPPLIED) * d_live
        drive = get("amplifier", "drive") * live * play
        driven, slope = clamped((t.y - out) / ohm, limit, LIMIT_ROUNDING * limit)
        i, g = drive * driven, drive * slope / ohm
        by_live = get("amplifier", "drive") * play * driven * d_live
        by_play = get("amplifier", "drive") * live * driven * d_play
        gradient = [g * t.y_z, -g, g * t.y_high + by_live, g * t.y_low - by_live, by_play]
        split = SPLIT * limit
        root = np.sqrt(i * i + split * split)
        sourced, share = 0.5 * (i + root - split), 0.5 * (1.0 + i / root)
        idle, d_idle = get("amplifier", "quiescent_a") * alive, get("amplifier", "quiescent_a") * d_alive
        hold = (1.0 - play) / MUTED_OHM
        f = np.stack([-t.difference, hold * out - i, sourced + idle, i - sourced - idle], axis=-1)
        jacobian = np.zeros((*f.shape, 5))
        jacobian[..., 0, Z] = -t.difference_z
        jacobian[..., 0, HIGH] = -t.difference_high
        jacobian[..., 0, LOW] = -t.difference_low
        for column, slope_i in enumerate(gradient):
            jacobian[..., 1, column] = -slope_i
            jacobian[..., 2, column] = share * slope_i
            jacobian[..., 3, column] = (1.0 - share) * slope_i
        jacobian[..., 1, OUT] += hold
        jacobian[..., 1, MUTE] -= d_play * out / MUTED_OHM
        jacobian[..., 2, HIGH] += d_idle
        jacobian[..., 2, LOW] -= d_idle
        jacobian[..., 3, HIGH] -= d_idle
        jacobian[..., 3, LOW] += d_idle
        if LAG in table.columns:
            lag = table.columns[LAG]
            f[..., 0] -= lag * t.y + table.columns[LAGGED]
            jacobian[..., 0, Z] -= lag * t.y_z
            jacobian[..., 0, HIGH] -= lag * t.y_high
            jacobian[..., 0, LOW] -= lag * t.y_low
        return f, jacobian

    def limit(self, new: Real, old: Real, table: Table) -> Real:
        """Stop at each corner of the output clamp, the current limit and the supply on the way back from beyond it."""
        new = self._limit_supply(new, old, table)
        was, now = self.target(old, table), self.target(new, table)
        z = within_corner(new[..., Z], old[..., Z], np.maximum(now.top, now.bottom), now.top - 10 * CORNER_V)
        z = -within_corner(-z, -old[..., Z], -now.bottom, -(now.bottom + 10 * CORNER_V))
        far = 10 * CORNER_V
        inside = (old[..., Z] < was.top) & (old[..., Z] > was.bottom)
        z = np.where(inside & (z > now.top + far), now.top + far, z)
        z = np.where(inside & (z < now.bottom - far), now.bottom - far, z)
        limited = new.copy()
        limited[..., Z] = z
        limited[..., OUT] = self.target(limited, table).y - self._drop(new, old, was, table)
        return limited

    def saturated(self, new: Real, old: Real, table: Table) -> Real:
        """The old point with each target moved no further than just beyond its limits."""
        was, far = self.target(old, table), 10 * CORNER_V
        moved = old.copy()
        inside = (old[..., Z] < was.top) & (old[..., Z] > was.bottom)
        moved[..., Z] = np.where(inside, np.clip(new[..., Z], was.bottom - far, was.top + far), old[..., Z])
        corner, before, after = self._drops(new, old, was, table)
        within = np.abs(before) < corner
        drop = np.where(within & ~inside, np.clip(after, -1.1 * corner, 1.1 * corner), before)
        moved[..., OUT] = self.target(moved, table).y - drop
        return moved

    def overdriven(self, new: Real, old: Real, table: Table) -> Flags:
        """A target inside its limits, or a current below its limit, that is sent far beyond."""
        was = self.target(old, table)
        inside = (old[..., Z] < was.top) & (old[..., Z] > was.bottom)
        middle, half = 0.5 * (was.top + was.bottom), 0.5 * np.abs(was.top - was.bottom)
        sent = inside & (np.abs(new[..., Z] - middle) > OVERDRIVE * (half + 1.0))
        corner, before, after = self._drops(new, old, was, table)
        sent |= (np.abs(before) < corner) & (np.abs(after) > OVERDRIVE * corner) & (table.get("amplifier", "drive") > 0)
        return np.asarray(sent.any(axis=1))

    @staticmethod
    def _limit_supply(new: Real, old: Real, table: Table) -> Real:
        """A supply that collapses stops where the quiescent current begins to fade; the rail that fell is lifted."""
        knee = supply_knee(table)
        span, was = new[..., HIGH] - new[..., LOW], old[..., HIGH] - old[..., LOW]
        lift = within_corner(span, was, knee, 0.5 * knee) - span
        if not lift.any():
            return new
        limited = new.copy()
        fell = np.abs(new[..., HIGH] - old[..., HIGH]) > np.abs(new[..., LOW] - old[..., LOW])
        limited[..., HIGH] += np.where(fell, lift, 0.0)
        limited[..., LOW] -= np.where(fell, 0.0, lift)
        return limited

    @staticmethod
    def _drop(new: Real, old: Real, was: _Target, table: Table) -> Real:
        """Drop over the output resistance to linearise at: as foretold, but not across a corner on the way back."""
        corner, before, after = Amplifiers._drops(new, old, was, table)
        drop = within_corner(after, before, corner, 0.9 * corner)
        return -within_corner(-drop, -before, corner, 0.9 * corner)

    @staticmethod
    def _drops(new: Real, old: Real, was: _Target, table: Table) -> tuple[Real, Real, Real]:
        """Drop over the output resistance at which the current is limited, the old drop and the foretold one."""
        step = new - old
        foretold = was.y + was.y_z * step[..., Z] + was.y_high * step[..., HIGH] + was.y_low * step[..., LOW]
        corner = np.maximum(table.get("amplifier", "out_ohm"), FLOOR_OHM) * table.get("amplifier", "limit_a")
        return corner, was.y - old[..., OUT], foretold - new[..., OUT]
