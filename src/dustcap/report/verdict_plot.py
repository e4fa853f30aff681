"""A verdict as a small picture: the limit, the value with its uncertainty, and where it was before.

Pass, fail and undecided differ in shape and in word: a tick in a disc, a cross in a square, an open diamond.
"""

from __future__ import annotations

from dustcap.errors import InputError
from dustcap.job.handover_data import VerdictLine
from dustcap.report.svg import DEEP, FADED, INK, PAPER, SHADE, Drawing

MARK_PT = 14.0
TONES = {"pass": "#1c6b45", "fail": "#a3241c", "undecided": "#7a5b00"}


def verdict_mark(verdict: str) -> str:
    """The sign of a verdict as SVG."""
    if verdict not in TONES:
        raise InputError(
            f"there is no verdict {verdict!r}.", where="report", mend="A verdict is pass, fail or undecided."
        )
    drawing = Drawing(MARK_PT, MARK_PT, verdict)
    tone, middle = TONES[verdict], MARK_PT / 2
    if verdict == "pass":
        drawing.dot((middle, middle), 6.5, fill=tone)
        drawing.path([(3.8, 7.2), (6.2, 9.8), (10.4, 4.4)], stroke=PAPER, width=1.9)
    elif verdict == "fail":
        drawing.box((1, 1), (12, 12), fill=tone)
        drawing.line((4, 4), (10, 10), stroke=PAPER, width=2.0)
        drawing.line((10, 4), (4, 10), stroke=PAPER, width=2.0)
    else:
        drawing.path([(7, 0.8), (13.2, 7), (7, 13.2), (0.8, 7), (7, 0.8)], stroke=tone, width=1.8)
        drawing.dot((middle, middle), 1.7, fill=tone)
    return drawing.svg()


def verdict_gauge(line: VerdictLine, *, width: float = 130.0) -> str | None:
    """Limit, value and uncertainty on one scale; None without a value or a limit.

    The value before the work is a ring; an arrow at the edge when it lies far off (more than twice the scale away).
    """
    if line.value is None or line.limit is None:
        return None
    spread = line.uncertainty or 0.0
    limits = (-line.limit, line.limit) if line.better == "within" else (line.limit,)
    low, high = _scale([line.value - spread, line.value + spread, *limits], line.before)
    drawing = Drawing(width, 16.0, f"{line.what}: {line.verdict}")

    def at(value: float) -> float:
        return width * min(max((value - low) / (high - low), 0.0), 1.0)

    if line.better in ("below", "within"):
        drawing.box((at(limits[-1]), 1), (width - at(limits[-1]), 14), fill=SHADE)
    if line.better in ("above", "within"):
        drawing.box((0.0, 1), (at(limits[0]), 14), fill=SHADE)
    drawing.line((0, 8), (width, 8), stroke=FADED, width=0.6)
    for limit in limits:
        drawing.line((at(limit), 1), (at(limit), 15), stroke=INK, width=1.4)
    if line.before is not None and low <= line.before <= high:
        drawing.dot((at(line.before), 8), 3.0, fill=PAPER, stroke=FADED)
    elif line.before is not None:
        tip, side = (1.0, 1.0) if line.before < low else (width - 1.0, -1.0)
        drawing.path([(tip + 5 * side, 4), (tip, 8), (tip + 5 * side, 12)], stroke=FADED, width=1.6)
    drawing.line((at(line.value - spread), 8), (at(line.value + spread), 8), stroke=DEEP, width=2.4)
    drawing.dot((at(line.value), 8), 3.4, fill=DEEP)
    return drawing.svg()


def _scale(marks: list[float], before: float | None) -> tuple[float, float]:
    """Ends of the scale: all marks, the value before only when that does not squeeze them, and some air."""
    room = (max(marks) - min(marks)) or abs(marks[0]) or 1.0
    if before is not None and min(marks) - 2 * room <= before <= max(marks) + 2 * room:
        marks = [*marks, before]
        room = max(marks) - min(marks) or room
    return min(marks) - 0.12 * room, max(marks) + 0.12 * room
