"""The innermost loops of `kernel.py` and `telling.py`, compiled. Needs numba, which is an extra.

They do what the functions of the same purpose there do with numpy.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from dustcap.compiled import compiled


@compiled
def tables(place: Any, mass: Any, local: Any, groups: int, anything: float, most: int, far: int, shared: bool) -> Any:
    """As `telling._tables`: masses of group against outcome, (checks, groups, most + 4), from places (checks, n)."""
    checks, count = place.shape
    joint = np.zeros((checks, groups, most + 4))
    fine, share = np.empty(count, dtype=np.int64), np.zeros(count)
    for c in range(checks):
        first = np.inf
        for i in range(count):
            if np.isfinite(place[c, i]):
                first = min(first, np.floor(place[c, i]))
        top = 1
        for i in range(count):
            at = place[c, i]
            share[i] = 0.0
            if np.isfinite(at):
                low = np.floor(at)
                fine[i] = int(min(low - first, far)) + 2
                if shared:
                    share[i] = at - low
            else:
                fine[i] = 0 if np.isnan(at) else 1
            top = max(top, fine[i])
        top += shared
        total = np.zeros(top + 1)
        for i in range(count):
            total[fine[i]] += mass[i] * (1.0 - share[i])
            if share[i] > 0.0:
                total[fine[i] + 1] += mass[i] * share[i]
        whole, there = total.sum(), 0
        for k in range(2, top + 1):
            there += total[k] > 0.0
        merged, before, rising, met = np.zeros(top + 1, dtype=np.int64), -1.0, total[0] + total[1], 0
        merged[1] = 1
        for k in range(2, top + 1):
            met += total[k] > 0.0
            rising += total[k]
            step = float(met)
            if there > most:
                step = np.floor((rising - 0.5 * total[k]) / max(whole, 1e-300) * most * (1 - 1e-12))
            merged[k] = merged[k - 1] + (step > before)
            before = step
        used = 0
        for i in range(count):
            lower = merged[fine[i]]
            joint[c, local[i], lower] += mass[i] * (1.0 - share[i])
            upper = merged[fine[i] + 1] if shared and np.isfinite(place[c, i]) else lower
            joint[c, local[i], upper] += mass[i] * share[i]
            used = max(used, upper + 1)
        for k in range(used):
            joint[c, groups - 1, k] += anything / used
    return joint


@compiled
def information(joint: Any) -> Any:
    """As `entropy.information` of tables (checks, groups, outcomes), shape (checks,)."""
    checks, groups, outcomes = joint.shape
    found = np.zeros(checks)
    for c in range(checks):
        whole, apart = 0.0, 0.0
        for g in range(groups):
            row = 0.0
            for k in range(outcomes):
                mass = joint[c, g, k]
                if mass > 0.0:
                    row += mass
                    apart += mass * np.log2(mass)
            whole += row
            apart -= row * np.log2(row) if row > 0.0 else 0.0
        for k in range(outcomes):
            column = 0.0
            for g in range(groups):
                column += joint[c, g, k]
            apart -= column * np.log2(column) if column > 0.0 else 0.0
        if whole > 0.0:
            found[c] = max(apart / whole + np.log2(whole), 0.0)
    return found


@compiled
def told_apart(whole: Any, rows: Any, lead: int, chance: Any, least: float, silent: float) -> Any:
    """Checks in which rows that together have `least` read otherwise than the row `lead`, shape (checks,).

    `whole` (suspects, samples, checks); `rows` and their `chance` (n,), the likeliest first.
    """
    samples, checks = whole.shape[1:]
    apart = np.zeros(checks)
    for n in range(len(rows)):
        for c in range(checks):
            if apart[c] >= least:
                continue
            for s in range(samples):
                here, there = whole[rows[n], s, c], whole[lead, s, c]
                if not (abs(here - there) < silent or here == there or (np.isnan(here) and np.isnan(there))):
                    apart[c] += chance[n]
                    break
    return apart >= least


@compiled
def carried(
    place: Any,
    rows: Any,
    near: Any,
    far: Any,
    silent: Any,
    silents: Any,
    whole: Any,
    number: Any,
    covariance: Any,
    variance: Any,
    moved: Any,
    shifted: Any,
    counts: Any,
) -> Any:
    """A further check taken through the steps of a kernel; see `kernel.Kernel.predicted`.

    Parameters
    ----------
    place : what is foretold without any reading, (n, samples); `rows` (n,) of the kernel
    near, far : of all rows, (rows, samples, nearest), (rows, samples, nearest, readings)
    silent, silents : whether the check (n,) and each reading (rows, readings) are as on the good board
    whole : covariance of the check with itself and each reading on the good board, (1 + readings,)
    number : of each step's reading; its arrays are (steps, rows, samples), `covariance` with readings last

    Returns
    -------
    (3, n, samples): middle, variance, and the variance before any reading
    """
    count, samples = place.shape
    nearest, readings = far.shape[2:]
    out = np.zeros((3, count, samples))
    row, apart = np.zeros(readings), np.zeros(nearest)
    for n in range(count):
        r, mean, shown = rows[n], 0.0, 0
        for p in range(samples):
            if np.isfinite(place[n, p]):
                mean, shown = mean + place[n, p], shown + 1
        mean /= max(shown, 1)
        for p in range(samples):
            here, own = place[n, p], 0.0
            for k in range(nearest):
                other = place[n, near[r, p, k]]
                apart[k] = other - here if np.isfinite(other) and np.isfinite(here) else 0.0
                own += apart[k] * apart[k] / nearest
            own = whole[0] if silent[n] else own
            for j in range(readings):
                row[j] = 0.0
                if silent[n] and silents[r, j]:
                    row[j] = whole[1 + j]
                elif not silent[n] and not silents[r, j]:
                    for k in range(nearest):
                        row[j] += apart[k] * far[r, p, k, j] / nearest
            middle = mean if silent[n] else here if np.isfinite(here) else 0.0
            left = own
            for step in range(len(number)):
                j = number[step]
                if row[j] != 0.0:
                    gain = row[j] / variance[step, r, p]
                    slope = gain * counts[step, r, p]
                    middle += gain * (shifted[step, r, p] if silent[n] else moved[step, r, p])
                    left -= slope * row[j]
                    for k in range(readings):
                        row[k] -= slope * covariance[step, r, p, k]
            out[0, n, p], out[1, n, p], out[2, n, p] = middle, left, own
    return out
