"""What moves in every net by itself: ripple of the rectifiers and the song of an oscillating regulator."""

from __future__ import annotations

import numpy as np

from dustcap.circuit.branches import Complex
from dustcap.circuit.cycle import STEP, WEIGHT, harmonic_weights
from dustcap.circuit.frozen import solutions
from dustcap.circuit.layout import Real
from dustcap.circuit.linearised import Solved, ac_matrix, dc_matrix
from dustcap.circuit.newton import gathered

OSCILLATION_HZ = 50e3
"""Where an oscillating regulator is taken to oscillate; a choice of ours, far above the reservoirs' corner."""
OSCILLATION_SHARE = 0.5
OVERTONES = (3, 4, 6)
"""Orders followed beyond the rectifiers' own nets; the others are left out there."""


def ripple(solved: Solved, order: int = 2) -> Complex:
    """R.m.s. phasors of every net at `order` times the mains frequency, (cases, nets).

    The rectifiers' nets carry what the mains cycle found; the rest follows by the small-signal circuit. Phases count
    from the mains sine.
    """
    nets = len(solved.layout.nets)
    found = np.zeros((solved.table.cases, nets), dtype=complex)
    if not solved.waves:
        return found
    weights = harmonic_weights(order)
    for rows, some in solved.pieces():
        matrix = ac_matrix(some, dc_matrix(some), order * some.layout.mains_hz)
        right = np.zeros((len(rows), matrix.shape[1], 1), dtype=complex)
        for region, waves in zip(some.work.problem.regions, some.waves, strict=True):
            matrix[:, region.nets] = 0.0
            matrix[:, region.nets, region.nets] = 1.0
            right[:, region.nets, 0] = np.einsum("k,ckn->cn", weights, waves.v)
        found[rows] = solutions(some.layout, matrix, right)[:, :nets, 0]
    return found


def overtones(solved: Solved) -> Real:
    """R.m.s. volts of every net above twice the mains frequency, (cases, nets).

    Exact for the waves of the rectifiers' nets; elsewhere the sum of the orders in `OVERTONES`.
    """
    found = np.zeros((solved.table.cases, len(solved.layout.nets)))
    if not solved.waves:
        return found
    for order in OVERTONES:
        found += np.abs(ripple(solved, order)) ** 2
    for region, waves in zip(solved.work.problem.regions, solved.waves, strict=True):
        known = sum(np.abs(np.einsum("k,ckn->cn", harmonic_weights(order), waves.v)) ** 2 for order in (1, 2))
        found[:, region.nets] = np.maximum(_moving_square(waves.v) - known, 0.0)
    return np.asarray(np.sqrt(found))


def _moving_square(v: Real) -> Real:
    """Mean square of waves (cases, K, nets), straight between the phases, about their mean; (cases, nets)."""
    v = v - np.einsum("k,ckn->cn", WEIGHT, v)[:, None]
    before = np.roll(v, 1, axis=1)
    return np.asarray(np.einsum("k,ckn->cn", STEP / (6 * np.pi), v * v + v * before + before * before))


def oscillation(solved: Solved) -> Real:
    """R.m.s. volts of every net from regulators that oscillate, (cases, nets): half their output rides on it."""
    layout, nets = solved.layout, len(solved.layout.nets)
    found = np.zeros((solved.table.cases, nets))
    if not layout.count("regulator"):
        return found
    sings = np.broadcast_to(solved.table.get("regulator", "oscillates"), (len(found), layout.count("regulator"))) > 0
    for number in np.flatnonzero(sings.any(axis=0)):
        out, rows = layout.at("regulator", "out")[number], np.flatnonzero(sings[:, number])
        if out < 0:
            continue
        for places, some in solved.take(rows).pieces():
            ends = gathered(some.unknowns, layout.terminals["regulator"][number : number + 1])[:, 0]
            matrix = ac_matrix(some, dc_matrix(some), OSCILLATION_HZ)
            right = np.zeros((len(places), matrix.shape[1], 1), dtype=complex)
            matrix[:, out] = 0.0
            matrix[:, out, out] = 1.0
            right[:, out, 0] = OSCILLATION_SHARE * np.abs(ends[:, 1] - ends[:, 2])
            found[rows[places]] += np.abs(solutions(layout, matrix, right)[:, :nets, 0]) ** 2
    return np.sqrt(found)
