"""What a check would read under each suspect, as bars on one scale: where the reading falls says who it was.

A bar is 90 % of what is expected, the notch in it the middle. Volts and kelvin stand on a straight scale, ohms and
farads on one of decades. Over range is written at the right.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import ceil, floor, log10

from dustcap.report.axes import tick_step, ticks
from dustcap.report.svg import DEEP, GRID, INK, PAPER, Drawing, shortened
from dustcap.report.wording import quantity

ROW, HEAD, FOOT, TEXT = 24.0, 4.0, 20.0, 11.0
WORDS_SHARE = 0.36
LEAST_PT = 5.0
DECADES = ("ohm", "F")
HEALTHY = "#1c6b45"
MOST_TICKS = 5


@dataclass(frozen=True, slots=True)
class ExpectedBar:
    """One suspect's bar: bounds of 90 % and the middle in base units, None where there is no number; words instead.

    `share` is the suspect's probability; None for the good board.
    """

    label: str
    low: float | None
    middle: float | None
    high: float | None
    words: str
    share: float | None = None


def expected_plot(rows: Sequence[ExpectedBar], unit: str, *, width: float = 520.0) -> str | None:
    """The bars; None when no row has a number to draw."""
    values = [value for row in rows for value in (row.low, row.middle, row.high) if value is not None]
    if unit in DECADES:
        values = [value for value in values if value > 0]
    if not values:
        return None
    left, right = width * WORDS_SHARE, width - 76.0
    height = HEAD + ROW * len(rows) + FOOT
    said = "; ".join(f"{row.label}: {row.words}" for row in rows)
    drawing = Drawing(width, height, "What each suspect would read here", said)
    drawing.box((0, 0), (width, height), fill=PAPER)
    place, marks = _scale(values, unit, left, right)
    for value in marks:
        x = place(value)
        drawing.line((x, HEAD), (x, height - FOOT), stroke=GRID)
        label = quantity(0.0 if abs(value) < 1e-12 and unit not in DECADES else value, unit)
        drawing.text((x, height - 6), label, size=TEXT, anchor="middle", fill=INK)
    for number, row in enumerate(rows):
        _row(drawing, row, unit, HEAD + ROW * number, place, left, right)
    return drawing.svg()


def _row(
    drawing: Drawing,
    row: ExpectedBar,
    unit: str,
    top: float,
    place: Callable[[float], float],
    left: float,
    right: float,
) -> None:
    good = row.share is None
    drawing.text((0, top + 16), shortened(row.label, left - 12, TEXT), size=TEXT, bold=good, fill=INK)
    if row.middle is None:
        drawing.text((right + 6, top + 16), shortened(row.words, drawing.width - right - 6, TEXT), size=TEXT)
        return
    ends = sorted(place(row.middle if end is None else end) for end in (row.low, row.high))
    if row.high is None:  # the upper end is over range
        ends[1] = right
    spare = max(0.0, LEAST_PT - (ends[1] - ends[0])) / 2
    drawing.box(
        (ends[0] - spare, top + 5), (ends[1] - ends[0] + 2 * spare, 14), fill=HEALTHY if good else DEEP, stroke=INK
    )
    x = place(row.middle)
    drawing.line((x, top + 5), (x, top + 19), stroke=PAPER, width=1.6)
    said = quantity(row.middle, unit)
    drawing.text((right + 6, top + 16), shortened(said, drawing.width - right - 6, TEXT), size=TEXT, fill=INK)


def _scale(
    values: Sequence[float], unit: str, left: float, right: float
) -> tuple[Callable[[float], float], list[float]]:
    """Where a value lies, and the values that get a mark."""
    low, high = min(values), max(values)
    if unit in DECADES:
        first, last = floor(log10(low) + 1e-9), ceil(log10(high) - 1e-9)
        last = max(last, first + 1)
        step = max(1, ceil((last - first) / MOST_TICKS))

        def place(value: float) -> float:
            share = (log10(max(value, 10.0**first)) - first) / (last - first)
            return left + (right - left) * min(max(share, 0.0), 1.0)

        return place, [10.0**power for power in range(first, last + 1, step)]
    low, high = min(low, 0.0), max(high, 0.0)
    room = (high - low) or 1.0
    low, high = low - 0.03 * room * (low < 0), high + 0.03 * room

    def straight(value: float) -> float:
        return left + (right - left) * (value - low) / (high - low)

    return straight, ticks(low, high, tick_step(high - low, MOST_TICKS))
