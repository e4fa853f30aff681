"""What a case switches by itself: relay contacts.

Relays start at rest. A coil pulls in at its pull-in voltage; once it has let go again it needs less to hold, so that a
relay on the verge does not chatter for ever (drop-out at 0.3 of pull-in: common practice, no published source).
"""

from __future__ import annotations

import numpy as np

from dustcap.circuit.assembly import Discrete
from dustcap.circuit.layout import Layout, Real
from dustcap.circuit.newton import gathered
from dustcap.circuit.values import Table

DROP_OUT = 0.3


def contacts(layout: Layout, table: Table, pulled: Real) -> Real:
    """Which contacts are closed (cases, contacts), from which coils are pulled in (cases, coils)."""
    if not layout.count("contact"):
        return np.zeros((table.cases, 0))
    closed, force = table.get("contact", "closed"), table.get("contact", "force")
    moved = np.zeros((table.cases, layout.count("contact")))
    driven = layout.coil_of >= 0
    if driven.any():
        moved[:, driven] = pulled[:, layout.coil_of[driven]]
    turned = np.where(moved > 0.5, 1.0 - closed, closed)
    return np.where(force > 0, 1.0, np.where(force < 0, 0.0, turned))


def held(table: Table) -> Real:
    """Which contacts are closed while no coil pulls, (cases, contacts)."""
    closed, force = table.get("contact", "closed"), table.get("contact", "force")
    return np.where(force > 0, 1.0, np.where(force < 0, 0.0, closed))


def rest(layout: Layout, table: Table) -> Discrete:
    """Every relay at rest."""
    pulled = np.zeros((table.cases, layout.count("coil")))
    return Discrete(contacts(layout, table, pulled))


def switched(layout: Layout, table: Table, x: Real, state: Discrete, rounds: int) -> Discrete:
    """What the unknowns x (cases, size) make of the relays, `rounds` after the first look."""
    closed = state.closed
    if layout.count("contact"):
        closed = contacts(layout, table, _pulled(layout, table, x, state, rounds))
    return Discrete(closed)


def _pulled(layout: Layout, table: Table, x: Real, state: Discrete, rounds: int) -> Real:
    if not layout.count("coil"):
        return np.zeros((len(x), 0))
    ends = gathered(x, layout.terminals["coil"])
    volts = np.abs(ends[..., 0] - ends[..., 1])
    need = table.get("coil", "pull_in_v")
    pulled = volts >= need
    if rounds > 2:
        was = np.zeros_like(volts)
        rested = contacts(layout, table, was)
        for contact, coil in enumerate(layout.coil_of):
            if coil >= 0:
                was[:, coil] = np.maximum(was[:, coil], np.abs(state.closed[:, contact] - rested[:, contact]))
        pulled |= (was > 0.5) & (volts >= DROP_OUT * need)
    return pulled.astype(float)
