"""The board seen from above with every marked area and every gap shaded by the pair of nets that a leak upsets first.

Darker: a weaker leak is enough. Five tones in even steps of lightness with hatching on the two darkest, and the reading
that would already explain the trouble written beside the shape, so that nothing hangs on colour or on a good printer.
"""

from __future__ import annotations

from math import cos, hypot, inf, pi, sin

from dustcap.job.leak_map import LeakMap, Shape, limit_said
from dustcap.report.svg import FADED, GRID, INK, PAPER, SMALL_PT, TEXT_PT, Drawing, Point, shortened, text_width
from dustcap.report.wording import quantity

WIDTH = 720.0
MARGIN, HEAD, KEY = 16.0, 30.0, 44.0
TONES = ((1e7, "#4a4a4a"), (1e6, "#7d7d7d"), (1e5, "#a8a8a8"), (1e4, "#cccccc"), (100.0, "#e6e6e6"))
"""Fill by the critical leakage from which on it holds; `PAPER` where no leak does harm."""
HATCHED_FROM = 1e6
HATCH_STEP = 5.0
GAP_WIDTH, NAME_PT = 8.0, 5.5
LEAST_LABELLED = 1e4
"""A gap that only a leak stronger than this upsets is shaded, and not written on."""
OTHER_FONTS = 1.15
"""Room for a viewer's own font, where the drawing's is not at hand."""
LEAST_MM = 10.0
Box = tuple[float, float, float, float]
LISTED, NUMBERED, BADGE = 20, 12, 16.0


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
        drawing.text((at[0] + 2, at[1] - 2), place.name, size=NAME_PT, fill=FADED, halo=True)
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
        numbered = {gap.nets for gap in _numbered(found)}
        worst = sorted((p for p in found.pairs if p.worst), key=lambda p: -((p.worst and p.worst.ohms) or 0))
        self.listed = [p for place, p in enumerate(worst) if place < LISTED or p.nets in numbered]
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
    """A band from part to part, thinner where it harms less; a disc where both nets are on one part."""
    ohms = gap.worst.ohms if gap.worst else None
    start, end = (frame.spot(place) for place in gap.outline)
    wide = GAP_WIDTH if ohms is not None and ohms >= LEAST_LABELLED else GAP_WIDTH / 2
    if hypot(end[0] - start[0], end[1] - start[1]) < wide:
        drawing.dot(start, wide, fill=tone(ohms), stroke=FADED, width=0.6)
        return
    drawing.line(start, end, stroke=FADED, width=wide + 1.2)
    drawing.line(start, end, stroke=tone(ohms), width=wide)


def _numbered(found: LeakMap) -> list[Shape]:
    """The gaps that carry a number and a reading, worst first; those within a marked area are told by the area."""
    marked = {nets for pair in found.pairs if pair.areas for nets in (pair.nets, pair.nets[::-1])}
    gaps = [gap for gap in found.gaps if gap.nets not in marked and _ohms(gap) >= LEAST_LABELLED]
    return sorted(gaps, key=lambda gap: -_ohms(gap))[:NUMBERED]


def _labels(drawing: Drawing, frame: _Frame, found: LeakMap) -> None:
    """Beside every area and every numbered gap the reading that would already explain the trouble."""
    taken = [_name_box(frame, place.name, place.at) for place in found.places]
    taken += [_bounds([frame.spot(corner) for corner in area.outline]) for area in found.areas]
    numbered = _numbered(found)
    taken += [_bounds([frame.spot(place) for place in gap.outline], GAP_WIDTH) for gap in numbered]
    labels: list[tuple[Shape, list[str], str]] = []
    for area in found.areas:
        if area.worst is not None and area.nets is not None:
            reading = f"≤ {quantity(area.worst.ohms, 'ohm', 2)}"
            labels.append((area, [area.name, reading, f"{' – '.join(area.nets)}:", limit_said(area.worst.limit)], ""))
    for number, gap in enumerate(numbered, 1):
        labels.append((gap, [f"≤ {quantity(_ohms(gap), 'ohm', 2)}"], str(number)))
    for shape, lines, number_said in labels:
        badge = BADGE if number_said else 0.0
        spots = [frame.spot(corner) for corner in shape.outline]
        centre = sum(x for x, _ in spots) / len(spots), sum(y for _, y in spots) / len(spots)
        wide = max(text_width(line, TEXT_PT) for line in lines) * OTHER_FONTS + 8 + badge
        tall = 11.0 * len(lines) + 4
        corner = _free(frame, centre, (wide, tall), taken)
        taken.append((corner[0], corner[1], corner[0] + wide, corner[1] + tall))
        near = (min(max(centre[0], corner[0]), corner[0] + wide), min(max(centre[1], corner[1]), corner[1] + tall))
        drawing.line(centre, near, stroke=INK, width=0.7)
        drawing.dot(centre, 1.6, fill=INK)
        drawing.box(corner, (wide, tall), fill=PAPER, stroke=INK, width=0.6)
        if number_said:
            drawing.box(corner, (badge, tall), fill=INK)
            drawing.text((corner[0] + badge / 2, corner[1] + 10.5), number_said, anchor="middle", fill=PAPER, bold=True)
        for row, line in enumerate(lines):
            at = (corner[0] + (wide + badge) / 2, corner[1] + 10.5 + 11 * row)
            drawing.text(at, line, size=TEXT_PT, anchor="middle", bold="≤" in line)


def _name_box(frame: _Frame, name: str, place: tuple[float, float]) -> Box:
    x, y = frame.spot(place)
    return x - 2, y - 8, x + 2 + text_width(name, NAME_PT) * OTHER_FONTS, y + 2


def _bounds(spots: list[Point], wide: float = 0.0) -> Box:
    xs, ys = zip(*spots, strict=True)
    return min(xs) - wide / 2, min(ys) - wide / 2, max(xs) + wide / 2, max(ys) + wide / 2


def _free(frame: _Frame, centre: Point, size: Point, taken: list[Box]) -> Point:
    """Upper left corner of the nearest free place for a label; where nothing is free, the place that hides least."""
    best, least = (centre[0] + 6, centre[1] - size[1] - 6), inf
    for step in range(1, 40):
        for turn in range(16):
            angle = pi * (2 * turn + 1) / 16
            x = centre[0] + cos(angle) * (8.0 * step + size[0] / 2) - size[0] / 2
            y = centre[1] + sin(angle) * (8.0 * step + size[1] / 2) - size[1] / 2
            box = (x, y, x + size[0], y + size[1])
            if x < MARGIN + 2 or y < HEAD + 2 or box[2] > WIDTH - MARGIN - 2 or box[3] > frame.bottom - 2:
                continue
            hidden = sum(_overlap(box, other) for other in taken)
            if hidden == 0:
                return x, y
            if hidden < least:
                best, least = (x, y), hidden
    return best


def _overlap(one: Box, other: Box) -> float:
    wide = min(one[2], other[2]) - max(one[0], other[0]) + 2
    tall = min(one[3], other[3]) - max(one[1], other[1]) + 2
    return wide * tall if wide > 0 and tall > 0 else 0.0


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
        "White: none does harm down to 100 Ω. A leakage measured at low voltage is a lower bound on what it does "
        "at working volts: near a limit, measure it there.",
        size=SMALL_PT,
    )


def _list(drawing: Drawing, frame: _Frame, found: LeakMap) -> None:
    y = frame.bottom + KEY + 12
    drawing.text((MARGIN, y), "The pairs that the weakest leak upsets", size=TEXT_PT, bold=True)
    numbers = {gap.nets: number for number, gap in enumerate(_numbered(found), 1)}
    for row, pair in enumerate(frame.listed, 1):
        if pair.worst is not None:
            where = f"  ({', '.join(pair.areas)})" if pair.areas else ""
            number = numbers.get(pair.nets)
            drawing.text((MARGIN, y + 13 * row), str(number) if number else "", bold=True)
            drawing.text((MARGIN + 78, y + 13 * row), quantity(pair.worst.ohms, "ohm", 2), anchor="end", bold=True)
            others = [limit_said(each.limit) for each in pair.broken[1:3]]
            more = f"; stronger: {', '.join(others)}" if others else ""
            words = f"{' – '.join(pair.nets)}: {limit_said(pair.worst.limit)}{where}{more}"
            drawing.text((MARGIN + 90, y + 13 * row), shortened(words, (WIDTH - 2 * MARGIN - 90) / OTHER_FONTS))


def _words(found: LeakMap) -> str:
    named = [area for area in found.areas if area.worst is not None and area.nets is not None]
    said = [
        f"{area.name}: {quantity(area.worst.ohms, 'ohm', 2)} between {' and '.join(area.nets)}"
        for area in named
        if area.worst and area.nets
    ]
    return "; ".join(said) or "No marked area in which a leak does harm."
