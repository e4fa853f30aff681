"""Cut a block into pieces that can be drawn one by one: a stage about each part of many pins, and the supply.

Parts of two leads in a row become a strand. Each amplifier or transistor gathers the strands that lead to its inputs,
those back from its output, and those that its output alone has; what lies between rails and common goes to the supply.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from dustcap.job.drawn_blocks import SIGNAL, WINDING, DrawnBlock, DrawnNet, DrawnPart

HUBS = ("potentiometer", "bridge", "npn", "pnp", "n-mosfet", "p-mosfet", "n-jfet", "p-jfet", "op amp",
        "power amplifier", "regulator", "transformer", "module")  # fmt: skip
FEEDING = ("bridge", "transformer", "regulator")
APART = ("driver", "input", "link")
"""Kinds whose nets are drawn with their names, even where only two parts meet."""
AMPS = ("op amp", "power amplifier")
MOST_PATHS = 2000


@dataclass(frozen=True, slots=True)
class Strand:
    """Parts of two leads in a row from one net to another, with the nets between them."""

    nets: tuple[str, ...]
    parts: tuple[DrawnPart, ...]

    @property
    def ends(self) -> tuple[str, str]:
        return self.nets[0], self.nets[-1]

    @property
    def key(self) -> frozenset[str]:
        """What it is known by, whichever way it is read."""
        return frozenset(part.name for part in self.parts)

    def other(self, net: str) -> str:
        """The end that is not this one."""
        return self.nets[-1] if net == self.nets[0] else self.nets[0]

    def away_from(self, net: str) -> Strand:
        """The same strand, read from this end."""
        return self if net == self.nets[0] else Strand(self.nets[::-1], self.parts[::-1])


@dataclass(slots=True)
class Stage:
    """What is drawn together: the part in the middle (none: a chain of strands), and the strands about it.

    `inward` lead to its inputs, `back` from its output to what leads to its inputs, `outward` away from its output.
    `hung` are the strands from one of its nets to a rail or to common.
    """

    hub: DrawnPart | None
    inward: list[Strand] = field(default_factory=list)
    back: list[Strand] = field(default_factory=list)
    outward: list[Strand] = field(default_factory=list)
    hung: list[Strand] = field(default_factory=list)


@dataclass(slots=True)
class Supply:
    """What lies between rails, windings and common: strands, and parts of many pins."""

    hubs: list[DrawnPart] = field(default_factory=list)
    strands: list[Strand] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Cut:
    """A block in pieces, in the order of the signal."""

    nets: Mapping[str, DrawnNet]
    stages: tuple[Stage, ...]
    supply: Supply
    outs: Mapping[str, str]  # nets that a part of many pins drives, and its name

    def users(self, stage: Stage) -> dict[str, str]:
        """Nets that other stages go on from, and the part in the middle of the first such stage."""
        found: dict[str, str] = {}
        for other in self.stages:
            if other is not stage:
                nets = {net for s in (*other.inward, *other.hung) for net in s.ends}
                nets |= set(other.hub.pins.values()) if other.hub is not None else set()
                name = (
                    other.hub.name if other.hub is not None else other.inward[0].parts[0].name if other.inward else ""
                )
                for net in nets:
                    found.setdefault(net, name)
        return found


def inputs_of(part: DrawnPart) -> tuple[str, ...]:
    """The nets at the inputs of a part of many pins, the one first that its symbol has at the main lane."""
    match part.kind:
        case "op amp" | "power amplifier":
            return part.pins["plus"], part.pins["minus"]
        case "npn" | "pnp":
            return (part.pins["base"],)
        case "potentiometer":
            return (part.pins["end2"],)
        case "module":
            return tuple(part.pins[pin] for pin in part.inputs)
    return (part.pins["gate"],) if "gate" in part.pins else ()


def output_of(part: DrawnPart, nets: Mapping[str, DrawnNet]) -> str | None:
    """The net that a part of many pins drives; none where that is a rail or common."""
    pins = {
        "npn": ("collector", "emitter"), "pnp": ("collector", "emitter"), "potentiometer": ("wiper",),
        "op amp": ("out",), "power amplifier": ("out",), "module": part.outputs,
    }.get(part.kind, ("drain", "source"))  # fmt: skip
    return next((part.pins[pin] for pin in pins if pin in part.pins and nets[part.pins[pin]].role == SIGNAL), None)


def cut(block: DrawnBlock) -> Cut:
    """The pieces of a block."""
    wound = any(part.kind in ("transformer", "bridge") for part in block.parts)
    nets = {
        name: replace(net, role=SIGNAL) if net.role == WINDING and not wound else net
        for name, net in block.nets.items()
    }
    return _Cutter(block, nets).cut()


class _Cutter:
    def __init__(self, block: DrawnBlock, nets: Mapping[str, DrawnNet]) -> None:
        self.nets = nets
        hubs = [part for part in block.parts if part.kind in HUBS]
        driving = [h for h in hubs if h.kind in FEEDING or (h.kind == "module" and not h.inputs and h.outputs)]
        self.hubs = [hub for hub in hubs if hub not in driving]
        self.pinned = {net for hub in hubs for net in hub.pins.values()}
        self.strands = self._joined([_strand(part) for part in block.parts if part.kind not in HUBS])
        self.supply = Supply(driving)
        self.outs = {
            net: hub.name
            for hub in self.hubs
            if (net := output_of(hub, nets)) is not None and net not in inputs_of(hub)[:1]
        }
        fed = {net for hub in driving for net in hub.pins.values()}
        self.fixed = {net for net, one in nets.items() if one.role != SIGNAL} | (fed - set(self.outs))

    def cut(self) -> Cut:
        """Gather the strands of every stage, first those that lead to inputs, then those that outputs alone have."""
        for strand in list(self.strands):
            if all(end in self.fixed for end in strand.ends):
                self.supply.strands.append(strand)
                self.strands.remove(strand)
        stages = []
        ordered = self._in_order()
        for hub in ordered:
            stage, out = Stage(hub), output_of(hub, self.nets)
            wanted = [net for net in inputs_of(hub) if net not in self.fixed and net != out]
            self._gather(wanted, stage, stage.inward, out)
            stages.append(stage)
        for hub, stage in zip(ordered, stages, strict=True):
            ends = [net for net in hub.pins.values() if net not in self.fixed and net not in inputs_of(hub)]
            if hub.kind in AMPS:
                ends = [net for net in ends if net == output_of(hub, self.nets)]
            self._gather(ends, stage, stage.outward, None, own=set(ends))
        stages += loose_stages(self.strands, self.nets, frozenset(self.outs))
        return Cut(self.nets, tuple(stages), self.supply, self.outs)

    def _joined(self, strands: list[Strand]) -> list[Strand]:
        """Strands put end to end where nothing else meets."""
        while True:
            for net, one in self.nets.items():
                here = [strand for strand in strands if net in strand.ends]
                plain = one.role == SIGNAL and not one.outside and net not in self.pinned
                if plain and len(here) == 2 and not any(p.kind in APART for s in here for p in s.parts):
                    first, second = here[0].away_from(net), here[1].away_from(net)
                    if first.nets[-1] != second.nets[-1] or self.nets[first.nets[-1]].role == SIGNAL:
                        place = strands.index(here[0])
                        strands[place] = Strand(first.nets[::-1] + second.nets[1:], first.parts[::-1] + second.parts)
                        strands.remove(here[1])
                        break
            else:
                return strands

    def _in_order(self) -> list[DrawnPart]:
        """The parts of many pins as the signal meets them."""
        steps = {net: 0 for net, one in self.nets.items() if one.role == SIGNAL and one.before}
        steps |= {net: 0 for s in self.strands if any(p.kind == "input" for p in s.parts) for net in s.ends}
        if not steps:
            steps = {net: 0 for net, one in self.nets.items() if one.role == SIGNAL and one.outside}
        front = list(steps)
        while front:
            met = []
            for net in front:
                near = {s.other(net) for s in self.strands if net in s.ends}
                near |= {o for h in self.hubs if net in inputs_of(h) and (o := output_of(h, self.nets)) is not None}
                met += [other for other in near if other not in steps and other not in self.fixed]
                steps |= {other: steps[net] + 1 for other in near if other not in steps and other not in self.fixed}
            front = sorted(set(met))
        far = len(self.nets)

        def step(hub: DrawnPart) -> int:
            return min([steps.get(net, far) for net in inputs_of(hub) if net not in self.fixed], default=far)

        return sorted(self.hubs, key=step)

    def _gather(
        self, wanted: Sequence[str], stage: Stage, into: list[Strand], out: str | None, own: Iterable[str] = ()
    ) -> None:
        """Take every strand that can be reached from these nets without passing an output of a stage."""
        seen, front = set(wanted), list(wanted)
        while front:
            net = front.pop()
            if net in self.outs and net not in own:
                continue
            for strand in [one for one in self.strands if net in one.ends]:
                other = strand.other(net)
                self.strands.remove(strand)
                if other in self.fixed:
                    stage.hung.append(strand.away_from(net))
                elif out is not None and other == out:
                    stage.back.append(strand.away_from(net))
                else:
                    into.append(strand.away_from(net))
                    if other not in seen:
                        seen.add(other)
                        front.append(other)


def _strand(part: DrawnPart) -> Strand:
    first, second = part.pins.values()
    return Strand((first, second), (part,))


def loose_stages(strands: Sequence[Strand], nets: Mapping[str, DrawnNet], outs: frozenset[str]) -> list[Stage]:
    """Strands without a part in their middle, those together that meet in a net of no stage's own."""
    left, found = list(strands), []
    while left:
        stage, front = Stage(None), [left[0]]
        while front:
            strand = front.pop()
            if strand not in left:
                continue
            left.remove(strand)
            inner = [net for net in strand.ends if nets[net].role in (SIGNAL, WINDING)]
            if len(inner) == 2:
                stage.inward.append(strand)
            else:
                stage.hung.append(strand.away_from(inner[0]))
            front += [s for s in left for net in inner if net in s.ends and net not in outs]
        if not stage.inward:
            stage.hung.sort(key=lambda s: s.nets[0])
        found.append(stage)
    return found


def spine(
    end: str, strands: Sequence[Strand], starts: Sequence[set[str]], without: Iterable[str] = ()
) -> tuple[list[str], list[list[Strand]]]:
    """The longest way along strands to the net `end`, from the first kind of start that is reached.

    Nets from the start to the end, and between each two of them the strands that lie side by side.
    """
    barred = set(without)
    found: list[list[str]] = []
    stack = [[end]]
    while stack and len(found) < MOST_PATHS:
        path = stack.pop()
        found.append(path)
        near = {strand.other(path[-1]) for strand in strands if path[-1] in strand.ends}
        stack += [[*path, net] for net in sorted(near) if net not in path and net not in barred]
    for kind in starts:
        reached = [path for path in found if path[-1] in kind]
        if reached:
            found = reached
            break
    best = max(found, key=len)[::-1]
    steps = [[strand.away_from(a) for strand in strands if set(strand.ends) == {a, b}] for a, b in pairwise(best)]
    return best, steps
