"""Files of an impedance measurement: what to play, two-channel recordings, calibrations and tables."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import soundfile

from dustcap.errors import InputError, SignalError
from dustcap.job.outputs import check_output, write_output
from dustcap.sound.coil import Complex, Floats
from dustcap.sound.impedance import ImpedanceCurve, impedance_from_table, impedance_of
from dustcap.sound.impedance_ratio import Ratio, channel_ratio, smooth
from dustcap.sound.recording import read_recording

if TYPE_CHECKING:
    from dustcap.job.impedance import HowWired

RATE_HZ, LOW_HZ, HIGH_HZ = 48_000, 4.0, 21_000.0
SWEEP_S, QUIET_S, PEAK = 15.0, 3.0, 10 ** (-12 / 20)  # ours: quiet enough for a driver, the quiet shows the mains
RESISTOR_SHARE = 0.02  # ours: a resistor further from what was given is remarked on
MID_HZ = (50.0, 2000.0)

WIRING = (
    "Loudspeaker unplugged and discharged, driver disconnected from its amplifier: never measure with it connected.",
    "Headphone or line output, hot wire - resistor - driver - back to the output's ground.",
    "Input 1 (source side): between output and resistor. Input 2 (driver side): between resistor and driver.",
    "Both inputs against the same ground, both at the same gain; no microphone supply, no automatics.",
    "Play quietly: a few hundred millivolts are enough. The cone must move freely, face not pressed on the bench.",
    "Once with both inputs on the source side as --calibration; 10 ohm measured with a good meter as --resistor.",
)


def write_impedance_stimulus(path: Path) -> float:
    """Write the sweep for impedance as a mono 24-bit WAV file; returns its length in seconds.

    Raises
    ------
    InputError
        If the place is wrong.
    RecordError
        If the disk refuses it.
    """
    check_output(path, ".wav")
    t = np.arange(round(SWEEP_S * RATE_HZ)) / RATE_HZ
    growth = SWEEP_S / np.log(HIGH_HZ / LOW_HZ)
    sweep = PEAK * np.sin(2 * np.pi * LOW_HZ * growth * np.expm1(t / growth))
    up, down = round(0.2 * RATE_HZ), round(0.02 * RATE_HZ)
    sweep[:up] *= np.sin(np.linspace(0, np.pi / 2, up)) ** 2
    sweep[-down:] *= np.cos(np.linspace(0, np.pi / 2, down)) ** 2
    quiet = np.zeros(round(QUIET_S * RATE_HZ))
    content = io.BytesIO()
    soundfile.write(content, np.concatenate([quiet, sweep, quiet]), RATE_HZ, format="WAV", subtype="PCM_24")
    write_output(path, content.getvalue())
    return SWEEP_S + 2 * QUIET_S


def curve_of(path: Path, how: HowWired, channels: Ratio | None) -> ImpedanceCurve:
    """The curve of a recording or, when its name ends in .csv, of a table.

    Raises
    ------
    InputError
        If the file is wrong.
    SignalError
        If the recording carries no impedance.
    """
    if path.suffix.lower() == ".csv":
        return impedance_from_table(*read_table(path))
    if how.resistor_ohm is None:
        raise InputError("a recording needs the resistor.", where=str(path), mend="Give its ohms: --resistor 10.")
    source, driver, rate = _both(path, how.source_channel)
    try:
        return impedance_of(source, driver, rate, how.resistor_ohm, channels=channels, leads_ohm=how.leads_ohm)
    except SignalError as error:
        raise SignalError(error.what, where=str(path), mend=error.mend) from error


def channels_of(how: HowWired) -> tuple[Ratio | None, float | None, list[dict[str, Any]]]:
    """The channels' own ratio from the calibrations, the resistor (measured, when both were made), and remarks.

    With both inputs on the source side the ratio is C. With a resistor K in the driver's place it is C K/(R + K): alone
    it gives C when R is trusted; both together give R.
    """
    wired = None if how.calibration is None else _calibration(how.calibration, how.source_channel)
    resistor = how.resistor_ohm
    remarks: list[dict[str, Any]] = []
    if how.known is None or how.known_ohm is None or resistor is None:
        return wired, resistor, remarks
    if not how.known_ohm > 0:
        raise InputError("a known resistor is above zero.", where="--known-resistor", mend="Give its ohms.")
    known = _calibration(how.known, how.source_channel)
    if wired is None:
        factor = (resistor + how.known_ohm) / how.known_ohm
        return Ratio(known.hz, known.value * factor, known.sigma * factor), resistor, remarks
    middle = (known.hz > MID_HZ[0]) & (known.hz < MID_HZ[1])
    own = np.interp(known.hz[middle], wired.hz, wired.value)
    measured = float(np.median((how.known_ohm * (own / known.value[middle] - 1)).real))
    if not abs(measured / resistor - 1) < RESISTOR_SHARE:
        what = f"the resistor measures {measured:.4g} ohm against the known one, not {resistor:.4g} ohm"
        remarks.append({"what": what, "where": [], "do": "check both with a meter; the measured value is used"})
    return wired, measured, remarks


def _calibration(path: Path, source_channel: int) -> Ratio:
    source, driver, rate = _both(path, source_channel)
    try:
        ratio = channel_ratio(source, driver, rate)
    except SignalError as error:
        raise SignalError(error.what, where=str(path), mend=error.mend) from error
    good = np.isfinite(ratio.sigma) & (ratio.sigma < 0.05 * np.abs(ratio.value))
    if good.sum() < 30:
        raise SignalError("carries no calibration.", where=str(path), mend="Play the whole sweep, louder.")
    return smooth(Ratio(ratio.hz[good], ratio.value[good], ratio.sigma[good]))


def _both(path: Path, source_channel: int) -> tuple[Floats, Floats, float]:
    recording = read_recording(path)
    count = recording.samples.shape[0]
    if count < 2:
        raise InputError(
            "has one channel.", where=str(path), mend="Record two: both sides of the resistor at the same time."
        )
    if source_channel not in (1, 2):
        raise InputError(f"there is no source channel {source_channel}.", where="--source-channel", mend="1 or 2.")
    one, two = (recording.samples[i].astype(float) for i in (source_channel - 1, 2 - source_channel))
    return one, two, float(recording.rate)


def read_table(path: Path) -> tuple[Floats, Complex]:
    """Frequency and complex impedance from a CSV file with the columns Hz, ohm, degrees; a head line may stand above.

    Raises
    ------
    InputError
        If it cannot be read or is no such table.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError("cannot be read.", where=str(path), mend="Check the name; save it as UTF-8 text.") from error
    mark = next((one for one in (";", "\t") if one in text), ",")
    rows: list[tuple[float, float, float]] = []
    for line, cells in enumerate(csv.reader(io.StringIO(text), delimiter=mark), 1):
        words = [cell.strip().replace(",", ".") for cell in cells]
        if not any(words):
            continue
        try:
            hz, ohm, degrees = (float(word) for word in words[:3])
        except ValueError as error:
            if not rows and line == 1:
                continue
            raise InputError(
                f"{mark.join(cells)[:40]!r} is not Hz, ohm, degrees.",
                where=f"{path}:{line}",
                mend="Write three numbers a line: 44.75, 36.2, 0.",
            ) from error
        rows.append((hz, ohm, degrees))
    table = np.array(rows, float).reshape(-1, 3)
    if len(table) < 3 or not np.all(np.isfinite(table)) or not np.all(table[:, :2] > 0):
        raise InputError("holds no curve.", where=str(path), mend="Give Hz and ohm above zero, twenty lines or more.")
    table = table[np.argsort(table[:, 0], kind="stable")]
    if not np.all(np.diff(table[:, 0]) > 0):
        raise InputError("names a frequency twice.", where=str(path), mend="Give each frequency once.")
    return table[:, 0], table[:, 1] * np.exp(1j * np.radians(table[:, 2]))
