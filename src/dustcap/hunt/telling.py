"""How much each of many checks tells about the action called for, in bits, all of them at once.

A table of action against outcome can be counted in two ways. The plain one is quick, and says too much where a
suspect's samples lie further apart than bins: two suspects that cannot be told apart then seem to differ by their
draws. The careful one blurs each prediction as the posterior does and takes off what is left of that error.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import log
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dustcap.compiled import compiled_loops
from dustcap.hunt.entropy import entropy, information
from dustcap.hunt.kernel import SILENT, alike
from dustcap.hunt.likelihoods import HEARD_UNEXPLAINED
from dustcap.hunt.memory import heard, remembered_rows
from dustcap.hunt.meter import READING, positions, spread_of
from dustcap.hunt.outcomes import FARTHEST, Cloud, chances, labels, per_row
from dustcap.hunt.posterior import Posterior
from dustcap.hunt.predictions import Predictions
from dustcap.predict.checks import Check

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Places = NDArray[np.float32]
Units = Mapping[str, str]

QUICK_BIN, CAREFUL_BIN = 2.5, 0.8  # widths in sigma of model and meter together
MAX_OUTCOMES = 16
WORDED = ("listen", "look")
ALONE = 0.002  # share of the mass from which a check tells anything apart: a choice of ours
TOGETHER = 48  # checks counted at once: what stays in a processor's cache
PRETENDED = 0.44
NODES = np.linspace(-2.0, 2.0, 5)
"""Of blur, model and meter together, in their sigma; seven tell 0.02 bits less on average."""
SHARES = np.exp(-0.5 * NODES**2) / np.exp(-0.5 * NODES**2).sum()


def quick_bits(cloud: Cloud, found: Posterior, units: Units, kind: str = "") -> dict[Check, float]:
    """What every candidate check tells at most, or each of one kind, about the suspects of the cloud.

    Nothing where hardly anything is told apart (`ALONE`), whatever a count of a few samples says.
    """
    checks = tuple(found.predictions.candidates())
    worded = [check for check in checks if check.kind in WORDED and kind in ("", check.kind)]
    numbered = tuple(check for check in checks if check.kind not in WORDED and kind in ("", check.kind))
    told = dict(zip(worded, _word_bits(cloud, _words(cloud, found, tuple(worded)), worded).tolist(), strict=True))
    told |= dict.fromkeys(numbered, 0.0)
    blocks = [numbered[first : first + TOGETHER] for first in range(0, len(numbered), TOGETHER)]
    apart = [np.flatnonzero(_apart(found, block, units)) for block in blocks]
    left = [block[i] for block, some in zip(blocks, apart, strict=True) for i in some.tolist()]
    places = [_places(cloud, found, block, units, some) for block, some in zip(blocks, apart, strict=True) if some.size]
    whole = np.concatenate([*places, np.zeros((0, cloud.mass.size), np.float32)]) / np.float32(QUICK_BIN)
    for first in range(0, len(left), TOGETHER):
        place = whole[first : first + TOGETHER]
        bits = information(_tables(cloud, place, cloud.mass, cloud.local, shared=False))
        told |= dict(zip(left[first : first + TOGETHER], bits.tolist(), strict=True))
    return told


def careful_bits(cloud: Cloud, found: Posterior, checks: Sequence[Check], units: Units) -> Floats:
    """Information of each check with the blur of its predictions, shape (checks,)."""
    told = np.zeros(len(checks))
    worded = [i for i, check in enumerate(checks) if check.kind in WORDED]
    words = [checks[i] for i in worded]
    told[worded] = _word_bits(cloud, [chances(cloud, found.predictions, check)[0] for check in words], words)
    numbered = [i for i, check in enumerate(checks) if check.kind not in WORDED]
    if numbered:
        pairs = [found.predicted(checks[i], units.get(checks[i].part, "")) for i in numbered]
        place = np.stack([cloud.of(one) for one, _ in pairs])
        sigma = np.sqrt(READING + np.stack([cloud.of(one) for _, one in pairs]))
        spread = (place[:, :, None] + sigma[:, :, None] * NODES).reshape(len(pairs), -1) / CAREFUL_BIN
        mass, local = (cloud.mass[:, None] * SHARES).ravel(), np.repeat(cloud.local, NODES.size)
        joint = _tables(cloud, spread, mass, local, shared=True)
        plain = _tables(cloud, place / QUICK_BIN, cloud.mass, cloud.local, shared=True)
        told[numbered] = np.maximum(information(joint) - _pretended(cloud, plain), 0.0)
    return told


def _word_bits(cloud: Cloud, chance: Sequence[Floats], checks: Sequence[Check]) -> Floats:
    """Information of looks for one word and of listens, from each particle's chance of a yes; shape (checks,).

    Words of a look fall on an undescribed board as on the healthy one; complaints as the posterior has it.
    """
    if not checks:
        return np.zeros(0)
    yes = np.stack(chance)
    groups = cloud.present.size
    number = np.broadcast_to(cloud.local, yes.shape)
    joint = np.stack([per_row(number, groups, cloud.mass * one) for one in (yes, 1.0 - yes)], axis=2)
    odd, whole = joint[:, -1], joint[:, -1].sum(axis=1, keepdims=True)
    listened = np.array([[check.kind == "listen"] for check in checks])
    heard = np.array([HEARD_UNEXPLAINED, 1 - HEARD_UNEXPLAINED])
    joint[:, -1] = (whole + cloud.anything) * np.where(listened, heard, odd / np.maximum(whole, 1e-300))
    return information(joint)


def _words(cloud: Cloud, found: Posterior, checks: tuple[Check, ...]) -> Sequence[Floats]:
    """Each particle's chance of a yes to each check."""
    predictions = found.predictions
    shape = (len(predictions.suspects), predictions.particles)

    def table(check: Check) -> Floats:
        if check.kind == "listen":
            return heard(predictions, check.word, check.part or check.at)
        seen = np.asarray(predictions.seen(check.part, check.word), dtype=float)
        return np.broadcast_to(seen.reshape(-1, 1), shape)

    if not checks or not hasattr(predictions, "memory"):
        return [chances(cloud, predictions, check)[0] for check in checks]
    whole = remembered_rows(
        predictions, ("words", checks), lambda first: np.stack([table(check)[first:] for check in checks], axis=-1)
    )
    return list(np.asarray(whole[cloud.suspect, cloud.particle].T))


def _places(cloud: Cloud, found: Posterior, checks: tuple[Check, ...], units: Units, some: Ints) -> Places:
    """What `some` of the checks read on each particle on the scale of `meter.positions`, shape (some, n)."""
    rows = found.masses.rows[cloud.suspect]
    return np.ascontiguousarray(_whole(found.predictions, checks, units)[rows, cloud.particle][:, some].T)


def _whole(predictions: Predictions, checks: tuple[Check, ...], units: Units) -> Places:
    """What the checks read on the scale of `meter.positions`, shape (suspects, particles, checks)."""

    def place(check: Check, first: int) -> Places:
        values = predictions.readings(check)[first:]
        return positions(values, spread_of(check, units.get(check.part, ""))).astype(np.float32)

    return remembered_rows(
        predictions, ("places", checks), lambda first: np.stack([place(check, first) for check in checks], axis=-1)
    )


def _apart(found: Posterior, checks: tuple[Check, ...], units: Units) -> Bools:
    """Checks in which a share `ALONE` of the mass reads otherwise than the likeliest suspect does, shape (checks,).

    Compared are the same samples of the board. Where every suspect left reads alike on each of them, the samples' own
    differences tell nothing, whatever a count of a few of them says.
    """
    predictions, rows, chance = found.predictions, found.masses.rows, found.probability
    whole = _whole(predictions, checks, units)
    lead, least = int(np.argmax(chance)), ALONE * float(chance.sum())
    order = np.argsort(-chance, kind="stable")
    alive = order[: 1 + int(np.searchsorted(np.cumsum(chance[order]), chance.sum() - least))]
    if loops := compiled_loops("hunt"):
        return np.asarray(loops.told_apart(whole, rows[alive], rows[lead], chance[alive], least, SILENT))

    def changed(first: int) -> Bools:
        return np.stack([~alike(whole[first:, :, i], whole[0, :, i]) for i in range(len(checks))], axis=-1)

    shows = remembered_rows(predictions, ("changed", checks), changed)[rows]
    apart = np.asarray(chance[alive] @ shows[alive] >= least)
    for i in np.flatnonzero(shows[lead]):
        apart[i] = chance[alive] @ ~alike(whole[rows[alive], :, i], whole[rows[lead], :, i]) >= least
    return apart


def _tables(cloud: Cloud, place: NDArray[np.floating[Any]], mass: Floats, local: Ints, *, shared: bool) -> Floats:
    """Masses of group against outcome, shape (checks, groups present, outcomes), from places (checks, n) in bins."""
    groups = cloud.present.size
    if loops := compiled_loops("hunt"):
        return np.asarray(loops.tables(place, mass, local, groups, cloud.anything, MAX_OUTCOMES, FARTHEST, shared))
    lower, upper, share = labels(place, mass, MAX_OUTCOMES, shared=shared)
    width = int(upper.max()) + 1
    joint = per_row(local * width + lower, groups * width, mass * (1.0 - share) if shared else mass)
    if shared:
        joint += per_row(local * width + upper, groups * width, mass * share)
    joint = joint.reshape(-1, groups, width)
    used = upper.max(axis=1, keepdims=True) + 1
    joint[:, -1] += np.where(np.arange(width) < used, cloud.anything / used, 0.0)
    return joint


def _pretended(cloud: Cloud, plain: Floats) -> Floats:
    """Bits that a careful table shows where there are none, because its particles are few; from the plain table.

    The textbook error of a histogram of k cells and n draws, (k - 1) / 2n natural units, is too large for blurred
    counts; the factor was fitted by us on tables of suspects with equal predictions, narrow and wide, of 6 to 64 draws,
    and leaves 0.05 bits at most on average. Two cells are what a single value falls into, and count as one.

    References
    ----------
    G. A. Miller, "Note on the bias of information estimates", in Information Theory in Psychology (1955) (from memory).
    """
    own, mass = np.bincount(cloud.local, np.square(cloud.mass)), np.bincount(cloud.local, cloud.mass)
    draws = np.where(own > 0, mass**2 / np.where(own > 0, own, 1.0), 1.0)
    error = np.maximum(2.0 ** entropy(plain) - 2.0, 0.0) / (2.0 * draws * log(2.0))
    return np.asarray(PRETENDED * (error @ mass) / np.maximum(plain.sum(axis=(1, 2)), 1e-300))
