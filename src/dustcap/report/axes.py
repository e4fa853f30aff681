"""The frame of a plot against frequency or time: scales, grid, shaded regions, curves and their labels.

Against frequency the axis is logarithmic and one decade is as long as 25 dB (IEC 60263:1982, clause 2), so that slopes
look the same in every plot: 20 Hz to 20 kHz are 75 dB wide.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import ceil, floor, isfinite, log10

from dustcap.report.svg import (
    FADED,
    GRID,
    INK,
    PAPER,
    SHADE,
    SMALL_PT,
    TEXT_PT,
    Drawing,
    Point,
    runs,
    text_width,
    thinned,
)
from dustcap.report.wording import MINUS, frequency

DB_PER_DECADE = 25.0
LEFT, RIGHT, TOP, BOTTOM = 34.0, 64.0, 20.0, 18.0
LABELLED = (20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000)
"""Frequencies that get a figure at the axis."""


@dataclass(slots=True)
class Axis:
    """A scale from `low` to `high` along `length` points; `log` for decades."""

    low: float
    high: float
    length: float
    log: bool = False

    def at(self, value: float) -> float:
        """Distance in points from the axis's beginning."""
        if self.log:
            return self.length * log10(value / self.low) / log10(self.high / self.low)
        return self.length * (value - self.low) / (self.high - self.low)


@dataclass(slots=True)
class Frame:
    """A plot's frame: the drawing, its inner field of curves, the scales and the labels that wait to be placed."""

    drawing: Drawing
    field_: Drawing
    x: Axis
    y: Axis
    _labels: list[tuple[float, str, str]] = field(default_factory=list)

    def spot(self, x: float, y: float) -> Point:
        """Where a pair of values lies in the field, in points; y grows upward."""
        return self.x.at(x), self.y.length - self.y.at(y)

    def curve(
        self,
        xs: Sequence[float],
        ys: Sequence[float | None],
        label: str = "",
        *,
        valid: tuple[float, float] | None = None,
        stroke: str = INK,
        width: float = 1.8,
        dash: str = "",
    ) -> None:
        """A curve, drawn only inside its valid band and the axis, with its label at its right end."""
        low, high = valid or (self.x.low, self.x.high)
        stretches = runs(xs, ys, max(low, self.x.low), min(high, self.x.high))
        for stretch in stretches:
            spots = thinned([self.spot(x, y) for x, y in stretch])
            if len(spots) == 1:
                self.field_.dot(spots[0], width, fill=stroke)
            self.field_.path(spots, stroke=stroke, width=width, dash=dash)
        if stretches and label:
            self._labels.append((self.spot(*stretches[-1][-1])[1], label, stroke))

    def ribbon(self, xs: Sequence[float], low: Sequence[float], high: Sequence[float], *, fill: str) -> None:
        """The area between two curves over the same values."""
        spots = [self.spot(x, y) for x, y in zip(xs, high, strict=True)]
        spots += [self.spot(x, y) for x, y in zip(reversed(xs), reversed(low), strict=True)]
        self.field_.path(spots, fill=fill, stroke="none")

    def shade(self, x_low: float, x_high: float, y_low: float, y_high: float, words: str = "") -> None:
        """A shaded region where a limit is broken, or where nothing was measured."""
        left, right = self.x.at(max(x_low, self.x.low)), self.x.at(min(x_high, self.x.high))
        top = self.y.length - self.y.at(min(y_high, self.y.high))
        bottom = self.y.length - self.y.at(max(y_low, self.y.low))
        if right <= left or bottom <= top:
            return
        self.field_.box((left, top), (right - left, bottom - top), fill=SHADE)
        if words and right - left > text_width(words, SMALL_PT) + 8 and bottom - top > SMALL_PT + 2:
            self.field_.text((left + 4, top + SMALL_PT + 1), words, size=SMALL_PT)

    def finished(self) -> Drawing:
        """The drawing with field, border and labels in place; to be called once."""
        self.drawing.window(self.field_, (LEFT, TOP))
        corner, size = (LEFT, TOP), (self.x.length, self.y.length)
        self.drawing.box(corner, size, stroke=INK, width=0.8)
        for height, label, stroke in spread(self._labels, SMALL_PT + 2.5, self.y.length):
            place = (LEFT + self.x.length + 4, TOP + height + SMALL_PT / 3)
            self.drawing.text(place, label, size=TEXT_PT, fill=stroke, bold=stroke != FADED)
        return self.drawing


def frequency_frame(
    title: str,
    words: str,
    unit: str,
    width: float,
    low_hz: float,
    high_hz: float,
    top_db: float,
    span_db: float,
    *,
    levels: bool = True,
) -> Frame:
    """A frame against frequency with the proportion of IEC 60263; `span_db` decides its height.

    Without `levels` the lines and figures of the other axis are left to the caller.
    """
    length = width - LEFT - RIGHT
    x = Axis(low_hz, high_hz, length, log=True)
    db_pt = length / log10(high_hz / low_hz) / DB_PER_DECADE
    y = Axis(top_db - span_db, top_db, span_db * db_pt)
    frame = _frame(title, words, unit, width, x, y)
    _frequency_grid(frame)
    if levels:
        level_grid(frame, 10.0)
    return frame


def time_frame(
    title: str, words: str, unit: str, width: float, height: float, seconds: tuple[float, float], high: float
) -> Frame:
    """A frame against time in seconds, from nothing to `high`."""
    x = Axis(seconds[0], seconds[1], width - LEFT - RIGHT)
    frame = _frame(title, words, unit, width, x, Axis(0.0, high, height))
    step = tick_step(seconds[1] - seconds[0], 8)
    for tick in ticks(seconds[0], seconds[1], step):
        place = x.at(tick)
        frame.field_.line((place, 0), (place, height), stroke=GRID)
        frame.drawing.text((LEFT + place, TOP + height + 12), f"{tick:g}", size=SMALL_PT, anchor="middle", fill=FADED)
    frame.drawing.text((LEFT + x.length + 4, TOP + height + 12), "s", size=SMALL_PT, fill=FADED)
    return frame


def level_grid(frame: Frame, step: float) -> None:
    """Lines across and figures at the left, one each `step`."""
    for tick in ticks(frame.y.low, frame.y.high, step):
        height = frame.y.length - frame.y.at(tick)
        frame.field_.line((0, height), (frame.x.length, height), stroke=GRID)
        said = f"{tick:g}".replace("-", MINUS)
        frame.drawing.text((LEFT - 4, TOP + height + 3), said, size=SMALL_PT, anchor="end", fill=FADED)


def ticks(low: float, high: float, step: float) -> list[float]:
    """Multiples of `step` from `low` to `high`."""
    first, last = ceil(low / step - 1e-9), floor(high / step + 1e-9)
    return [count * step for count in range(first, last + 1)]


def tick_step(span: float, most: int) -> float:
    """A step of 1, 2 or 5 times a power of ten that gives at most so many ticks."""
    power = 10.0 ** floor(log10(span / most))
    return next(step * power for step in (1, 2, 5, 10) if span <= most * step * power * (1 + 1e-9))


def level_range(levels: Sequence[float | None], least_db: float = 40.0, most_db: float = 70.0) -> tuple[float, float]:
    """Top and span, in tens of dB, that hold these levels; a span outside the two limits is brought to them."""
    known = [level for level in levels if level is not None and isfinite(level)]
    if not known:
        return 0.0, least_db
    top = 10.0 * floor(max(known) / 10.0 + 1.0)
    span = top - 10.0 * floor(min(known) / 10.0)
    return top, min(max(span, least_db), most_db)


def spread(labels: Sequence[tuple[float, str, str]], gap: float, bottom: float) -> list[tuple[float, str, str]]:
    """Labels moved down, then up from the bottom, so that none touches the next."""
    placed = sorted(labels)
    heights = [height for height, _, _ in placed]
    for i in range(1, len(heights)):
        heights[i] = max(heights[i], heights[i - 1] + gap)
    for i in range(len(heights) - 1, -1, -1):
        heights[i] = min(heights[i], bottom - (len(heights) - 1 - i) * gap)
    return [(height, label, stroke) for height, (_, label, stroke) in zip(heights, placed, strict=True)]


def _frame(title: str, words: str, unit: str, width: float, x: Axis, y: Axis) -> Frame:
    drawing = Drawing(width, TOP + y.length + BOTTOM, title, words)
    drawing.box((0, 0), (drawing.width, drawing.height), fill=PAPER)
    drawing.text((LEFT, 12), title, size=TEXT_PT + 1, bold=True)
    drawing.text((LEFT - 4, 12), unit, size=SMALL_PT, anchor="end", fill=FADED)
    return Frame(drawing, Drawing(x.length, y.length), x, y)


def _frequency_grid(frame: Frame) -> None:
    low, high, height = frame.x.low, frame.x.high, frame.y.length
    for power in range(floor(log10(low)), ceil(log10(high)) + 1):
        for first in range(1, 10):
            hz = first * 10.0**power
            if low < hz < high:
                frame.field_.line(
                    (frame.x.at(hz), 0), (frame.x.at(hz), height), stroke=GRID, width=1.2 if first == 1 else 0.5
                )
    taken = 0.0
    for hz in LABELLED:
        place, half = LEFT + frame.x.at(hz), text_width(frequency(hz), SMALL_PT) / 2
        if low * 0.999 <= hz <= high * 1.001 and place - half > taken + 2:
            frame.drawing.text((place, TOP + height + 12), frequency(hz), size=SMALL_PT, anchor="middle", fill=FADED)
            taken = place + half
    frame.drawing.text((LEFT + frame.x.length + 10, TOP + height + 12), "Hz", size=SMALL_PT, fill=FADED)
