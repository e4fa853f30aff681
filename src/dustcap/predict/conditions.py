"""How a complaint goes with the volume control: whether what makes the noise lies before the control or after it.

Turned down, a control takes as much off a noise that enters before it as off the signal. Hum is solved at both
settings. Where the circuit has no noise to solve (a worn part that crackles), the way of the signal tells where the
part stands: at a net before the control the signal stays when the control is turned, at one after it it falls.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dustcap.board.model import Board, Part
from dustcap.circuit.elements import Values
from dustcap.circuit.operating import operating_point
from dustcap.circuit.point import OperatingPoint
from dustcap.circuit.signal import small_signal
from dustcap.faults.suspects import Leak, Suspect
from dustcap.predict.analyses import Analyses
from dustcap.predict.checks import DEFAULT_SIGNAL_HZ
from dustcap.predict.complaints import HUM_V, driver_of, sigmoid

Floats = NDArray[np.float64]

NOISES = ("hum", "hiss", "crackle", "squeal", "distorted", "rattle")
"""Complaints of which it can be said how they go with the volume."""
EARS_ERR = 0.1  # one in ten says it wrongly: common practice, no published source
UNTOLD = 0.5
TURNED_TO = 0.02  # of the track, from either end
FALLS_DB, SOFT_DB = 6.0, 2.0  # a noise that falls by half of its volts follows: a choice of ours
LEAST_DROP_DB = 10.0  # a control that does less is no volume control
REACHED = 1e-3  # of the input's volts: below it the signal does not get to a net
OFF_THE_WAY = 0.3  # a noise from off the signal's way seldom follows the control: common practice, no published source
SAMPLES = 4


@dataclass(frozen=True)
class Control:
    """A volume control: overrides that turn it down, and the signal of the healthy board at every net in decibels.

    `up` and `down` have shape (nets,).
    """

    turned: Values
    up: Floats
    down: Floats


def follows(analyses: Analyses, complaint: str, driver: str = "") -> Floats:
    """Probability that a complaint, once heard, is said to follow the volume, shape (suspects, particles).

    One half where the board has no control, or the complaint is none that goes with it.
    """
    shape = (len(analyses.cases.suspects), analyses.cases.particles)
    control = control_of(analyses)
    if control is None or complaint not in NOISES:
        return np.full(shape, UNTOLD)
    chance = np.array([_by_place(analyses, control, suspect) for suspect in analyses.cases.suspects])
    found = np.repeat(chance[:, None], shape[1], axis=1)
    if complaint == "hum":
        found = _of_hum(analyses, control, driver_of(analyses.cases.board, driver), found)
    return EARS_ERR + (1.0 - 2.0 * EARS_ERR) * found


def control_of(analyses: Analyses) -> Control | None:
    """The potentiometer that takes most off the signal at the drivers; none where none takes ten decibels."""
    if "control" not in analyses.kept:
        analyses.kept["control"] = _control(analyses)
    found: Control | None = analyses.kept["control"]
    return found


def _control(analyses: Analyses) -> Control | None:
    board = analyses.cases.board
    drivers = [analyses.index[part.nets[0]] for part in board.of_kind("driver") if part.nets[0] in analyses.index]
    if not board.of_kind("input") or not drivers:
        return None
    up = _signal_db(analyses, {})
    best: tuple[float, Control] | None = None
    for part in board.of_kind("potentiometer"):
        for low in ("end1", "end2"):
            turned = _turned(part, low)
            down = _signal_db(analyses, turned)
            drop = float(np.max((up - down)[drivers]))
            if drop > LEAST_DROP_DB and (best is None or drop > best[0]):
                best = drop, Control(turned, up, down)
    return best[1] if best else None


def _turned(part: Part, low: str) -> Values:
    """The wiper near one end."""
    ohm, other = part.number("value"), "end2" if low == "end1" else "end1"
    return {
        (f"{part.name}.{low}", "ohm"): ohm * TURNED_TO,
        (f"{part.name}.{other}", "ohm"): ohm * (1.0 - TURNED_TO),
    }


def _signal_db(analyses: Analyses, turned: Values) -> Floats:
    """Signal at every net of the healthy board, decibels of the input's volts, shape (nets,)."""
    cases = analyses.cases.coarse(1)
    point = operating_point(cases.circuit, cases.values([0], turned))
    source = cases.board.of_kind("input")[0].name
    volts = small_signal(cases.circuit, point, DEFAULT_SIGNAL_HZ, source=source).volts[0, :, 0]
    return np.asarray(20.0 * np.log10(np.maximum(np.abs(volts), 1e-12)))


def _by_place(analyses: Analyses, control: Control, suspect: Suspect) -> float:
    """Share in which a noise of this fault follows, from where the fault stands."""
    board = analyses.cases.board
    found = 1.0
    for fault in suspect.faults:
        part = None if isinstance(fault, Leak) else board.part(fault.part)
        nets = (fault.a, fault.b) if isinstance(fault, Leak) else board.part(fault.part).nets
        if part is not None and part.kind == "potentiometer":
            continue  # its own crackle is heard as it is turned
        found = min(found, _before(analyses, control, nets, board))
    return found if suspect.faults else UNTOLD


def _before(analyses: Analyses, control: Control, nets: tuple[str, ...], board: Board) -> float:
    at = [analyses.index[net] for net in nets if net in analyses.index]
    reached = [net for net in at if control.up[net] > 20.0 * np.log10(REACHED)]
    if not reached:
        return OFF_THE_WAY
    return float(any(control.up[net] - control.down[net] < 3.0 for net in reached))


def _of_hum(analyses: Analyses, control: Control, driver: Part | None, found: Floats) -> Floats:
    """The same with the hum itself solved at both settings for those that hum; elsewhere as `found`."""
    cases = analyses.cases.coarse(min(SAMPLES, analyses.cases.particles))
    heard = _hum_v(analyses, driver)
    rows = [int(i) for i in np.flatnonzero(heard.max(axis=1) > HUM_V)]
    if not rows:
        return found
    point = operating_point(cases.circuit, cases.values(rows, control.turned))
    drivers = (driver,) if driver else cases.board.of_kind("driver")
    turned = np.max([_moving(analyses, point, each) for each in drivers], axis=0).reshape(len(rows), -1)
    loud = heard[rows][:, : turned.shape[1]]
    drop = 20.0 * np.log10(np.maximum(loud, 1e-9) / np.maximum(turned, 1e-9))
    share = np.where(loud > 0.5 * HUM_V, sigmoid((drop - FALLS_DB) / SOFT_DB), found[rows, :1])
    out = found.copy()
    out[rows] = share[:, np.arange(found.shape[1]) % share.shape[1]]
    return out


def _hum_v(analyses: Analyses, driver: Part | None) -> Floats:
    powered = analyses.powered(True)
    drivers = (driver,) if driver else analyses.cases.board.of_kind("driver")
    each = [
        np.hypot(np.abs(analyses.across(one, powered.ripple)), np.abs(analyses.across(one, powered.mains)))
        for one in drivers
    ]
    return np.asarray(np.max([np.zeros(analyses.shape), *each], axis=0), dtype=float)


def _moving(analyses: Analyses, point: OperatingPoint, driver: Part) -> Floats:
    ripple = analyses.across(driver, point.ripple[:, None, :])[:, 0]
    mains = analyses.across(driver, point.ripple_mains[:, None, :])[:, 0]
    return np.asarray(np.hypot(np.abs(ripple), np.abs(mains)), dtype=float)
