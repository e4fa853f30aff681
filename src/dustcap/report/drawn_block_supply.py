"""What lies between rails, windings and common: one rail on top, common in the middle, the other rail below it."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import zip_longest

from dustcap.job.drawn_blocks import COMMON, HIGH, LOW, WINDING, DrawnNet, DrawnPart
from dustcap.report.drawn_block_canvas import CELL, FADED_TONE, NAME_PT, SMALL_PT, VALUE_PT, Canvas, widest
from dustcap.report.drawn_block_hung import SIDE, end_mark, hang, name_net, pin_box, strand_height, strand_width
from dustcap.report.drawn_block_lanes import GAP
from dustcap.report.drawn_block_symbols import Stroke, two_leads
from dustcap.report.drawn_block_tiles import Strand, Supply, spine

LEAST = 56.0
"""Least height from a rail to common."""
AC = 34.0
"""From common to the wire of each end of a winding."""


class SupplyDrafter:
    """Draws the supply of a block."""

    def __init__(self, supply: Supply, nets: Mapping[str, DrawnNet]) -> None:
        self.supply, self.nets = supply, nets
        self.canvas, self.x, self.tap = Canvas(), 0.0, 0.0
        self.entries: dict[str, float] = {}  # where a rail begins: at the rectifier or the module that feeds it
        self.strands = list(supply.strands)
        self.common = next((name for name, net in nets.items() if net.role == COMMON), "")
        self.bridge = next((hub for hub in supply.hubs if hub.kind == "bridge" and self._usual(hub)), None)
        self.winding = next((hub for hub in supply.hubs if hub.kind == "transformer"), None)
        self.left = [hub for hub in supply.hubs if hub not in (self.bridge, self.winding)]
        spread = AC + 30 if self.bridge is not None else 0.0
        between = [s for s in self.strands if self.common in s.ends]
        self.high = -self._tall(HIGH, between) - spread
        self.low = self._tall(LOW, between) + spread

    def _usual(self, bridge: DrawnPart) -> bool:
        """Whether a bridge lies between a winding and rails above and below common, or common itself."""
        roles = [self.nets[bridge.pins[pin]].role for pin in ("ac1", "ac2", "plus", "minus")]
        alternating = bridge.pins["ac1"] != bridge.pins["ac2"] and roles[:2] == [WINDING, WINDING]
        return alternating and roles[2] in (HIGH, COMMON) and roles[3] in (LOW, COMMON) and roles[2] != roles[3]

    def rest(self) -> list[Canvas]:
        """What found no place between the rails: each as a box with its pins."""
        return [pin_box(part, self.nets) for part in self.left]

    def _tall(self, role: str, between: list[Strand]) -> float:
        mine = [s for s in between if self.nets[s.other(self.common)].role == role]
        return max(max((strand_height(s) for s in mine), default=0.0) + 14, LEAST)

    def draw(self) -> Canvas:
        """The whole supply: windings and rectifier, then each rail from its source on."""
        if self._only_bypassed():
            return self._bypass()
        start = self.x
        if self.winding is not None or self.bridge is not None:
            self._mains_side()
        begin = self.x
        for hub in self.supply.hubs:
            if hub.kind == "module" and begin == start:
                self._source(hub)
                self.left.remove(hub)
                begin = self.x
        ends = []
        for role, lane in ((HIGH, self.high), (LOW, self.low)):
            self.x = begin
            self._rail(role, lane)
            ends.append(self.x)
        self.x = max(ends)
        crossing = [b for net, a, b in self.canvas.wires if net == self.common] + [(start, 0.0)]
        if self.common and len(crossing) > 1:
            label = self.nets[self.common].label
            right = max(max(x for x, _ in crossing), begin) + 10
            self.canvas.wire(self.common, (self.tap, 0.0), (right, 0.0))
            self.canvas.wire(self.common, (right, 0.0), (right, 8))
            end_mark(self.canvas, self.nets[self.common], (right, 8))
            self.canvas.say((right + 10, 3), label, NAME_PT, bold=True, tone="deep")
            self.x = max(self.x, right + 10 + widest([label])) if self.strands else self.x
        self._rest()
        return self.canvas

    def _only_bypassed(self) -> bool:
        """Whether all there is are single capacitors from one rail of each side to common."""
        ends = [{self.nets[end].role for end in s.ends} for s in self.strands]
        rails = {end for s in self.strands for end in s.ends} - {self.common}
        single = all(len(s.parts) == 1 and s.parts[0].kind in ("capacitor", "electrolytic") for s in self.strands)
        roles = [self.nets[net].role for net in rails]
        return not self.supply.hubs and single and all(COMMON in e for e in ends) and len(set(roles)) == len(roles)

    def _bypass(self) -> Canvas:
        """Capacitors from rail to common to rail, each pair on a level line of its own: low, to stand under a stage."""
        sides = {
            role: [s for s in self.strands if any(self.nets[e].role == role for e in s.ends)] for role in (HIGH, LOW)
        }
        for pair in zip_longest(sides[HIGH], sides[LOW]):
            for place, strand in enumerate(pair):
                if strand is None:
                    continue
                part, rail = strand.parts[0], strand.other(self.common)
                wide = max(widest([part.name, part.value]), 24.0) + 6
                nets = (rail, self.common) if place == 0 else (self.common, rail)
                if place == 0:
                    self._end(rail)
                self.canvas.lying(part, nets, (self.x, 0.0), (self.x + wide, 0.0))
                self.x += wide
                if place == 1 or pair[1] is None:
                    self._end(rail if place == 1 else self.common)
                if place == 0:
                    self.canvas.wire(self.common, (self.x, 0.0), (self.x, 7.0))
                    end_mark(self.canvas, self.nets[self.common], (self.x, 7.0))
            self.x += 2 * GAP
        return self.canvas

    def _end(self, net: str) -> None:
        """The name of a rail over the end of its line."""
        wide = name_net(self.canvas, self.nets[net], (self.x + 2, 0.0)) + 4
        self.canvas.wire(net, (self.x, 0.0), (self.x + wide, 0.0))
        self.x += wide

    # rails ----------------------------------------------------------------------------------------------------------

    def _rail(self, role: str, lane: float) -> None:
        """The nets of one polarity along a lane, what lies between them on it, what hangs to common in its columns."""
        mine = {s for s in range(len(self.strands)) if all(self.nets[e].role == role for e in self.strands[s].ends)}
        links = [self.strands[s] for s in mine]
        regs = [hub for hub in self.supply.hubs if hub.kind == "regulator" and self.nets[hub.pins["in"]].role == role]
        regulated = {hub.pins["out"] for hub in regs}
        links += [Strand((hub.pins["in"], hub.pins["out"]), (hub,)) for hub in regs]
        nets = [n for s in links for n in s.ends]
        nets += [s.other(self.common) for s in self.strands if self.common in s.ends]
        nets += [n for hub in self.supply.hubs for n in hub.pins.values()]
        nets = [n for n in dict.fromkeys(nets) if self.nets[n].role == role]
        first = True
        while nets:
            sources = [n for n in nets if self._is_source(n)] or [n for n in nets if self.nets[n].before]
            sources = sources or [n for n in nets if n not in regulated] or nets
            line = max(
                (spine(end, links, [set(sources)]) for end in nets),
                key=lambda found: (found[0][0] in self.entries, found[0][0] in sources, len(found[0])),
            )
            if not first:
                self.x += 2 * GAP
            self._line(line, lane, regs, links)
            nets = [n for n in nets if n not in line[0]]
            links = [s for s in links if not set(s.ends) & set(line[0])]
            first = False

    def _is_source(self, net: str) -> bool:
        hubs = [h for h in (self.bridge, *self.supply.hubs) if h is not None and h.kind in ("bridge", "module")]
        return any(net in hub.pins.values() for hub in hubs)

    def _line(
        self, line: tuple[list[str], list[list[Strand]]], lane: float, regs: list[DrawnPart], links: list[Strand]
    ) -> None:
        used = {strand.key for step in line[1] for strand in step}
        plain = [s for s in links if s.parts[0].kind != "regulator"]
        spare = [s for s in plain if set(s.ends) & set(line[0]) and s.key not in used]
        used |= {strand.key for strand in spare}
        self.strands = [s for s in self.strands if s.key not in used]
        above = lane < 0
        for place, net in enumerate(line[0]):
            left = self.x if place or not self._is_source(net) else self.entries.get(net, self.x)
            start = self.x
            wide = name_net(self.canvas, self.nets[net], (self.x + 3, lane), below=not above)
            self.x += wide + GAP
            for strand in [s for s in self.strands if set(s.ends) == {net, self.common}]:
                self.strands.remove(strand)
                self._between(strand.away_from(net), lane)
            for strand in [s for s in spare if s.ends[0] == net or (s.ends[1] == net and s.ends[0] not in line[0])]:
                self._spur(strand.away_from(net), lane)
            self.canvas.wire(net, (left, lane), (start, lane), (self.x, lane))
            if place < len(line[1]):
                self._step(line[1][place], lane, above)

    def _between(self, strand: Strand, lane: float) -> None:
        """A strand from a rail to common, in a column of its own."""
        x = self.x + SIDE + 3
        down = lane < 0
        height, gap = strand_height(strand), abs(lane)
        begin = lane + (1 if down else -1) * (gap - height) / 2 if self.bridge is None else lane + (8 if down else -8)
        order = strand if down else strand.away_from(strand.nets[-1])
        top = begin if down else begin - height
        self.canvas.wire(strand.nets[0], (x, lane), (x, begin))
        y = top
        for place, part in enumerate(order.parts):
            ends = order.nets[place : place + 2]
            self.canvas.standing(part, ends, (x, y), (x, y + CELL))
            y += CELL
            if place < len(order.parts) - 1:
                net = self.nets[order.nets[place + 1]]
                self.canvas.wire(net.name, (x, y), (x, y + 9))
                self.canvas.say((x + 4, y + 7), net.label, SMALL_PT, tone="deep")
                y += 9
        self.canvas.wire(self.common, (x, top + height if down else top), (x, 0.0))
        self.tap = min(self.tap, x) if self.tap else x
        self.x = (
            max(self.x + strand_width(Strand((*strand.nets[:-1], self.common), strand.parts), self.nets), x + 20) + GAP
        )

    def _spur(self, strand: Strand, lane: float) -> None:
        """A strand to another rail of the same side that has no lane left: away from common, to that rail's name."""
        x = self.x + SIDE + 3
        hang(self.canvas, strand, self.nets, (x, lane), lane + (-8 if lane < 0 else 8), up=lane < 0)
        self.x += strand_width(strand, self.nets) + GAP

    def _step(self, side_by_side: list[Strand], lane: float, above: bool) -> None:
        side_by_side = sorted(side_by_side, key=lambda s: s.parts[0].kind != "regulator")
        rows = len(side_by_side)
        wide = max(max(max(widest([p.name, p.value]), 26.0) + 6 for p in s.parts) * len(s.parts) for s in side_by_side)
        wide = max(wide, 56.0 if side_by_side[0].parts[0].kind == "regulator" else 0.0) + (16 if rows > 1 else 0)
        start, first, last = self.x, side_by_side[0].nets[0], side_by_side[0].nets[-1]
        for row, strand in enumerate(side_by_side):
            y = lane + (-44.0 if above else 44.0) * row
            if row:
                self.canvas.wire(first, (start, lane), (start, y), (start + 8, y))
                self.canvas.wire(last, (start + wide - 8, y), (start + wide, y), (start + wide, lane))
            a, b = start + (8 if row else 0), start + wide - (8 if row else 0)
            if strand.parts[0].kind == "regulator":
                self._regulator(strand.parts[0], strand, a, b, y)
                continue
            cell = (b - a) / len(strand.parts)
            for place, part in enumerate(strand.parts):
                ends = strand.nets[place : place + 2]
                self.canvas.lying(part, ends, (a + cell * place, y), (a + cell * (place + 1), y), below=not above)
        self.x = start + wide

    def _regulator(self, part: DrawnPart, strand: Strand, left: float, right: float, lane: float) -> None:
        self.canvas.wire(strand.nets[0], (left, lane), (left + 6, lane))
        self.canvas.wire(strand.nets[1], (right - 6, lane), (right, lane))
        self.canvas.box(left + 6, lane - 12, right - 6, lane + 12)
        centre = (left + right) / 2
        self.canvas.say((centre, lane - 1), part.name, NAME_PT, "middle", True)
        self.canvas.say((centre, lane + 8), part.value, VALUE_PT, "middle")
        self.left.remove(part)
        edge = lane + 12 if lane < 0 else lane - 12
        self.canvas.wire(part.pins["common"], (centre, edge), (centre, 0.0))
        if part.pins["common"] != self.common:
            end_mark(self.canvas, self.nets[part.pins["common"]], (centre, 0.0))
        self.tap = min(self.tap, centre) if self.tap else centre

    # where the rails come from --------------------------------------------------------------------------------------

    def _mains_side(self) -> None:
        part = self.winding
        if part is not None:
            self._winding(part)
        else:
            self.x += 4
        self._ac = {}
        for side, y in (("a", -AC), ("b", AC)):
            pin = {"a": "ac1", "b": "ac2"}[side]
            end = self.bridge.pins[pin] if self.bridge is not None else ""
            begin = part.pins[side] if part is not None else end
            links = [s for s in self.strands if all(self.nets[e].role in (WINDING, HIGH, LOW) for e in s.ends)]
            links = [s for s in links if all(self.nets[e].role == WINDING for e in s.ends)]
            across = {self.bridge.pins["ac1"], self.bridge.pins["ac2"]} if self.bridge is not None else set()
            links = [s for s in links if set(s.ends) != across]
            line = spine(end, links, [{begin}]) if end else ([begin], [])
            x = self.x
            self._ac[side] = (line, x, y)
        starts = self.x
        reached = []
        for side in ("a", "b"):
            line, _, y = self._ac[side]
            self.x = starts
            for place, net in enumerate(line[0]):
                begin_x = self.x
                wide = name_net(self.canvas, self.nets[net], (self.x + 3, y), below=y > 0)
                self.x += wide + GAP
                self.canvas.wire(net, (begin_x, y), (self.x, y))
                if place < len(line[1]):
                    strand = line[1][place][0]
                    self.strands = [s for s in self.strands if set(s.ends) != set(strand.ends)]
                    for k, p in enumerate(strand.parts):
                        w = max(widest([p.name, p.value]), 26.0) + 6
                        self.canvas.lying(p, strand.nets[k : k + 2], (self.x, y), (self.x + w, y), below=y > 0)
                        self.x += w
            reached.append((line[0][-1], self.x, y))
        self.x = max(x for _, x, _ in reached)
        for net, x, y in reached:
            self.canvas.wire(net, (x, y), (self.x, y))
        (a, _, _), (b, _, _) = reached
        for strand in [s for s in self.strands if set(s.ends) == {a, b} and len(s.parts) == 1]:
            self.strands.remove(strand)
            wide = strand_width(Strand((a, self.common or b), strand.parts), self.nets)
            x = self.x + SIDE
            away = strand.away_from(a)
            self.canvas.wire(a, (x, -AC), (x, -AC + 0.5))
            self.canvas.standing(away.parts[0], away.nets, (x, -AC), (x, -AC + 29))
            self.canvas.wire(b, (x, -AC + 29), (x, AC))
            for net, y in ((a, -AC), (b, AC)):
                self.canvas.wire(net, (self.x, y), (self.x + wide, y))
            self.x += wide
        for net, y in ((a, -AC), (b, AC)):
            if net == self.common:
                self.canvas.wire(net, (self.x, y), (self.x, 0.0))
                self.tap = self.x
        if self.bridge is not None:
            self._bridge(self.bridge, a, b)

    def _winding(self, part: DrawnPart) -> None:
        """The secondary: an upright coil with its tap."""
        x, tap = self.x + widest([part.name, part.value]) + 16, part.pins.get("tap")
        turns = two_leads("inductor", "")
        halves = ((-AC, 0.0), (0.0, AC)) if tap else ((-AC, AC),)
        for top, low in halves:
            middle = (top + low) / 2
            self.canvas.put(turns, (x, middle), "south")
            reach = turns.reach[1]
            self.canvas.wire("", (x, top), (x, middle - reach))
            self.canvas.wire("", (x, middle + reach), (x, low))
        self.canvas.strokes += [Stroke(((x - 6 - d, -AC + 2), (x - 6 - d, AC - 2))) for d in (0.0, 3.0)]
        self.canvas.bodies.append((x - 9, -AC + 2, x - 6, AC - 2))
        self.canvas.say((x - 13, -1), part.name, NAME_PT, "end", True)
        self.canvas.say((x - 13, 9), part.value, VALUE_PT, "end")
        named = widest([self.nets[tap].label]) if tap and tap != self.common else 0.0
        self.x = x + 12 + named
        for pin, y in (("a", -AC), ("b", AC)):
            self.canvas.wire(part.pins[pin], (x, y), (self.x, y))
        if tap == self.common and tap:
            self.tap = x
        elif tap:
            self.canvas.wire(tap, (x, 0.0), (x + 8, 0.0))
            self.canvas.say((x + 10, 3), self.nets[tap].label, NAME_PT, bold=True, tone="deep")
        if tap == self.common and tap:
            self.canvas.wire(tap, (x, 0.0), (self.x, 0.0))

    def _bridge(self, part: DrawnPart, a: str, b: str) -> None:
        """Four diodes upright between the rails, two for each end of the winding."""
        diode = two_leads("diode", "rectifier")
        high, low = part.pins["plus"], part.pins["minus"]
        columns = (self.x + 14, self.x + 40)
        for net, x, y in ((a, columns[0], -AC), (b, columns[1], AC)):
            self.canvas.wire(net, (self.x, y), (x, y))
            for top, end, upper, lower in ((self.high, -AC, high, net), (AC, self.low, net, low)):
                middle = (top + end) / 2
                self.canvas.put(diode, (x, middle), "north")
                self.canvas.wire(upper, (x, top), (x, middle - diode.reach[1]))
                self.canvas.wire(lower, (x, middle + diode.reach[1]), (x, end))
            self.canvas.wire(net, (x, -AC), (x, AC))
        for net, y in ((high, self.high), (low, self.low)):
            if net == self.common:
                self.canvas.wire(net, (columns[0], y), (columns[1], y), (columns[1] + 12, y), (columns[1] + 12, y + 7))
                end_mark(self.canvas, self.nets[net], (columns[1] + 12, y + 7))
        self.entries.update({high: columns[0], low: columns[0]})
        self.canvas.say((columns[1] + 9, self.high + (-AC - self.high) / 2 + 3), part.name, NAME_PT, bold=True)
        self.x = columns[1] + 12 + widest([part.name])

    def _source(self, part: DrawnPart) -> None:
        """A module that drives the rails: a box over the whole height."""
        left = self.x + 4
        right = left + widest([part.name, *part.pins]) + 36
        pins = {pin: self._lane(net) for pin, net in part.pins.items()}
        top, low = min(pins.values()) - 14, max(pins.values()) + 14
        self.canvas.box(left, top, right, low)
        self.canvas.say((left + 6, (top + low) / 2 - 14), part.name, NAME_PT, bold=True)
        for pin, y in pins.items():
            self.canvas.say((right - 3, y + 2.5), pin, SMALL_PT, "end", tone=FADED_TONE)
            self.canvas.wire(part.pins[pin], (right, y), (right + 4, y))
            self.entries[part.pins[pin]] = right
        if self.common in part.pins.values():
            self.tap = right
        self.x = right + 4

    def _lane(self, net: str) -> float:
        return {HIGH: self.high, LOW: self.low}.get(self.nets[net].role, 0.0)

    def _rest(self) -> None:
        """What fits nowhere: each between the names of its two ends."""
        for strand in self.strands:
            a = strand.nets[0]
            self.x += 2 * GAP
            half = max(widest([self.nets[a].label]) / 2, SIDE)
            x = self.x + half
            top = self.high + 16
            end_mark(self.canvas, self.nets[a], (x, top - 8), up=True)
            hang(self.canvas, strand, self.nets, (x, top - 8), top)
            self.x = max(x + strand_width(strand, self.nets), x + half)
        self.strands = []
