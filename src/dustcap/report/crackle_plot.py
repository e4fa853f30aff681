"""Crackle on time: one strip a recording, one stroke an event."""

from __future__ import annotations

from dustcap.report.axes import LEFT, time_frame
from dustcap.report.recording_plots import PAGE_PT, Document
from dustcap.report.svg import FADED, INK, PAPER, SMALL_PT, TEXT_PT, Drawing

STRIP_PT = 25.0
"""Height of a strip."""


def crackle_plot(now: Document, before: Document | None = None, *, width: float = PAGE_PT) -> str | None:
    """Crackle events on time, one strip a recording, shaded where nothing was measured; a line where none is."""
    strips = [
        (document["crackle"], label)
        for document, label in ((before, "before"), (now, "now" if before else ""))
        if document and document.get("crackle")
    ]
    if not strips:
        return None
    high = max([20.0, *(size for crackle, _ in strips for size in crackle.get("sizes_db") or ())]) * 1.1
    drawn = [_strip(crackle, label, width, high) for crackle, label in strips]
    whole = Drawing(width, sum(one.height for one in drawn), "Crackle", " ".join(one.title for one in drawn))
    down = 0.0
    for one in drawn:
        whole.window(one, (0.0, down))
        down += one.height
    return whole.svg()


def _strip(crackle: Document, label: str, width: float, high: float) -> Drawing:
    times, sizes = crackle.get("times") or [], crackle.get("sizes_db") or []
    windows = crackle.get("windows") or [[0.0, crackle.get("seconds") or 1.0]]
    end = max([window[1] for window in windows] + list(times))
    title = f"Crackle {label}".rstrip() + f": {crackle_words(crackle)}"
    if not times:
        return _line(title, width)
    frame = time_frame(title, "", "dB", width, STRIP_PT, (0.0, end), high)
    free = [0.0, *(edge for window in windows for edge in window), end]
    for left, right in zip(free[::2], free[1::2], strict=True):
        frame.shade(left, right, 0.0, high, "not measured")
    threshold = crackle.get("threshold_db")
    if threshold is not None:
        left, right = frame.spot(0.0, threshold), frame.spot(end, threshold)
        frame.field_.line(left, right, stroke=FADED, dash="2 2")
        frame.drawing.text((width - 60.0, 20.0 + left[1] + 3), "threshold", size=SMALL_PT, fill=FADED)
    for second, size in zip(times, sizes, strict=True):
        frame.field_.line(frame.spot(second, 0.0), frame.spot(second, size), stroke=INK, width=1.3)
    return frame.finished()


def _line(title: str, width: float) -> Drawing:
    """A recording without events: its words are enough."""
    drawing = Drawing(width, 18.0, title)
    drawing.box((0, 0), (width, 18.0), fill=PAPER)
    drawing.text((LEFT, 12), title, size=TEXT_PT + 1, bold=True)
    return drawing


def crackle_words(crackle: Document) -> str:
    """Crackle in words: how many events, the rate and its exact 95 % interval."""
    count, seconds = crackle.get("events") or 0, crackle.get("seconds") or 0.0
    said = f"{count} event{'' if count == 1 else 's'} in {seconds:.3g} s"
    low, high = crackle.get("low"), crackle.get("high")
    if low is None or high is None:
        return said
    rate, low, high = (f"{value:#.2g}".rstrip(".") for value in (crackle.get("rate") or 0.0, low, high))
    return f"{said}, {rate} a second (95 %: {low} to {high})"
