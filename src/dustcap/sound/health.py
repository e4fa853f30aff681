"""What is wrong with a recording as a recording: clipped, interrupted, levelled by a machine.

Pure: samples in, remarks out. A remark says what, where (stretches in seconds) and what to do.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from dustcap.sound.align import Alignment
from dustcap.sound.stimulus import START_HZ, Samples

Stretches = tuple[tuple[float, float], ...]
Ranges = tuple[tuple[float, float], ...]
SPOILED_OCTAVES = 1 / 6  # to either side of what the sweep passed in a spoiled stretch

FLAT_SAMPLES = 3  # equal samples that make a flat top
FLAT_STEP = 4.0  # smallest steps of the file: a sine leaves its rounded top by at most three
FLAT_TOPS = 3
PILE_STEPS, PILE_SHARE, PILE_LEAST = 16, 0.6, 20  # of samples in the last 16 steps: a sine leaves a quarter at the top
FULL_SCALE = 1 - 2.0**-14
JOIN_S = 0.1
HELD_S, HELD_QUIET_S = 0.001, 0.005  # equal samples in the middle of a loud signal, or of noise
REPEATS = (64, 96, 128, 192, 240, 256, 384, 441, 480, 512, 576, 882, 960, 1024, 1152, 2048, 4096)  # buffers in use
LOUD_STEPS = 16  # of the file: less is not told from rounding
HOLE_RATIO, HOLE_STEEP = 0.06, 0.6  # of the level around it; of the level beside it, 2 ms from its edge
HOLE_S, HOLE_LONGEST_S, HOLE_EDGE_S, HOLE_BESIDE_S = 0.004, 0.6, 0.002, 0.02
HOLE_INSIDE = 0.3  # of the level beside it: a level that falls slowly, as in a silent tweeter's band, is no hole
HOLES_HZ = (500.0, 15_000.0)  # slower waves pass through zero for as long as a hole lasts
LEVEL_SURE_DB = 0.3  # standard error of a chirp's level that counts
LEVEL_WARN_DB, LEVEL_REFUSE_DB = 0.5, 1.5  # off the due level


@dataclass(frozen=True, slots=True)
class Remark:
    """Something that weakens a result: what, where (seconds in the recording), what to do, and why it is said."""

    what: str
    where: Stretches
    do: str
    why: str = ""


@dataclass(frozen=True, slots=True)
class Refusal:
    """A block that cannot be given: which, why, what to do."""

    what: str
    why: str
    do: str


def clipped(samples: Samples, rate: float) -> Stretches:
    """Stretches in which the wave is cut off at its highest or lowest value.

    Found at full scale and below it (a recorder that clips ahead of its converter's end, or was turned down later), by
    flat tops, or, where the wave is too fast for them, by how many samples pile up at that one value.
    """
    step = _smallest_step(samples)
    places = [_at_limit(sign * samples, step) for sign in (1.0, -1.0)]
    at = np.sort(np.concatenate(places))
    return _joined(at / rate, (at + 1) / rate)


def _at_limit(samples: Samples, step: float) -> NDArray[np.int64]:
    """Samples at the highest value, if that is where the wave is cut off."""
    top = float(samples.max(initial=0.0))
    near = samples[samples > top - (PILE_STEPS + 0.5) * step] if top > 0 else samples[:0]
    at = np.flatnonzero(samples >= top - 0.5 * step) if near.size else np.zeros(0, np.int64)
    piled = at.size >= PILE_LEAST and at.size > PILE_SHARE * near.size
    if piled or _flat_tops(samples, at, FLAT_STEP * step) >= (1 if top >= FULL_SCALE else FLAT_TOPS):
        return at
    return np.zeros(0, np.int64)


def _flat_tops(samples: Samples, at: NDArray[np.int64], step: float) -> int:
    """How many runs of equal samples at the top the wave enters and leaves steeply."""
    runs = np.split(at, np.flatnonzero(np.diff(at) > 1) + 1)
    count = 0
    for run in runs:
        if run.size >= FLAT_SAMPLES and run[0] > 0 and run[-1] + 1 < samples.size:
            ends = max(samples[run[0] - 1], samples[run[-1] + 1])
            count += bool(samples[run[0]] - ends >= step)
    return count


def _equal_runs(samples: Samples, least: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First sample and the one after the last of every run of at least `least` equal samples."""
    same = np.concatenate([[False], samples[1:] == samples[:-1], [False]])
    edges = np.flatnonzero(same[1:] != same[:-1])
    starts, stops = edges[::2], edges[1::2] + 1
    long = stops - starts >= least
    return starts[long], stops[long]


def rounding_power(samples: Samples) -> float:
    """Power of the rounding of a converter whose step is the smallest difference seen, step^2 / 12."""
    return _smallest_step(samples) ** 2 / 12


def _smallest_step(samples: Samples) -> float:
    """Smallest difference between two values that is not nothing: the file's step, or about that."""
    steps = np.diff(np.unique(samples[: 1 << 18]))
    return float(max(steps.min(initial=1.0), 2.0**-24))


def _joined(starts_s: Samples, stops_s: Samples, join_s: float = JOIN_S) -> Stretches:
    """Stretches closer than `join_s` made one."""
    found: list[tuple[float, float]] = []
    for start, stop in sorted(zip(starts_s.tolist(), stops_s.tolist(), strict=True)):
        if found and start - found[-1][1] < join_s:
            found[-1] = (found[-1][0], max(stop, found[-1][1]))
        else:
            found.append((start, stop))
    return tuple(found)


def interrupted(samples: Samples, rate: float, alignment: Alignment) -> Stretches:
    """Stretches of the test recording in which the recording stands still, repeats itself or falls silent."""
    found: list[tuple[float, float]] = []
    for segment in alignment.layout.segments:
        begin = max(round(alignment.heard(segment.start_s + 0.01) * rate), 0)
        end = min(round(alignment.heard(segment.stop_s) * rate), samples.size)
        piece = samples[begin:end]
        if piece.size < 0.02 * rate or segment.part in ("lead", "tail"):
            continue
        holes = _held(piece, rate, HELD_QUIET_S if segment.kind == "quiet" else HELD_S)
        if segment.kind == "sweep":
            holes += _repeated(piece, rate)
            growth = alignment.stretch * alignment.layout.rate_s * rate
            first, last = (round(growth * np.log(hz / START_HZ)) for hz in HOLES_HZ)
            holes += [(first / rate + a, first / rate + b) for a, b in _holes(piece[first:last], rate)]
        found += [(begin / rate + a, begin / rate + b) for a, b in holes]
    starts, stops = np.array(found).reshape(-1, 2).T
    return _joined(starts, stops, 0.01)


def held(samples: Samples, rate: float) -> Stretches:
    """Stretches of any recording in which its noise stands still."""
    return tuple(_held(samples, rate, HELD_QUIET_S))


def _held(piece: Samples, rate: float, least_s: float) -> list[tuple[float, float]]:
    """Runs of equal samples with a signal of many steps on both sides."""
    starts, stops = _equal_runs(piece, max(round(least_s * rate), 16))
    if not starts.size:
        return []
    loud = LOUD_STEPS * _smallest_step(piece)
    near = round(0.005 * rate)
    found = []
    for a, b in zip(starts.tolist(), stops.tolist(), strict=True):
        before, after = (np.abs(end).max(initial=0.0) for end in (piece[max(a - near, 0) : a], piece[b : b + near]))
        if min(before, after) > loud and max(before, after) > 1.05 * abs(piece[a]):  # a held top is a clipped one
            found.append((a / rate, b / rate))
    return found


def _repeated(piece: Samples, rate: float) -> list[tuple[float, float]]:
    """Buffers that came twice: half a buffer or more equal to what stood one buffer earlier."""
    moving = np.concatenate([[False], piece[1:] != piece[:-1]])
    found = []
    for length in REPEATS:
        if 2 * length >= piece.size:
            break
        same = (piece[length:] == piece[:-length]) & moving[length:]
        edges = np.flatnonzero(np.diff(np.concatenate([[0], same.astype(np.int8), [0]])))
        for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
            if b - a >= max(length // 2, 32):
                found.append(((a + length) / rate, (b + length) / rate))
    return found


def _holes(piece: Samples, rate: float) -> list[tuple[float, float]]:
    """Stretches that are entered and left within 2 ms and stay far below what stands beside them.

    Where direct sound and reflections cancel, the level dips as deep, but it takes its time.
    """
    level = np.sqrt(np.maximum(uniform_filter1d(piece**2, max(round(HOLE_EDGE_S * rate), 3)), 0.0))
    low = level < HOLE_RATIO * maximum_filter1d(level, round(HOLE_LONGEST_S * rate))
    edges = np.flatnonzero(np.diff(np.concatenate([[0], low.astype(np.int8), [0]])))
    edge, near = round(HOLE_EDGE_S * rate), round(HOLE_BESIDE_S * rate)
    found = []
    for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if not HOLE_S * rate <= b - a <= HOLE_LONGEST_S * rate or a < near or b + near > level.size:
            continue
        before, after = level[a - near : a - edge].max(), level[b + edge : b + near].max()
        middle = (a + b) // 2
        inside = level[min(a + edge, middle) : max(b - edge, middle + 1)].max()
        steep = level[a - edge] > HOLE_STEEP * before and level[b + edge - 1] > HOLE_STEEP * after
        if steep and inside < HOLE_INSIDE * min(before, after):
            found.append(((a - edge / 2) / rate, (b + edge / 2) / rate))
    return found


def uneven_db(alignment: Alignment, spoiled: Stretches) -> float:
    """Largest departure of a chirp's level from its due level, beyond what noise explains, in dB; 0 if none.

    Chirps inside `spoiled` stretches, and those whose level noise hides, do not count.
    """
    marks = [
        mark
        for mark in alignment.marks
        if mark.good
        and mark.level_error_db < LEVEL_SURE_DB
        and not overlaps(spoiled, mark.heard_s, mark.heard_s + mark.segment.seconds)
    ]
    if len(marks) < 3:
        return 0.0
    middle = float(np.median([mark.level_db for mark in marks]))
    return max(max(abs(mark.level_db - middle) - 4 * mark.level_error_db, 0.0) for mark in marks)


def overlaps(stretches: Stretches, begin_s: float, end_s: float) -> bool:
    """Whether any stretch reaches into a span."""
    return any(start < end_s and stop > begin_s for start, stop in stretches)


def spoiled_hz(alignment: Alignment, spoiled: Stretches) -> Ranges:
    """Excitation frequencies that the sweep passed in spoiled stretches, a sixth of an octave added at both ends."""
    sweep, growth_s = alignment.layout.sweep, alignment.layout.rate_s * alignment.stretch
    begin_s, end_s = alignment.heard(sweep.start_s), alignment.heard(sweep.stop_s)
    found = []
    for start_s, stop_s in spoiled:
        if start_s < end_s and stop_s > begin_s:
            low, high = (START_HZ * float(np.exp((s - begin_s) / growth_s)) for s in (start_s, stop_s))
            found.append((low / 2**SPOILED_OCTAVES, high * 2**SPOILED_OCTAVES))
    return tuple(found)


def outside(hz: Samples, ranges: Ranges) -> NDArray[np.bool_]:
    """Whether each frequency (n,) lies in none of the ranges."""
    clean = np.ones(hz.shape, bool)
    for low, high in ranges:
        clean &= (hz < low) | (hz > high)
    return clean
