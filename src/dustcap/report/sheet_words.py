"""The words and figures of the service sheet as it is printed, ready for the layout."""

from __future__ import annotations

from itertools import groupby
from typing import Any

from dustcap.job.sheet import SPREAD_NOTE, Figure, PartLine, ServiceSheet
from dustcap.report.figures import NONE, bounds, middle
from dustcap.report.wording import quantity

Words = dict[str, Any]

STRAINED = 0.8
"""A share of its rating from which a part is marked: a choice of ours."""


def sheet_words(data: ServiceSheet) -> Words:
    """All that stands on the sheet, as plain mappings and lists of text."""
    sheet = data.sheet
    signal = f"{quantity(sheet.signal_hz, 'Hz')}, {quantity(sheet.signal_v, 'V')} at the first input"
    return {
        "title": data.board,
        "revision": f"revision {data.revision}" if data.revision else "",
        "mains": f"mains {quantity(data.mains_v, 'V')} {quantity(data.mains_hz, 'Hz')}",
        "common": data.common,
        "signal": signal,
        "note": SPREAD_NOTE,
        "rails": [_rail(data, net) for net in _strongest_first(data)],
        "checks": _checks(data),
        "nets": [_net(data, net) for net in sheet.nets],
        "parts": [_part(line) for line in data.parts],
        "power_up": power_up_words(data),
        "remarks": list(data.remarks),
        "cautions": list(data.cautions),
    }


def _figure(figure: Figure, unit: str) -> list[str]:
    return [middle(figure, unit), bounds(figure, unit)]


def _strongest_first(data: ServiceSheet) -> list[str]:
    def volts(net: str) -> float:
        figure = data.sheet.nets[net].dc_volts
        return 0.0 if figure is None else -round(abs(figure.median), 1)

    return sorted(data.rails, key=volts)


def _rail(data: ServiceSheet, net: str) -> Words:
    one = data.sheet.nets[net]
    return {
        "net": net,
        "volts": _figure(one.dc_volts, "V"),
        "ripple": middle(one.ripple, "V"),
        "ohms": middle(one.ohms_red_here, "ohm"),
    }


def _checks(data: ServiceSheet) -> list[Words]:
    found = []
    for state, group in groupby(data.checks, key=lambda check: check.state):
        rows = [
            [check.check, f"{check.at} against {check.against}", *_figure(check.expect, check.unit), check.why]
            for check in group
        ]
        found.append({"state": state, "rows": rows})
    return found


def _net(data: ServiceSheet, net: str) -> list[list[str]]:
    one = data.sheet.nets[net]
    ohms = _figure(one.ohms_red_here, "ohm")
    back = _figure(one.ohms_black_here, "ohm")
    return [
        [net, ""],
        _figure(one.dc_volts, "V"),
        ohms,
        ["same", ""] if back == ohms else back,
        _figure(one.ripple, "V"),
        _figure(one.level, "V"),
    ]


def _part(line: PartLine) -> Words:
    figures = line.figures
    shares: dict[str, Figure] = {}
    for of, rest in figures.shares.items():
        signal = figures.shares_signal.get(of)
        shares[of] = signal if signal is not None and signal.median > rest.median else rest
    worst = sorted(shares, key=lambda of: -_median(shares[of]))
    amps = f"{middle(figures.amps, 'A')} / {middle(figures.amps_signal, 'A')}" if figures.amps is not None else ""
    return {
        "cells": [
            [line.name, ""],
            [line.value, line.rating],
            _figure(figures.volts, "V"),
            _figure(figures.watts, "W"),
            _figure(figures.watts_signal, "W"),
            [amps, ""],
            [
                ", ".join(f"{middle(shares[of], '%', 2)} of {of}" for of in worst) or NONE,
                bounds(shares[worst[0]], "%", 2) if worst else "",
            ],
        ],
        "strained": any(share is not None and share.high > STRAINED for share in shares.values()),
    }


def _median(figure: Figure) -> float:
    return figure.median if figure is not None else 0.0


def power_up_words(data: ServiceSheet) -> Words | None:
    """What happens at switch-on, a line each: what, its middle, its bounds."""
    one = data.power_up
    if one is None:
        return None
    lines = [[f"inrush of {name}, peak", *_figure(each, "A")] for name, each in one.inrush_a.items()]
    for name, when in one.unmute_s.items():
        late = [f"not within {quantity(one.seconds, 's')}", ""]
        lines.append([f"{name} plays or closes after", *(late if when is None else _figure(when, "s"))])
    for name, each in one.thump_v.items():
        lines.append([f"largest volts at {name}", *_figure(each, "V")])
        share = one.excursion.get(name)
        moved = _figure(one.cone_m[name], "m")
        lines.append([f"its cone moves{f', {middle(share, chr(37), 2)} of its excursion' if share else ''}", *moved])
    said = f"{one.samples} good boards, switched on at the peak of the mains, followed for {quantity(one.seconds, 's')}"
    return {"lines": lines, "said": said}
