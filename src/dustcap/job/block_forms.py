"""How far the description of a board is: its blocks with their nets and values, and which of these are still assumed.

A value that stands in the description is confirmed; every other one is the library's and counts as assumed until it is
confirmed, which writes it down. So the plain file says all there is to say, and nothing is kept beside it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from dustcap.board.kinds import KINDS, TRUTH
from dustcap.board.library.load import Setting, Template, built_in
from dustcap.board.model import Block, Board, Part
from dustcap.board.source import base_unit
from dustcap.board.write import Written
from dustcap.errors import InputError
from dustcap.job.block_order import blocks_in_order
from dustcap.job.boards import summary_of
from dustcap.job.desk import Desk
from dustcap.job.drawer import open_board
from dustcap.quantities import show

PRINTED = ("value", "volts", "resistance")
"""Keys that can be read off a part or measured on it; the rest follows from its kind."""
USUAL_NETS: Mapping[str, str] = {
    "high": "rail+", "low": "rail-", "plus": "+15", "minus": "-15", "mute": "mute", "driver": "driver",
    "hot": "in_hot", "cold": "in_cold",
}  # fmt: skip
SINGLE_KINDS = tuple(kind for kind in KINDS if kind not in ("module", "transformer"))
"""Kinds that are put singly; a winding comes with its supply block, a module is described in the plain file."""
LETTERS: Mapping[str, str] = {
    "resistor": "R", "capacitor": "C", "electrolytic": "C", "inductor": "L", "potentiometer": "RV", "link": "F",
    "switch": "S", "relay coil": "K", "diode": "D", "zener": "D", "bridge": "BR", "npn": "Q", "pnp": "Q",
    "n-mosfet": "Q", "p-mosfet": "Q", "n-jfet": "Q", "p-jfet": "Q", "supply": "V", "input": "IN", "driver": "LS",
}  # fmt: skip
COMES_IN, GOES_OUT = ("in", "amplifier"), ("out",)
DIGITS = 6
PORT, SET = "port-", "set-"
"""What the fields of a block's form begin with."""


@dataclass(frozen=True, slots=True)
class BlockChoice:
    """One block of the library."""

    name: str
    says: str
    parts: int


@dataclass(frozen=True, slots=True)
class PortLine:
    """A port of a block: `field` of its form, the net it has or the one that is proposed."""

    name: str
    field: str
    says: str
    optional: bool
    net: str


@dataclass(frozen=True, slots=True)
class SettingLine:
    """A value of a block that can be set, as text; `usual` is the library's."""

    name: str
    field: str
    says: str
    value: str
    usual: str
    assumed: bool
    choices: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PartLine:
    """A part whose value can be read off; `key` is empty where there is nothing to read."""

    name: str
    short: str
    kind: str
    key: str
    value: str
    nets: tuple[str, ...]
    assumed: bool


@dataclass(frozen=True, slots=True)
class BlockForm:
    """A block, new or on the board, with all that can be set on it."""

    name: str
    origin: str
    says: str
    source: str
    ports: tuple[PortLine, ...]
    settings: tuple[SettingLine, ...]
    parts: tuple[PartLine, ...]
    nets: tuple[str, ...]

    @property
    def assumed(self) -> int:
        """How many of its values nobody has confirmed."""
        return sum(line.assumed for line in self.settings) + sum(line.assumed for line in self.parts)


@dataclass(frozen=True, slots=True)
class BlockLine:
    """A block in the signal's order."""

    name: str
    origin: str
    parts: int
    assumed: int
    feeds: bool


@dataclass(frozen=True, slots=True)
class Description:
    """How far the description of a board is."""

    stem: str
    title: str
    blocks: tuple[BlockLine, ...]
    own_parts: tuple[PartLine, ...]
    assumed: int
    remarks: tuple[str, ...]
    nets: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class KeyLine:
    """One key of a kind of part; `usual` is its default as text, `example` how a value is written."""

    name: str
    field: str
    usual: str
    example: str
    needed: bool
    choices: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class KindForm:
    """A single part that is put onto a board."""

    kind: str
    name: str
    pins: tuple[tuple[str, str, bool], ...]  # name, field, optional
    keys: tuple[KeyLine, ...]
    nets: tuple[str, ...]


def library_choices() -> tuple[BlockChoice, ...]:
    """The blocks of the library."""
    return tuple(BlockChoice(each.name, each.says, len(each.parts)) for each in built_in().values())


def description(desk: Desk, stem: str) -> Description:
    """How far the description of a board is, and what is still assumed."""
    board = open_board(desk, stem)
    lines = []
    for ordered in blocks_in_order(board):
        block = board.blocks.get(ordered.name)
        if block is not None:
            assumed = block_form(board, block.name).assumed
            lines.append(BlockLine(block.name, block.origin, len(block.parts), assumed, ordered.step < 0))
    own = tuple(_part_line(part, "") for part in board.parts.values() if not part.block)
    title = f"{board.name}, revision {board.revision}" if board.revision else board.name
    return Description(
        stem,
        title,
        tuple(lines),
        own,
        sum(line.assumed for line in lines) + sum(line.assumed for line in own),
        summary_of(board).remarks if board.parts else (),
        board.nets if board.parts else (),
    )


def new_form(board: Board, origin: str) -> BlockForm:
    """The form of a library block that is not on the board yet, with the nets that are likely.

    Raises
    ------
    InputError
        If the library has no such block.
    """
    template = template_of(origin)
    name = _free_name(board, origin.replace("-", " ").replace(" ", "_")[:24])
    ports = tuple(
        PortLine(port, PORT + port, spec.says, spec.optional, "" if spec.optional else _usual_net(board, port, name))
        for port, spec in template.ports.items()
    )
    settings = tuple(_setting_line(key, setting, None) for key, setting in template.settings.items())
    return BlockForm(name, origin, template.says, template.source, ports, settings, (), _nets(board))


def block_form(board: Board, name: str) -> BlockForm:
    """The form of a block on the board; a block of the board's own parts has their values alone.

    Raises
    ------
    InputError
        If there is no such block.
    """
    if name in board.blocks and not board.blocks[name].origin:
        own = tuple(_part_line(board.parts[part], name) for part in board.blocks[name].parts)
        return BlockForm(name, "", "its own parts", "", (), (), own, _nets(board))
    block = library_block(board, name)
    template = template_of(block.origin)
    given = _given(board, name)
    ports = tuple(
        PortLine(port, PORT + port, spec.says, spec.optional, str(given.get(port, "")))
        for port, spec in template.ports.items()
    )
    settings = tuple(_setting_line(key, setting, given.get(key)) for key, setting in template.settings.items())
    parts = tuple(_part_line(board.parts[part], name) for part in block.parts)
    return BlockForm(name, block.origin, template.says, template.source, ports, settings, parts, _nets(board))


def form_on(desk: Desk, stem: str, *, block: str = "", origin: str = "") -> BlockForm:
    """The form of a block of that board, or of a new one from the library."""
    board = open_board(desk, stem)
    return block_form(board, block) if block else new_form(board, origin)


def kind_form(desk: Desk, stem: str, kind: str) -> KindForm:
    """The form of a single part of that kind, with the next free name.

    Raises
    ------
    InputError
        If there is no such kind, or it is described in the plain file only.
    """
    if kind not in SINGLE_KINDS:
        raise InputError(f"no part of kind {kind[:40]!r} is put here.", where="kind", mend="Choose one from the list.")
    board, spec = open_board(desk, stem), KINDS[kind]
    letter = LETTERS.get(kind, "U")
    name = next(f"{letter}{n}" for n in range(1, 10_000) if f"{letter}{n}" not in board.parts)
    keys = []
    for key, each in spec.keys.items():
        choices = ("true", "false") if each.sort == TRUTH else each.choices
        if each.default is None:
            usual = ""
        elif isinstance(each.default, bool | str):
            usual = str(each.default).lower()
        else:
            usual = show(float(each.default), base_unit(each.unit), 3) if each.unit else f"{each.default:g}"
        keys.append(KeyLine(key, SET + key, usual, each.example, each.needed, choices))
    pins = tuple((pin, PORT + pin, pin in spec.optional) for pin in spec.pins)
    return KindForm(kind, name, pins, tuple(keys), _nets(board))


def printed_key(part: Part) -> str:
    """The key of a part that can be read off it; empty where there is none."""
    return next((key for key in PRINTED if key in part.values and key in KINDS[part.kind].keys), "")


def shown_for(part: Part, key: str) -> str:
    """A value of a part as text that reads back to itself."""
    return show(part.number(key), base_unit(KINDS[part.kind].keys[key].unit), DIGITS)


def _part_line(part: Part, block: str) -> PartLine:
    key = printed_key(part)
    assumed = bool(key) and key not in part.given
    value = shown_for(part, key) if key else ""
    short = part.name.removeprefix(f"{block}-")
    return PartLine(part.name, short, part.kind, key, value, part.nets, assumed)


def _setting_line(key: str, setting: Setting, given: object) -> SettingLine:
    usual = str(written_default(setting)).lower() if setting.key.sort == TRUTH else str(written_default(setting))
    value = "" if given is None else str(given).lower() if isinstance(given, bool) else str(given)
    choices = ("true", "false") if setting.key.sort == TRUTH else setting.key.choices
    return SettingLine(key, SET + key, setting.says, value, usual, given is None, choices)


def written_default(setting: Setting) -> Written:
    """The library's value as it can stand in a description."""
    value = setting.default
    if isinstance(value, str | bool):
        return value
    unit = base_unit(setting.key.unit)
    return show(float(value), unit, DIGITS) if unit else float(value)


def template_of(origin: str) -> Template:
    """The block of the library of that name; InputError when there is none."""
    if origin not in built_in():
        raise InputError(f"the library has no block {origin[:60]!r}.", where="block", mend="Choose one from the list.")
    return built_in()[origin]


def library_block(board: Board, name: str) -> Block:
    """A block of the board that comes from the library; InputError when there is none."""
    block = board.blocks.get(name)
    if block is None or not block.origin:
        raise InputError(f"there is no block {name[:40]!r} of the library on this board.", where="block")
    return block


def _given(board: Board, name: str) -> Mapping[str, object]:
    """What the description gives of a block."""
    import tomllib

    given: Mapping[str, object] = tomllib.loads(board.text)["blocks"][name].get("with", {})
    return given


def _nets(board: Board) -> tuple[str, ...]:
    return board.nets if board.parts else (board.common,)


def _free_name(board: Board, wanted: str) -> str:
    if wanted not in board.blocks:
        return wanted
    return next(f"{wanted}_{n}" for n in range(2, 1000) if f"{wanted}_{n}" not in board.blocks)


def _usual_net(board: Board, port: str, name: str) -> str:
    """The net that a port most likely has: the rails by their usual names, the way in where the last block goes out."""
    if port in COMES_IN:
        for block in reversed(tuple(board.blocks.values())):
            for out in GOES_OUT:
                if out in block.ports:
                    return block.ports[out]
        return "in"
    if port in GOES_OUT:
        return f"{name}_out"
    return USUAL_NETS.get(port, f"{name}_{port}")
