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
    share = figures.share_of_rating
    strained = share is not None and share.high > STRAINED
    return {
        "cells": [
            line.name,
            line.value,
            line.rating,
            middle(figures.volts, "V"),
            middle(figures.watts, "W"),
            f"{middle(share, '%', 2)} of {figures.of}" if share is not None else NONE,
        ],
        "strained": strained,
    }
