"""The figures of the simple device laws: which diode, zener, amplifier stands for which word of a description.

Fitted to the usual forward volts: silicon 0.6 to 0.7 V at 1 mA, rectifiers 0.8 to 1.1 V at rated current (both from
memory), Schottky 0.3 V at 100 mA and red LED 1.8 to 2 V at 5 mA (common practice, no published source). At 25 degC the
thermal voltage is 25.69 mV.
"""

from __future__ import annotations

from collections.abc import Mapping

DIODES: Mapping[str, Mapping[str, float]] = {
    "signal": {"saturation_a": 1e-9, "ideality": 1.8, "series_ohm": 0.6},  # 0.64 V at 1 mA
    "rectifier": {"saturation_a": 5e-9, "ideality": 1.7, "series_ohm": 0.05},  # 0.89 V at 1 A
    "schottky": {"saturation_a": 4.5e-6, "ideality": 1.05, "series_ohm": 0.3},  # 0.30 V at 100 mA
    "led": {"saturation_a": 1.16e-18, "ideality": 2.0, "series_ohm": 10.0},  # 1.90 V at 5 mA
}
SMALL_OUT_OHM = 60.0
POWER_OUT_OHM = 0.05
"""Output resistances of op amps and power amplifiers, as the physics of this project lays down."""
SMALL_QUIESCENT_A = 2e-3
POWER_NOISE_V = 8e-9
LINK_OHM = 0.01
CONTACT_OHM = 0.01
WIPER_OHM = 1.0
TRACK_END_OHM = 0.1
"""What is left of a potentiometer's track at its stop."""
MODULE_DRIVE_OHM = 0.05
MODULE_OUT_OHM = 0.05
LOG_MIDDLE = 0.1
"""Share of a log track before the wiper at half its way (common practice, no published source)."""


def track_share(position: float, law: str) -> float:
    """Share of a potentiometer's resistance between its first end and the wiper.

    Parameters
    ----------
    position : float
        Share of the way, 0 at the first end, 1 at the second.
    law : str
        ``linear``, or ``log``: exponential through 0, `LOG_MIDDLE` at half the way, and 1.

    Examples
    --------
    >>> track_share(0.5, "linear"), round(track_share(0.5, "log"), 6)
    (0.5, 0.1)
    """
    if law == "linear":
        return position
    base = ((1 - LOG_MIDDLE) / LOG_MIDDLE) ** 2
    return float((base**position - 1) / (base - 1))
