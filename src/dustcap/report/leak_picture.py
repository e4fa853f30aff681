"""The board seen from above with every marked area and every gap shaded by the pair of nets that a leak upsets first.

Darker: a weaker leak is enough. Five tones in even steps of lightness with hatching on the two darkest, and the reading
that would already explain the trouble written on the shape, so that nothing hangs on colour or on a good printer.
"""

from __future__ import annotations

from math import hypot

from dustcap.job.leak_map import LeakMap, Shape, limit_said
from dustcap.report.svg import FADED, GRID, INK, PAPER, SMALL_PT, TEXT_PT, Drawing, Point, text_width
from dustcap.report.wording import quantity

WIDTH = 720.0
MARGIN, HEAD, KEY = 16.0, 30.0, 44.0
TONES = ((1e7, "#4a4a4a"), (1e6, "#7d7d7d"), (1e5, "#a8a8a8"), (1e4, "#cccccc"), (100.0, "#e6e6e6"))
"""Fill by the critical leakage from which on it holds; `PAPER` where no leak does harm."""
HATCHED_FROM = 1e6
HATCH_STEP = 5.0
GAP_WIDTH = 5.0
LEAST_LABELLED = 1e4
"""A gap that only a leak stronger than this upsets is shaded, and not written on."""
OTHER_FONTS = 1.15
"""Room for a viewer's own font, where the drawing's is not at hand."""
LEAST_MM = 10.0
LISTED = 14


def leak_picture(found: LeakMap) -> str:
    """The picture as SVG text; without places it is the list of the pairs that matter alone."""
    frame = _Frame(found)
    drawing = Drawing(WIDTH, frame.height, f"Leak map of {found.board}", _words(found))
    drawing.box((0, 0), (WIDTH, frame.height), fill=PAPER)
    drawing.text((MARGIN, 20), f"{found.board} {found.revision}: leakage that matters", size=14, bold=True)
    if frame.spots:
        drawing.box((MARGIN, HEAD), (WIDTH - 2 * MARGIN, frame.tall), stroke=GRID)
    for area in found.areas:
        _area(drawing, frame, area)
    for gap in found.gaps:
        _gap(drawing, frame, gap)
    for place in found.places:
        at = frame.spot(place.at)
        drawing.dot(
            at, max(place.reach * frame.scale, 1.2), fill="none" if place.reach else INK, stroke=FADED, width=0.6
        )
        drawing.text((at[0] + 2, at[1] - 2), place.name, size=5.5, fill=FADED, halo=True)
    _labels(drawing, frame, found)
    _key(drawing, frame)
    _list(drawing, frame, found)
    return drawing.svg()


class _Frame:
    """Millimetres to points, y upward on the board; how tall the picture has to be."""

    def __init__(self, found: LeakMap) -> None:
        points = [place.at for place in found.places] + [corner for area in found.areas for corner in area.outline]
        self.spots = points
        xs, ys = [x for x, _ in points] or [0.0], [y for _, y in points] or [0.0]
        self.left, self.top = min(xs) - 4, max(ys) + 4
        self.scale = (WIDTH - 2 * MARGIN) / max(max(xs) + 4 - self.left, LEAST_MM)
        self.tall = self.scale * max(self.top - min(ys) + 4, LEAST_MM) if points else 0.0
        self.listed = sorted((p for p in found.pairs if p.worst), key=lambda p: -((p.worst and p.worst.ohms) or 0))[
            :LISTED
        ]
        self.bottom = HEAD + self.tall
        self.height = self.bottom + KEY + 13.0 * (len(self.listed) + 2)

    def spot(self, place: tuple[float, float]) -> Point:
        """Where a place of the board lies on the drawing."""
        return MARGIN + (place[0] - self.left) * self.scale, HEAD + (self.top - place[1]) * self.scale


def _ohms(shape: Shape) -> float:
    return (shape.worst.ohms or 0.0) if shape.worst else 0.0


def tone(ohms: float | None) -> str:
    """Fill of a shape whose critical leakage this is."""
    return next((fill for least, fill in TONES if ohms is not None and ohms >= least), PAPER)


def _area(drawing: Drawing, frame: _Frame, area: Shape) -> None:
    corners = [frame.spot(corner) for corner in area.outline]
    ohms = area.worst.ohms if area.worst else None
    drawing.path(corners, stroke=INK, width=1.4, fill=tone(ohms), dash="4 2")
    if ohms is not None and ohms >= HATCHED_FROM:
        for start, end in hatching(corners, HATCH_STEP):
            drawing.line(start, end, stroke=PAPER, width=0.7)


def hatching(corners: list[Point], step: float) -> list[tuple[Point, Point]]:
    """Level lines inside an outline, `step` apart."""
    lines = []
    height = min(y for _, y in corners) + step / 2
    while height < max(y for _, y in corners):
        sides = zip(corners, [*corners[1:], corners[0]], strict=True)
        cuts = sorted(
            ax + (height - ay) * (bx - ax) / (by - ay) for (ax, ay), (bx, by) in sides if (ay > height) != (by > height)
        )
        lines += [((x, height), (end, height)) for x, end in zip(cuts[::2], cuts[1::2], strict=True)]
        height += step
    return lines


def _gap(drawing: Drawing, frame: _Frame, gap: Shape) -> None:
    ohms = gap.worst.ohms if gap.worst else None
    start, end = (frame.spot(place) for place in gap.outline)
    if hypot(end[0] - start[0], end[1] - start[1]) < 1.0:
        drawing.dot(start, GAP_WIDTH, fill=tone(ohms), stroke=FADED, width=0.5)
        return
    drawing.line(start, end, stroke=FADED, width=GAP_WIDTH + 1)
    drawing.line(start, end, stroke=tone(ohms), width=GAP_WIDTH)


def _labels(drawing: Drawing, frame: _Frame, found: LeakMap) -> None:
    """What would already explain the trouble, worst shapes first; one that would touch another is left out."""
    taken: list[tuple[float, float, float]] = []
    marked = {nets for pair in found.pairs if pair.areas for nets in (pair.nets, pair.nets[::-1])}
    gaps = [gap for gap in found.gaps if gap.nets not in marked and _ohms(gap) >= LEAST_LABELLED]
    for shape in (*found.areas, *sorted(gaps, key=lambda gap: -_ohms(gap))):
        if shape.worst is None or shape.nets is None:
            continue
        xs, ys = zip(*(frame.spot(corner) for corner in shape.outline), strict=True)
        lines = [
            f"≤ {quantity(shape.worst.ohms, 'ohm', 2)}",
            f"{' – '.join(shape.nets)}: {limit_said(shape.worst.limit)}",
        ]
        if shape.name:
            lines.insert(0, shape.name)
        half = max(text_width(line, TEXT_PT) for line in lines) * OTHER_FONTS / 2
        x = min(max(sum(xs) / len(xs), MARGIN + half), WIDTH - MARGIN - half)
        y, tall = sum(ys) / len(ys), len(lines) * 11.0
        if any(abs(x - ox) < half + oh and abs(y - oy) < tall for ox, oy, oh in taken):
            continue
        taken.append((x, y, half))
        drawing.box((x - half - 3, y - 10), (2 * half + 6, tall + 3), fill=PAPER, stroke=INK, width=0.5)
        for row, line in enumerate(lines):
            heading = line.startswith("≤")
            drawing.text((x, y + 11 * row), line, size=TEXT_PT, anchor="middle", bold=heading)


def _key(drawing: Drawing, frame: _Frame) -> None:
    y = frame.bottom + 12
    drawing.text((MARGIN, y + 8), "A leak that reads this or less explains trouble:", size=SMALL_PT, fill=FADED)
    x = MARGIN + 190
    for least, fill in TONES:
        corners: list[Point] = [(x, y), (x + 18, y), (x + 18, y + 10), (x, y + 10)]
        drawing.path(corners, stroke=INK, width=0.5, fill=fill)
        if least >= HATCHED_FROM:
            for start, end in hatching(corners, HATCH_STEP):
                drawing.line(start, end, stroke=PAPER, width=0.7)
        drawing.text((x + 22, y + 8), f"{quantity(least, 'ohm', 2)} or more", size=SMALL_PT)
        x += 96
    drawing.text(
        (MARGIN, y + 24),
        "White: none does harm down to 100 Ω. Measured at low voltage it is a lower bound.",
        size=SMALL_PT,
    )


def _list(drawing: Drawing, frame: _Frame, found: LeakMap) -> None:
    y = frame.bottom + KEY + 12
    drawing.text((MARGIN, y), "The pairs that the weakest leak upsets", size=TEXT_PT, bold=True)
    for row, pair in enumerate(frame.listed, 1):
        if pair.worst is not None:
            where = f"  ({', '.join(pair.areas)})" if pair.areas else ""
            drawing.text((MARGIN + 66, y + 13 * row), quantity(pair.worst.ohms, "ohm", 2), anchor="end", bold=True)
            drawing.text((MARGIN + 78, y + 13 * row), f"{' – '.join(pair.nets)}: {limit_said(pair.worst.limit)}{where}")


def _words(found: LeakMap) -> str:
    named = [area for area in found.areas if area.worst is not None and area.nets is not None]
    said = [
        f"{area.name}: {quantity(area.worst.ohms, 'ohm', 2)} between {' and '.join(area.nets)}"
        for area in named
        if area.worst and area.nets
    ]
    return "; ".join(said) or "No marked area in which a leak does harm."
