"""What a recording says, as text for people: verdicts first, then what they rest on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from dustcap.quantities import show

if TYPE_CHECKING:
    from rich.console import Console

Row = Mapping[str, Any]

MARKS = {"pass": "✓ pass", "fail": "✗ FAIL", "undecided": "? undecided"}
STYLES = {"pass": "green", "fail": "bold red", "undecided": "yellow"}
SIDES = {"below": "at most", "above": "at least", "within": "within"}
WITH_VOLUME = {"follows": ", follows the volume", "constant": ", whatever the volume"}
MOST_LINES = 6
LABEL = 16


def print_listen(out: Console, answer: Row) -> None:
    """Print the whole answer; `answer` is the JSON document of `listen`."""
    stimulus = f"test recording {answer['stimulus']!r}" if answer.get("found_stimulus") else "no test recording in it"
    where = f"channel {answer.get('channel', 1)}, {answer['sample_rate'] / 1000:g} kHz"
    out.print(f"{answer.get('recording', 'recording')}: {stimulus}; {where}", style="bold")
    for warning in answer.get("warnings", ()):
        out.print(f"! {warning['what']}{_places(warning.get('where'))}: {warning['do']}", style="yellow")
    for refused in answer.get("refused", ()):
        out.print(f"- no {refused['what']}: {refused['why']} {refused.get('do', '')}".rstrip(), style="yellow")
    print_verdicts(out, answer.get("verdicts", ()))
    for label, words in _lines(answer):
        out.print(f"{label:<{LABEL}} {words}")


def print_verdicts(out: Console, verdicts: Sequence[Row]) -> None:
    """One line a verdict, with value, limit and uncertainty."""
    for verdict in verdicts:
        words = MARKS.get(verdict["verdict"], verdict["verdict"])
        figures = []
        if verdict.get("value") is not None:
            figures.append(number(verdict["value"], verdict.get("unit", "")))
        if verdict.get("uncertainty"):  # none where the value is only a bound
            figures.append(f"± {number(verdict['uncertainty'], verdict.get('unit', ''))}")
        if verdict.get("limit") is not None:
            side = SIDES.get(verdict.get("better", ""), "limit")
            figures.append(f"({side} {number(verdict['limit'], verdict.get('unit', ''))})")
        why = f" {verdict['why']}" if verdict.get("why") else ""
        style = STYLES.get(verdict["verdict"])
        out.print(f"{words:<12} {verdict['what']:<24} {' '.join(figures)}{why}".rstrip(), style=style)


def number(value: float | str, unit: str) -> str:
    """A figure of a verdict; dB and shares to one decimal."""
    if isinstance(value, str):
        return value
    if unit in ("dB", "") or unit.startswith("dB"):
        return f"{value:.{2 if 0 < abs(value) < 0.05 else 1}f} {unit}".strip()
    return show(value, unit) if unit in ("V", "s", "Hz", "%") else f"{value:.3g} {unit}"


def _places(where: object) -> str:
    if not isinstance(where, list | tuple) or not where:
        return ""
    first = where[0]
    if not isinstance(first, list | tuple):
        return f" at {first:.1f} s"
    return f" from {first[0]:.1f} s to {first[1]:.1f} s" if first[1] - first[0] >= 1 else f" at {first[0]:.1f} s"


def _lines(answer: Row) -> list[tuple[str, str]]:
    found = (
        _alignment(answer),
        _long(answer),
        _response(answer.get("response")),
        *_harmonics(answer.get("harmonics") or ()),
        _irregular(answer.get("irregular")),
        _noise(answer.get("noise")),
        _pressure(answer.get("calibration")),
        _hum(answer.get("noise")),
        _crackle(answer.get("crackle")),
        _polarity(answer),
        _thump(answer.get("thump")),
        _against(answer.get("against")),
        _pair(answer.get("pair")),
        *(_told(one) for one in answer.get("evidence") or ()),
    )
    return [line for line in found if line is not None]


def _long(answer: Row) -> tuple[str, str] | None:
    """The level over the time of a long recording."""
    block = answer.get("long")
    if not block:
        return None
    minutes, low, high = answer["seconds"] / 60, min(block["rms_dbfs"]), max(block["rms_dbfs"])
    lines = ", ".join(f"{line['hz']:.0f} Hz" for line in block["hum"][:MOST_LINES])
    hum = f"; hum lines at {lines}" if lines else ""
    return "level", f"{minutes:.0f} min, r.m.s. {low:.1f} to {high:.1f} dBFS{hum}"


def _alignment(answer: Row) -> tuple[str, str] | None:
    if not answer.get("found_stimulus"):
        return None
    words = []
    if answer.get("snr_db") is not None:
        words.append(f"{answer['snr_db']:.0f} dB above the noise")
    if answer.get("clock_skew_ppm") is not None:
        words.append(f"recorder's clock {answer['clock_skew_ppm']:+.1f} ppm")
    return ("sweep", ", ".join(words)) if words else None


def _response(block: Row | None) -> tuple[str, str] | None:
    if not block or not block.get("db"):
        return None
    low, high = block["valid"]
    inside = [db for hz, db in zip(block["hz"], block["db"], strict=True) if db is not None and low <= hz <= high]
    if not inside:
        return None
    spread = max(inside) - min(inside)
    return "response", f"{show(low, 'Hz')} to {show(high, 'Hz')}, {spread:.1f} dB from lowest to highest"


def _harmonics(rows: Sequence[Row]) -> list[tuple[str, str] | None]:
    lines: list[tuple[str, str] | None] = []
    for row in rows:
        levels = [(db, hz) for hz, db in zip(row["hz"], row["db_below_fundamental"], strict=True) if db is not None]
        if levels:
            db, hz = min(levels)
            lines.append((f"harmonic {row['order']}", f"worst {db:.0f} dB below the tone, at {show(hz, 'Hz')}"))
    return lines


def _irregular(block: Row | None) -> tuple[str, str] | None:
    if not block:
        return None
    events = block.get("events", ())
    if not events:
        return "rub and buzz", "none found"
    worst = max(events, key=lambda event: event["db"])
    return "rub and buzz", f"{len(events)} events, the worst {worst['db']:.0f} dB at {show(worst['hz'], 'Hz')}"


def _noise(block: Row | None) -> tuple[str, str] | None:
    if not block:
        return None
    words = []
    for key, label in (("dbfs_a", "A-weighted"), ("dbfs_468_quasi_peak", "quasi-peak")):
        if block.get(key) is not None:
            words.append(f"{block[key]:.1f} dBFS {label}")
    return ("noise", ", ".join(words)) if words else None


def _hum(block: Row | None) -> tuple[str, str] | None:
    if not block:
        return None
    lines = sorted(block.get("hum") or (), key=lambda line: -line["db"])
    if not lines:
        return "hum", "no mains line above the noise"
    kind = f"; {block['hum_kind']}" if block.get("hum_kind") else ""
    listed = ", ".join(f"{line['hz']:.0f} Hz {line['db']:.0f} dB" for line in lines[:MOST_LINES])
    return "hum", listed + kind


def _crackle(block: Row | None) -> tuple[str, str] | None:
    if not block:
        return None
    if not block.get("found"):
        return "crackle", "none above what noise alone gives"
    return "crackle", f"{block['events']} events, {block['rate']:.2f} /s ({block['low']:.2f} to {block['high']:.2f})"


def _polarity(answer: Row) -> tuple[str, str] | None:
    if answer.get("polarity") is None:
        return None
    drivers = answer.get("polarity_drivers") or {}
    words = [f"{name} {drivers[name]}" for name in ("woofer", "tweeter") if drivers.get(name)]
    if drivers.get("sum_at_crossover"):
        words.append(f"the sum at the crossover {drivers['sum_at_crossover']}")
    return "polarity", ", ".join(words) or str(answer["polarity"])


def _thump(block: Row | None) -> tuple[str, str] | None:
    if not block:
        return None
    after = block.get("unmute_after_s")
    mute = f", unmutes after {after:.1f} s" if after is not None else ""
    return "switch-on", f"peak {block['peak_dbfs']:.0f} dBFS{mute}"


def _against(block: Row | None) -> tuple[str, str] | None:
    if not block:
        return None
    words = [] if block.get("level_db") is None else [f"level {block['level_db']:+.1f} dB"]
    follows = (block.get("crackle") or {}).get("follows_volume")
    if follows:
        words.append(f"crackle follows the volume: {follows}")
    return f"against {block.get('recording', '')}".strip()[:LABEL], ", ".join(words) or "no common figure"


def _pair(block: Row | None) -> tuple[str, str] | None:
    if not block:
        return None
    worst = max(block["bands"], key=lambda band: abs(band["db"] - block["level_db"]))
    apart = f"{abs(worst['db'] - block['level_db']):.1f} dB apart beyond that at {show(worst['hz'], 'Hz')}"
    late = f"{abs(block['delay_s']) * 1e6:.0f} µs {'later' if block['delay_s'] > 0 else 'earlier'}"
    return "pair", f"first {block['level_db']:+.1f} dB, {late}, {apart}, {block['polarity']} polarity"


def _told(one: Row) -> tuple[str, str]:
    """What the hunt is told."""
    driver = f", {one['driver']}" if one.get("driver") else ""
    volume = WITH_VOLUME.get(one.get("with_volume") or "", "")
    measured = f"{number(one['value'], one['unit'])} ± {number(one['spread'], one['unit'])}"
    return "for the hunt", f"{one['complaint']}{driver}{volume}: {measured}"


def _pressure(block: Row | None) -> tuple[str, str] | None:
    """Levels in sound pressure, where a calibrator was recorded."""
    if not block:
        return None
    words = [f"full scale {block['full_scale_db_spl']:.1f} dB SPL ± {block['uncertainty_db']:.2f} dB"]
    for key, name in (("noise_db_spl_a", "noise"), ("sweep_db_spl", "sweep")):
        if block[key] is not None:
            words.append(f"{name} {block[key]:.1f} dB{' A-weighted' if name == 'noise' else ''}")
    return "sound pressure", ", ".join(words)
