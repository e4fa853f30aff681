"""One stage of a block as a drawing: the signal from the left, the part in the middle, its feedback above it."""

from __future__ import annotations

from collections.abc import Sequence

from dustcap.job.drawn_blocks import COMMON, HIGH, LOW, SIGNAL, DrawnPart
from dustcap.report.drawn_block_canvas import CELL, FADED_TONE, NAME_PT, SMALL_PT, VALUE_PT, Canvas, widest
from dustcap.report.drawn_block_hung import SIDE, end_mark, net_lines, strand_height, strand_width
from dustcap.report.drawn_block_lanes import BAND, GAP, ROW, Lanes, rows_of
from dustcap.report.drawn_block_symbols import ACROSS, AMP_LEFT, AMP_RIGHT, LOW_PIN, PIN, REACH, TOP_PIN, Point, hub
from dustcap.report.drawn_block_tiles import AMPS, Strand, inputs_of, output_of, spine

Way = tuple[list[str], list[list[Strand]]]


class Drafter(Lanes):
    """Draws one stage."""

    def draw(self) -> Canvas:
        """The whole stage."""
        part, stage = self.stage.hub, self.stage
        if part is None:
            ends = {net for s in stage.inward for net in s.ends} | {s.nets[0] for s in stage.hung}
            line = self._chain(ends)
            self._spine(*line, 0.0)
            self._right_end(line[0][-1], 0.0)
            return self.canvas
        wanted = [net for net in inputs_of(part) if self.nets[net].role not in (COMMON, HIGH, LOW)]
        out = output_of(part, self.nets)
        back = _grouped(stage.back)
        starts = self._starts(part)
        if part.kind in AMPS:
            self._amplifier(part, wanted, out, back, starts)
        elif part.kind == "potentiometer":
            self._potentiometer(part, wanted, out, starts)
        elif part.kind == "module":
            self._module(part, wanted, out, starts)
        else:
            self._transistor(part, wanted, out, back, starts)
        return self.canvas

    # the parts in the middle ----------------------------------------------------------------------------------------

    def _amplifier(
        self, part: DrawnPart, wanted: list[str], out: str | None, back: dict[str, list[Strand]], starts: list[set[str]]
    ) -> None:
        plus, minus, symbol = part.pins["plus"], part.pins["minus"], hub(part.kind)
        self.levels |= {plus: PIN, minus: -PIN}
        lines: dict[str, Way] = {}
        for net, others in ((plus, {minus}), (minus, {plus})):
            if net in wanted and net != out:
                taken = {n for line in lines.values() for n in line[0]} | others
                free = [s for s in self.stage.inward if not any(p.kind == "input" for p in s.parts)]
                lines[net] = spine(net, free, starts, taken)
        long = [net for net in lines if len(lines[net][0]) > 1 or self.nets[net].outside or net in self.outs]
        lanes = sum(map(rows_of, back.values())) + (minus == out)
        flag = self.nets[part.pins["mute"]] if "mute" in part.pins else None
        self.top = -PIN - 46 - ROW * max(lanes - 1, 0) - (24 if lanes else 0)
        if len(long) == 2 and minus in long:
            self._two_ways(lines[plus], lines[minus], plus, minus)
        elif minus in long:
            self._spine(*lines[minus], -PIN)
            self._foot(plus, PIN, below=True)
        else:
            if plus in lines:
                self._spine(*lines[plus], PIN)
            else:
                self._foot(plus, PIN)
            if minus in lines:
                self._net_after(minus, -PIN, plus)
        loop = None
        if minus == out:
            loop = (self.x + 3, -PIN)
            self.canvas.wire(plus, (self.x, PIN), (self.x + 7, PIN))
            self.x += 7
        ends = [net for net in (plus, minus) if net in lines]
        wide = max([self._flat_width(s) for strands in back.values() for s in strands], default=0.0)
        before = self.x
        if flag is not None:
            self.x = max(self.x, self.under)
        lean = max(wide / 2 + 6, -AMP_LEFT + 8, 0.0, (widest(net_lines(flag)) / 2 - 11 if flag else 0.0))
        centre = self.centre = self.x + lean
        for net in ends:
            self.canvas.wire(net, (before, self.levels[net]), (centre + AMP_LEFT, self.levels[net]))
        if loop is not None:
            self.canvas.wire(minus, loop, (centre + AMP_LEFT, -PIN))
        if plus not in lines and plus in self.nets:
            self.canvas.wire(plus, (before, PIN), (centre + AMP_LEFT, PIN))
        self.canvas.put(symbol, (centre, 0.0), slices=7)
        self._rail(part.pins["high"], (centre, symbol.pins["high"][1]), -20.0)
        self._rail(part.pins["low"], (centre, symbol.pins["low"][1]), 20.0, right=True)
        self.canvas.say((centre + 5, -20), part.name, NAME_PT, bold=True)
        if flag is not None:
            x, y = centre + symbol.pins["mute"][0], symbol.pins["mute"][1]
            self.canvas.wire(flag.name, (x, y), (x, y + 28))
            end_mark(self.canvas, flag, (x, y + 28))
        self.x = max(centre + max(AMP_RIGHT + 4, wide / 2 + 6), centre + 7 + widest([part.name]))
        if flag is not None:
            self.x = max(self.x, centre - 11 + widest(net_lines(flag)) / 2 + 4)
            self.under = self.x
        self.under = max(self.under, centre + 10 + widest([self.nets[part.pins["low"]].label]))
        if out is not None:
            self.canvas.wire(out, (centre + AMP_RIGHT, 0.0), (self.x, 0.0))
            self._feedback(back, out, 0.0, -PIN - 42, loop)
            self._outward(out, 0.0)

    def _net_after(self, net: str, y: float, over: str) -> None:
        """A net whose lane begins here, while the wire of another goes on below it."""
        self.x += GAP
        start = self.x
        self._net(net, y)
        self.canvas.wire(over, (start - GAP, PIN), (self.x, PIN))

    def _foot(self, net: str, y: float, *, below: bool = False) -> None:
        """An input that nothing leads to: common or a rail itself, or what holds it there."""
        one, start = self.nets[net], self.x
        if one.role in (COMMON, HIGH, LOW):
            self.x += SIDE + 4
            self.canvas.wire(net, (self.x, y), (self.x + 6, y))
            self.canvas.wire(net, (self.x, y), (self.x, y + 16))
            end_mark(self.canvas, one, (self.x, y + 16))
            self.x += 6 + (widest([one.label]) / 2 if one.role != COMMON else 4)
        elif net != output_of(self.stage.hub, self.nets):  # type: ignore[arg-type]
            self._net(net, y, below=below)
            self.levels[net] = y
        if below:
            minus = self.stage.hub.pins["minus"]  # type: ignore[union-attr]
            self.canvas.wire(minus, (start, -PIN), (self.x, -PIN))

    def _two_ways(
        self,
        low: tuple[list[str], list[list[Strand]]],
        high: tuple[list[str], list[list[Strand]]],
        plus: str,
        minus: str,
    ) -> None:
        """Both inputs have a way of their own: that to minus above, with its own band for what hangs."""
        tall = max([strand_height(s) for net in high[0] for s in self._hung.get(net, [])], default=0.0)
        tall = max(tall, max((40.0 for step in high[1] if len(step) > 1), default=0.0))
        lane = -PIN - BAND - tall - 44.0
        start = self.x
        first = [s for s in self.stage.inward if any(p.kind == "input" for p in s.parts)]
        joined = [s for s in first if set(s.ends) == {low[0][0], high[0][0]}]
        for strand in joined:
            self.stage.inward.remove(strand)
            self.x += strand_width(strand, self.nets) + GAP
            begin = self.x
            x, away = start + SIDE + 2, strand.away_from(high[0][0])
            mid = (lane + PIN) / 2
            self.canvas.wire(away.nets[0], (begin, lane), (x, lane), (x, mid - CELL / 2))
            self.canvas.standing(away.parts[0], away.nets, (x, mid - CELL / 2), (x, mid + CELL / 2))
            self.canvas.wire(away.nets[-1], (x, mid + CELL / 2), (x, PIN), (begin, PIN))
        begin = self.under = self.x
        self.top = min(self.top, lane - 30)
        self._spine(*high, lane, band=lane + BAND)
        upper, hanging = self.x, self.under
        self.x = self.under = begin
        self._spine(*low, PIN)
        lower = self.x
        self.x = max(upper, lower, hanging) + 8
        self.canvas.wire(minus, (upper, lane), (self.x, lane), (self.x, -PIN))
        self.canvas.wire(plus, (lower, PIN), (self.x, PIN))
        self.risers[minus], self.levels[minus] = self.x, -PIN

    def _transistor(
        self, part: DrawnPart, wanted: list[str], out: str | None, back: dict[str, list[Strand]], starts: list[set[str]]
    ) -> None:
        symbol = hub(part.kind)
        control = part.pins.get("base") or part.pins["gate"]
        top, low = part.pins[TOP_PIN[part.kind]], part.pins[LOW_PIN[part.kind]]
        signal = {net for net in (top, low) if self.nets[net].role not in (COMMON, HIGH, LOW)}
        self.band = (34.0 if low in signal else 0.0) + BAND + 4
        lanes = sum(map(rows_of, back.values()))
        self.top = -58.0 - ROW * lanes
        if control in wanted:
            self._spine(*spine(control, self.stage.inward, starts), 0.0)
        else:
            self._foot(control, 0.0)
        wide = max([self._flat_width(s) for strands in back.values() for s in strands], default=0.0)
        before = self.x
        if low not in signal and self.nets[low].role != COMMON:
            self.x = max(self.x, self.under - 12)
        centre = self.centre = self.x + max(18.0, wide / 2 + 6)
        self.canvas.wire(control, (before, 0.0), (centre - 16, 0.0))
        self.canvas.put(symbol, (centre, 0.0))
        self.canvas.say((centre + 18, 3), part.name, NAME_PT, bold=True)
        x = centre + ACROSS
        self.x = centre + 20 + max(widest([part.name]), wide / 2 - 14)
        for net, way in ((top, -1.0), (low, 1.0)):
            if net not in signal:
                self._stub(net, (x, way * REACH), way)
        for net, way in ((top, -1.0), (low, 1.0)):
            if net in signal:
                lane = way * 36.0
                self.canvas.wire(net, (x, way * REACH), (x, lane), (self.x, lane))
                if net == out:
                    self._feedback(back, net, lane, -62.0, None)
                    self._outward(net, lane)
                else:
                    self._net(net, lane)
                    self._right_end(net, lane)
                self.x += GAP

    def _stub(self, net: str, at: Point, way: float) -> None:
        if way > 0:
            self.canvas.wire(net, at, (at[0], at[1] + 8))
            end_mark(self.canvas, self.nets[net], (at[0], at[1] + 8))
        else:
            self.canvas.wire(net, at, (at[0], at[1] - 8))
            end_mark(self.canvas, self.nets[net], (at[0], at[1] - 8), up=True)

    def _potentiometer(self, part: DrawnPart, wanted: list[str], out: str | None, starts: list[set[str]]) -> None:
        first, last = part.pins["end2"], part.pins["end1"]
        if self.nets[first].role != SIGNAL and self.nets[last].role == SIGNAL:
            first, last = last, first
        self.band = 52.0
        self._spine(*spine(first, self.stage.inward, starts), 0.0)
        before, lean = self.x, widest([part.name, part.value]) + 12
        centre = max(self.x, self.under) + lean
        self.canvas.wire(first, (before, 0.0), (centre, 0.0), (centre, 20.5))
        self.canvas.put(hub(part.kind), (centre, 32.0))
        self.canvas.say((centre - 9, 31), part.name, NAME_PT, "end", True)
        self.canvas.say((centre - 9, 40), part.value, VALUE_PT, "end")
        self.canvas.wire(last, (centre, 43.5), (centre, 54.0))
        end_mark(self.canvas, self.nets[last], (centre, 54.0))
        foot = self.nets[last]
        half = 0.0 if foot.role == COMMON else widest(net_lines(foot)) / 2
        self.x = self.under = centre + max(22.0, half + 4)
        if out is not None:
            self.canvas.wire(out, (centre + 17, 32.0), (self.x, 32.0))
            self.band = 32.0 + BAND
            self._outward(out, 32.0)

    def _module(self, part: DrawnPart, wanted: list[str], out: str | None, starts: list[set[str]]) -> None:
        for net in wanted[:1]:
            self._spine(*spine(net, self.stage.inward, starts), 0.0)
        sides = [pin for pin, net in part.pins.items() if net != out and net not in wanted[:1]]
        up = [pin for pin in sides if self.nets[part.pins[pin]].role == HIGH]
        down = [pin for pin in sides if pin not in up]
        slot = max(widest([*sides, *(self.nets[part.pins[pin]].label for pin in sides)]) + 8, 20.0)
        wide = max(slot * max(len(up), len(down), 1) + 10, widest([part.name, *part.pins]) + 50)
        before = self.x
        left = max(self.x, self.under) + 8
        right = self.under = left + wide
        for net in wanted[:1]:
            self.canvas.wire(net, (before, 0.0), (left, 0.0))
        self.canvas.box(left, -26.0, right, 26.0)
        self.canvas.say(((left + right) / 2, 3), part.name, NAME_PT, "middle", True)
        for pins, y, way in ((up, -26.0, -1.0), (down, 26.0, 1.0)):
            for place, pin in enumerate(pins):
                x = left + wide * (place + 0.5) / len(pins)
                self.canvas.say((x, y + (9 if way < 0 else -3.5)), pin, SMALL_PT, "middle", tone=FADED_TONE)
                self.canvas.wire(part.pins[pin], (x, y), (x, y + way * 12))
                end_mark(self.canvas, self.nets[part.pins[pin]], (x, y + way * 12), up=way < 0)
        self.top, self.band = -48.0, 34.0
        self.x = right + 4
        if out is not None:
            self.canvas.wire(out, (right, 0.0), (self.x, 0.0))
            self._outward(out, 0.0)


def _grouped(strands: Sequence[Strand]) -> dict[str, list[Strand]]:
    found: dict[str, list[Strand]] = {}
    for strand in strands:
        found.setdefault(strand.nets[0], []).append(strand)
    return found
