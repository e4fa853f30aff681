"""A vented box's figures from its impedance: peaks, tuning, compliance ratio, losses, and whether it leaks.

References
----------
.. [1] Small 1973, Vented-box loudspeaker systems, parts I to IV: Q_L mostly 5 to 10, 7 to be assumed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dustcap.errors import SolveError
from dustcap.sound.cabinet import ThreeFrequencies, box_q, compliance_ratio, peaks_of, three_frequencies
from dustcap.sound.coil import Floats
from dustcap.sound.driver_figures import coil_guess, inductance
from dustcap.sound.driver_fit import DriverFit, Quantity, fit
from dustcap.sound.driver_model import VENTED, VENTED_LOSSES
from dustcap.sound.impedance import ImpedanceCurve

BETTER = 12.0  # of the criterion: friction beside the leak is believed when the fit is that much better
LEAK_BELOW, TIGHT_ABOVE = 3.0, 7.0  # ours, about the values that Small found
TWIN_LEAK, TWIN_TIGHT = 0.65, 0.85  # ours: Q against the twin's
ABSORPTION = {"alpha": 0.02, "fb": 0.002, "ql": 0.01}
"""What absorption with a Q of 40 and more, which the fit does not know, moves at most (simulated)."""
GRID_PER_OCTAVE = 150


@dataclass(frozen=True, slots=True)
class VentedBox:
    """A driver in a vented box; frequencies in Hz, moduli in ohm, inductance in H.

    `ql` is the Q of all box losses at the tuning, together; none where no loss was found. `qms` is none where the
    curve shows losses beside a leak: then it is not told apart from them. Peaks and minimum are none where the losses
    have swallowed a peak.
    """

    fitted: DriverFit
    re: Quantity
    fs: Quantity
    qms: Quantity | None
    qes: Quantity
    alpha: Quantity
    fb: Quantity
    ql: Quantity | None
    fl: Quantity | None
    fm: Quantity | None
    fh: Quantity | None
    peak_low_ohm: Quantity | None
    minimum_ohm: Quantity | None
    peak_high_ohm: Quantity | None
    le_h: Quantity


def vented_box(curve: ImpedanceCurve) -> VentedBox:
    """Fit a driver in a vented box.

    Raises
    ------
    SolveError
        If the curve has no resonance or no model fits it.
    """
    fitted = fit(curve, VENTED, _starts(curve))
    start = {symbol: fitted[symbol] for symbol in VENTED.symbols} | {"inv_qp": 0.01, "fh": fitted["fs"]}
    rubbing = fit(curve, VENTED_LOSSES, [start], laws=[fitted.law])
    more = rubbing.criterion < fitted.criterion - BETTER
    if more:
        best = fit(curve, VENTED_LOSSES, [{symbol: rubbing[symbol] for symbol in VENTED_LOSSES.symbols}])
    else:
        best = fitted
    three = _three(best)
    alpha, fb, ql = best.parameter("alpha"), best.parameter("fb"), _all_losses(best)
    if more:
        alpha, fb = _widened(alpha, ABSORPTION["alpha"]), _widened(fb, ABSORPTION["fb"])
        ql = _widened(ql, ABSORPTION["ql"]) if ql else None
    return VentedBox(
        fitted=best,
        re=best.parameter("re"),
        fs=best.parameter("fs"),
        qms=None if more else best.parameter("qms"),
        qes=best.parameter("qes"),
        alpha=alpha,
        fb=fb,
        ql=ql,
        fl=three["fl"],
        fm=three["fm"],
        fh=three["fh"],
        peak_low_ohm=three["ohm_l"],
        minimum_ohm=three["ohm_m"],
        peak_high_ohm=three["ohm_h"],
        le_h=inductance(best),
    )


def _widened(quantity: Quantity, share: float) -> Quantity:
    """A range made wider by a share of the value on both sides."""
    return Quantity(quantity.value, quantity.low / (1 + share), quantity.high * (1 + share))


def _all_losses(fitted: DriverFit) -> Quantity | None:
    """Q of all box losses together: the reciprocals add (Small 1973)."""
    at = [i for i, symbol in enumerate(fitted.symbols) if symbol in ("inv_ql", "inv_qp")]
    total = fitted.quantity(lambda p: float(sum(p[i] for i in at)), linear=True)
    if not total.value > 0:
        return None
    return Quantity(1 / total.value, 1 / total.high, 1 / total.low if total.low > 0 else float("inf"))


def _starts(curve: ImpedanceCurve) -> list[dict[str, float]]:
    found = three_frequencies(curve.hz, curve.ohm)
    peaks = peaks_of(curve.hz, curve.ohm)
    if not peaks:
        raise SolveError(
            "there is no resonance in the curve: the coil does not move, or the band ends above it.",
            where="impedance",
            mend="Push the cone in by hand, evenly: does it move freely? Play down to 10 Hz.",
        )
    re = coil_guess(curve, peaks[0])
    if found is None:
        first = {"re": re, "qms": 3.0, "qes": 3.0 / max(peaks[0].ohm / re - 1, 0.2), "fh": 2 * peaks[0].hz}
        return [
            first | {"fs": peaks[0].hz * a, "fb": peaks[0].hz * b, "alpha": alpha, "inv_ql": 0.4}
            for a, b, alpha in ((1.0, 1.0, 1.0), (0.7, 0.7, 2.0), (0.8, 0.5, 0.7), (1.2, 1.6, 1.0))
        ]
    peak = max(found.ohm_l, found.ohm_h)
    frame = {"re": re, "fs": found.fl * found.fh / found.fm, "fb": found.fm, "fh": found.fh}
    frame["alpha"] = max(compliance_ratio(found.fl, found.fm, found.fh), 0.1)
    starts = []
    for qms in (2.5, 5.0, 10.0):
        qes = qms / max(peak / re - 1, 0.2)
        for taken in (1.0, 0.6):  # the box's losses lower the peaks, so that the driver's own would be higher
            three = (found.fl, found.fm, found.fh)
            ql = box_q(frame["fs"], three, max(found.ohm_m / re, 1.02), qms, qes * taken)
            loss = 1 / ql if np.isfinite(ql) and ql > 1 else 0.14
            starts.append(frame | {"qms": qms, "qes": qes * taken, "inv_ql": loss})
    return starts


def _three(fitted: DriverFit) -> dict[str, Quantity | None]:
    """Peaks and minimum of the fitted curve with their ranges."""
    middle = np.sqrt(fitted["fs"] * fitted["fb"])
    span = 2 * np.sqrt(2 + fitted["alpha"])
    hz = np.geomspace(middle / span / 1.5, middle * span * 1.5, int(GRID_PER_OCTAVE * np.log2(span * span * 2.25)))

    def find(parameters: Floats) -> ThreeFrequencies | None:
        count = len(fitted.mount.symbols)
        coil = fitted.law.impedance(parameters[count:], 2 * np.pi * hz)
        return three_frequencies(hz, parameters[0] + coil + fitted.mount.motional(parameters[:count], hz))

    def one(name: str) -> Callable[[Floats], float]:
        def of(parameters: Floats) -> float:
            found = find(parameters)
            return float("nan") if found is None else float(getattr(found, name))

        return of

    names = ("fl", "fm", "fh", "ohm_l", "ohm_m", "ohm_h")
    if find(fitted.parameters) is None:
        return dict.fromkeys(names)
    return {name: fitted.quantity(one(name)) for name in names}


def leak_of(ql: Quantity | None, *, twin: Quantity | None = None, against_twin: bool = False) -> str:
    """Whether a cabinet leaks: "yes", "no" or "undecided", from the Q of its losses and, if there is one, the twin's.

    Alone: yes when the range lies below 3, no when it lies above 7. Against a twin: yes when the Q is below 0.65 of the
    twin's beyond both ranges, no when it is above 0.85 of it. Limits of ours, about the 5 to 10 that Small measured; a
    Q that is none is that of a box without loss.
    """
    if against_twin:
        own = ql or Quantity(1e6, 1e6, 1e6)
        other = twin or Quantity(1e6, 1e6, 1e6)
        if own.high < other.low and own.value < TWIN_LEAK * other.value:
            return "yes"
        return "no" if own.value > TWIN_TIGHT * other.value else "undecided"
    if ql is None or ql.low > TIGHT_ABOVE:
        return "no"
    return "yes" if ql.high < LEAK_BELOW else "undecided"
