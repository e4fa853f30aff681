"""What an impedance says, as text for people: what it means first, then the figures with their 95 % ranges."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from dustcap.quantities import show

if TYPE_CHECKING:
    from rich.console import Console

Row = Mapping[str, Any]

LABEL = 22
FIGURES = (
    ("re_ohm", "coil, d.c.", "ohm", 1.0),
    ("fs_hz", "resonance fs", "Hz", 1.0),
    ("fc_hz", "resonance fc", "Hz", 1.0),
    ("qms", "Qms", "", 1.0),
    ("qes", "Qes", "", 1.0),
    ("qts", "Qts", "", 1.0),
    ("qtc", "Qtc", "", 1.0),
    ("peak_ohm", "peak", "ohm", 1.0),
    ("mms_g", "moving mass Mms", "g", 1.0),
    ("cms_mm_n", "compliance Cms", "m/N", 1e-3),
    ("bl", "force factor Bl", "T m", 1.0),
    ("vas_l", "Vas", "L", 1.0),
)
BOX = (
    ("fl_hz", "lower peak fL", "Hz"),
    ("fm_hz", "minimum fM", "Hz"),
    ("fh_hz", "upper peak fH", "Hz"),
    ("fb_hz", "box tuning fB", "Hz"),
    ("alpha", "compliance ratio", ""),
    ("ql", "box losses QL", ""),
)
LEAKS = {"yes": "leaks", "no": "tight", "undecided": "undecided"}


def print_impedance(out: Console, document: Row) -> None:
    """Print the document of `dustcap impedance`."""
    kept = f", kept as entry {document['entry']} of job {document['job']}" if document.get("entry") else ""
    out.print(f"{document['recording']}: {document['mount']}{kept}")
    for one in document.get("meaning", ()):
        out.print(f"> {one['what']} ({one['why']})", style="bold yellow")
        out.print(f"    {one['do']}")
    for one in document.get("refused", ()):
        out.print(f"✗ no {one['what']}: {one['why']} {one['do']}".rstrip(), style="red")
    for one in document.get("warnings", ()):
        out.print(f"! {one['what']}: {one['do']}", style="yellow")
    for key, label, unit, factor in FIGURES:
        _figure(out, label, document.get(key), unit, factor)
    coil = document.get("inductance")
    if coil:
        _figure(out, "inductance at 1 kHz", coil["le_mh_1khz"], "H", 1e-3)
    box = document.get("box") or {}
    for key, label, unit in BOX:
        _figure(out, label, box.get(key), unit)
    if box.get("leak"):
        _line(out, "cabinet", LEAKS[box["leak"]])
    if document.get("coil_c") is not None:
        _line(out, "coil temperature", f"{document['coil_c']:.0f} °C")
    for key in ("against", "louder"):
        _beside(out, document.get(key))
    valid = document["valid"]
    noise = "" if document.get("snr_db") is None else f", {document['snr_db']:.0f} dB above the noise"
    _line(out, "valid", f"{show(valid[0], 'Hz')} to {show(valid[1], 'Hz')}{noise}")
    fit = document.get("fit")
    if fit and fit["scatter"] is not None and fit["scatter"] > 2 and document.get("snr_db") is not None:
        _line(out, "fit", f"weak: the curve is {fit['scatter']:.1f} times further from the model than noise explains")


def _figure(out: Console, label: str, one: Row | None, unit: str, factor: float = 1.0) -> None:
    if one is None or one.get("value") is None:
        return
    value = one["value"] * factor
    low, high = (None if one[key] is None else one[key] * factor for key in ("low", "high"))
    digits = _digits(value, low, high)
    ends = f"{_shown(low, unit, digits)} to {_shown(high, unit, digits)}"
    _line(out, label, f"{_shown(value, unit, digits):<12} ({ends})")


def _shown(value: float | None, unit: str, digits: int) -> str:
    return "open" if value is None else show(value, unit, digits)


def _digits(value: float, low: float | None, high: float | None) -> int:
    """As many digits as the range carries: 3 to 5."""
    spread = (high - low) / value if value and low is not None and high is not None else 1.0
    return 3 if spread > 0.01 else 4 if spread > 0.001 else 5


def _beside(out: Console, block: Row | None) -> None:
    if not block:
        return
    words = [
        f"{name} {100 * one['share']:+.1f} %"
        for name, one in block.items()
        if isinstance(one, Mapping) and one.get("share") is not None
    ]
    _line(out, f"against {block['recording']}"[:LABEL], ", ".join(words) or "no common figure")


def _line(out: Console, label: str, words: str) -> None:
    out.print(f"{label:<{LABEL}} {words}")
