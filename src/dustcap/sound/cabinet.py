r"""What a cabinet does to a driver's impedance: peaks and minimum, and the published short formulas for them.

=======  ========  ====  ============================================================
symbol   name      unit  meaning
=======  ========  ====  ============================================================
f_L      fl        Hz    lower peak of the modulus
f_M      fm        Hz    minimum of the modulus between the peaks
f_H      fh        Hz    upper peak
r_M      --        --    modulus at f_M over the coil's resistance
=======  ========  ====  ============================================================

The short formulas start the fit and check it; the fit is what is reported. Measured against the exact circuit they are
right within 4 % for Q_L of 3 and more where box and driver are tuned alike, and within 11 % where they are not.

References
----------
.. [1] Small 1973, Vented-box loudspeaker systems, parts I to IV.
.. [2] Small 1972, Direct radiator loudspeaker system analysis (from memory): Q from the width of the peak.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import find_peaks, peak_prominences

from dustcap.sound.coil import Complex, Floats

PEAK_OVER = 0.06  # ours: a peak stands out of its surroundings by this share
PEAKS_BELOW_HZ = 4000.0


@dataclass(frozen=True, slots=True)
class Peak:
    """A maximum of the modulus: frequency, ohm, and how far it stands out of its surroundings in ohm."""

    hz: float
    ohm: float
    prominence: float


def peaks_of(hz: Floats, ohm: Complex) -> tuple[Peak, ...]:
    """Maxima of the modulus that stand out, highest prominence first; `hz` and `ohm` have shape (n,)."""
    modulus = np.abs(ohm)
    inside = hz < PEAKS_BELOW_HZ
    x, y = hz[inside], _calm(modulus[inside])
    if x.size < 5:
        return ()
    places, _ = find_peaks(y)
    heights, _, _ = peak_prominences(y, places)
    found = [
        Peak(float(x[i]), float(y[i]), float(height))
        for i, height in zip(places.tolist(), heights.tolist(), strict=True)
        if height > PEAK_OVER * y[i]
    ]
    return tuple(sorted(found, key=lambda peak: -peak.prominence))


def _calm(modulus: Floats) -> Floats:
    padded = np.concatenate([[modulus[0]] * 2, modulus, [modulus[-1]] * 2])
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, 5), axis=1))


def q_from_width(hz: Floats, ohm: Complex, peak: Peak, re: float) -> tuple[float, float]:
    """Mechanical and electrical Q from the frequencies at which the modulus is sqrt(Re Zmax).

    Small 1972: r0 = Zmax/Re, Qms = fs sqrt(r0)/(f2 - f1), Qes = Qms/(r0 - 1). Nan where the flanks are not in the band.
    """
    modulus, r0 = np.abs(ohm), peak.ohm / re
    level = np.sqrt(re * peak.ohm)
    at = int(np.argmin(np.abs(hz - peak.hz)))
    below = np.flatnonzero(modulus[:at] < level)
    above = np.flatnonzero(modulus[at:] < level)
    if not (r0 > 1 and below.size and above.size):
        return float("nan"), float("nan")
    f1 = _crossing(hz, modulus, int(below[-1]), level)
    f2 = _crossing(hz, modulus, at + int(above[0]) - 1, level)
    qms = peak.hz * np.sqrt(r0) / (f2 - f1)
    return float(qms), float(qms / (r0 - 1))


def _crossing(hz: Floats, modulus: Floats, before: int, level: float) -> float:
    """Where the line between a point and the next one meets a level."""
    low, high = modulus[before], modulus[before + 1]
    share = (level - low) / (high - low) if high != low else 0.5
    return float(hz[before] + share * (hz[before + 1] - hz[before]))


def compliance_ratio(fl: float, fm: float, fh: float) -> float:
    """V_AS / V_AB from the three frequencies: (fH^2 - fM^2)(fM^2 - fL^2)/(fH fL)^2 (Small 1973)."""
    return (fh**2 - fm**2) * (fm**2 - fl**2) / (fh * fl) ** 2


def box_q(fs: float, three: tuple[float, float, float], minimum_ratio: float, qms: float, qes: float) -> float:
    """Q of all box losses from the minimum's modulus over Re: (h/alpha)(1/(Qes (rM - 1)) - 1/Qms), h = fM/fs.

    `three` are fL, fM, fH in Hz (Small 1973).
    """
    h = three[1] / fs
    return h / compliance_ratio(*three) * (1 / (qes * (minimum_ratio - 1)) - 1 / qms)


def tuning_from_sealed(fl: float, fh: float, fc: float) -> float:
    """Tuning of the box from the two peaks and the one peak with the vent sealed: sqrt(fL^2 + fH^2 - fC^2)."""
    return float(np.sqrt(fl**2 + fh**2 - fc**2))


@dataclass(frozen=True, slots=True)
class ThreeFrequencies:
    """Peaks and minimum of a vented box: Hz and ohm."""

    fl: float
    fm: float
    fh: float
    ohm_l: float
    ohm_m: float
    ohm_h: float


def three_frequencies(hz: Floats, ohm: Complex) -> ThreeFrequencies | None:
    """The two highest-standing peaks and the minimum between them, refined by a parabola; none without two peaks."""
    peaks = peaks_of(hz, ohm)
    if len(peaks) < 2:
        return None
    left, right = sorted(int(np.argmin(np.abs(hz - peak.hz))) for peak in peaks[:2])
    modulus = np.abs(ohm)
    middle = left + int(np.argmin(modulus[left : right + 1]))
    (fl, zl), (fm, zm), (fh, zh) = (_vertex(hz, modulus, i) for i in (left, middle, right))
    return ThreeFrequencies(fl, fm, fh, zl, zm, zh)


def _vertex(hz: Floats, modulus: Floats, at: int) -> tuple[float, float]:
    at = min(max(at, 1), hz.size - 2)
    x, y = np.log(hz[at - 1 : at + 2]), modulus[at - 1 : at + 2]
    two, one, zero = np.polyfit(x - x[1], y, 2)
    if two == 0:
        return float(hz[at]), float(modulus[at])
    shift = float(np.clip(-one / (2 * two), x[0] - x[1], x[2] - x[1]))
    return float(hz[at] * np.exp(shift)), float(zero + one * shift + two * shift**2)
