"""Non-linear elements that follow the mains cycle and are nevertheless computed from its mean."""

from __future__ import annotations

from dustcap.circuit.elements import LAWS, Circuit, Element
from dustcap.circuit.layout import layout_of
from dustcap.circuit.rectifier import RESERVOIR_F, unsmoothed_nets

_FED = {
    "zener": ("anode", "cathode"),
    "bipolar": ("collector", "base", "emitter"),
    "mosfet": ("drain", "gate", "source"),
    "jfet": ("drain", "gate", "source"),
    "amplifier": ("high", "low"),
    "regulator": ("in", "common"),
    "diode": ("anode", "cathode"),
}
_HOLDING = {"amplifier": "out", "regulator": "out", "source": "plus", "gain": "out"}
_PASSING = ("resistor", "inductor", "contact", "coil", "diode")


def averaged_elements(circuit: Circuit) -> tuple[str, ...]:
    """Names of the elements that a winding feeds with no reservoir before them, in the order of the circuit.

    Rectifiers beside their transformer are solved within the cycle and are not among them. A net follows the cycle when
    it is a rectifier's without a reservoir, or when resistances or diodes lead to it from such a net and no capacitor
    of `RESERVOIR_F` holds it.
    """
    layout = layout_of(circuit)
    moving, solved = unsmoothed_nets(layout)
    held = {circuit.common, ""} | {
        _nets(element)[_HOLDING[element.law]] for element in circuit.elements if element.law in _HOLDING
    }
    for element in layout.elements.get("capacitor", ()):
        if element.value("farad") >= RESERVOIR_F:
            held |= set(element.nets) - moving
    links = [element.nets for law in _PASSING for element in layout.elements.get(law, ())]
    while more := {b for pair in links for a, b in (pair, pair[::-1]) if a in moving and b not in moving | held}:
        moving |= more
    return tuple(
        element.name
        for element in circuit.elements
        if element.name not in solved
        and any(_nets(element)[terminal] in moving for terminal in _FED.get(element.law, ()))
    )


def _nets(element: Element) -> dict[str, str]:
    return dict(zip(LAWS[element.law].nets, element.nets, strict=True))
