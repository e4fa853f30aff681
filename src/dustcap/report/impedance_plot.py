"""Impedance against frequency: modulus on logarithmic scales, phase below, the twin or the state before beside it."""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil, floor, log10
from typing import Any

from dustcap.report.axes import LEFT, RIGHT, TOP, Axis, Frame, frequency_frame, level_grid
from dustcap.report.recording_plots import BEFORE_DASH, PAGE_PT
from dustcap.report.svg import DEEP, FADED, GRID, SMALL_PT, Drawing

Document = Mapping[str, Any]
LOW_HZ, HIGH_HZ = 5.0, 20_000.0
OHMS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)
MARKS = (("fl_hz", "fL"), ("fm_hz", "fM"), ("fh_hz", "fH"))
PHASE_PT = 60.0


def impedance_plot(now: Document, *, width: float = PAGE_PT) -> str | None:
    """The document of `dustcap impedance` as a drawing; none where it holds no curve."""
    curve, other = now.get("curve") or {}, (now.get("against") or {}).get("curve") or {}
    known = [ohm for one in (curve, other) for ohm in one.get("ohm") or () if ohm]
    if not curve.get("ohm"):
        return None
    low, high = _decades(min(known), max(known))
    top, span = 20 * log10(high), 20 * log10(high / low)
    ends = f"{now['valid'][0]:.0f} to {now['valid'][1]:.0f} Hz"
    words = f"Modulus of the impedance of {now.get('recording', '')}, valid {ends}."
    frame = frequency_frame("Impedance", words, "Ω", width, LOW_HZ, HIGH_HZ, top, span, levels=False)
    _ohm_grid(frame)
    for one, stroke, thick, dash, label in (
        (other, FADED, 1.2, BEFORE_DASH, "twin"),
        (curve, DEEP, 2.0, "", "this" if other else ""),
    ):
        if one.get("ohm"):
            levels = [None if ohm is None else 20 * log10(ohm) for ohm in one["ohm"]]
            frame.curve(one["hz"], levels, label, stroke=stroke, width=thick, dash=dash)
    _marks(frame, now)
    above, below = frame.finished(), _phase(curve, other, width)
    whole = Drawing(width, above.height + below.height, "Impedance", words)
    whole.window(above, (0.0, 0.0))
    whole.window(below, (0.0, above.height))
    return whole.svg()


def _decades(low: float, high: float) -> tuple[float, float]:
    """Ends of the scale in ohm at figures that are written, a decade apart at least."""
    first = max((ohm for ohm in OHMS if ohm <= low), default=10 ** floor(log10(low)))
    last = min((ohm for ohm in OHMS if ohm >= high * 1.05), default=10 ** ceil(log10(high)))
    return float(first), float(max(last, 10 * first))


def _ohm_grid(frame: Frame) -> None:
    """Lines across at ohms; the scale itself is in decibels of them."""
    for ohm in OHMS:
        level = 20 * log10(ohm)
        if frame.y.low - 1e-9 <= level <= frame.y.high + 1e-9:
            height = frame.y.length - frame.y.at(level)
            frame.field_.line((0, height), (frame.x.length, height), stroke=GRID)
            frame.drawing.text((LEFT - 4, TOP + height + 3), f"{ohm}", size=SMALL_PT, anchor="end", fill=FADED)


def _marks(frame: Frame, now: Document) -> None:
    box = now.get("box") or {}
    named = [(name, box.get(key)) for key, name in MARKS] + [("fs", now.get("fs_hz")), ("fc", now.get("fc_hz"))]
    for name, one in named:
        if one and one.get("value") and LOW_HZ < one["value"] < HIGH_HZ:
            x = frame.x.at(one["value"])
            frame.field_.line((x, 0), (x, frame.y.length), stroke=FADED, dash="2 2")
            frame.field_.text((x + 2, SMALL_PT + 1), f"{name} {one['value']:.3g}", size=SMALL_PT, halo=True)


def _phase(curve: Document, other: Document, width: float) -> Drawing:
    drawing = Drawing(width, TOP + PHASE_PT + 6, "Phase")
    drawing.text((LEFT, 12), "Phase", size=SMALL_PT + 1, bold=True)
    drawing.text((LEFT - 4, 12), "°", size=SMALL_PT, anchor="end", fill=FADED)
    length = width - LEFT - RIGHT
    frame = Frame(
        drawing, Drawing(length, PHASE_PT), Axis(LOW_HZ, HIGH_HZ, length, log=True), Axis(-90.0, 90.0, PHASE_PT)
    )
    level_grid(frame, 45.0)
    for one, stroke, thick, dash in ((other, FADED, 1.0, BEFORE_DASH), (curve, DEEP, 1.4, "")):
        if one.get("degrees"):
            frame.curve(one["hz"], one["degrees"], stroke=stroke, width=thick, dash=dash)
    return frame.finished()
