"""Which part of a circuit follows the mains within a cycle: windings, rectifiers, reservoirs and what ties them.

The structure is found from nominal values, so that it is the same for every case of a batch. All other nets are taken
as constant over the cycle and see only means.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dustcap.circuit.layout import COMMON, Index, Layout

TIE_OHM = 2.2
"""Resistances up to this tie two nets into one group (links, fuses, surge resistors)."""
RESERVOIR_F = 10e-6
MOVING_F = 0.47e-6
"""Smaller capacitors carry no current worth the name at mains frequency."""
BESIDE = 0.02
"""Nor do those that are less than this share of the largest between the same two nets."""


_LINEAR = ("transformer", "capacitor", "resistor", "contact", "inductor", "driver", "coil")


@dataclass(frozen=True, eq=False)
class Region:
    """Nets that are solved within the mains cycle and the elements that are solved with them.

    Ends are positions in `nets`, -1 for common (or, for a capacitor, any net that is constant over the cycle).
    """

    nets: Index
    ports: Index  # positions in `nets` that something outside the region draws from
    diodes: tuple[int, ...]
    diode_ends: Index  # (diodes, 2)
    capacitors: tuple[int, ...]
    capacitor_ends: Index  # (capacitors, 2)
    transformers: tuple[int, ...]  # one entry a winding
    second: tuple[bool, ...]  # the winding from tap to b
    winding_ends: Index  # (windings, 2): the second end is the tap when there is one


def regions_of(layout: Layout) -> tuple[Region, ...]:
    """One region for every group of transformers that share nets."""
    found: list[set[int]] = []
    walk = _Walk(layout)
    for number in range(layout.count("transformer")):
        nets = walk.region(number)
        for other in [region for region in found if region & nets]:
            nets |= other
            found.remove(other)
        if nets:
            found.append(nets)
    return tuple(_region(layout, np.array(sorted(nets), dtype=np.intp)) for nets in found)


def unsmoothed_nets(layout: Layout) -> tuple[set[str], set[str]]:
    """Nets solved within the cycle that no reservoir holds, and the names of the diodes solved there."""
    walk, moving, solved = _Walk(layout), set[str](), set[str]()
    for region in regions_of(layout):
        moving |= {layout.nets[net] for net in region.nets.tolist() if not walk.holds(walk.group[net])}
        solved |= {layout.elements["diode"][number].name for number in region.diodes}
    return moving, solved


class _Walk:
    """Follows ties, diodes and series capacitors from a transformer up to the reservoirs."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.group = _tied(layout)
        ends = [layout.terminals["transformer"].ravel()] if layout.count("transformer") else []
        self.wound = {self.group[net] for part in ends for net in part.tolist() if net >= 0}
        self.big = [
            (a, b)
            for element, (a, b) in zip(layout.elements.get("capacitor", ()), _pairs(layout, "capacitor"), strict=True)
            if element.value("farad") >= RESERVOIR_F
        ]

    def region(self, transformer: int) -> set[int]:
        """Nets of the region around one transformer."""
        ends = [net for net in self.layout.terminals["transformer"][transformer].tolist() if net >= 0]
        seen: set[int] = set()
        queue = [self.group[net] for net in ends]
        while queue:
            group = queue.pop()
            if group in seen:
                continue
            seen.add(group)
            queue += [other for other in self._onward(group) if other not in seen]
        return {net for net, group in self.group.items() if group in seen}

    def _onward(self, group: int) -> list[int]:
        if self.holds(group):
            return []
        pairs = list(_pairs(self.layout, "diode"))
        if group in self.wound:
            pairs += self.big
        return self._neighbours(group, pairs)

    def holds(self, group: int) -> bool:
        """Whether a reservoir keeps the nets of a group from following the cycle."""
        if group in self.wound:
            return False
        for a, b in self.big:
            for near, far in ((a, b), (b, a)):
                if near >= 0 and self.group[near] == group and (far < 0 or self.group[far] not in self.wound | {group}):
                    return True
        return False

    def _neighbours(self, group: int, pairs: list[tuple[int, int]]) -> list[int]:
        return [
            self.group[far]
            for a, b in pairs
            for near, far in ((a, b), (b, a))
            if near >= 0 and far >= 0 and self.group[near] == group
        ]


def _pairs(layout: Layout, law: str) -> list[tuple[int, int]]:
    return [(int(a), int(b)) for a, b in layout.terminals[law]] if layout.count(law) else []


def _tied(layout: Layout) -> dict[int, int]:
    """Group of every net: nets joined by small resistances, never through common."""
    group = {net: net for net in range(len(layout.nets))}

    def root(net: int) -> int:
        while group[net] != net:
            net = group[net]
        return net

    for law in ("resistor", "contact", "inductor"):
        for element, (a, b) in zip(layout.elements.get(law, ()), _pairs(layout, law), strict=True):
            if a >= 0 and b >= 0 and element.value("ohm") <= TIE_OHM:
                group[root(a)] = root(b)
    return {net: root(net) for net in group}


def _region(layout: Layout, nets: Index) -> Region:
    where = np.full(layout.size + 1, COMMON, dtype=np.intp)
    where[nets] = np.arange(len(nets))
    diodes = [k for k, pair in enumerate(_pairs(layout, "diode")) if _inside(pair, where)]
    largest: dict[frozenset[int], float] = {}
    for number, (a, b) in enumerate(_pairs(layout, "capacitor")):
        largest[frozenset((a, b))] = max(largest.get(frozenset((a, b)), 0.0), _farad(layout, number))
    moving = [
        number
        for number, (a, b) in enumerate(_pairs(layout, "capacitor"))
        if _farad(layout, number) >= max(MOVING_F, BESIDE * largest[frozenset((a, b))]) and where[a] != where[b]
    ]
    windings = [w for k in range(layout.count("transformer")) for w in _windings(layout, k, where)]
    return Region(
        nets=nets,
        ports=_ports(layout, nets, where, diodes),
        diodes=tuple(diodes),
        diode_ends=_local(layout, "diode", diodes, where),
        capacitors=tuple(moving),
        capacitor_ends=_local(layout, "capacitor", moving, where),
        transformers=tuple(w[0] for w in windings),
        second=tuple(w[1] for w in windings),
        winding_ends=np.array([w[2:] for w in windings], dtype=np.intp).reshape(-1, 2),
    )


def _farad(layout: Layout, number: int) -> float:
    return layout.elements["capacitor"][number].value("farad")


def _ports(layout: Layout, nets: Index, where: Index, diodes: list[int]) -> Index:
    """Nets of the region with an element that reaches out of it or is solved with the rest."""
    found: set[int] = set()
    for law, terminals in layout.terminals.items():
        for number, row in enumerate(terminals.tolist()):
            local = [int(where[net]) for net in row if net >= 0]
            own = law in _LINEAR or (law == "diode" and number in diodes)
            if not own or COMMON in local:
                found |= {place for place in local if place >= 0}
    return np.array(sorted(found), dtype=np.intp)


def _inside(pair: tuple[int, int], where: Index) -> bool:
    inside = [net < 0 or where[net] >= 0 for net in pair]
    return all(inside) and max(pair) >= 0


def _local(layout: Layout, law: str, numbers: list[int], where: Index) -> Index:
    ends = layout.terminals[law][numbers] if layout.count(law) else np.zeros((0, 2), dtype=np.intp)
    return np.asarray(where[ends], dtype=np.intp)


def _windings(layout: Layout, number: int, where: Index) -> list[tuple[int, bool, int, int]]:
    a, tap, b = (int(net) for net in layout.terminals["transformer"][number])
    if max(where[a], where[tap], where[b]) < 0:
        return []
    if layout.elements["transformer"][number].nets[1]:
        return [(number, False, int(where[a]), int(where[tap])), (number, True, int(where[b]), int(where[tap]))]
    return [(number, False, int(where[a]), int(where[b]))]
