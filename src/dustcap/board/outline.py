"""A board that nobody has described: the outline of a two-way loudspeaker, wide in its values, and its plain names.

Plain names are what a technician can find without any description; `roles_of` finds them on a described board too, by
what its parts do, so that what was entered on the outline can be counted on the board.

How wide values are taken is a choice of ours: common practice, no published source. Equal parts of one block vary
together, for they were chosen together.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from importlib.resources import files

from dustcap.board.model import Board, Part
from dustcap.board.read import parse_board
from dustcap.board.tolerances import LOG_UNIFORM, Tolerance

OUTLINE = "outline.board.toml"
DRIVERS = ("woofer", "tweeter")
SIGNAL_HZ: Mapping[str, float] = {"tweeter": 5000.0}
"""Where a level is read, when 1 kHz lies outside of the driver's band."""

FOUND_AT: Mapping[str, str] = {
    "secondary end 1": "one end of the transformer's secondary, before the fuse",
    "secondary end 2": "the other end of the secondary",
    "after fuse 1": "the far end of the fuse behind the transformer, at the rectifier",
    "after fuse 2": "the far end of the other fuse, at the rectifier",
    "plus rail": "the plus end of the big reservoir capacitor whose minus is the common",
    "minus rail": "the minus end of the big reservoir capacitor whose plus is the common",
    "small plus rail": "the plus supply pin of the small amplifier chips (pin 8 of a dual one)",
    "small minus rail": "their minus supply pin (pin 4 of a dual one)",
    "input hot": "the hot pin of the input connector",
    "input cold": "the cold pin of the input connector",
    "volume top": "the hot end of the volume control's track",
    "volume wiper": "the wiper of the volume control",
    **{
        f"{driver} {place}": words.format(driver)
        for driver in DRIVERS
        for place, words in (
            ("crossover output", "the end away from the {}'s amplifier of the capacitor before its input pin"),
            ("amplifier input", "the input pin of the {}'s power amplifier, by its data sheet"),
            ("amplifier output", "the output pin of the {}'s power amplifier"),
            ("mute pin", "the mute pin of the {}'s power amplifier"),
            ("terminals", "the {}'s plus terminal"),
        )
    },
}
"""Every plain name of a net, and where a technician finds it; the common is the middle of the big reservoirs."""

AMPLIFIERS: Mapping[str, str] = {f"{driver} amplifier": driver for driver in DRIVERS}
"""Plain names of parts, and the driver that each plays."""

MAY_BE: Mapping[str, tuple[str, ...]] = {
    "supply": ("split supply", "switch-mode supply module"),
    "small rails": ("regulator rails", "zener rails"),
    "input": ("balanced input",),
    "volume": ("input stage with volume control", "infrasonic filter"),
    "woofer crossover": ("low-pass crossover band", "low-pass section", "limiter"),
    "tweeter crossover": ("high-pass crossover band", "high-pass section", "high-frequency trim"),
    "woofer amplifier": (
        "power amplifier stage",
        "discrete class-AB amplifier",
        "bridge-tied amplifier",
        "class-D amplifier module",
    ),
    "tweeter amplifier": (
        "power amplifier stage",
        "discrete class-AB amplifier",
        "bridge-tied amplifier",
        "class-D amplifier module",
    ),
    "muting": ("relay muting", "standby circuit", "driver protection"),
}
"""Blocks of the library that each block of the outline may turn out to be."""

TOLD_AS: Mapping[str, str] = {"infrasonic": "volume", "connector": "input"}
"""Blocks between which no place can be found without a description, and the one that they are told as."""

_WIDTHS: Mapping[tuple[str, str], tuple[float, float]] = {
    ("transformer", "volts_rms"): (0.8, 1.7),
    ("transformer", "ohm_a"): (0.4, 2.5),
    ("transformer", "ohm_b"): (0.4, 2.5),
    ("resistor", "ohm"): (0.6, 1.7),
    ("potentiometer", "ohm"): (0.5, 2.0),
    ("capacitor", "farad"): (0.6, 1.7),
    ("electrolytic", "farad"): (0.4, 2.5),
    ("regulator", "volts"): (0.8, 1.2),
    ("driver", "ohm"): (0.6, 1.5),
}


@cache
def outline_board() -> Board:
    """The outline as a board."""
    return parse_board((files("dustcap.board") / OUTLINE).read_text(encoding="utf-8"), OUTLINE)


def widened(board: Board, entries: Iterable[Tolerance]) -> Iterator[Tolerance]:
    """Tolerances for values that were guessed."""
    for entry in entries:
        part = board.parts[entry.element.rsplit(".", 1)[0]] if entry.element not in board.parts else None
        part = part or board.parts[entry.element]
        width = _WIDTHS.get((part.kind, entry.value))
        if width is None:
            yield entry
            continue
        low, high = (entry.nominal * share for share in width)
        group = f"{part.block} {part.kind} {entry.value[:4]} {abs(entry.nominal):.4g}"
        yield Tolerance(entry.element, entry.value, entry.nominal, low, high, LOG_UNIFORM, group)


def roles_of(board: Board) -> dict[str, str]:
    """The net or the part of a board for each plain name that it has a place for."""
    found: dict[str, str] = {}
    for name, driver in ((str(part.values.get("role", "")), part) for part in board.of_kind("driver")):
        if name in DRIVERS and f"{name} terminals" not in found:
            found[f"{name} terminals"] = _hot(board, driver)
            amplifier = _amplifier_of(board, driver)
            if amplifier is not None:
                found |= _at_amplifier(board, name, amplifier)
    chips = board.of_kind("op amp")
    if chips:
        found |= {"small plus rail": chips[0].pins["high"], "small minus rail": chips[0].pins["low"]}
    return found | _at_supply(board) | _at_input(board)


def _hot(board: Board, part: Part) -> str:
    return next((net for net in part.nets if net != board.common), board.common)


def _amplifier_of(board: Board, driver: Part) -> Part | None:
    """The power amplifier that plays a driver: straight, or through coils, links and contacts."""
    reached, edge = {board.common}, [_hot(board, driver)]
    amplifiers = {part.pins["out"]: part for part in board.of_kind("power amplifier")}
    while edge:
        net = edge.pop(0)
        if net in amplifiers:
            return amplifiers[net]
        reached.add(net)
        for part in board.parts_on(net):
            if part.kind in ("inductor", "link", "switch", "resistor"):
                edge += [other for other in part.nets if other not in reached]
    return None


def _at_amplifier(board: Board, name: str, amplifier: Part) -> dict[str, str]:
    pins = amplifier.pins
    found = {
        f"{name} amplifier input": pins["plus"],
        f"{name} amplifier output": pins["out"],
        f"{name} amplifier": amplifier.name,
        "plus rail": pins["high"],
        "minus rail": pins["low"],
    }
    before = _before(board, pins["plus"])
    if before:
        found[f"{name} crossover output"] = before
    if "mute" in pins:
        found[f"{name} mute pin"] = pins["mute"]
    return {key: value for key, value in found.items() if value != board.common}


def _before(board: Board, pin: str) -> str:
    """The far end of the coupling capacitor before an input pin; empty when there is none."""
    reached, edge = {board.common}, [pin]
    while edge:
        net = edge.pop(0)
        reached.add(net)
        for part in board.parts_on(net):
            ends = [other for other in part.nets if other not in reached]
            if part.kind in ("capacitor", "electrolytic") and board.common not in part.nets and ends:
                return ends[0]
            if part.kind in ("resistor", "link") and board.common not in part.nets:
                edge += ends
    return ""


def _at_supply(board: Board) -> dict[str, str]:
    found: dict[str, str] = {}
    for transformer in board.of_kind("transformer")[:1]:
        for number, net in enumerate((net for net in transformer.nets if net != board.common), 1):
            found[f"secondary end {number}"] = net
            fuse = next((part for part in board.parts_on(net) if part.kind == "link"), None)
            if fuse is not None:
                found[f"after fuse {number}"] = next(other for other in fuse.nets if other != net)
    return {name: net for name, net in found.items() if name in FOUND_AT}


def _at_input(board: Board) -> dict[str, str]:
    found: dict[str, str] = {}
    for source in board.of_kind("input")[:1]:
        found |= {"input hot": source.pins["hot"], "input cold": source.pins["cold"]}
    tracks = [part for part in board.of_kind("potentiometer") if part.values.get("law") == "log"]
    for track in (tracks or list(board.of_kind("potentiometer")))[:1]:
        ends = [net for net in track.nets if net not in (board.common, track.pins["wiper"])]
        if ends:
            found |= {"volume top": ends[-1], "volume wiper": track.pins["wiper"]}
    return {name: net for name, net in found.items() if net != board.common}
