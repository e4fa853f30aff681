"""The unknowns of a circuit and where each element sits among them.

Unknowns are the net voltages in the order of ``circuit.nets``, then one target output per amplifier.
Index -1 stands for the common net and for an optional terminal that is absent.
"""

from __future__ import annotations

import weakref
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from dustcap.circuit.elements import LAWS, Circuit, Element

Real = NDArray[np.float64]
Index = NDArray[np.intp]
Flags = NDArray[np.bool_]
COMMON = -1


@dataclass(frozen=True, eq=False)
class Layout:
    """Index of a circuit: nets, elements by law and the unknown at each terminal."""

    nets: tuple[str, ...]
    position: Mapping[str, int]
    elements: Mapping[str, tuple[Element, ...]]
    terminals: Mapping[str, Index]
    place: Mapping[str, tuple[str, int]]
    common: str
    mains_hz: float
    coil_of: Index
    size: int
    kept: dict[str, object] = field(default_factory=dict)

    def count(self, law: str) -> int:
        """How many elements follow that law."""
        return len(self.elements.get(law, ()))

    def at(self, law: str, terminal: str) -> Index:
        """Unknowns at one terminal of every element of a law, shape (m,)."""
        column: Index = self.terminals[law][:, LAWS[law].nets.index(terminal)]
        return column

    @property
    def targets(self) -> Index:
        """Unknowns that are the target outputs of the amplifiers, shape (m,)."""
        return np.arange(len(self.nets), self.size)


_LAYOUTS: dict[int, tuple[weakref.ref[Circuit], Layout]] = {}


def layout_of(circuit: Circuit) -> Layout:
    """The layout of a circuit, kept for as long as the circuit lives."""
    key = id(circuit)
    known = _LAYOUTS.get(key)
    if known is not None and known[0]() is circuit:
        return known[1]
    layout = _build(circuit)
    _LAYOUTS[key] = (weakref.ref(circuit, lambda _: _LAYOUTS.pop(key, None)), layout)
    return layout


def _build(circuit: Circuit) -> Layout:
    nets = circuit.nets
    position = {net: number for number, net in enumerate(nets)}
    by_law: dict[str, list[Element]] = {}
    place: dict[str, tuple[str, int]] = {}
    for element in circuit.elements:
        same = by_law.setdefault(element.law, [])
        place[element.name] = (element.law, len(same))
        same.append(element)
    terminals = {
        law: np.array([[position.get(net, COMMON) for net in element.nets] for element in same], dtype=np.intp)
        for law, same in by_law.items()
    }
    coil_of = [
        place[element.drives][1] if element.drives in place and place[element.drives][0] == "coil" else -1
        for element in by_law.get("contact", ())
    ]
    return Layout(
        nets=nets,
        position=position,
        elements={law: tuple(same) for law, same in by_law.items()},
        terminals=terminals,
        place=place,
        common=circuit.common,
        mains_hz=circuit.mains_hz,
        coil_of=np.array(coil_of, dtype=np.intp),
        size=len(nets) + len(by_law.get("amplifier", ())),
    )
