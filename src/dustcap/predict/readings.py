"""What a check reads in every case: one array (suspects, particles) for each check.

`nan`: no reading can be taken there; `inf`: over range. How each reading is defined stands in the contract of the board
description ("How readings are taken"): a meter of 10 Mohm on volts, mean over whole mains cycles, no junction on ohms.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from dustcap.errors import InputError
from dustcap.predict.analyses import Analyses
from dustcap.predict.checks import (
    CONNECTED,
    DIODE_OPEN_V,
    METER_INPUT_OHM,
    OHMS_OVER_RANGE,
    Check,
)
from dustcap.predict.lifted import lifted

Floats = NDArray[np.float64]

ESR_HZ = 100e3
CAPACITANCE_HZ = 120.0


def reading(analyses: Analyses, check: Check) -> Floats:
    """Predicted readings of one check, shape (suspects, particles), in the check's base unit.

    Raises
    ------
    InputError
        If the check names a net or part that the board does not have, or is one that reads a word.
    """
    for net in (check.at, check.against):
        if net and net != analyses.cases.circuit.common and net not in analyses.index:
            raise InputError(f"the board has no net {net!r}.", where=check.words(), mend="Name a net of the board.")
    if check.part and check.part not in analyses.cases.board.parts:
        raise InputError(
            f"the board has no part {check.part!r}.", where=check.words(), mend="Name a part of the board."
        )
    match check.kind:
        case "dc volts":
            return _dc_volts(analyses, check)
        case "ripple":
            return np.asarray(np.abs(_between(analyses, check, analyses.powered(check.state == CONNECTED).ripple)))
        case "ac volts":
            return _ac_volts(analyses, check)
        case "ohms" | "leakage":
            return _ohms(analyses, check)
        case "diode test":
            volts = analyses.junction(check.at, check.against)
            return np.where(volts > DIODE_OPEN_V, np.inf, volts)
        case "esr":
            return np.real(analyses.impedance(check.at, check.against, ESR_HZ))
        case "capacitance":
            return capacitance(analyses.impedance(check.at, check.against, CAPACITANCE_HZ))
        case "warmth":
            return analyses.warmth(check.part, check.state == CONNECTED)
        case "lifted":
            return lifted(analyses.cases, check.part, check.word or "value")
    raise InputError(f"{check.kind!r} reads a word, not a number.", where=check.words())


def capacitance(impedance: NDArray[np.complex128]) -> Floats:
    """Farads a meter computes from the impedance at 120 Hz; nan where the reactance is not a capacitor's."""
    reactance = np.imag(impedance)
    with np.errstate(divide="ignore", invalid="ignore"):
        farads = -1.0 / (2 * np.pi * CAPACITANCE_HZ * reactance)
    return np.where(reactance < 0, farads, np.nan)


def _between(analyses: Analyses, check: Check, volts: NDArray[Any]) -> NDArray[Any]:
    def at(net: str) -> NDArray[Any]:
        if not net or net == analyses.cases.circuit.common:
            return np.zeros(volts.shape[:2], dtype=volts.dtype)
        return np.asarray(volts[:, :, analyses.index[net]])

    return np.asarray(at(check.at) - at(check.against))


def _dc_volts(analyses: Analyses, check: Check) -> Floats:
    powered = analyses.powered(check.state == CONNECTED)
    volts = np.asarray(_between(analyses, check, powered.volts), dtype=float)
    source = np.abs(np.asarray(_between(analyses, Check("dc volts", check.at), powered.source_ohm), dtype=float))
    if check.against and check.against != analyses.cases.circuit.common:
        source = source + np.asarray(_between(analyses, Check("dc volts", check.against), powered.source_ohm))
    return np.where(powered.solved, volts * METER_INPUT_OHM / (METER_INPUT_OHM + source), np.nan)


def _ac_volts(analyses: Analyses, check: Check) -> Floats:
    connected = check.state == CONNECTED
    powered = analyses.powered(connected)
    signal = _between(analyses, check, analyses.gain(check.signal_hz, connected)) * check.signal_v
    hum = [_between(analyses, check, each) for each in (powered.ripple, powered.mains, powered.faster)]
    return np.asarray(np.sqrt(np.abs(signal) ** 2 + sum(np.abs(each) ** 2 for each in hum)), dtype=float)


def _ohms(analyses: Analyses, check: Check) -> Floats:
    ohms = analyses.resistance(check.at, check.against)
    return np.where(ohms > OHMS_OVER_RANGE, np.inf, ohms)
