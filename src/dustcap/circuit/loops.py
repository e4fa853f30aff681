"""The innermost loops of `elimination.py` and `updates.py`, compiled. Needs numba, which is an extra.

Rows hold one number a sample, so that every innermost loop runs along memory. What the arrays mean is said where they
are made.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from dustcap.compiled import compiled


@compiled
def size(number: Any) -> Any:
    """Of a real number; of a complex one at most 1.42 times as much, without a root."""
    return abs(number.real) + abs(number.imag)


@compiled
def eliminate(
    w: Any, reciprocal: Any, net: Any, own: Any, at: Any, right: Any, below: Any, square: Any, inner: Any
) -> None:
    """Every step on the numbers `w` (slots, samples), which end as L below and D U right of the diagonal."""
    for k in range(len(net)):
        one, begin, near = reciprocal[net[k]], at[k], at[k + 1] - at[k]
        pivot = w[own[k]]
        for s in range(w.shape[1]):
            one[s] = 1.0 / pivot[s]
        for i in range(near):
            lower = w[below[begin + i]]
            for s in range(w.shape[1]):
                lower[s] *= one[s]
            for j in range(near):
                target, row = w[inner[square[k] + i * near + j]], w[right[begin + j]]
                for s in range(w.shape[1]):
                    target[s] -= lower[s] * row[s]


@compiled
def selected(
    w: Any, z: Any, reciprocal: Any, net: Any, own: Any, at: Any, right: Any, below: Any, square: Any, inner: Any
) -> None:
    """Entries `z` (slots + 1, samples) of the inverse, backwards from those of the core."""
    upper = np.empty(w.shape[1], dtype=w.dtype)
    for k in range(len(net) - 1, -1, -1):
        one, begin, near = reciprocal[net[k]], at[k], at[k + 1] - at[k]
        middle = z[own[k]]
        middle[:] = one
        for i in range(near):
            z[below[begin + i]] = 0.0
            z[right[begin + i]] = 0.0
        for i in range(near):
            column, row = z[below[begin + i]], w[right[begin + i]]
            for s in range(w.shape[1]):
                upper[s] = row[s] * one[s]
            for j in range(near):
                block = z[inner[square[k] + i * near + j]]
                lower, line = w[below[begin + j]], z[right[begin + j]]
                for s in range(w.shape[1]):
                    column[s] -= block[s] * lower[s]
                    line[s] -= upper[s] * block[s]
            for s in range(w.shape[1]):
                middle[s] -= upper[s] * column[s]


@compiled
def take_off(target: Any, source: Any, number: Any, scale: Any, factor: Any) -> None:
    """Number times scale (samples,) times the source off the target (m, samples); `factor` is room for the product."""
    for s in range(len(number)):
        factor[s] = number[s] * scale[s]
    for m in range(target.shape[0]):
        for s in range(len(number)):
            target[m, s] -= factor[s] * source[m, s]


@compiled
def forwards(w: Any, y: Any, live: Any, scale: Any, net: Any, at: Any, near: Any, down: Any) -> None:
    """Forward substitution in `y` (nets, m, samples), by the numbers `down` (near,) times a net's row of `scale`.

    `live` says which nets have anything on the right side, and is kept true.
    """
    factor = np.empty(w.shape[1], dtype=w.dtype)
    for k in range(len(net)):
        if not live[net[k]]:
            continue
        for i in range(at[k], at[k + 1]):
            live[near[i]] = True
            take_off(y[near[i]], y[net[k]], w[down[i]], scale[net[k]], factor)


@compiled
def backwards(
    w: Any, y: Any, live: Any, reciprocal: Any, scale: Any, net: Any, at: Any, near: Any, across: Any
) -> None:
    """Back substitution in `y` (nets, m, samples), by the numbers `across` (near,) times a net's row of `scale`."""
    factor = np.empty(w.shape[1], dtype=w.dtype)
    for k in range(len(net) - 1, -1, -1):
        if live[net[k]]:
            for m in range(y.shape[1]):
                for s in range(w.shape[1]):
                    y[net[k], m, s] *= reciprocal[net[k], s]
        for i in range(at[k], at[k + 1]):
            take_off(y[net[k]], y[near[i]], w[across[i]], scale[net[k]], factor)


@compiled
def unanswered(
    volts: Any, current: Any, y: Any, to: Any, back: Any, plus: Any, minus: Any, floor: float, share: float, least: Any
) -> Any:
    """Samples in which the currents that meet in a net add up to more than a share of their sizes, or than `least`.

    `volts` (nets + 1, samples), the last row of the common net; `current` (nets, samples); `least` (samples,).
    """
    nets, samples = current.shape
    rest, total = np.zeros((nets + 1, samples), dtype=volts.dtype), np.zeros((nets + 1, samples))
    for i in range(nets):
        for s in range(samples):
            rest[i, s] = current[i, s] - floor * volts[i, s]
            total[i, s] = size(current[i, s])
    for k in range(len(to)):
        leaves, enters, high, low = to[k], back[k], plus[k], minus[k]
        for s in range(samples):
            flow = y[k, s] * (volts[high, s] - volts[low, s])
            passes = size(y[k, s]) * (size(volts[high, s]) + size(volts[low, s]))
            rest[leaves, s] -= flow
            rest[enters, s] += flow
            total[leaves, s] += passes
            total[enters, s] += passes
    off = np.zeros(samples, dtype=np.bool_)
    for i in range(nets):
        for s in range(samples):
            off[s] |= not (size(rest[i, s]) <= share * total[i, s] + least[s])
    return off


@compiled
def update_one(
    out: Any,
    poor: Any,
    first: int,
    faults: Any,
    stamps: Any,
    rows: Any,
    values: Any,
    y: Any,
    to: Any,
    back: Any,
    own: Any,
    own_size: Any,
    left: Any,
    most_left: Any,
    drop: Any,
    most_drop: Any,
    read: Any,
    most: Any,
    off: Any,
    trust: float,
) -> None:
    """Results of faults of one changed stamp in the samples from `first`, and which are poor; see `updates.py`.

    What belongs to a stamp is found once where its faults follow each other. A result that the stamp's bound does not
    show to be good is looked at by itself. The sizes of complex numbers are 1.42 times too large at most.
    """
    reads, samples = read.shape
    pull, factor = np.empty((reads, samples), dtype=out.dtype), np.empty(samples, dtype=out.dtype)
    most_pull, largest, square = np.empty(samples), np.empty(samples), np.empty(samples)
    unit = out.dtype.type(1.0)
    wide, before = values.shape[1] > 1, -1
    for n in range(len(faults)):
        k, fault, a, b = stamps[n], faults[n], to[stamps[n]], back[stamps[n]]
        if k != before:
            before = k
            most_pull[:] = 0.0
            for m in range(reads):
                for s in range(samples):
                    pull[m, s] = left[a, m, s] - left[b, m, s]
                    most_pull[s] = max(most_pull[s], size(pull[m, s]))
            for s in range(samples):
                over = size(drop[k, s])
                taken = most_pull[s] * over
                linear = most_pull[s] * most_drop[k, s] + over * (most_left[a, s] + most_left[b, s])
                linear += taken * (1.0 + trust)  # c q^2 + b q <= most is asked
                c, asked = 2.0 * taken * own_size[k, s], most[s] * trust
                q = 2.0 * asked / (linear + np.sqrt(linear * linear + 4.0 * c * asked))
                largest[s] = q * q
        shorted = False
        for s in range(samples if wide else 1):
            shorted |= np.isinf(values[rows[n], first + s if wide else 0].real)
        if shorted:
            for s in range(samples):
                value = values[rows[n], first + s if wide else 0]
                change = value - y[k, s]
                factor[s] = 1.0 / own[k, s] if np.isinf(value.real) else change / (1.0 + change * own[k, s])
        else:
            for s in range(samples):
                change = values[rows[n], first + s if wide else 0] - y[k, s]
                factor[s] = change / (1.0 + change * own[k, s])
        for s in range(samples):
            square[s] = factor[s].real * factor[s].real + factor[s].imag * factor[s].imag
            factor[s] *= drop[k, s]
        for s in range(samples):
            poor[fault, first + s] = not (square[s] <= largest[s])
        for m in range(reads):
            row = out[fault, m, first : first + samples]
            for s in range(samples):
                row[s] = read[m, s] - factor[s] * pull[m, s]
        for s in range(samples):
            if poor[fault, first + s]:
                value = values[rows[n], first + s if wide else 0]
                short = np.isinf(value.real)
                kept, change = 0.0 if short else 1.0, unit if short else value - y[k, s]
                inner = kept + change * own[k, s]
                strength = abs(change / inner)
                flow = strength * abs(drop[k, s])
                spoilt = (kept + abs(change) * own_size[k, s]) / abs(inner)
                estimate = most_pull[s] * (spoilt * flow + strength * most_drop[k, s])
                estimate += flow * (most_left[a, s] + most_left[b, s])
                reached = 0.0
                for m in range(reads):
                    reached = max(reached, abs(out[fault, m, first + s]))
                poor[fault, first + s] = not (estimate <= trust * reached)
            poor[fault, first + s] |= off[s]


@compiled
def ordered(there: Any, a: Any, own: Any, threshold: float, dense: float) -> Any:
    """Nets to eliminate, fewest neighbours first; `there` and `a` (nets, nets) are overwritten."""
    nets = len(own)
    count = np.zeros(nets, dtype=np.int64)
    for i in range(nets):
        there[i, i] = False
        for j in range(nets):
            count[i] += there[i, j]
    state = np.zeros(nets, dtype=np.int8)  # 0 waits, 1 is refused for now, 2 is gone
    order, gone, near = np.empty(nets, dtype=np.int64), 0, np.empty(nets, dtype=np.int64)
    while True:
        net = -1
        for i in range(nets):
            if state[i] == 0 and (net < 0 or count[i] < count[net]):
                net = i
        if net < 0 or count[net] ** 2 > dense * (nets - gone):
            break
        meets, largest = 0, 1e-300
        for j in range(nets):
            if there[net, j]:
                near[meets] = j
                meets += 1
                largest = max(largest, abs(a[j, net]))
        if abs(own[net]) < threshold * largest:
            state[net] = 1
            continue
        state[net] = 2
        order[gone] = net
        gone += 1
        for i in range(nets):
            if state[i] == 1:
                state[i] = 0
        for i in near[:meets]:
            there[i, net] = False
            count[i] -= 1
            share = a[i, net] / own[net]
            own[i] -= share * a[net, i]
            for j in near[:meets]:
                if j != i:
                    if not there[i, j]:
                        there[i, j] = True
                        count[i] += 1
                    a[i, j] -= share * a[net, j]
    return order[:gone]
