"""The series lamp of a first power-up: a filament whose resistance rises with its heat.

======  ===========  ====  ==========================================
symbol  name here    unit  meaning
======  ===========  ====  ==========================================
V0, I0  rated_v, _a  V, A  rated volts and current of the lamp, r.m.s.
p       EXPONENT     1     I = I0 (V / V0)^p
======  ===========  ====  ==========================================

From radiation P ~ T^4 and resistance R ~ T^1.2 of tungsten: with P = V I and R = V / I, p = (4 - 1.2) / (4 + 1.2).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, isfinite

import numpy as np
from scipy.optimize import brentq

from dustcap.errors import InputError

RADIATION_POWER = 4.0
RESISTANCE_POWER = 1.2
EXPONENT = (RADIATION_POWER - RESISTANCE_POWER) / (RADIATION_POWER + RESISTANCE_POWER)
FILAMENT_K = 2700.0
COLD_K = 300.0
# resistance of tungsten over that at 300 K (table from memory)
_TUNGSTEN_K = (300, 400, 500, 600, 700, 800, 900, 1000, 1200, 1400, 1600, 1800, 2000, 2200, 2400, 2600, 2800, 3000)
_TUNGSTEN = (
    *(1.0, 1.43, 1.87, 2.34, 2.85, 3.36, 3.88, 4.41, 5.48),
    *(6.58, 7.71, 8.86, 10.03, 11.24, 12.46, 13.72, 14.99, 16.29),
)


@dataclass(frozen=True, slots=True)
class Lamp:
    """A filament lamp: rated volts (r.m.s.) and watts."""

    rated_v: float
    watt: float

    def __post_init__(self) -> None:
        if not (0 < self.rated_v < inf and 0 < self.watt < inf):
            raise InputError(
                f"a lamp of {self.watt:g} W at {self.rated_v:g} V.",
                where="lamp",
                mend="Give volts and watts above zero.",
            )

    @property
    def rated_a(self) -> float:
        """Rated current: the most that flows into a short behind it once it is hot."""
        return self.watt / self.rated_v

    @property
    def hot_ohm(self) -> float:
        """Resistance at rated volts."""
        return self.rated_v / self.rated_a

    @property
    def cold_ohm(self) -> float:
        """Resistance at room temperature; for some milliseconds after switch-on it is all that limits."""
        return self.hot_ohm / float(np.interp(FILAMENT_K, _TUNGSTEN_K, _TUNGSTEN))

    def ampere(self, v: float) -> float:
        r"""Steady current at a voltage, :math:`I_0 (V / V_0)^p`.

        References
        ----------
        .. [1] S. Martinez, M. Krug, "Light bulbs" (i = G v^p, 0 < p < 1); the exponent is derived above.
        """
        if not (isfinite(v) and v >= 0):
            raise InputError(f"{v:g} V at the lamp.", where="lamp", mend="Give volts of zero or more.")
        return float(self.rated_a * (v / self.rated_v) ** EXPONENT)


@dataclass(frozen=True, slots=True)
class Limited:
    """The split of the mains between lamp and load: r.m.s. volts, ampere, watt."""

    lamp_v: float
    load_v: float
    ampere: float
    load_w: float
    glows: str  # what the eye sees


def limited(mains_v: float, lamp: Lamp, load_ohm: float) -> Limited:
    """Mains behind a series lamp into a resistive load; zero ohm is a short, inf an open circuit.

    Notes
    -----
    A transformer with a rectifier behind it is no resistor: the split is a guide, the stop values come from the board.

    Examples
    --------
    >>> round(limited(230.0, Lamp(230.0, 100.0), 1058.0).lamp_v, 1)
    43.2
    """
    if not (0 < mains_v < inf and load_ohm >= 0):
        raise InputError(
            f"{mains_v:g} V into {load_ohm:g} ohm.", where="lamp", mend="Give mains volts above zero and a resistance."
        )
    if load_ohm == inf:
        lamp_v = 0.0
    else:
        lamp_v = float(brentq(lambda v: v + load_ohm * lamp.ampere(v) - mains_v, 0.0, mains_v, xtol=1e-9))
    ampere = lamp.ampere(lamp_v)
    load_v = mains_v - lamp_v
    return Limited(lamp_v, load_v, ampere, load_v * ampere, _glow(lamp_v / lamp.rated_v))


def _glow(share: float) -> str:
    """What a filament at this share of its volts looks like; common practice, no published source."""
    if share < 0.1:
        return "dark"
    return "dull red" if share < 0.35 else "orange" if share < 0.75 else "bright"
