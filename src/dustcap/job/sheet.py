"""The service sheet of a board: what a good one reads, block by block, and the checks worth making first."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from math import isfinite
from pathlib import Path
from typing import Any

from dustcap.board.compare import shown_value
from dustcap.board.model import Board, Part
from dustcap.board.read import read_board
from dustcap.errors import InputError, UnitError
from dustcap.job.block_order import OrderedBlock, blocks_in_order, rails, said
from dustcap.job.boards import summary_of
from dustcap.job.cautions import LICENCE, MAINS, for_states
from dustcap.job.drawn_blocks import DrawnBlock, drawn_blocks
from dustcap.predict.checks import DEFAULT_SIGNAL_HZ, DEFAULT_SIGNAL_V, DISCONNECTED, UNPLUGGED
from dustcap.predict.sheet import SAMPLES, PartSheet, Range, Sheet, service_sheet
from dustcap.predict.sheet_power_up import PowerUpSheet, power_up_sheet
from dustcap.quantities import read

Figure = Range | None
"""Low, median and high of one reading; None: no reading can be taken there."""

LEAST_RIPPLE_V, LEAST_LEVEL_V = 1e-3, 1e-4
"""What a handheld meter still reads: below it there is nothing to check (common practice, no published source)."""
SPREAD_NOTE = (
    "Low and high hold 90 % of good boards by the tolerances of their parts; a meter's own accuracy comes on top. "
    "Volts: drivers disconnected, no signal, a meter of 10 MΩ. Ohms: unplugged and discharged, after settling. "
    "Watts with signal: drivers connected."
)


@dataclass(frozen=True, slots=True)
class FirstCheck:
    """A check worth making first, in the order of making, with what a good board reads."""

    check: str
    at: str
    against: str
    state: str
    unit: str
    expect: Figure
    why: str


@dataclass(frozen=True, slots=True)
class PartLine:
    """One part in words: kind, value, rating, and how it stands in the sheet."""

    name: str
    kind: str
    value: str
    rating: str
    block: str
    figures: PartSheet


@dataclass(frozen=True, slots=True)
class ServiceSheet:
    """The sheet with all that is printed on it."""

    board: str
    revision: str
    mains_v: float
    mains_hz: float
    common: str
    sheet: Sheet
    rails: tuple[str, ...]
    blocks: tuple[OrderedBlock, ...]
    drawn: tuple[DrawnBlock, ...]
    parts: tuple[PartLine, ...]
    checks: tuple[FirstCheck, ...]
    remarks: tuple[str, ...]
    cautions: tuple[str, ...]
    power_up: PowerUpSheet | None = None

    @property
    def document(self) -> dict[str, Any]:
        """The contract's document, without its layout number."""
        return {
            "board": self.board,
            "revision": self.revision,
            "signal_hz": self.sheet.signal_hz,
            "signal_v": self.sheet.signal_v,
            "samples": self.sheet.samples,
            "state": DISCONNECTED,
            "clips": dict(self.sheet.clips),
            "nets": {
                net: {name: plain_range(getattr(one, name)) for name in one.__dataclass_fields__}
                for net, one in self.sheet.nets.items()
            },
            "parts": {name: _plain_part(one) for name, one in self.sheet.parts.items()},
            "blocks": [asdict(block) for block in self.blocks],
            "first_checks": [{**asdict(check), "expect": plain_range(check.expect)} for check in self.checks],
            "remarks": self.remarks,
            "cautions": self.cautions,
            **({"power_up": _plain_power_up(self.power_up)} if self.power_up is not None else {}),
        }


def plain_range(figure: Figure) -> dict[str, float | None] | None:
    """A range for JSON: a bound over range is null, and `over` says how many boards read over range."""
    if figure is None:
        return None
    bounds = {"low": figure.low, "median": figure.median, "high": figure.high}
    found = {name: value if isfinite(value) else None for name, value in bounds.items()}
    return found | {"over": figure.over} if figure.over else found


def _plain_part(one: PartSheet) -> dict[str, Any]:
    share = plain_range(one.share_of_rating)
    return {
        "across": one.across,
        "volts": plain_range(one.volts),
        "watts": plain_range(one.watts),
        "share_of_rating": share,
        "rating": one.of or None,
        "watts_signal": plain_range(one.watts_signal),
        "amps": plain_range(one.amps),
        "amps_signal": plain_range(one.amps_signal),
        "shares": {of: plain_range(each) for of, each in one.shares.items()},
        "shares_signal": {of: plain_range(each) for of, each in one.shares_signal.items()},
    }


def _plain_power_up(one: PowerUpSheet) -> dict[str, Any]:
    ranges = ("inrush_a", "unmute_s", "thump_v", "cone_m", "excursion")
    found = {name: {key: plain_range(each) for key, each in getattr(one, name).items()} for name in ranges}
    return {"seconds": one.seconds, "samples": one.samples, **found}


def sheet_of_file(
    path: Path,
    signal_hz: float = DEFAULT_SIGNAL_HZ,
    signal_v: float = DEFAULT_SIGNAL_V,
    *,
    samples: int = SAMPLES,
    power_up: bool = False,
) -> ServiceSheet:
    """The service sheet of a board description; with `power_up` what happens at switch-on, which takes a minute.

    Raises
    ------
    BoardError, InputError
        At the first mistake in the description, with file and line; for a signal that is none.
    SolveError
        If the circuit has no finite answer.
    """
    return sheet_of(read_board(path), signal_hz, signal_v, samples=samples, power_up=power_up)


def sheet_of(
    board: Board, signal_hz: float, signal_v: float, *, samples: int = SAMPLES, power_up: bool = False
) -> ServiceSheet:
    """The service sheet of a board; hertz and volts r.m.s. at its first input."""
    sheet = service_sheet(board, signal_hz, signal_v, samples=samples)
    blocks = blocks_in_order(board)
    in_block = {name: block.name for block in blocks for name, _ in block.parts}
    remarks = [*summary_of(board).remarks]
    remarks += [
        f"{name} clips at this signal" + (f" on {100 * share:.0f} % of good boards" if share < 1 else "")
        for name, share in sheet.clips.items()
    ]
    if sheet.solved < 1:
        remarks.append(f"the powered board has an answer for {100 * sheet.solved:.0f} % of the samples only")
    return ServiceSheet(
        board.name,
        board.revision,
        board.mains_v,
        board.mains_hz,
        board.common,
        sheet,
        rails(board),
        blocks,
        drawn_blocks(board, sheet),
        tuple(
            PartLine(part.name, part.kind, said(part), _rating(part), in_block[part.name], sheet.parts[part.name])
            for part in board.parts.values()
        ),
        tuple(_first_checks(board, sheet, blocks)),
        tuple(remarks),
        (*for_states((UNPLUGGED, DISCONNECTED)), MAINS, LICENCE),
        power_up_sheet(board) if power_up else None,
    )


def _rating(part: Part) -> str:
    keys = ("power", "voltage", "volts", "rating") if part.kind != "transformer" else ("volts",)
    return ", ".join(filter(None, (shown_value(part, key) for key in keys)))


def _first_checks(board: Board, sheet: Sheet, blocks: tuple[OrderedBlock, ...]) -> Iterator[FirstCheck]:
    """Safest first: shorts with the plug out, then the rails, then d.c. before a driver, then the signal's way."""
    common, fed = board.common, rails(board)
    to_common = [part for part in board.of_kind("driver") if common in part.nets]
    hot = list(dict.fromkeys(net for part in to_common for net in part.nets if net != common))

    def line(check: str, net: str, state: str, unit: str, expect: Figure, why: str) -> FirstCheck:
        return FirstCheck(check, net, common, state, unit, expect, why)

    for net in fed:
        yield line("ohms", net, UNPLUGGED, "ohm", sheet.nets[net].ohms_red_here, "a shorted rail")
    for net in hot:
        yield line("ohms", net, UNPLUGGED, "ohm", sheet.nets[net].ohms_red_here, "an open voice coil, a short")
    for net in fed:
        yield line("dc volts", net, DISCONNECTED, "V", sheet.nets[net].dc_volts, "a rail that is missing or low")
    for net in hot:
        yield line("dc volts", net, DISCONNECTED, "V", sheet.nets[net].dc_volts, "d.c. before a driver is connected")
    for net in fed:
        ripple = sheet.nets[net].ripple
        if ripple is not None and ripple.high > LEAST_RIPPLE_V:
            yield line("ripple", net, DISCONNECTED, "V", ripple, "worn reservoirs")
    for net in dict.fromkeys(outlet.net for block in blocks for outlet in block.outlets):
        level = sheet.nets[net].level
        if level is not None and level.high > LEAST_LEVEL_V:
            yield line("ac volts", net, DISCONNECTED, "V", level, "where the signal is lost")


def read_signal(text: str) -> tuple[float, float]:
    """Hertz and volts r.m.s. of a signal such as ``1 kHz 100 mV``.

    Raises
    ------
    InputError
        If it is not a frequency and a level.
    """
    words = text.split()
    for cut in range(1, len(words)):
        try:
            return read(" ".join(words[:cut]), "Hz"), read(" ".join(words[cut:]), "V")
        except UnitError:
            continue
    raise InputError(f"{text!r} is not a frequency and a level.", where="signal", mend="Write '1 kHz 100 mV'.")
