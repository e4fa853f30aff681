"""Plots of what a recording shows against frequency: response, harmonics, noise with hum lines; now against before.

Each takes the `listen --json` documents and gives SVG text, or None when neither document holds that block. What lies
outside a document's valid band is not drawn. Now is thick and dark, before is thin and grey (and broken, where
there is one curve), and each is named where it ends, so that nothing hangs on colour.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite, log10
from typing import Any

from dustcap.job.handover_data import LimitRegion
from dustcap.report.axes import Frame, frequency_frame, level_range
from dustcap.report.svg import DEEP, FADED, PAPER, SMALL_PT, runs, text_width
from dustcap.report.wording import frequency

Document = Mapping[str, Any]
PAGE_PT = 480.0
"""Width of a drawing that fills the page."""
LOW_HZ, HIGH_HZ = 20.0, 20000.0
BEFORE_DASH = "5 2.5"
BESIDE_DASH = "1.2 2.2"
DASHES = ("", "2 2", "7 2 2 2", "1 2", "4 4", "7 4")
ORDINALS = {2: "2nd", 3: "3rd", 4: "4th", 5: "5th", 6: "6th", 7: "7th"}
RIBBON = "#c9dbe4"


def response_plot(
    now: Document,
    before: Document | None = None,
    *,
    beside: Document | None = None,
    beside_label: str = "twin",
    limits: Sequence[LimitRegion] = (),
    width: float = PAGE_PT,
) -> str | None:
    """Response against frequency; the ribbon is the expanded uncertainty (95 %) of the curve's shape.

    `beside` is the unit it was compared with, drawn about the mean level of `now` where the limits hold.
    """
    curve, old = now.get("response"), (before or {}).get("response")
    other = _lifted((beside or {}).get("response"), curve)
    if not curve and not old:
        return None
    levels = [level for one in (curve, old, other) if one for level in _inside(one["hz"], one["db"], one)]
    top, span = level_range(levels, least_db=20.0)
    words = _heard(curve, old)
    frame = frequency_frame("Response", words, "dB", width, LOW_HZ, HIGH_HZ, top, span)
    _shade(frame, limits, "response")
    if curve:
        _ribbon(frame, curve)
    if old:
        frame.curve(old["hz"], old["db"], "before", valid=_valid(old), stroke=FADED, width=1.4, dash=BEFORE_DASH)
    if other:
        pen = {"stroke": FADED, "dash": BESIDE_DASH}
        frame.curve(other["hz"], other["db"], beside_label, valid=_valid(other), width=1.2, **pen)
    if curve:
        frame.curve(
            curve["hz"], curve["db"], "now" if before or other else "", valid=_valid(curve), stroke=DEEP, width=2.2
        )
    return frame.finished().svg()


def _lifted(other: Document | None, curve: Document | None) -> Document | None:
    """The other unit's curve at the mean level of this one over what both hold, so that the shapes compare."""
    if not other or not curve:
        return None
    mine = {round(hz, 2): db for hz, db in zip(curve["hz"], curve["db"], strict=True) if db is not None}
    pairs = [
        (mine[round(hz, 2)], db)
        for hz, db in zip(other["hz"], other["db"], strict=True)
        if db is not None and round(hz, 2) in mine
    ]
    if not pairs:
        return None
    lift = sum(here - there for here, there in pairs) / len(pairs)
    return {**other, "db": [None if db is None else db + lift for db in other["db"]]}


def harmonics_plot(
    now: Document,
    before: Document | None = None,
    *,
    orders: Sequence[int] = (2, 3),
    limits: Sequence[LimitRegion] = (),
    width: float = PAGE_PT,
) -> str | None:
    """Harmonics against the frequency that excites them, in dB against the fundamental.

    With totals in the documents, total distortion is drawn of both and the orders of now alone.
    """
    curves = [*_distortion(before or {}, orders, "before", FADED), *_distortion(now, orders, "now", DEEP)]
    if any(curve.label.startswith("total") for curve in curves):
        curves = [curve for curve in curves if curve.stroke == DEEP or curve.label.startswith("total")]
    levels = [level for curve in curves for level in _below(curve.block, within=True)]
    if not levels:
        return None
    top, span = level_range(levels)
    said = "At the frequency that excites them. 20 dB down is 10 %, 40 dB is 1 %, 60 dB is 0.1 %."
    frame = frequency_frame("Harmonics against the fundamental", said, "dB", width, LOW_HZ, HIGH_HZ, top, span)
    _shade(frame, limits, "harmonics")
    for curve in curves:
        block, label = curve.block, curve.label if before else curve.label.removesuffix(" now")
        pen = {"stroke": curve.stroke, "dash": curve.dash}
        frame.curve(block["hz"], _below(block), label, valid=_valid(block), width=curve.width, **pen)
    _per_cent_marks(frame)
    return frame.finished().svg()


@dataclass(frozen=True, slots=True)
class _Distortion:
    block: Document
    label: str
    stroke: str
    width: float
    dash: str


def _distortion(document: Document, orders: Sequence[int], when: str, stroke: str) -> list[_Distortion]:
    """The total and the orders of one document, as they are drawn: the total thick, each order with its own dash."""
    total = document.get("harmonics_total")
    thick = 2.0 if stroke == DEEP else 1.2
    found = [_Distortion(total, f"total {when}", stroke, thick, "" if stroke == DEEP else BEFORE_DASH)] if total else []
    for order, dash in zip(orders, DASHES, strict=False):
        block = _order(document, order)
        if block:
            width = thick if not total else 1.2
            found.append(_Distortion(block, f"{ORDINALS[order]} {when}", stroke, width, dash))
    return found


def noise_plot(
    now: Document, before: Document | None = None, *, limits: Sequence[LimitRegion] = (), width: float = PAGE_PT
) -> str | None:
    """Noise in third octaves as steps, hum lines as stems with their frequency; levels in dB of full scale."""
    pair = [document.get("noise") or {} for document in (now, before or {})]
    levels = [level for one in pair for level in [*_bands(one).values(), *_lines(one).values()]]
    if not levels:
        return None
    top, span = level_range(levels, most_db=60.0)
    said = (
        "Noise in the quiet gap in third octaves, and the hum lines found above it. Levels against a full-scale sine."
    )
    frame = frequency_frame("Noise and hum", said, "dBFS", width, LOW_HZ, HIGH_HZ, top, span)
    _shade(frame, limits, "noise")
    for noise, stroke, thick, dash, label in (
        (pair[1], FADED, 1.2, BEFORE_DASH, "before"),
        (pair[0], DEEP, 2.0, "", "now" if before else ""),
    ):
        _steps(frame, _bands(noise), stroke, thick, dash, label)
    for noise, stroke in ((pair[1], FADED), (pair[0], DEEP)):
        _stems(frame, _lines(noise), stroke, named=noise is pair[0] or not _lines(pair[0]))
    return frame.finished().svg()


def _heard(now: Document | None, old: Document | None) -> str:
    one = now or old or {}
    low, high = _valid(one)
    words = f"Valid from {frequency(round(low))} to {frequency(round(high))} Hz"
    return f"{words}, smoothed over {one['smoothing']} octave." if one.get("smoothing") else f"{words}."


def _valid(block: Document) -> tuple[float, float]:
    """The valid band in hertz; without one, a band that holds nothing."""
    low, high = block.get("valid") or (HIGH_HZ, LOW_HZ)
    return float(low), float(high)


def _inside(hz: Sequence[float], levels: Sequence[float | None], block: Document) -> list[float | None]:
    low, high = _valid(block)
    inside = zip(hz, levels, strict=True)
    return [level for one, level in inside if max(low, LOW_HZ) <= one <= min(high, HIGH_HZ)]


def _ribbon(frame: Frame, curve: Document) -> None:
    spread = curve.get("uncertainty_db")
    if spread is None:
        return
    each = [spread] * len(curve["hz"]) if isinstance(spread, int | float) else spread
    known = [
        (hz, level, one) if level is not None and one is not None else (hz, None, 0.0)
        for hz, level, one in zip(curve["hz"], curve["db"], each, strict=True)
    ]
    low, high = _valid(curve)
    edges = [
        runs([hz for hz, _, _ in known], [None if y is None else y + side * one for _, y, one in known], low, high)
        for side in (-1, 1)
    ]
    for under, over in zip(*edges, strict=True):
        frame.ribbon([x for x, _ in under], [y for _, y in under], [y for _, y in over], fill=RIBBON)


def _order(document: Document, order: int) -> Document | None:
    return next((one for one in document.get("harmonics") or () if one["order"] == order), None)


def _below(curve: Document, *, within: bool = False) -> list[float | None]:
    levels = [None if level is None else -level for level in curve["db_below_fundamental"]]
    return _inside(curve["hz"], levels, curve) if within else levels


def _per_cent_marks(frame: Frame) -> None:
    for db, words in ((-20, "10 %"), (-40, "1 %"), (-60, "0.1 %"), (-80, "0.01 %")):
        if frame.y.low < db < frame.y.high:
            frame.field_.text((3, frame.spot(LOW_HZ, db)[1] - 2), words, size=SMALL_PT, fill=FADED)


def _bands(noise: Document) -> dict[float, float]:
    """Third-octave levels by exact mid frequency, 1000 x 10^(n/10) Hz (IEC 61260-1:2014, 5.2, base 10)."""
    bands = noise.get("bands") or {}
    return {
        1000.0 * 10 ** (round(10 * log10(float(name) / 1000.0)) / 10): float(level)
        for name, level in bands.items()
        if level is not None and isfinite(level) and LOW_HZ * 0.95 <= float(name) <= HIGH_HZ
    }


def _lines(noise: Document) -> dict[float, float]:
    lines = [(line["hz"], line["db"]) for line in noise.get("hum") or ()]
    return {hz: db for hz, db in lines if hz is not None and db is not None and LOW_HZ <= hz <= HIGH_HZ}


def _steps(frame: Frame, bands: Mapping[float, float], stroke: str, width: float, dash: str, label: str) -> None:
    half = 10**0.05
    hz = [edge for middle in sorted(bands) for edge in (max(middle / half, LOW_HZ), min(middle * half, HIGH_HZ))]
    levels: list[float | None] = [bands[middle] for middle in sorted(bands) for _ in range(2)]
    frame.curve(hz, levels, label, stroke=stroke, width=width, dash=dash)


def _stems(frame: Frame, lines: Mapping[float, float], stroke: str, *, named: bool) -> None:
    taken = -1.0
    for hz, level in sorted(lines.items()):
        x, y = frame.spot(hz, level)
        frame.field_.line((x, frame.y.length), (x, y), stroke=stroke, width=1.4)
        frame.field_.dot((x, y), 2.6, fill=stroke if named else PAPER, stroke=stroke)
        said = f"{hz:.0f}"
        half = text_width(said, SMALL_PT) / 2
        if named and x - half > taken:
            frame.field_.text((x, max(y - 5, SMALL_PT)), said, size=SMALL_PT, anchor="middle", fill=stroke, halo=True)
            taken = x + half


def _shade(frame: Frame, limits: Sequence[LimitRegion], plot: str) -> None:
    for limit in limits:
        if limit.plot != plot:
            continue
        if limit.good_high is not None:
            frame.shade(limit.low_hz, limit.high_hz, limit.good_high, frame.y.high, limit.words)
        if limit.good_low is not None:
            frame.shade(limit.low_hz, limit.high_hz, frame.y.low, limit.good_low, limit.words)
