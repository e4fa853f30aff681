"""Drawing text, lines and areas as SVG: the one hand that draws for the pages and for the PDF.

One unit is one point (1/72 inch) on paper; a page may scale the drawing. Nothing is random and every number is written
with two decimals, so that the same data gives the same text. No ids are used, so that several drawings may stand in
one page; clipping is done by nested ``<svg>`` elements.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from html import escape
from math import isfinite

INK = "#16202a"
"""Text and the newest curve."""
FADED = "#6b7680"
"""Text of the second rank, and what was before."""
GRID = "#d5dade"
SHADE = "#e4e0d8"
"""Where a limit is broken; where nothing was measured."""
PAPER = "#ffffff"
DEEP = "#0f4c6e"
"""The one colour: what is now. Dark enough to be told from FADED in grey."""

FONT = "'Source Sans Pro', 'Source Sans 3', system-ui, sans-serif"
TEXT_PT = 9.0
SMALL_PT = 8.0

Point = tuple[float, float]


def number(value: float) -> str:
    """A coordinate: two decimals, no trailing zeros, no minus zero."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def text_width(text: str, size: float = TEXT_PT) -> float:
    """About how wide a text is, in points: half the size a character, capitals and figures a little more.

    A choice of ours for Source Sans Pro; it errs on the wide side, so that labels placed by it do not touch.
    """
    return sum(0.3 if letter in "il.,:;' |!jtf" else 0.62 if letter.isupper() else 0.53 for letter in text) * size


def shortened(text: str, width: float, size: float = TEXT_PT) -> str:
    """The text, cut with an ellipsis when it is wider than `width` points."""
    if text_width(text, size) <= width:
        return text
    while text and text_width(text + "…", size) > width:
        text = text[:-1]
    return text.rstrip() + "…"


@dataclass(slots=True)
class Drawing:
    """A drawing that grows by its methods and is read by `svg`; x runs right, y runs down, both in points."""

    width: float
    height: float
    title: str = ""
    words: str = ""
    role: str = "img"
    """``group`` for a drawing with links in it."""
    _parts: list[str] = field(default_factory=list)
    _open: list[str] = field(default_factory=list)

    def line(self, start: Point, end: Point, *, stroke: str = INK, width: float = 0.8, dash: str = "") -> None:
        """A straight line."""
        ends = " ".join(
            f'{name}="{number(at)}"' for name, at in zip(("x1", "y1", "x2", "y2"), (*start, *end), strict=True)
        )
        self._parts.append(f"<line {ends}{_pen(stroke, width, dash)}/>")

    def path(
        self, points: Iterable[Point], *, stroke: str = INK, width: float = 1.6, dash: str = "", fill: str = "none"
    ) -> None:
        """A line through points; with `fill`, the area that they enclose."""
        joined = " ".join(f"{number(x)},{number(y)}" for x, y in points)
        tag = "polyline" if fill == "none" else "polygon"
        self._parts.append(
            f'<{tag} points="{joined}" fill="{fill}" stroke-linejoin="round"{_pen(stroke, width, dash)}/>'
        )

    def box(
        self,
        corner: Point,
        size: Point,
        *,
        fill: str = "none",
        stroke: str = "none",
        width: float = 0.8,
        dash: str = "",
    ) -> None:
        """A rectangle from its upper left corner."""
        self._parts.append(
            f'<rect x="{number(corner[0])}" y="{number(corner[1])}" width="{number(max(size[0], 0.0))}" '
            f'height="{number(max(size[1], 0.0))}" fill="{fill}"{_pen(stroke, width, dash)}/>'
        )

    def dot(self, centre: Point, radius: float, *, fill: str = INK, stroke: str = "none", width: float = 1.2) -> None:
        """A filled circle."""
        self._parts.append(
            f'<circle cx="{number(centre[0])}" cy="{number(centre[1])}" r="{number(radius)}" fill="{fill}"'
            f"{_pen(stroke, width, '')}/>"
        )

    def text(
        self,
        at: Point,
        words: str,
        *,
        size: float = TEXT_PT,
        anchor: str = "start",
        fill: str = INK,
        bold: bool = False,
        halo: bool = False,
    ) -> None:
        """A line of text on its base line; `halo` clears the ground behind it."""
        place = f'x="{number(at[0])}" y="{number(at[1])}" font-size="{number(size)}" text-anchor="{anchor}"'
        weight = ' font-weight="600"' if bold else ""
        said = escape(_plain(words), quote=False)
        if halo:
            ground = f'fill="none" stroke="{PAPER}" stroke-width="3" stroke-linejoin="round"'
            self._parts.append(f"<text {place}{weight} {ground}>{said}</text>")
        self._parts.append(f'<text {place}{weight} fill="{fill}">{said}</text>')

    def picture(self, href: str, size: Point) -> None:
        """A photograph from the upper left corner of the drawing."""
        self._parts.append(
            f'<image href="{escape(_plain(href))}" width="{number(size[0])}" height="{number(size[1])}" '
            'preserveAspectRatio="none"/>'
        )

    def begin(self, *, href: str = "", says: str = "", faint: float = 1.0) -> None:
        """What follows, up to `end`, belongs together: a link, or shapes that let the ground shine through."""
        through = f' opacity="{number(faint)}"' if faint < 1 else ""
        label = f' aria-label="{escape(_plain(says))}"' if says else ""
        self._parts.append(f'<a href="{escape(_plain(href))}"{label}>' if href else f"<g{through}>")
        self._open.append("a" if href else "g")

    def end(self) -> None:
        """The end of what `begin` began."""
        self._parts.append(f"</{self._open.pop()}>")

    def window(self, inner: Drawing, at: Point) -> None:
        """Another drawing set in at a place and cut off at its edges."""
        place = f'x="{number(at[0])}" y="{number(at[1])}" width="{number(inner.width)}" height="{number(inner.height)}"'
        self._parts.append(f'<svg {place} overflow="hidden">{"".join(inner._parts)}</svg>')

    def svg(self) -> str:
        """The drawing as one SVG document, with title and description for those who listen to it."""
        size = f"{number(self.width)} {number(self.height)}"
        said = f"<title>{escape(_plain(self.title))}</title>" + (
            f"<desc>{escape(_plain(self.words))}</desc>" if self.words else ""
        )
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size}" width="{number(self.width)}pt" '
            f'height="{number(self.height)}pt" role="{self.role}" font-family="{FONT}">{said}'
            f"{''.join(self._parts)}</svg>\n"
        )


def runs(xs: Sequence[float], ys: Sequence[float | None], low: float, high: float) -> list[list[Point]]:
    """The stretches of a curve that may be drawn: inside `low` to `high`, unbroken by a missing value."""
    stretches: list[list[Point]] = [[]]
    for x, y in zip(xs, ys, strict=True):
        if y is None or not isfinite(y) or not low <= x <= high:
            stretches.append([])
        else:
            stretches[-1].append((x, y))
    return [stretch for stretch in stretches if stretch]


def thinned(points: Sequence[Point], step: float = 0.4) -> list[Point]:
    """Points without those that no eye can part: of each `step` points of width the first, lowest, highest and last."""
    kept: list[Point] = []
    group: list[Point] = []
    for point in points:
        if group and point[0] - group[0][0] >= step:
            kept += _outline(group)
            group = []
        group.append(point)
    return kept + _outline(group)


def _outline(group: Sequence[Point]) -> list[Point]:
    if len(group) < 5:
        return list(group)
    heights = [y for _, y in group]
    marks = sorted({0, heights.index(min(heights)), heights.index(max(heights)), len(group) - 1})
    return [group[mark] for mark in marks]


def _pen(stroke: str, width: float, dash: str) -> str:
    if stroke == "none":
        return ""
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return f' stroke="{stroke}" stroke-width="{number(width)}"{dashed}'


def _plain(words: str) -> str:
    """Text without the control characters that XML cannot hold."""
    return "".join(letter if letter.isprintable() else " " for letter in words)
