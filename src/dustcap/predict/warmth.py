"""How warm a part gets for each watt it takes.

Thermal resistances to the air around are common practice, no published source, except that a resistor of rated power P
is taken to rise by 100 K at that power in still air.
"""

from __future__ import annotations

from collections.abc import Mapping

from dustcap.board.model import Part

RESISTOR_RISE_K = 100.0

KELVIN_PER_WATT: Mapping[str, float] = {
    "op amp": 100.0, "power amplifier": 5.0, "regulator": 40.0, "transformer": 3.0, "bridge": 25.0, "diode": 60.0,
    "zener": 80.0, "npn": 60.0, "pnp": 60.0, "n-mosfet": 60.0, "p-mosfet": 60.0, "n-jfet": 200.0, "p-jfet": 200.0,
    "electrolytic": 30.0, "capacitor": 80.0, "relay coil": 40.0, "inductor": 30.0, "driver": 5.0, "module": 10.0,
}  # fmt: skip
OTHER_KELVIN_PER_WATT = 100.0


def kelvin_per_watt(part: Part) -> float:
    """Kelvin above ambient for each watt in the part."""
    power = part.values.get("power")
    if isinstance(power, float) and power > 0:
        return RESISTOR_RISE_K / power
    return KELVIN_PER_WATT.get(part.kind, OTHER_KELVIN_PER_WATT)
