"""The words of the service sheet, the leak map and the comparison on the terminal."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from dustcap.quantities import show

if TYPE_CHECKING:
    from rich.console import Console

    from dustcap.job.compare import Comparison
    from dustcap.job.leak_map import LeakMap
    from dustcap.job.sheet import ServiceSheet

COLUMNS = (
    ("d.c.", "dc_volts", "V"),
    ("ohms", "ohms_red_here", "ohm"),
    ("ripple", "ripple", "V"),
    ("level", "level", "V"),
)


def print_sheet(out: Console, found: ServiceSheet, pdf: Path | None) -> None:
    """The sheet as text: first the checks worth making, then every net, then every part."""
    from dustcap.job.sheet import SPREAD_NOTE
    from dustcap.report.figures import figure_said

    sheet = found.sheet
    revision = f", revision {found.revision}" if found.revision else ""
    out.print(f"{found.board}{revision}: what a good board reads", style="bold")
    out.print(f"{SPREAD_NOTE} Level: {show(sheet.signal_hz, 'Hz')} {show(sheet.signal_v, 'V')} at the first input.")
    for remark in found.remarks:
        out.print(f"! {remark}", style="yellow")
    out.print("\nfirst checks", style="bold")
    for check in found.checks:
        out.print(
            f"  {check.check:<9} {check.at:<16} {figure_said(check.expect, check.unit):<34} {check.state}; {check.why}"
        )
    out.print("\nnets", style="bold")
    for net, one in sheet.nets.items():
        said = [f"{title} {figure_said(getattr(one, name), unit)}" for title, name, unit in COLUMNS]
        if figure_said(one.ohms_red_here, "ohm") != figure_said(one.ohms_black_here, "ohm"):
            said.insert(2, f"leads swapped {figure_said(one.ohms_black_here, 'ohm')}")
        out.print(f"  {net:<18} " + "; ".join(said))
    out.print("\nparts", style="bold")
    for part in found.parts:
        figures = part.figures
        said = [figure_said(figures.volts, "V"), figure_said(figures.watts, "W")]
        if figures.watts_signal is not None:
            said[-1] += f", with signal {figure_said(figures.watts_signal, 'W')}"
        for of, share in figures.shares.items():
            loaded = figures.shares_signal.get(of)
            more = f", with signal {figure_said(loaded, '%')}" if loaded is not None and loaded != share else ""
            said.append(f"{figure_said(share, '%')} of its {of}{more}")
        if figures.amps is not None:
            more = f", with signal {figure_said(figures.amps_signal, 'A')}" if figures.amps_signal is not None else ""
            said.append(f"{figure_said(figures.amps, 'A')} r.m.s.{more}")
        out.print(f"  {part.name:<18} {part.value:<24} " + "; ".join(said))
    _print_power_up(out, found)
    if pdf is not None:
        out.print(f"\nwritten to {pdf}")
    for caution in found.cautions:
        out.print(f"! {caution}")


def _print_power_up(out: Console, found: ServiceSheet) -> None:
    from dustcap.report.sheet_words import power_up_words

    words = power_up_words(found)
    if words is not None:
        out.print(f"\nat switch-on: {words['said']}", style="bold")
        for what, middle, between in words["lines"]:
            out.print(f"  {what:<34} {middle}" + (f" ({between})" if between else ""))


def print_leak_map(out: Console, found: LeakMap, picture: Path | None) -> None:
    """The map as text: the pairs that the weakest leak upsets first, then those that no leak upsets."""
    from dustcap.job.leak_map import limit_said

    revision = f", revision {found.revision}" if found.revision else ""
    out.print(f"{found.board}{revision}: the leakage that matters", style="bold")
    for note in found.notes:
        out.print(f"! {note}", style="yellow")
    already = dict.fromkeys(limit_said(each.limit) for pair in found.pairs for each in pair.limits if each.already)
    for said in already:
        out.print(f"! {said}: beyond its limit without any leak", style="yellow")
    out.print("\nbelow     breaks")
    for pair in sorted(found.pairs, key=lambda pair: -pair.worst_ohms):
        place = f"  ({', '.join(pair.areas)})" if pair.areas else ""
        if pair.broken:
            out.print(f"{' - '.join(pair.nets)}{place}", style="bold")
        for each in pair.broken:
            out.print(f"  {show(each.ohms or 0.0, 'ohm'):<9} {limit_said(each.limit)}")
    harmless = [" - ".join(pair.nets) for pair in found.pairs if not pair.broken]
    if harmless:
        out.print("\nno limit is broken down to 100 Ω: " + "; ".join(harmless))
    if picture is not None:
        out.print(f"\nwritten to {picture}")
    for caution in found.cautions:
        out.print(f"! {caution}")


def print_comparison(out: Console, found: Comparison) -> None:
    """The differences as text: parts, blocks, nets, then readings."""
    from dustcap.report.figures import figure_said

    out.print(f"{found.old}, now {found.new}", style="bold")
    for title, lines in (("parts", found.parts), ("blocks", found.blocks)):
        out.print(f"\n{title}", style="bold")
        for one in lines:
            out.print(f"  {one.words()}")
        if not lines:
            out.print("  no difference")
    for title, nets in (("nets added", found.nets_added), ("nets gone", found.nets_gone)):
        if nets:
            out.print(f"\n{title}: {', '.join(nets)}")
    for title, readings in (
        ("readings of a good board that differ by more than their spreads", found.readings),
        ("what its parts take that differs by more than the spreads", found.part_readings),
    ):
        out.print(f"\n{title}", style="bold")
        for reading in readings:
            before, after = (figure_said(each, reading.unit) for each in (reading.old, reading.new))
            out.print(f"  {reading.check:<20} {reading.at:<16} {before}, now {after}")
        if not readings:
            out.print("  none")
