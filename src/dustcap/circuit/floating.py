"""Nets that a description leaves without a path for direct current."""

from __future__ import annotations

from math import isinf

from dustcap.circuit.elements import LAWS, Circuit, Element
from dustcap.errors import SolveError

_PATHS: dict[str, tuple[tuple[str, str], ...]] = {
    "resistor": (("a", "b"),),
    "inductor": (("a", "b"),),
    "source": (("plus", "minus"),),
    "sink": (("plus", "minus"),),
    "diode": (("anode", "cathode"),),
    "zener": (("anode", "cathode"),),
    "bipolar": (("collector", "emitter"), ("base", "emitter")),
    "mosfet": (("drain", "source"),),
    "jfet": (("drain", "source"), ("gate", "source")),
    "amplifier": (("out", "high"), ("low", "high")),
    "regulator": (("in", "out"), ("in", "common")),
    "transformer": (("a", "tap"), ("b", "tap"), ("a", "b")),
    "driver": (("plus", "minus"),),
    "contact": (("a", "b"),),
    "coil": (("a", "b"),),
    "gain": (("out", "ref"),),
}


def floating_nets(circuit: Circuit) -> dict[str, str]:
    """Nets without a path for direct current to common, each with the elements that touch it."""
    near: dict[str, set[str]] = {}
    for element in circuit.elements:
        for a, b in _joined(element, circuit.common):
            near.setdefault(a, set()).add(b)
            near.setdefault(b, set()).add(a)
    reached, queue = {circuit.common}, [circuit.common]
    while queue:
        for net in near.get(queue.pop(), set()) - reached:
            reached.add(net)
            queue.append(net)
    return {net: _touching(circuit, net) for net in circuit.nets if net not in reached}


def check_floating(circuit: Circuit) -> None:
    """Refuse a description that leaves a net without a path for direct current.

    Raises
    ------
    SolveError
        With every such net and what touches it. A path that only a failure opens is no matter of this check.
    """
    floating = floating_nets(circuit)
    if not floating:
        return
    said = "; ".join(f"{net!r} touches only {parts}" for net, parts in list(floating.items())[:5])
    more = f" and {len(floating) - 5} more" if len(floating) > 5 else ""
    raise SolveError(
        f"no direct current can reach {len(floating)} of the nets: {said}{more}.",
        where="circuit",
        mend="Add the part that holds each of them, often a resistor to the common net.",
    )


def _joined(element: Element, common: str) -> list[tuple[str, str]]:
    if element.law == "resistor" and isinf(element.value("ohm")):
        return []
    from_terminal = dict(zip(_terminals(element), element.nets, strict=True))
    pairs = [(from_terminal[a], from_terminal[b]) for a, b in _PATHS.get(element.law, ())]
    if element.law == "amplifier" and element.nets[5] and element.value("mute_a") > 0:
        pairs.append((element.nets[5], common))
    return [(a, b) for a, b in pairs if a and b]


def _terminals(element: Element) -> tuple[str, ...]:
    return LAWS[element.law].nets


def _touching(circuit: Circuit, net: str) -> str:
    names = [f"{element.law} {element.name}" for element in circuit.elements if net in element.nets]
    leaks = [name for name in names if not name.startswith("resistor")]
    return ", ".join((leaks or names)[:4])
