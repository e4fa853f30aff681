"""What faults of a linear network make of the nets that are read, with an estimate of what rounding did to it.

The words are those of `low_rank.py`.
"""

from __future__ import annotations

import numpy as np

from dustcap.circuit.eliminated import Base, Chunk, Flags, Index, Numbers, inverses, size

ROUNDING = 2.0**-52
"""Of one number. Against solutions with 11 more binary digits, none of 18,000 results for random networks of 100 ohm to
1 Mohm was off by more than the tolerance."""
TOLERANCE = 2e-10
"""Largest estimated error of a fast result, as a share of the largest voltage that is read in its case."""


def update_several(
    chunk: Chunk, base: Base, stamps: Index, values: Numbers, faults: Index, found: Numbers, poor: Flags
) -> None:
    """Results of faults (f,) that change the stamps (f, r) to values (f, r, samples or 1)."""
    drawn, taken, estimate = _several(chunk, base, stamps, values)
    result = base.read - drawn
    found[faults, :, chunk.samples] = result
    doubt = ~(estimate <= TOLERANCE * (base.most - taken))  # the largest read is no less than that difference
    fault, sample = np.nonzero(doubt)
    if len(fault):
        size = np.abs(result[fault, :, sample]).max(axis=1)
        doubt[fault, sample] = ~(estimate[fault, sample] <= TOLERANCE * size)
    poor[faults, chunk.samples] = doubt | base.off


def update_one(
    chunk: Chunk, base: Base, stamps: Index, values: Numbers, faults: Index, found: Numbers, poor: Flags
) -> None:
    """The same for stamps (k,) that as many faults change each: values (k, each, samples or 1), faults (k, each).

    With w = v^T Z u the size q of d / (1 + d w) is all that the estimate of the error has to know of a fault, for
    1 / |1 + d w| is at most 1 + q |w|: the largest q with which a result is good belongs to the stamp.
    """
    to, back = chunk.stamps.to[stamps], chunk.stamps.back[stamps]
    left, drop = base.left[to] - base.left[back], base.drop[stamps]
    most_left, over = size(left).max(axis=1), size(drop)
    taken = most_left * over
    doubt = taken + most_left * base.most_drop[stamps] + over * (base.most_left[to] + base.most_left[back])
    b = doubt + taken * (TOLERANCE / ROUNDING)  # c q^2 + b q <= most is asked
    c, most = 2.0 * taken * chunk.own_size[stamps], base.most * (TOLERANCE / ROUNDING)
    largest = 2.0 * most / (b + np.sqrt(b * b + 4.0 * c * most))
    factor = values - chunk.y[stamps][:, None]
    inner = factor * chunk.own[stamps][:, None]
    inner += 1.0
    factor /= inner
    square = factor.real**2 + factor.imag**2 if np.iscomplexobj(factor) else factor * factor
    doubtful = ~(square <= (largest * largest)[:, None])
    factor *= drop[:, None]
    regular = faults[-1, -1] - faults[0, 0] + 1 == faults.size and (np.diff(faults.ravel()) == 1).all()
    rows = slice(faults[0, 0], faults[-1, -1] + 1) if regular else faults.ravel()
    if regular:
        target = found[rows].reshape(*faults.shape, *found.shape[1:])[..., chunk.samples]
        np.multiply(factor[:, :, None], left[:, None], out=target)
        np.subtract(base.read, target, out=target)
    else:
        drawn = factor[:, :, None] * left[:, None]
        found[rows, :, chunk.samples] = np.subtract(base.read, drawn, out=drawn).reshape(faults.size, *left.shape[1:])
    flags = poor[rows, chunk.samples] = (doubtful | base.off).reshape(faults.size, -1)
    if flags.any():
        k, each, sample = np.nonzero(doubtful & ~base.off)
        again = faults[k, each], slice(None), sample + (chunk.samples.start or 0)
        one = values[k, each, sample if values.shape[2] > 1 else 0]
        found[again], good = _second_look(chunk, base, stamps[k], one, sample)
        poor[again[0], again[2]] = ~good


def _second_look(chunk: Chunk, base: Base, stamp: Index, value: Numbers, sample: Index) -> tuple[Numbers, Flags]:
    """Reads (n, m) of cases (n,) of one changed stamp, an exact short too, and which of them are good."""
    to, back = chunk.stamps.to[stamp], chunk.stamps.back[stamp]
    left, drop, most_drop = base.left[to, :, sample] - base.left[back, :, sample], base.drop, base.most_drop
    own, own_size = chunk.own[stamp, sample], chunk.own_size[stamp, sample]
    short = np.isinf(value)
    kept, change = np.where(short, 0.0, 1.0), np.where(short, 1.0, value - chunk.y[stamp, sample])
    inner = kept + change * own
    pull = np.abs(change / inner)
    flow = pull * np.abs(drop[stamp, sample])
    spoilt = (kept + np.abs(change) * own_size) / np.abs(inner)
    result = base.read[:, sample].T - (change / inner * drop[stamp, sample])[:, None] * left
    estimate = np.abs(left).max(axis=1) * (spoilt * flow + pull * most_drop[stamp, sample])
    estimate += flow * (base.most_left[to, sample] + base.most_left[back, sample])
    return result, np.asarray(ROUNDING * estimate <= TOLERANCE * np.abs(result).max(axis=1))


def _several(chunk: Chunk, base: Base, stamps: Index, values: Numbers) -> tuple[Numbers, Numbers, Numbers]:
    """The same for several changed stamps a fault, (f, r)."""
    left = base.left[chunk.stamps.to[stamps]] - base.left[chunk.stamps.back[stamps]]  # (f, r, m, samples)
    size_left = base.most_left[chunk.stamps.to[stamps]] + base.most_left[chunk.stamps.back[stamps]]
    pull, spoilt = inverses(chunk, stamps, values)
    drop, size_drop = base.drop[stamps], base.most_drop[stamps]
    current = np.einsum("fijs,fjs->fis", pull, drop)
    doubt = np.einsum("fijs,fjs->fis", spoilt, np.abs(drop)) + np.einsum("fijs,fjs->fis", np.abs(pull), size_drop)
    most_left, flow = np.abs(left).max(axis=2), np.abs(current)
    estimate = (most_left * doubt + flow * size_left).sum(axis=1)
    return np.einsum("frs,frms->fms", current, left), (flow * most_left).sum(axis=1), ROUNDING * estimate
