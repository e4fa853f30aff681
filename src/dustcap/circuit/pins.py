"""Bias currents of the amplifiers' inputs.

A positive bias current flows from its pin to the low rail, a negative one from the high rail to its pin; it fades where
it would drive the pin beyond that rail, so that a pin without a path ends at a rail and not at infinity.
"""

from __future__ import annotations

import numpy as np

from dustcap.circuit.devices import Group, load_share, within_corner
from dustcap.circuit.layout import Layout, Real
from dustcap.circuit.values import Table

FADE_V = 0.25

PIN, LOW, HIGH = range(3)


class Pins(Group):
    """Every input pin: first the plus pins of all amplifiers, then the minus pins."""

    law = "pin"

    def __init__(self, layout: Layout) -> None:
        low, high = layout.at("amplifier", "low"), layout.at("amplifier", "high")
        pins = [layout.at("amplifier", "plus"), layout.at("amplifier", "minus")]
        self.columns = np.concatenate([np.stack([pin, low, high], axis=-1) for pin in pins])
        self.rows = self.columns

    @staticmethod
    def _bias(table: Table) -> Real:
        plus, minus = table.get("amplifier", "bias_plus_a"), table.get("amplifier", "bias_minus_a")
        cases = max(len(plus), len(minus))
        return np.concatenate([np.broadcast_to(part, (cases, part.shape[1])) for part in (plus, minus)], axis=1)

    def evaluate(self, u: Real, table: Table) -> tuple[Real, Real]:
        """Currents leaving pin, low and high."""
        bias = self._bias(table)
        sunk, d_sunk = load_share(u[..., PIN] - u[..., LOW], FADE_V)
        fed, d_fed = load_share(u[..., HIGH] - u[..., PIN], FADE_V)
        down, up = np.maximum(bias, 0.0), np.minimum(bias, 0.0)
        i, j = down * sunk, up * fed
        f = np.stack([i + j, -i, -j], axis=-1)
        g, h = down * d_sunk, -up * d_fed
        zero = np.zeros_like(g)
        pin = np.stack([g + h, -g, -h], axis=-1)
        return f, np.stack([pin, np.stack([-g, g, zero], axis=-1), np.stack([-h, zero, h], axis=-1)], axis=-2)

    def limit(self, new: Real, old: Real, table: Table) -> Real:
        """Stop where the current fades on the way beyond a rail."""
        bias, knee = self._bias(table), np.full((1, 1), 2.0 * FADE_V)
        room, was = new[..., PIN] - new[..., LOW], old[..., PIN] - old[..., LOW]
        lift = np.where(bias > 0, within_corner(room, was, knee, 0.5 * knee) - room, 0.0)
        room, was = new[..., HIGH] - new[..., PIN], old[..., HIGH] - old[..., PIN]
        drop = np.where(bias < 0, within_corner(room, was, knee, 0.5 * knee) - room, 0.0)
        if not (lift.any() or drop.any()):
            return new
        limited = new.copy()
        limited[..., PIN] += lift - drop
        return limited
