"""What a good board reads at a part or a net that was clicked, in words."""

from __future__ import annotations

from dataclasses import dataclass

from dustcap.errors import InputError
from dustcap.job.board_view import BoardView
from dustcap.job.sheet import ServiceSheet
from dustcap.report.figures import figure_said

Rows = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class NetFacts:
    """A net: the parts on it, and what is read there against common (empty while the sheet is computed)."""

    name: str
    parts: tuple[str, ...]
    rows: Rows


@dataclass(frozen=True, slots=True)
class PartFacts:
    """A part: what it is, and what is read across it."""

    name: str
    says: str
    block: str
    placed: bool
    rows: Rows


@dataclass(frozen=True, slots=True)
class Facts:
    """Everything `board_facts.html` may use. `waiting`: the sheet is still computed; `problem`: it cannot be."""

    stem: str
    common: str
    part: PartFacts | None = None
    nets: tuple[NetFacts, ...] = ()
    waiting: bool = False
    problem: str = ""
    query: str = ""


def facts_of(
    view: BoardView, sheet: ServiceSheet | None, *, part: str, net: str, waiting: bool, problem: str, query: str = ""
) -> Facts:
    """What is known at a part with its nets, or at a net.

    Raises
    ------
    InputError
        If there is no such part or net.
    """
    spots = {spot.name: spot for spot in view.spots}
    if part and part not in spots:
        raise InputError(f"there is no part {part[:60]!r} on this board.", where="board")
    if net and net not in view.board.nets:
        raise InputError(f"there is no net {net[:60]!r} on this board.", where="board")
    names = (net,) if net else spots[part].nets if part else ()
    found = None
    if part and not net:
        spot = spots[part]
        found = PartFacts(part, spot.says, spot.block, spot.at is not None, _part_rows(sheet, part))
    common = view.board.common
    names = tuple(sorted(names, key=lambda name: name == common))  # nothing is read there, so it comes last
    nets = tuple(
        NetFacts(name, tuple(spot.name for spot in view.spots if name in spot.nets), _net_rows(sheet, name))
        for name in names
    )
    return Facts(view.stem, common, found, nets, waiting, problem, query)


def _net_rows(sheet: ServiceSheet | None, net: str) -> Rows:
    one = sheet.sheet.nets.get(net) if sheet is not None else None
    if sheet is None or one is None or net == sheet.common:
        return ()
    rows = [
        ("d.c. volts", figure_said(one.dc_volts, "V")),
        ("ohms, red lead here", figure_said(one.ohms_red_here, "ohm")),
    ]
    if one.ohms_black_here != one.ohms_red_here:
        rows.append(("ohms, black lead here", figure_said(one.ohms_black_here, "ohm")))
    rows += [("ripple", figure_said(one.ripple, "V")), ("with signal", figure_said(one.level, "V"))]
    return tuple(rows)


def _part_rows(sheet: ServiceSheet | None, part: str) -> Rows:
    one = sheet.sheet.parts.get(part) if sheet is not None else None
    if one is None:
        return ()
    rows = []
    if one.volts is not None and one.across:
        rows.append((f"volts, {' to '.join(one.across)}", figure_said(one.volts, "V")))
    rows.append(("watts", figure_said(one.watts, "W")))
    if one.share_of_rating is not None:
        rows.append((f"share of its {one.of} rating", figure_said(one.share_of_rating, "%", 2)))
    return tuple(rows)
