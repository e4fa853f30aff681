"""Impedance of a driver or a cabinet: the document of `dustcap impedance`, and keeping it with a job."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any, Literal

import numpy as np

from dustcap.errors import InputError, SignalError, SolveError
from dustcap.job.desk import Desk, add, view
from dustcap.job.findings import board_names
from dustcap.job.heard import told_by_impedance
from dustcap.job.impedance_files import channels_of, curve_of
from dustcap.job.impedance_scale import with_resistor
from dustcap.job.payloads import ImpedanceKept, Work
from dustcap.sound.coil import coil_temperature
from dustcap.sound.driver_figures import Driver, by_added_mass, by_test_box, cone_area, one_resonance
from dustcap.sound.driver_fit import DriverFit, Quantity
from dustcap.sound.impedance import ImpedanceCurve
from dustcap.sound.impedance_meaning import (
    coil_meaning,
    extreme_meaning,
    leak_meaning,
    level_meaning,
    still_meaning,
    twin_meaning,
)
from dustcap.sound.impedance_ratio import Ratio
from dustcap.sound.vented_figures import VentedBox, leak_of, vented_box

Document = dict[str, Any]
PER_OCTAVE = 48  # points of the curve that is shown


@dataclass(frozen=True, slots=True)
class HowWired:
    """How it was measured, in SI units; a part that was not done is none."""

    resistor_ohm: float | None = None
    resistor_tolerance: float = 0.01  # of the one that sets the scale: common practice, no published source
    source_channel: int = 1
    leads_ohm: float = 0.0
    calibration: Path | None = None  # both inputs on the source side
    known: Path | None = None  # a known resistor in the driver's place
    known_ohm: float | None = None
    box: Literal["", "closed", "vented"] = ""  # nothing: free air
    added_kg: float | None = None
    added: Path | None = None
    test_box_m3: float | None = None
    test_box: Path | None = None
    diameter_m: float | None = None
    twin: Path | None = None
    louder: Path | None = None
    rated_ohm: float | None = None
    cold_ohm: float | None = None
    cold_c: float = 20.0


@dataclass(frozen=True, slots=True)
class _Measured:
    """One file: its curve and what was fitted to it; a refusal says why there is no fit."""

    curve: ImpedanceCurve
    driver: Driver | None = None
    vented: VentedBox | None = None
    refused: str = ""
    mend: str = ""

    @property
    def fitted(self) -> DriverFit | None:
        if self.vented:
            return self.vented.fitted
        return (self.driver.leaky or self.driver.fitted) if self.driver else None

    def figures(self) -> dict[str, Quantity | None]:
        """What is compared with another measurement."""
        if self.vented:
            box = self.vented
            return {"re": box.re, "fb": box.fb, "peak": box.peak_high_ohm, "f0": box.fs}
        if self.driver:
            one = self.driver
            return {"re": one.re, "f0": one.f0, "qm": one.qm, "qe": one.qe, "peak": one.peak_ohm}
        return {}

    @property
    def losses(self) -> Quantity | None:
        """Q of the cabinet's losses."""
        if self.vented:
            return self.vented.ql
        return _leak_q(self.driver.leaky) if self.driver and self.driver.leaky else None


def impedance(path: Path, how: HowWired) -> Document:
    """Everything that an impedance recording or table tells, as the document of `dustcap impedance`.

    Raises
    ------
    InputError
        If a file or an option is wrong.
    SignalError
        If a recording carries no impedance.
    """
    _check(path, how)
    channels, resistor, remarks = channels_of(how)
    how = replace(how, resistor_ohm=resistor)
    measured = _measured(path, how, how.box, channels)
    document: Document = {"layout": 1, "recording": path.name, "mount": how.box or "free air"}
    document |= {"resistor_ohm": resistor} | _figures(measured)
    document["curve"] = _curve(measured.curve)
    document["valid"] = [round(hz, 3) for hz in measured.curve.valid]
    document["snr_db"] = _number(measured.curve.snr_db)
    document["mains_hz"] = _number(measured.curve.mains_hz)
    document["warnings"] = remarks + [
        {"what": one.what, "where": [list(map(float, ends)) for ends in one.where], "do": one.do}
        for one in measured.curve.warnings
    ]
    document["rated_ohm"] = how.rated_ohm
    document["refused"] = []
    if measured.refused:
        document["refused"].append({"what": "parameters", "why": measured.refused, "do": measured.mend})
    twin = _other(how.twin, how, channels, document)
    louder = _other(how.louder, how, channels, document)
    if measured.driver is not None and not how.box:
        _mechanics(document, measured.driver, how, channels)
    _meanings(document, measured, how, twin, louder)
    if resistor is not None:
        document["resistor_tolerance"] = how.resistor_tolerance
        with_resistor(document, how.resistor_tolerance)
    return document


def _check(path: Path, how: HowWired) -> None:
    for given, beside, name in (
        (how.added_kg, how.added, "--added-mass and --added-mass-recording"),
        (how.test_box_m3, how.test_box, "--test-box and --test-box-recording"),
        (how.known_ohm, how.known, "--known-resistor and --known-resistor-recording"),
    ):
        if (given is None) != (beside is None):
            raise InputError(f"{name} belong together.", where="impedance", mend="Give both or none.")
    if how.box and (how.added or how.test_box):
        raise InputError(
            "mass and compliance are measured from free air.", where="--box", mend="Leave --box out for them."
        )
    if how.diameter_m is not None and not 0.005 < how.diameter_m < 1.0:
        raise InputError("the diameter is not that of a cone.", where="--diameter", mend="Give it in mm: 134.")
    if not 0 <= how.resistor_tolerance <= 0.2:
        raise InputError(
            "the resistor's tolerance is that of no known resistor.",
            where="--resistor-tolerance",
            mend="Give up to 20 %: '1 %', or '0.5 %' for one that a good meter measured.",
        )
    if how.resistor_ohm is None and path.suffix.lower() != ".csv":
        raise InputError("a recording needs the resistor.", where="--resistor", mend="Give its ohms: --resistor 10.")


def _measured(path: Path, how: HowWired, box: str, channels: Ratio | None) -> _Measured:
    curve = curve_of(path, how, channels)
    if curve.extreme:
        return _Measured(curve, refused=f"the circuit is {curve.extreme}")
    try:
        if box == "vented":
            return _Measured(curve, vented=vented_box(curve))
        return _Measured(curve, driver=one_resonance(curve, closed=box == "closed"))
    except SolveError as error:
        return _Measured(curve, refused=error.what, mend=error.mend)


def _other(path: Path | None, how: HowWired, channels: Ratio | None, document: Document) -> _Measured | None:
    if path is None:
        return None
    measured = _measured(path, how, how.box, channels)
    if measured.refused:
        document["refused"].append({"what": path.name, "why": measured.refused, "do": measured.mend})
    return measured


def _figures(measured: _Measured) -> Document:
    """The quantities of the contract; null where they are not known."""
    found: Document = dict.fromkeys(("re_ohm", "inductance", "fs_hz", "qms", "qes", "qts", "fc_hz", "qtc", "box"))
    found |= dict.fromkeys(("peak_ohm", "mms_g", "cms_mm_n", "rms_kg_s", "bl", "vas_l"))
    one, vented, fitted = measured.driver, measured.vented, measured.fitted
    if fitted is None:
        return found
    found["re_ohm"] = quantity(fitted.parameter("re"))
    le = vented.le_h if vented else one.le_h if one else None
    coil = zip(fitted.law.symbols, fitted.parameters[len(fitted.mount.symbols) :], strict=True)
    found["inductance"] = {
        "model": "lossy" if fitted.law.lossy else "ideal",
        "law": fitted.law.name,
        "le_mh_1khz": quantity(le, 1e3),
    } | {symbol: float(value) for symbol, value in coil}
    found["fit"] = {"model": fitted.mount.name, "scatter": _number(fitted.scatter), "band_hz": list(fitted.band_hz)}
    if vented:
        found["box"] = {
            "fl_hz": quantity(vented.fl),
            "fm_hz": quantity(vented.fm),
            "fh_hz": quantity(vented.fh),
            "fb_hz": quantity(vented.fb),
            "alpha": quantity(vented.alpha),
            "ql": quantity(vented.ql),
            "ql_is": "all box losses together",
            "driver_hz": quantity(vented.fs),
            "driver_qes": quantity(vented.qes),
            "driver_qms": quantity(vented.qms),
            "peak_low_ohm": quantity(vented.peak_low_ohm),
            "minimum_ohm": quantity(vented.minimum_ohm),
            "peak_high_ohm": quantity(vented.peak_high_ohm),
        }
    return found


def _mechanics(document: Document, free: Driver, how: HowWired, channels: Ratio | None) -> None:
    document |= {"fs_hz": quantity(free.f0), "qms": quantity(free.qm), "qes": quantity(free.qe)}
    document |= {"qts": quantity(free.qt), "peak_ohm": quantity(free.peak_ohm)}
    area = None if how.diameter_m is None else cone_area(how.diameter_m)
    moving, vas = None, None
    try:
        if how.added is not None and how.added_kg is not None:
            moving = by_added_mass(free, _needed(how.added, how, "", channels), how.added_kg, area)
            vas = moving.vas
        elif how.test_box is not None and how.test_box_m3 is not None:
            boxed = _needed(how.test_box, how, "closed", channels)
            moving, vas = by_test_box(free, boxed, how.test_box_m3, area)
    except (SolveError, SignalError) as error:
        document["refused"].append({"what": "mass and compliance", "why": error.what, "do": error.mend})
    if moving is not None:
        document |= {"mms_g": quantity(moving.mms, 1e3), "cms_mm_n": quantity(moving.cms, 1e3)}
        document |= {"bl": quantity(moving.bl), "rms_kg_s": quantity(moving.rms)}
    if vas is not None:
        document["vas_l"] = quantity(vas, 1e3)


def _needed(path: Path, how: HowWired, box: str, channels: Ratio | None) -> Driver:
    measured = _measured(path, how, box, channels)
    if measured.driver is None:
        raise SolveError(measured.refused, where=path.name, mend=measured.mend)
    return measured.driver


def _meanings(
    document: Document, measured: _Measured, how: HowWired, twin: _Measured | None, louder: _Measured | None
) -> None:
    said = [extreme_meaning(measured.curve.extreme)] if measured.curve.extreme else []
    if measured.refused and not measured.curve.extreme:
        said.append(still_meaning(measured.curve.valid))
    fitted = measured.fitted
    if fitted is not None:
        re = fitted.parameter("re")
        said += coil_meaning(re, how.rated_ohm)
        if how.cold_ohm is not None:
            document["coil_c"] = round(coil_temperature(re.value, how.cold_ohm, how.cold_c), 1)
        if how.box:
            beside = twin is not None and twin.fitted is not None
            other = twin.losses if twin else None
            leak = leak_of(measured.losses, twin=other, against_twin=beside)
            document["box"] = (document["box"] or {"ql": quantity(measured.losses)}) | {"leak": leak}
            said += leak_meaning(leak, measured.losses, other, against_twin=beside)
        if measured.driver is not None and how.box == "closed":
            document |= {"fc_hz": quantity(measured.driver.f0), "qtc": quantity(measured.driver.qt)}
            document["peak_ohm"] = quantity(measured.driver.peak_ohm)
    if twin is not None:
        said += twin_meaning(measured.figures(), twin.figures())
        document["against"] = {"recording": how.twin.name if how.twin else ""} | _beside(measured, twin)
        document["against"]["curve"] = _curve(twin.curve)
    if louder is not None:
        said += level_meaning(measured.figures(), louder.figures())
        document["louder"] = {"recording": how.louder.name if how.louder else ""} | _beside(measured, louder)
    document["meaning"] = [asdict(one) for one in said]


def _beside(measured: _Measured, other: _Measured) -> Document:
    theirs = other.figures() | {"ql": other.losses}
    own = measured.figures() | {"ql": measured.losses}
    shares = {}
    for name, mine in own.items():
        beside = theirs.get(name)
        if mine is not None and beside is not None:
            shares[name] = {"value": quantity(beside), "share": _number(mine.value / beside.value - 1)}
    return shares


def quantity(one: Quantity | None, factor: float = 1.0) -> Document | None:
    """A quantity as JSON holds it; an end that is not known is null."""
    if one is None:
        return None
    return {
        "value": _number(one.value * factor),
        "low": _number(one.low * factor),
        "high": _number(one.high * factor),
    }


def _leak_q(leaky: DriverFit | None) -> Quantity | None:
    if leaky is None:
        return None
    loss = leaky.parameter("inv_ql")
    return Quantity(1 / loss.value, 1 / loss.high, 1 / loss.low)


def _number(value: float | None) -> float | None:
    return float(f"{value:.6g}") if value is not None and np.isfinite(value) else None


def _curve(curve: ImpedanceCurve) -> Document:
    """The curve as it is shown: one point a 48th of an octave."""
    empty: list[float] = []
    if not curve.hz.size:
        return {"hz": empty, "ohm": empty, "degrees": empty, "uncertainty_ohm": empty}
    cell = np.floor(np.log2(curve.hz / curve.hz[0]) * PER_OCTAVE).astype(int)
    _, first = np.unique(cell, return_index=True)
    ohm = np.add.reduceat(curve.ohm, first) / np.diff([*first, curve.hz.size])
    hz = np.add.reduceat(curve.hz, first) / np.diff([*first, curve.hz.size])
    return {
        "hz": [_number(one) for one in hz],
        "ohm": [_number(one) for one in np.abs(ohm)],
        "degrees": [_number(one) for one in np.degrees(np.angle(ohm))],
        "uncertainty_ohm": [_number(1.96 * one) for one in curve.sigma[first]],
    }


@dataclass(frozen=True, slots=True)
class KeptImpedance:
    """An impedance that was kept: its entry, what it says, and the complaints that it adds to the hunt, by entry."""

    entry: int
    document: Mapping[str, Any]
    complaints: tuple[int, ...] = ()


def keep_impedance(
    desk: Desk, job: int, path: Path, when: Literal["before", "after"], how: HowWired, driver: str = ""
) -> KeptImpedance:
    """Analyse an impedance recording and keep it, with what it says, in a job.

    Raises
    ------
    InputError, SignalError
        As `impedance`; nothing is kept then.
    RecordError
        If there is no such job.
    """
    seen = view(desk, job)
    document = impedance(path, how)
    content = path.read_bytes()
    with desk.open() as bench, bench.write() as write:
        at = desk.now()
        kept = ImpedanceKept(
            name=path.name,
            file=write.add_file(path.name, content, at),
            result=write.add_file(f"{path.stem}.impedance.json", json.dumps(document, allow_nan=False).encode(), at),
            when=when,
            driver=driver,
            box=how.box,
            says=tuple(str(one["what"]) for one in document["meaning"])[:10],
        )
        entry = add(write, desk, job, kept)
        late = when == "before" and seen.state.last(Work) is not None  # it speaks of a unit that is no more
        shown = () if late else told_by_impedance(document, driver, entry, board_names(seen.board_text), seen.state)
        return KeptImpedance(entry, document, tuple(add(write, desk, job, one) for one in shown))
