"""The lanes of a drawn stage: nets on level lines, strands along them, what hangs and what rises.

Every net lies on a level line, its lane. Over a lane stand the names, under it the strands that hang from it, each in a
column of its own; a riser to another lane has a column of its own too. So wires cross but never lie on each other, and
no text meets another.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from dustcap.job.drawn_blocks import COMMON, HIGH, LOW, DrawnPart
from dustcap.report.drawn_block_canvas import DEEP_TONE, FADED_TONE, NAME_PT, SMALL_PT, VALUE_PT, Canvas, widest
from dustcap.report.drawn_block_hung import SIDE, hang, name_net, net_lines, strand_width
from dustcap.report.drawn_block_symbols import PIN, Point
from dustcap.report.drawn_block_tiles import Cut, Stage, Strand, loose_stages, output_of, spine

GAP = 7.0
"""From column to column."""
BAND = 26.0
"""From the lowest lane to what hangs."""
ROW = 27.0
"""From feedback lane to feedback lane."""


class Lanes:
    """Draws the nets and strands of one stage, from left to right."""

    def __init__(self, stage: Stage, cut: Cut) -> None:
        self.stage, self.nets, self.outs = stage, cut.nets, frozenset(cut.outs)
        self.names, self.users = cut.outs, cut.users(stage)
        self.canvas, self.x = Canvas(), 0.0
        self.unplaced: list[Strand] = []
        self.under = 0.0  # how far what hangs below the lanes has come
        self.band = PIN + BAND
        self.top = -60.0
        self.risers: dict[str, float] = {}
        self.levels: dict[str, float] = {}
        self.centre = 0.0
        self._hung = {net: [s for s in stage.hung if s.nets[0] == net] for net in cut.nets}

    def rest(self) -> list[Stage]:
        """What found no place on a lane, as stages of its own."""
        left = [*self.stage.inward, *self.stage.outward, *self.unplaced]
        left += [strand for strands in self._hung.values() for strand in strands]
        return loose_stages(left, self.nets, self.outs)

    # what is common -------------------------------------------------------------------------------------------------

    def _starts(self, part: DrawnPart) -> list[set[str]]:
        """Kinds of nets at which a way may start, the best first."""
        before = {name for name, net in self.nets.items() if net.before}
        fed = {net for s in self.stage.inward for p in s.parts if p.kind == "input" for net in s.ends}
        return [
            fed,
            before,
            set(self.outs) - {output_of(part, self.nets)},
            {n for n, o in self.nets.items() if o.outside},
        ]

    def _chain(self, ends: set[str]) -> tuple[list[str], list[list[Strand]]]:
        """The longest way through a stage without a part in its middle, from what comes to what goes on."""
        outside = sorted((net for net in ends if self.nets[net].outside), key=lambda net: (self.nets[net].rank, net))
        first = {net for net in outside if self.nets[net].rank == self.nets[outside[0]].rank}
        found = [
            spine(end, self.stage.inward, [first, set(self.outs)])
            for end in (sorted(set(outside) - first) or sorted(ends - first) or sorted(ends))
        ]
        return max(found, key=lambda line: len(line[0]))

    def _spine(
        self, line: list[str], steps: list[list[Strand]], y: float, *, below: bool = False,
        last: bool = True, band: float | None = None,
    ) -> None:  # fmt: skip
        """A way from left to right on one lane; what leads elsewhere from one of its nets hangs from it."""
        used = {strand.key for step in steps for strand in step}
        self.stage.inward = [s for s in self.stage.inward if s.key not in used]
        for strand in [s for s in self.stage.inward if set(s.ends) & set(line)]:
            self.stage.inward.remove(strand)
            net = next(n for n in line if n in strand.ends)
            self._hung[net] = [*self._hung[net], strand.away_from(net)]
        self._left_end(line[0], y)
        for place, net in enumerate(line):
            if last or place < len(line) - 1:
                self._net(net, y, below=below, band=band)
            if place < len(steps):
                self._step(steps[place], y)

    def _left_end(self, net: str, y: float) -> None:
        one = self.nets[net]
        words = self._told(one.before or one.after) if one.outside else ""
        if net in self.outs and not words:
            words = f"from {self.names[net]}"
        if words:
            self.canvas.say((self.x, y + 2.5), words, SMALL_PT, tone=FADED_TONE)
            self.x += widest([words], SMALL_PT) + 3
        if one.outside or net in self.outs:
            self._terminal(net, y)

    def _terminal(self, net: str, y: float) -> None:
        self.canvas.ring((self.x + 2, y))
        self.canvas.wire(net, (self.x + 4, y), (self.x + 8, y))
        self.x += 8

    def _told(self, blocks: Sequence[str]) -> str:
        return ", ".join(name.replace("_", " ") for name in blocks[:2])

    def _right_end(self, net: str, y: float) -> None:
        one = self.nets[net]
        ends = self._told(one.after or one.before) if one.outside else ""
        if not one.outside:
            if net not in self.users:
                return
            ends = f"to {self.users[net]}"
        self.canvas.wire(net, (self.x, y), (self.x + 6, y))
        self.canvas.ring((self.x + 8, y))
        self.x += 13
        self.canvas.say((self.x, y + 2.5), ends, SMALL_PT, tone=FADED_TONE)
        self.x += widest([ends], SMALL_PT)

    def _net(self, net: str, y: float, *, below: bool = False, band: float | None = None) -> None:
        """A net on its lane: its name over it, under it what hangs from it, then what rises from it."""
        canvas, start = self.canvas, self.x
        named = start + name_net(canvas, self.nets[net], (start + 2, y), below=below) + 5
        self.x = max(named, start + 8)
        clear = named if below else start
        for strand in self._hung.pop(net, []):
            left, right = self._sides(strand)
            if self.nets[strand.nets[-1]].role == HIGH:
                x = self.x + left
                hang(canvas, strand, self.nets, (x, y), self.top, up=True)
                self.x = x + right + GAP
            else:
                x = max(self.under + left, clear + 6)
                hang(canvas, strand, self.nets, (x, y), band or self.band)
                self.under = x + right + GAP
                self.x = max(self.x, x + 3)
        self._hung[net] = []
        if net not in self.risers and any(s.nets[0] == net for s in self.stage.back):
            self.risers[net], self.levels[net] = self.x + 3, y
            self.x += 7
        canvas.wire(net, (start, y), (self.x, y))

    def _sides(self, strand: Strand) -> tuple[float, float]:
        """Room that a strand which hangs takes at the left and at the right of its wire."""
        foot = self.nets[strand.nets[-1]]
        half = 0.0 if foot.role == COMMON else widest([foot.label] if foot.role in (HIGH, LOW) else net_lines(foot)) / 2
        return max(SIDE + 1, half + 1), max(strand_width(strand, self.nets) - SIDE, half + 1)

    def _step(self, side_by_side: list[Strand], y: float) -> None:
        """Strands between two nets of a lane: the first on it, the others below it."""
        rows, before = len(side_by_side), self.x
        if rows > 1:
            self.x = max(self.x, self.under)
        start = self.x + GAP / 2
        wide = max(self._lying_width(strand) for strand in side_by_side) + (16 if rows > 1 else 0)
        first, last = side_by_side[0].ends
        self.canvas.wire(first, (before, y), (start, y))
        for row, strand in enumerate(side_by_side):
            lane = y + (row * 40.0 if row else 0.0)
            if row:
                self.canvas.wire(first, (start, y), (start, lane), (start + 8, lane))
                self.canvas.wire(last, (start + wide - 8, lane), (start + wide, lane), (start + wide, y))
            self._lying(strand, (start + (8 if row else 0), lane), start + wide - (8 if row else 0), below=bool(row))
        self.x = start + wide
        if rows > 1:
            self.under = self.x + GAP
        self.canvas.wire(last, (self.x, y), (self.x + GAP / 2, y))
        self.x += GAP / 2

    def _lying_width(self, strand: Strand) -> float:
        names = sum(widest(net_lines(self.nets[net])) + 8 for net in strand.nets[1:-1])
        return sum(_part_width(part) for part in strand.parts) + names

    def _lying(self, strand: Strand, start: Point, end_x: float, *, below: bool = False) -> None:
        """The parts of a strand along a lane, the nets between them named."""
        spare = (end_x - start[0] - self._lying_width(strand)) / len(strand.parts)
        x, y = start
        for place, part in enumerate(strand.parts):
            wide = _part_width(part) + spare
            self.canvas.lying(part, strand.nets[place : place + 2], (x, y), (x + wide, y), below=below)
            x += wide
            if place < len(strand.parts) - 1:
                net = self.nets[strand.nets[place + 1]]
                width = name_net(self.canvas, net, (x + 4, y), below=below) + 8
                self.canvas.wire(net.name, (x, y), (x + width, y))
                x += width

    def _feedback(
        self, back: Mapping[str, list[Strand]], out: str, out_y: float, first_y: float, loop: Point | None
    ) -> None:
        """Strands from risers at the left over the part in the middle to one riser at its output, lane over lane."""
        lanes: list[tuple[str, float, Strand | None]] = []
        y = first_y
        if loop is not None:
            lanes.append((out, y + 6, None))
            y -= 16
        self.unplaced += [s for net in back if net not in self.risers for s in back[net]]
        for net in sorted(set(back) & set(self.risers), key=lambda net: -self.risers[net]):
            for one in back[net]:
                y -= ROW * (rows_of([one]) - 1)
                lanes.append((net, y, one))
                y -= ROW
        if not lanes:
            return
        right = self.x + 4
        for net, lane, strand in lanes:
            left = self.risers[net] if strand is not None else (loop or (0.0, 0.0))[0]
            if strand is None:
                self.canvas.wire(out, loop or (0, 0), (left, lane), (right, lane))
            else:
                wide = self._flat_width(strand)
                centre = self.centre
                begin, end = centre - wide / 2, centre + wide / 2
                self.canvas.wire(net, (left, self.levels[net]), (left, lane), (begin, lane))
                self._flat(strand, (begin, lane))
                self.canvas.wire(out, (end, lane), (right, lane))
            self.canvas.wire(out, (right, lane), (right, out_y))
        self.canvas.wire(out, (self.x, out_y), (self.x + 8, out_y))
        self.x += 8

    def _flat_width(self, strand: Strand) -> float:
        names = sum(widest([self.nets[net].label]) + 8 for net in strand.nets[1:-1])
        return sum(max(widest([f"{p.name}  {p.value}"]) + 4, 34.0) for p in strand.parts) + names

    def _flat(self, strand: Strand, start: Point) -> None:
        """Parts along a lane of their own, name and value in one line above each."""
        x, y = start
        for place, part in enumerate(strand.parts):
            wide = max(widest([f"{part.name}  {part.value}"]) + 4, 34.0)
            plain = DrawnPart(part.name, part.kind, part.sort, part.pins, "")
            self.canvas.lying(plain, strand.nets[place : place + 2], (x, y), (x + wide, y))
            name = self.canvas.texts.pop()
            shift = widest([f"{part.name}  {part.value}"]) / 2
            base = min(y - 9.5, self.canvas.bodies[-1][1] - 3)
            self.canvas.say((name.at[0] - shift, base), part.name, NAME_PT, bold=True)
            self.canvas.say((name.at[0] + shift, base), part.value, VALUE_PT, "end")
            x += wide
            if place < len(strand.parts) - 1:
                net = self.nets[strand.nets[place + 1]]
                width = widest([net.label]) + 8
                self.canvas.say((x + 4, base), net.label, NAME_PT, bold=True, tone=DEEP_TONE)
                self.canvas.wire(net.name, (x, y), (x + width, y))
                x += width

    def _outward(self, out: str, y: float) -> None:
        """The output on its lane and the longest way on from it."""
        ends = {net for s in self.stage.outward for net in s.ends}
        own = {net for net, strands in self._hung.items() if any(p.kind == "driver" for s in strands for p in s.parts)}
        far = [net for net in ends if net != out and (self.nets[net].outside or net in own)]
        best: tuple[list[str], list[list[Strand]]] = ([out], [])
        for end in sorted(far or ends):
            line = spine(end, self.stage.outward, [{out}])
            if line[0][0] == out and len(line[0]) > len(best[0]):
                best = line
        used = {strand.key for step in best[1] for strand in step}
        self.stage.outward = [s for s in self.stage.outward if s.key not in used]
        for strand in [s for s in self.stage.outward if set(s.ends) & set(best[0])]:
            self.stage.outward.remove(strand)
            net = next(n for n in best[0] if n in strand.ends)
            self._hung[net] = [*self._hung[net], strand.away_from(net)]
        for place, net in enumerate(best[0]):
            self._net(net, y)
            if place < len(best[1]):
                self._step(best[1][place], y)
        self._right_end(best[0][-1], y)

    def _rail(self, net: str, at: Point, way: float, *, right: bool = False) -> None:
        """A short wire to a rail, its name beside its end."""
        end = (at[0], at[1] + way)
        self.canvas.wire(net, at, end)
        self.canvas.wire("", (end[0] - 6, end[1]), (end[0] + 6, end[1]))
        x, anchor = (end[0] + 8, "start") if right else (end[0] - 8, "end")
        self.canvas.say((x, end[1] + 3), self.nets[net].label, SMALL_PT + 0.5, anchor, True, DEEP_TONE)


def rows_of(strands: Sequence[Strand]) -> float:
    """Room that strands take in feedback lanes: a driver is taller than other parts."""
    return sum(1.3 if any(part.kind == "driver" for part in strand.parts) else 1.0 for strand in strands)


def _part_width(part: DrawnPart) -> float:
    return max(widest([part.name, part.value]), 24.0) + 6
