"""How probable it is that a complaint is heard or seen, as thresholds on computed quantities.

Each complaint is a quantity of the circuit (metres of cone displacement, volts of hum at the driver, decibels of gain
lost), a threshold and an error rate: P = false alarm + (1 - false alarm - miss) x share above it, with a soft
edge. Where physics cannot say (noise of a worn part, a rattle) the failure mode's own table in `faults` speaks.

The thresholds are common practice, no published source, except where a comment says otherwise.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dustcap.board.model import Board, Part
from dustcap.faults.modes import listens
from dustcap.faults.suspects import Suspect
from dustcap.predict.analyses import BAND_HZ, Analyses
from dustcap.predict.checks import DEFAULT_SIGNAL_HZ

Floats = NDArray[np.float64]

FALSE_ALARM = 0.01
MISS = 0.07
"""A person at the bench reports something that is not there, or misses what is: choices of ours. Of the units that come
in with a complaint one in a hundred turns out healthy; a fault that nobody can hear explains a complaint no better."""

CONE_SHARE = 0.20  # of the excursion: physics.md
HUM_V = 4e-3  # r.m.s. at the driver: some 25 dB SPL at one metre from 90 dB at 2.83 V
NO_OUTPUT_DB = -26.0
WEAK_DB = -6.0
HOT_KELVIN = 70.0
HOT_RATIO = 1.6
FUSE_RATIO = 3.0  # of the healthy board's watts, where no fuse is described
FUSE_BLOWS = 1.8
"""Times its rating at which a fuse goes within minutes: between 1.5, which it carries for an hour, and 2.1, at which it
goes within half an hour at most (IEC 60127-2, from memory)."""
CLIPPED_SHARE = 0.15  # of the rail: the d.c. at an amplifier's output beyond which music is cut on one side
BOX = ("boomy", "rattle")


@dataclass(frozen=True, slots=True)
class Quantity:
    """A computed quantity over its threshold, as a logarithmic excess; `softness` in the same unit."""

    excess: Callable[[Analyses, Part | None], Floats]
    softness: float


def sigmoid(x: Floats) -> Floats:
    """A soft step from 0 to 1 about zero."""
    return np.asarray(0.5 * (1 + np.tanh(x / 2)))


def _log_over(value: Floats, threshold: float) -> Floats:
    return np.asarray(np.log(np.maximum(value, 1e-12) / threshold))


def _drivers(analyses: Analyses, driver: Part | None) -> tuple[Part, ...]:
    return (driver,) if driver else analyses.cases.board.of_kind("driver")


def _largest(analyses: Analyses, driver: Part | None, of: Callable[[Part], Floats]) -> Floats:
    nothing = np.zeros(analyses.shape)  # a board may be described without its drivers
    return np.asarray(np.max([nothing, *(of(each) for each in _drivers(analyses, driver))], axis=0))


def _cone(analyses: Analyses, driver: Part | None) -> Floats:
    def share(each: Part) -> Floats:
        volts = np.abs(analyses.across(each, analyses.powered(True).volts))
        metres = volts / each.number("resistance") * each.number("bl") * each.number("compliance")
        return np.asarray(metres / each.number("excursion"))

    return _log_over(_largest(analyses, driver, share), CONE_SHARE)


def _hum(analyses: Analyses, driver: Part | None) -> Floats:
    powered = analyses.powered(True)

    def volts(each: Part) -> Floats:
        moving = np.hypot(np.abs(analyses.across(each, powered.ripple)), np.abs(analyses.across(each, powered.mains)))
        return np.asarray(moving * analyses.plays(each))

    return _log_over(_largest(analyses, driver, volts), HUM_V)


def level_db(analyses: Analyses, driver: Part) -> Floats:
    """Level at a driver in its own band against the healthy board's median, in dB; -120 where nothing arrives."""
    hz = BAND_HZ.get(str(driver.values.get("role", "")), DEFAULT_SIGNAL_HZ)
    volts = np.abs(analyses.across(driver, analyses.gain(hz, True))) * analyses.plays(driver)
    reference = max(float(np.median(volts[0])), 1e-9)
    return np.asarray(20 * np.log10(np.maximum(volts / reference, 1e-6)))


def _levels(analyses: Analyses, driver: Part | None, whole: Callable[..., Floats]) -> Floats:
    levels = [level_db(analyses, each) for each in _drivers(analyses, driver)]
    return np.asarray(whole(levels or [np.zeros(analyses.shape)], axis=0))


def _no_output(analyses: Analyses, driver: Part | None) -> Floats:
    return (NO_OUTPUT_DB - _levels(analyses, driver, np.min)) / 4.0


def _dead(analyses: Analyses, driver: Part | None) -> Floats:
    return (NO_OUTPUT_DB - _levels(analyses, driver, np.max)) / 4.0


def _weak(analyses: Analyses, driver: Part | None) -> Floats:
    lowest = _levels(analyses, driver, np.min)
    return np.minimum((WEAK_DB - lowest) / 1.5, (lowest - NO_OUTPUT_DB + 6.0) / 4.0)


def _distorted(analyses: Analyses, driver: Part | None) -> Floats:
    return _log_over(_offset_share(analyses), CLIPPED_SHARE)


def _offset_share(analyses: Analyses) -> Floats:
    """Largest d.c. at an amplifier's output against what the healthy board has there, as a share of the supply."""
    powered, shares = analyses.powered(True), [np.zeros(analyses.shape)]
    for part in analyses.cases.board.of_kind("op amp", "power amplifier"):
        out, high, low = (analyses.index.get(part.pins[pin]) for pin in ("out", "high", "low"))
        if out is None:
            continue
        volts = powered.volts
        span = sum(np.abs(volts[0, :, net]) for net in (high, low) if net is not None)
        off = np.abs(volts[:, :, out] - np.median(volts[0, :, out]))
        shares.append(np.asarray(2 * off / np.maximum(np.median(span), 1e-3), dtype=float))
    return np.asarray(np.max(shares, axis=0))


def _warm_parts(analyses: Analyses) -> list[str]:
    board = analyses.cases.board
    touched = [part.name for part in board.parts.values() if part.kind not in ("input", "supply", "driver")]
    return touched or list(board.parts)


def _hot(analyses: Analyses, driver: Part | None) -> Floats:
    kelvin = np.max([analyses.warmth(name, True) for name in _warm_parts(analyses)], axis=0)
    return np.minimum(_log_over(kelvin, HOT_KELVIN), _log_over(kelvin / np.median(kelvin[0]), HOT_RATIO))


def _blows_fuse(analyses: Analyses, driver: Part | None) -> Floats:
    """By the current through each fuse of the board, from its own heat; without one by the watts of the whole board."""
    fuses = [part for part in analyses.cases.board.of_kind("link") if "rating" in part.values]
    if fuses:
        excess = [_log_over(_amperes(analyses, fuse) / fuse.number("rating"), FUSE_BLOWS) for fuse in fuses]
        return np.asarray(np.max(excess, axis=0))
    watts = np.sum(analyses.powered(True).watts, axis=2, dtype=float)
    return _log_over(watts / max(float(np.median(watts[0])), 1e-9), FUSE_RATIO)


def _amperes(analyses: Analyses, fuse: Part) -> Floats:
    """Current through a link, shape (suspects, particles): what it dissipates is the square of it times its ohms."""
    watts = np.asarray(analyses.powered(True).watts[:, :, analyses.parts.index(fuse.name)], dtype=float)
    ohms = np.full(analyses.shape, analyses.cases.own[fuse.name, "ohm"])
    for index, suspect in enumerate(analyses.cases.suspects):
        if any(getattr(fault, "part", "") == fuse.name for fault in suspect.faults):
            ohms[index] = analyses.cases.of_suspect(index, analyses.cases.base)[fuse.name, "ohm"]
    return np.asarray(np.where(np.isfinite(ohms), np.sqrt(np.abs(watts) / np.where(np.isfinite(ohms), ohms, 1.0)), 0.0))


def _squeal(analyses: Analyses, driver: Part | None) -> Floats:
    return np.where(analyses.unstable(), 4.0, -6.0)


QUANTITIES: Mapping[str, Quantity] = {
    "cone pushed out": Quantity(_cone, 0.15),
    "hum": Quantity(_hum, 0.4),
    "no output": Quantity(_no_output, 1.0),
    "dead": Quantity(_dead, 1.0),
    "weak output": Quantity(_weak, 1.0),
    "distorted": Quantity(_distorted, 0.3),
    "hot": Quantity(_hot, 0.2),
    "blows fuse": Quantity(_blows_fuse, 0.3),
    "squeal": Quantity(_squeal, 1.0),
}
NOT_COMPUTED = ("hiss", "crackle", "thump at power", "comes and goes", "polarity reversed", "air leak", *BOX)
"""Complaints for which only the failure modes' own tables speak."""


def driver_of(board: Board, named: str) -> Part | None:
    """The driver of that part name or role; None for "" and for a role that no driver has."""
    for part in board.of_kind("driver"):
        if named and named in (part.name, part.values.get("role")):
            return part
    return None


def heard(analyses: Analyses, complaint: str, driver: str = "") -> Floats:
    """Probability that a complaint is observed, shape (suspects, particles); `driver` is a part's name or a role."""
    shape = (len(analyses.cases.suspects), analyses.cases.particles)
    quantity = QUANTITIES.get(complaint)
    share = np.zeros(shape)
    if quantity:
        excess = np.broadcast_to(quantity.excess(analyses, driver_of(analyses.cases.board, driver)), shape)
        share = sigmoid(np.nan_to_num(excess, nan=-9.0) / quantity.softness)
    told = np.array([_told(suspect, complaint, analyses) for suspect in analyses.cases.suspects])
    share = 1.0 - (1.0 - share) * (1.0 - told[:, None])
    return FALSE_ALARM + (1.0 - FALSE_ALARM - MISS) * share


def _told(suspect: Suspect, complaint: str, analyses: Analyses) -> float:
    quiet = 1.0
    for fault in suspect.faults:
        quiet *= 1.0 - listens(analyses.cases.board, fault).get(complaint, 0.0)
    return 1.0 - quiet
