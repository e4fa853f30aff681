"""Regulators and constant-current loads at d.c.

| symbol | unit | meaning |
| --- | --- | --- |
| in, out | V | against the regulator's common, times the sign of its volts |
| e | V | what the pass element may still raise the output |
"""

from __future__ import annotations

import numpy as np

from dustcap.circuit.devices import Group, clamped, faded, hinge, load_share, within_corner
from dustcap.circuit.layout import Flags, Layout, Real
from dustcap.circuit.values import Table

OUTPUT_OHM = 0.02
"""Output resistance of the pass element; a choice of ours, small against any load."""
SENSE_OHM = 100e3
"""The divider by which it senses its output, from there to its common; a choice of ours, lost in any load."""
KNEE_V = 0.005
LIMIT_ROUNDING = 0.02
SINK_KNEE_V = 0.5
INPUT_KNEE_V = 1.0
FAR_BELOW_V = 0.5
OVERDRIVE = 3.0
"""A pass element is overdriven when it is sent to this many times its current limit."""


def _width(table: Table) -> Real:
    """Volts that the output lacks at the current limit."""
    return OUTPUT_OHM * np.maximum(table.get("regulator", "limit_a"), 1e-6)


class Regulators(Group):
    """Every regulator: a pass element that lifts its output to its volts while in - dropout allows it."""

    law = "regulator"

    def __init__(self, layout: Layout) -> None:
        self.columns = layout.terminals["regulator"]  # in, out, common
        self.rows = self.columns

    def _room(self, u: Real, table: Table) -> tuple[Real, Real, Real]:
        """Volts that the output lacks, and the derivatives by input and output."""
        sign = np.sign(table.get("regulator", "volts"))
        volts = np.abs(table.get("regulator", "volts"))
        v_in, v_out = sign * (u[..., 0] - u[..., 2]), sign * (u[..., 1] - u[..., 2])
        spare, d_spare = hinge(v_in - table.get("regulator", "dropout_v"), KNEE_V)
        less, d_less = hinge(volts - spare, KNEE_V)
        return volts - less - v_out, d_less * d_spare, np.full_like(v_out, -1.0)

    def evaluate(self, u: Real, table: Table) -> tuple[Real, Real]:
        """Currents leaving in, out and common."""
        get = table.get
        sign = np.sign(get("regulator", "volts"))
        e, e_in, e_out = self._room(u, table)
        half = 0.5 * np.maximum(get("regulator", "limit_a"), 1e-6)
        i, slope = clamped(e / OUTPUT_OHM - half, half, LIMIT_ROUNDING * half)
        drive = get("regulator", "drive")
        i, slope = drive * (i + half), drive * slope / OUTPUT_OHM
        sensed = sign * (u[..., 1] - u[..., 2]) / SENSE_OHM
        v_in = sign * (u[..., 0] - u[..., 2])
        share, d_share = faded(v_in, INPUT_KNEE_V)
        idle, d_idle = get("regulator", "quiescent_a") * share, get("regulator", "quiescent_a") * d_share
        f = sign[..., None] * np.stack([i + idle, sensed - i, -idle - sensed], axis=-1)
        g_in, g_out = slope * e_in, slope * e_out
        row_in = np.stack([g_in + d_idle, g_out, -g_in - g_out - d_idle], axis=-1)
        row_out = -np.stack([g_in, g_out - 1.0 / SENSE_OHM, 1.0 / SENSE_OHM - g_in - g_out], axis=-1)
        return f, np.stack([row_in, row_out, -(row_in + row_out)], axis=-2)

    def begin(self, u: Real, table: Table) -> Real:
        """Linearise first inside the regulating zone where there is enough input for it, whatever `u` says."""
        width = _width(table)
        room, _, _ = self._room(u, table)
        sign, volts = np.sign(table.get("regulator", "volts")), np.abs(table.get("regulator", "volts"))
        fed = sign * (u[..., 0] - u[..., 2]) - table.get("regulator", "dropout_v") > 0.2 * volts
        begun = u.copy()
        begun[..., 1] += np.where(fed & ((room > width) | (room < 0)), sign * (room - 0.05 * width), 0.0)
        return begun

    def limit(self, new: Real, old: Real, table: Table) -> Real:
        """Leave the regulating zone by no more than a little at a time, and do not jump across it or past drop-out."""
        sign, width = np.sign(table.get("regulator", "volts")), _width(table)
        limited = self._limit_input(new, old, table)
        before, foretold = self._foretold(new, old, table)
        above, below = before > 1.1 * width, before < -0.1 * width
        least = np.where(below, -np.inf, np.where(above, 0.5 * width, -0.25 * width))
        most = np.where(above, np.inf, np.where(below, 0.5 * width, 1.25 * width))
        held = np.clip(foretold, least, most)
        limited[..., 1] += sign * (self._room(limited, table)[0] - held)
        return self._met(limited, *self._entering(new, old, table), table)

    def _entering(self, new: Real, old: Real, table: Table) -> tuple[Flags, Real, Real]:
        """Where an input falls below drop-out, by how much, and the output to meet it at.

        One whose output is held above its volts from elsewhere does not drop out; its pass element carries nothing.
        """
        sign, dropout = np.sign(table.get("regulator", "volts")), table.get("regulator", "dropout_v")
        v_in, v_out = sign * (new[..., 0] - new[..., 2]), sign * (new[..., 1] - new[..., 2])
        was_in, was_out = sign * (old[..., 0] - old[..., 2]), sign * (old[..., 1] - old[..., 2])
        output = np.clip(v_out, 0.0, np.abs(table.get("regulator", "volts")))
        short = np.minimum(v_out, output) + dropout - v_in
        entering = (was_in > was_out + dropout + _width(table)) & (short > 0) & (v_in < was_in)
        return entering, short, output

    @staticmethod
    def _met(u: Real, entering: Flags, short: Real, output: Real, table: Table) -> Real:
        """The point, with an input that falls below drop-out put where the pass element just conducts."""
        if not entering.any():
            return u
        sign, met = np.sign(table.get("regulator", "volts")), u.copy()
        v_in = output + table.get("regulator", "dropout_v") + 0.5 * _width(table)
        met[..., 0] = np.where(entering, u[..., 2] + sign * v_in, u[..., 0])
        met[..., 1] = np.where(entering, u[..., 2] + sign * output, u[..., 1])
        return met

    def _foretold(self, new: Real, old: Real, table: Table) -> tuple[Real, Real]:
        """Volts that the output lacked, and those that the linearisation foretells."""
        before, e_in, e_out = self._room(old, table)
        step = np.sign(table.get("regulator", "volts"))[..., None] * (new - old)
        return before, before + e_in * (step[..., 0] - step[..., 2]) + e_out * (step[..., 1] - step[..., 2])

    def overdriven(self, new: Real, old: Real, table: Table) -> Flags:
        """A regulating element that is sent to several times its limit, as much backward, or far below drop-out."""
        width = _width(table)
        before, after = self._foretold(new, old, table)
        within = (before >= -0.1 * width) & (before <= 1.1 * width)
        sent = within & ((after > OVERDRIVE * width) | (after < -OVERDRIVE * width))
        entering, short, _ = self._entering(new, old, table)
        sent |= entering & (short > FAR_BELOW_V)
        return np.asarray((sent & (table.get("regulator", "drive") > 0)).any(axis=1))

    def saturated(self, new: Real, old: Real, table: Table) -> Real:
        """The old point, with the output just beyond the regulating zone where it is sent beyond."""
        width = _width(table)
        before, after = self._foretold(new, old, table)
        within = (before >= -0.1 * width) & (before <= 1.1 * width)
        held = np.where(within, np.clip(after, -0.25 * width, 1.25 * width), before)
        moved = old.copy()
        moved[..., 1] += np.sign(table.get("regulator", "volts")) * (before - held)
        entering, short, output = self._entering(new, old, table)
        return self._met(moved, entering & ~within, short, output, table)

    @staticmethod
    def _limit_input(new: Real, old: Real, table: Table) -> Real:
        """An input that collapses stops where the quiescent current begins to fade."""
        sign, limited = np.sign(table.get("regulator", "volts")), new.copy()
        fed, was = sign * (new[..., 0] - new[..., 2]), sign * (old[..., 0] - old[..., 2])
        knee = np.full((1, 1), INPUT_KNEE_V)
        limited[..., 0] += sign * (within_corner(fed, was, knee, 0.5 * knee) - fed)
        return limited


class Sinks(Group):
    """Every constant-current load, fading to nothing below one volt."""

    law = "sink"

    def __init__(self, layout: Layout) -> None:
        self.columns = layout.terminals["sink"]
        self.rows = self.columns

    def evaluate(self, u: Real, table: Table) -> tuple[Real, Real]:
        """Currents leaving plus and minus."""
        share, d_share = load_share(u[..., 0] - u[..., 1], SINK_KNEE_V)
        ampere = table.get("sink", "ampere")
        i, g = ampere * share, ampere * d_share
        row = np.stack([g, -g], axis=-1)
        return np.stack([i, -i], axis=-1), np.stack([row, -row], axis=-2)

    def limit(self, new: Real, old: Real, table: Table) -> Real:
        """Stop inside the fading zone on the way down."""
        before, after = old[..., 0] - old[..., 1], new[..., 0] - new[..., 1]
        drop = within_corner(after, before, np.full((1, 1), SINK_KNEE_V), np.full((1, 1), 0.5 * SINK_KNEE_V))
        return np.stack([new[..., 0], new[..., 0] - drop], axis=-1)
