r"""A driver's figures from its impedance: resistance, resonance, Qs, inductance; moving mass and compliance.

============  =====  ===========================================================
name          unit   formula
============  =====  ===========================================================
qts, qtc      --     1/(1/qm + 1/qe)
mms           kg     dm / ((fs/fs')^2 - 1), dm the added mass
cms           m/N    1/((2 pi fs)^2 mms)
bl            T m    sqrt(2 pi fs mms re / qes)
rms           kg/s   2 pi fs mms / qms
vas           m3     rho c^2 Sd^2 cms, or alpha times the volume of a test box
alpha         --     fc qec / (fs qes) - 1 for a closed test box
============  =====  ===========================================================

References
----------
.. [1] Small 1972, Direct radiator loudspeaker system analysis (from memory).
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dustcap.errors import InputError, SolveError
from dustcap.sound.cabinet import Peak, peaks_of, q_from_width
from dustcap.sound.coil import Floats
from dustcap.sound.driver_fit import SURE, DriverFit, Quantity, fit, ranged
from dustcap.sound.driver_model import LEAKY, TIGHT
from dustcap.sound.impedance import ImpedanceCurve

AIR_STIFFNESS_PA = 1.2041 * 343.215**2  # rho c^2 of dry air at 20 °C and 101 325 Pa (from memory)
LE_AT_HZ = 1000.0
BETTER = 12.0  # of the criterion: a box with a leak must be that much better to be believed
LEAK_STARTS = tuple(itertools.product((1.0, 3.0), (0.1, 0.4), (3.0, 6.0)))  # compliance ratio, loss, Qms
EXACT = 1e-6  # scatter of a curve that is computed, not measured


@dataclass(frozen=True, slots=True)
class Driver:
    """One resonance: resistance in ohm, frequency in Hz, Qs, the modulus at the peak in ohm, inductance at 1 kHz in H.

    In a closed box that leaks, `leaky` is the fit with the leak, and the figures are those that the box would have
    without it.
    """

    fitted: DriverFit
    re: Quantity
    f0: Quantity
    qm: Quantity
    qe: Quantity
    qt: Quantity
    peak_ohm: Quantity
    le_h: Quantity
    leaky: DriverFit | None = None


def one_resonance(curve: ImpedanceCurve, *, closed: bool = False) -> Driver:
    """The figures of a driver in free air or, with `closed`, in a closed box.

    Raises
    ------
    SolveError
        If the curve has no resonance or no model fits it.
    """
    start = single_start(curve)
    fitted = fit(curve, TIGHT, [start])
    leaky = None
    if closed and fitted.scatter > EXACT:
        starts = [
            {"re": fitted["re"], "fs": fitted["fs"] / np.sqrt(1 + alpha), "qes": fitted["qes"] / np.sqrt(1 + alpha)}
            | {"qms": qms, "alpha": alpha, "inv_ql": loss}
            for alpha, loss, qms in LEAK_STARTS
        ]
        other = fit(curve, LEAKY, starts)
        if other.criterion < fitted.criterion - BETTER and other.parameter("inv_ql").low > 0:
            leaky = other
    return driver_of(fitted, leaky)


def driver_of(fitted: DriverFit, leaky: DriverFit | None = None) -> Driver:
    """The figures of a fit whose first parameters are those of one resonance."""
    if leaky is None:
        return Driver(
            fitted,
            fitted.parameter("re"),
            fitted.parameter("fs"),
            fitted.parameter("qms"),
            fitted.parameter("qes"),
            fitted.quantity(lambda p: float(1 / (1 / p[2] + 1 / p[3]))),
            fitted.quantity(lambda p: float(p[0] * (1 + p[2] / p[3]))),
            inductance(fitted),
        )
    f0, qm, qe = (leaky.quantity(lambda p, i=i: float(p[i] * np.sqrt(1 + p[4]))) for i in (1, 2, 3))  # type: ignore[misc]
    total = leaky.quantity(lambda p: float(np.sqrt(1 + p[4]) / (1 / p[2] + 1 / p[3])))
    peak = leaky.quantity(lambda p: float(p[0] * (1 + p[2] / p[3])))
    return Driver(fitted, leaky.parameter("re"), f0, qm, qe, total, peak, inductance(leaky), leaky)


def inductance(fitted: DriverFit) -> Quantity:
    """Reactance of the blocked coil at 1 kHz as an inductance, in henry."""
    count, w = len(fitted.mount.symbols), np.array([2 * np.pi * LE_AT_HZ])
    return fitted.quantity(lambda p: float(fitted.law.impedance(p[count:], w)[0].imag / w[0]))


def single_start(curve: ImpedanceCurve) -> dict[str, float]:
    """Where the fit of one resonance begins.

    Raises
    ------
    SolveError
        If no peak stands out.
    """
    peaks = peaks_of(curve.hz, curve.ohm)
    if not peaks:
        raise SolveError(
            "there is no resonance in the curve: the coil does not move, or the band ends above it.",
            where="impedance",
            mend="Push the cone in by hand, evenly: does it move freely? Play down to a third of the resonance.",
        )
    re = coil_guess(curve, peaks[0])
    qms, qes = q_from_width(curve.hz, curve.ohm, peaks[0], re)
    if not (np.isfinite(qms) and np.isfinite(qes) and qms > 0 and qes > 0):
        qms = 3.0
        qes = qms / max(peaks[0].ohm / re - 1, 0.1)
    return {"re": re, "fs": peaks[0].hz, "qms": qms, "qes": qes}


def coil_guess(curve: ImpedanceCurve, peak: Peak) -> float:
    """A first guess of the coil's resistance: just below the least modulus."""
    return min(0.97 * float(np.quantile(np.abs(curve.ohm), 0.02)), 0.9 * peak.ohm)


def combined(of: Callable[..., float], *parts: Quantity) -> Quantity:
    """A figure of several independent quantities, with its 95 % range."""
    values = [part.value for part in parts]
    total = 0.0
    for i, part in enumerate(parts):
        reach = (part.high - part.low) / 2
        moved = [[*values[:i], values[i] + side * 0.1 * reach, *values[i + 1 :]] for side in (1, -1)]
        total += ((of(*moved[0]) - of(*moved[1])) / 0.2) ** 2
    return ranged(of(*values), float(np.sqrt(total)) / SURE)


@dataclass(frozen=True, slots=True)
class Moving:
    """The moving parts: mass in kg, compliance in m/N, force factor in T m, loss in kg/s; with an area V_AS in m3."""

    mms: Quantity
    cms: Quantity
    bl: Quantity
    rms: Quantity
    vas: Quantity | None


def by_added_mass(free: Driver, loaded: Driver, added_kg: float, area_m2: float | None = None) -> Moving:
    """Mass and compliance from the resonance with a known mass on the cone.

    Raises
    ------
    InputError
        If the mass is not above zero.
    SolveError
        If the resonance did not fall.
    """
    if not added_kg > 0:
        raise InputError("the added mass is not above zero.", where="added mass", mend="Weigh it: 5 to 20 g.")
    if not loaded.f0.high < free.f0.low:
        raise SolveError(
            f"the resonance did not fall with the added mass ({free.f0.value:.1f} to {loaded.f0.value:.1f} Hz).",
            where="added mass",
            mend="Fix about the cone's own mass on it, and check which file is which.",
        )
    mass = combined(lambda f, g: added_kg / ((f / g) ** 2 - 1), free.f0, loaded.f0)
    return _moving(free, mass, area_m2)


def by_test_box(free: Driver, boxed: Driver, volume_m3: float, area_m2: float | None) -> tuple[Moving | None, Quantity]:
    """Compliance from the resonance on a closed box of known volume; V_AS alone without the cone's area.

    Raises
    ------
    InputError
        If the volume is not above zero.
    SolveError
        If the resonance did not rise.
    """
    if not volume_m3 > 0:
        raise InputError("the volume is not above zero.", where="test box", mend="Give it in litres: 5 to 50.")

    def ratio(fs: float, qes: float, fc: float, qec: float) -> float:
        return fc * qec / (fs * qes) - 1

    if not ratio(free.f0.value, free.qe.value, boxed.f0.value, boxed.qe.value) > 0.02:
        raise SolveError(
            "the resonance did not rise in the test box.", where="test box", mend="Seal the driver to the box."
        )
    vas = combined(lambda *four: volume_m3 * ratio(*four), free.f0, free.qe, boxed.f0, boxed.qe)
    if area_m2 is None:
        return None, vas
    stiffness = AIR_STIFFNESS_PA * area_m2**2
    mass = combined(lambda f, v: 1 / ((2 * np.pi * f) ** 2 * v / stiffness), free.f0, vas)
    return _moving(free, mass, area_m2), vas


def _moving(free: Driver, mass: Quantity, area_m2: float | None) -> Moving:
    w = 2 * np.pi
    cms = combined(lambda f, m: 1 / ((w * f) ** 2 * m), free.f0, mass)
    bl = combined(lambda f, m, re, q: np.sqrt(w * f * m * re / q), free.f0, mass, free.re, free.qe)
    rms = combined(lambda f, m, q: w * f * m / q, free.f0, mass, free.qm)
    vas = combined(lambda c: AIR_STIFFNESS_PA * area_m2**2 * c, cms) if area_m2 else None
    return Moving(mass, cms, bl, rms, vas)


def cone_area(diameter_m: float) -> float:
    """Effective area in m2 from the diameter between the middles of the surround."""
    return float(np.pi * diameter_m**2 / 4)


def modulus_minimum(fitted: DriverFit, low_hz: float, high_hz: float) -> float:
    """Least modulus of the model in a band, in ohm."""
    hz: Floats = np.geomspace(low_hz, high_hz, 2000)
    return float(np.min(np.abs(fitted.ohm(hz))))
