r"""Impedance of a blocked voice coil in its iron: laws of a lossy inductance, and the coil's temperature.

Eddy currents in the pole pieces make the inductance fall and a loss resistance rise with frequency. Six published laws
are kept side by side; the fit takes the one that the measurement supports.

=================  ==============================================  =========================================
name of the law    impedance above the d.c. resistance             source (all from memory)
=================  ==============================================  =========================================
inductor           :math:`j\omega L`                               Small 1972
power law          :math:`K (j\omega)^n`                           Leach 2002
half power         :math:`j\omega L + K\sqrt{j\omega}`             Vanderkooy 1989
shunted            :math:`j\omega L + R_2 \| j\omega L_2`          Dodd 2004
shunted half       :math:`j\omega L + R_2 \| j\omega L_2 \|        Thorborg 2011
power              K\sqrt{j\omega}`
two powers         :math:`K_r\omega^{x} + j K_i\omega^{y}`         Wright 1990
=================  ==============================================  =========================================
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dustcap.errors import InputError

Floats = NDArray[np.float64]
Complex = NDArray[np.complex128]

COPPER_PER_K = 0.00393  # of the resistance at 20 °C (from memory)
COPPER_AT_C = 20.0


@dataclass(frozen=True, slots=True)
class CoilLaw:
    """A law of the blocked coil: its name, the names of its parameters (SI units), impedance and start."""

    name: str
    symbols: tuple[str, ...]
    impedance: Callable[[Floats, Floats], Complex]
    """From parameters (p,) and angular frequency (n,) in rad/s: complex ohms (n,)."""
    start: Callable[[float, float], tuple[float, ...]]
    """From an inductance in henry and the angular frequency where it was read: a first guess (p,)."""

    @property
    def lossy(self) -> bool:
        return self.name != "inductor"


def _beside(first: Complex, *others: Complex) -> Complex:
    return np.asarray(1 / (1 / first + sum(1 / other for other in others)))


def _inductor(p: Floats, w: Floats) -> Complex:
    return np.asarray(1j * w * p[0])


def _power(p: Floats, w: Floats) -> Complex:
    return np.asarray(p[0] * (1j * w / 1e4) ** p[1])


def _half_power(p: Floats, w: Floats) -> Complex:
    return np.asarray(1j * w * p[0] + p[1] * np.sqrt(1j * w))


def _shunted(p: Floats, w: Floats) -> Complex:
    return np.asarray(1j * w * p[0] + _beside(p[1] + 0j * w, 1j * w * p[2]))


def _shunted_half_power(p: Floats, w: Floats) -> Complex:
    return np.asarray(1j * w * p[0] + _beside(p[1] + 0j * w, 1j * w * p[2], p[3] * np.sqrt(1j * w)))


def _two_powers(p: Floats, w: Floats) -> Complex:
    return np.asarray(p[0] * (w / 1e4) ** p[1] + 1j * p[2] * (w / 1e4) ** p[3])


LAWS = (
    CoilLaw(
        "power law",
        ("ohm_at_1e4_rad_s", "exponent"),
        _power,
        lambda henry, w: (henry * w**0.3 * 1e4**0.7, 0.7),
    ),
    CoilLaw("inductor", ("l_h",), _inductor, lambda henry, w: (henry,)),
    CoilLaw("half power", ("l_h", "k_ohm_sqrt_s"), _half_power, lambda henry, w: (0.4 * henry, 0.6 * henry * w**0.5)),
    CoilLaw(
        "shunted",
        ("l_h", "r2_ohm", "l2_h"),
        _shunted,
        lambda henry, w: (0.6 * henry, 0.3 * henry * w, henry),
    ),
    CoilLaw(
        "shunted half power",
        ("l_h", "r2_ohm", "l2_h", "k_ohm_sqrt_s"),
        _shunted_half_power,
        lambda henry, w: (0.4 * henry, 2 * henry * w, 2 * henry, henry * w**0.5),
    ),
    CoilLaw(
        "two powers",
        ("kr_ohm_at_1e4_rad_s", "x_r", "ki_ohm_at_1e4_rad_s", "x_i"),
        _two_powers,
        lambda henry, w: (0.5 * henry * w**0.3 * 1e4**0.7, 0.7, henry * w**0.3 * 1e4**0.7, 0.7),
    ),
)


def coil_temperature(resistance_ohm: float, cold_ohm: float, cold_c: float = COPPER_AT_C) -> float:
    """Temperature of a copper voice coil from its resistance, in °C.

    Parameters
    ----------
    resistance_ohm, cold_ohm : float
        d.c. resistance now and when it was at `cold_c`, leads taken off; above zero.
    cold_c : float
        Temperature at which `cold_ohm` was measured.

    Raises
    ------
    InputError
        If a resistance is not above zero.

    Notes
    -----
    Copper: ``R = R20 (1 + 0.00393 (T - 20))`` (from memory). An aluminium coil has 0.0040 and reads 2 % too hot.
    """
    if not (resistance_ohm > 0 and cold_ohm > 0):
        raise InputError(
            "a coil's resistance is above zero.", where="coil temperature", mend="Read it with the driver disconnected."
        )
    slope = COPPER_PER_K / (1 + COPPER_PER_K * (cold_c - COPPER_AT_C))  # at cold_c
    return cold_c + (resistance_ohm / cold_ohm - 1) / slope
