"""Frequency weightings: A and C of IEC 61672-1, and the noise weighting of ITU-R BS.468-4.

=================  =================  =====  =========================================
symbol             name here          unit   meaning
=================  =================  =====  =========================================
f                  hz                 Hz     frequency
f1 .. f4           F1_HZ .. F4_HZ     Hz     pole frequencies of the A and C networks
A(f), C(f)         gain_db            dB     relative response, 0 dB at 1 kHz
=================  =================  =====  =========================================
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dustcap.errors import InputError

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

# IEC 61672-1:2013 Annex E: pole frequencies at full precision, from fL = 10^1.5 Hz, fH = 10^3.9 Hz, fA = 10^2.45 Hz
F1_HZ = 20.598997057618316
F2_HZ = 107.65264864304629
F3_HZ = 737.8622307362901
F4_HZ = 12194.217147998012

# ITU-R BS.468-4 network as a polynomial in f; the constants agree with Table 1 of the Recommendation within 0.051 dB
_BS468_EVEN = (-4.737338981378384e-24, 0.0, 2.043828333606125e-15, 0.0, -1.363894795463638e-7, 0.0, 1.0)
_BS468_ODD = (1.306612257412824e-19, 0.0, -2.118150887518656e-11, 0.0, 5.559488023498642e-4, 0.0)


def _c_gain(hz: Floats) -> Floats:
    """IEC 61672-1 Equation (E.1) before the constant."""
    return F4_HZ**2 * hz**2 / ((hz**2 + F1_HZ**2) * (hz**2 + F4_HZ**2))


def _a_gain(hz: Floats) -> Floats:
    """IEC 61672-1 Equation (E.6) before the constant."""
    return _c_gain(hz) * hz**2 / np.sqrt((hz**2 + F2_HZ**2) * (hz**2 + F3_HZ**2))


def bs468_response(hz: ArrayLike) -> Complexes:
    """Complex response of the BS.468-4 network at `hz`, 0 dB at 1 kHz; its six poles are those of the passive network.

    The r.m.s. of noise needs the magnitude alone; the quasi-peak of a click needs the phase too.
    """
    hz = np.asarray(hz, dtype=float)
    raw = 1j * hz / (np.polyval(_BS468_EVEN, hz) + 1j * np.polyval(_BS468_ODD, hz))
    at_1k = abs(1000.0 / (np.polyval(_BS468_EVEN, 1000.0) + 1j * np.polyval(_BS468_ODD, 1000.0)))
    return np.asarray(raw / at_1k, dtype=complex)


def _bs468_gain(hz: Floats) -> Floats:
    return np.abs(bs468_response(hz))


_GAINS: Mapping[str, Callable[[Floats], Floats]] = {"A": _a_gain, "C": _c_gain, "468": _bs468_gain}


def gain_of(weighting: str, hz: ArrayLike) -> Floats:
    """Factor of a weighting at each frequency, 1 at 1 kHz.

    Parameters
    ----------
    weighting : str
        ``"A"``, ``"C"`` or ``"468"``.
    hz : array_like, shape (...)
        Frequency in Hz, zero or above.

    Returns
    -------
    ndarray, shape (...)

    Raises
    ------
    InputError
        For a name that is no weighting, or a frequency that is negative or not a number.

    References
    ----------
    .. [1] IEC 61672-1:2013, Annex E, Equations (E.1) and (E.6).
    .. [2] ITU-R BS.468-4, Table 1.

    Examples
    --------
    >>> round(float(20 * np.log10(gain_of("A", 100.0))), 2)
    -19.14
    """
    hz = np.asarray(hz, dtype=float)
    if weighting not in _GAINS:
        raise InputError(
            f"there is no weighting {weighting!r}.", where="sound.weighting", mend="Take one of A, C and 468."
        )
    if not np.all(hz >= 0):
        raise InputError(
            "a frequency is negative or not a number.", where="sound.weighting", mend="Give frequencies in hertz."
        )
    gain = _GAINS[weighting]
    return gain(hz) / gain(np.asarray(1000.0))


def weighted_power(hz: Floats, density: Floats, weighting: str) -> float:
    """Power in FS² of a density seen through a weighting: the sum over the bins."""
    return float(np.sum(density * gain_of(weighting, hz) ** 2) * (hz[1] - hz[0]))
