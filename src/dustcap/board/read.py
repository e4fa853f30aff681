"""Read a board description, layout 1. Every mistake is one `BoardError`: file and line, what was read, what is right.

The order of checks is the order of the file's tables; the first mistake is the one that is told.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

from dustcap.board.areas import read_areas, read_places
from dustcap.board.blocks import read_blocks
from dustcap.board.covers import read_covers
from dustcap.board.library.load import Library, built_in
from dustcap.board.model import Board, Part
from dustcap.board.parts import read_part
from dustcap.board.source import (
    MOST_BYTES,
    Source,
    check_keys,
    name_at,
    read_toml,
    shown,
    table_at,
)
from dustcap.errors import BoardError, UnitError, nearest
from dustcap.quantities import read as read_quantity

LAYOUT = 1
TABLES = ("layout", "board", "parts", "blocks", "places", "areas", "covers")
BOARD_KEYS = ("name", "revision", "mains", "common")
DEFAULT_MAINS = "230 V 50 Hz"
COMMON = "0V"
_MAINS = re.compile(r"\s*(?P<volts>[0-9.,]+\s*V)[\s,/]+(?P<hertz>[0-9.,]+\s*Hz)\s*")


def read_board(path: Path | str) -> Board:
    """The board of a file.

    Raises
    ------
    BoardError
        If the file cannot be read, is not UTF-8, is over 1 MB or says something that cannot be.
    """
    where = str(path)
    try:
        raw = Path(path).read_bytes()
    except OSError as error:
        raise BoardError(
            f"cannot be read: {error.strerror or 'no such file'}.", where=where, mend="Check the name of the file."
        ) from error
    if len(raw) > MOST_BYTES:
        raise BoardError(
            f"is larger than {MOST_BYTES // 1000} kB.", where=where, mend="A board description is a text of some 10 kB."
        )
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise BoardError(
            f"byte {raw[error.start]:#04x} is not UTF-8.", where=f"{where}:{line}", mend="Save the file as UTF-8 text."
        ) from error
    return parse_board(text, where)


def parse_board(text: str, where: str = "board", *, library: Library | None = None) -> Board:
    """The board of a text.

    Parameters
    ----------
    text : str
        TOML of the contract's layout 1.
    where : str
        What the text is called in messages, usually a file's path.
    library : Library, optional
        The blocks that `from` may name; the built-in ones when left out.

    Raises
    ------
    BoardError
        At the first mistake; `where` is ``file:line``.
    """
    tree, source = read_toml(text, where)
    _check_layout(source, tree)
    check_keys(source, (), tree, TABLES)
    head = table_at(source, ("board",), tree.get("board", {}))
    name, revision, mains, common = _read_head(source, head)
    written = {
        part: read_part(source, ("parts", part), part, raw)
        for part, raw in table_at(source, ("parts",), tree.get("parts", {})).items()
        if name_at(source, ("parts", part), part)
    }
    raw_blocks = table_at(source, ("blocks",), tree.get("blocks", {}))
    parts, blocks = read_blocks(source, raw_blocks, written, common, library or built_in())
    _check_coils(source, parts)
    _check_common(source, parts, common)
    areas = read_areas(source, table_at(source, ("areas",), tree.get("areas", {})))
    return Board(
        name=name,
        revision=revision,
        mains_v=mains[0],
        mains_hz=mains[1],
        common=common,
        parts=parts,
        blocks=blocks,
        places=read_places(source, table_at(source, ("places",), tree.get("places", {})), parts),
        areas=areas,
        text=text,
        where=where,
        covers=read_covers(source, table_at(source, ("covers",), tree.get("covers", {})), parts, areas),
    )


def _check_layout(source: Source, tree: Mapping[str, object]) -> None:
    if "layout" not in tree:
        raise source.error((), "the key 'layout' is missing.", f"Begin the file with: layout = {LAYOUT}")
    layout = tree["layout"]
    if isinstance(layout, bool) or layout != LAYOUT:
        raise source.error(
            ("layout",), f"layout {shown(layout)} is not known here.", f"This program reads: layout = {LAYOUT}"
        )


def _read_head(source: Source, head: Mapping[str, object]) -> tuple[str, str, tuple[float, float], str]:
    check_keys(source, ("board",), head, BOARD_KEYS)
    named = {
        key: name_at(source, ("board", key), head[key], f"a {key}")
        for key in ("name", "revision", "common")
        if key in head
    }
    mains = _read_mains(source, head.get("mains", DEFAULT_MAINS))
    return named.get("name", "board"), named.get("revision", ""), mains, named.get("common", COMMON)


def _read_mains(source: Source, value: object) -> tuple[float, float]:
    match = _MAINS.fullmatch(value) if isinstance(value, str) and len(value) < 64 else None
    try:
        volts, hertz = (
            (read_quantity(match["volts"], "V"), read_quantity(match["hertz"], "Hz")) if match else (0.0, 0.0)
        )
    except UnitError:
        volts, hertz = 0.0, 0.0
    if not (80 <= volts <= 480 and 40 <= hertz <= 70):
        raise source.error(
            ("board", "mains"), f"[board], key 'mains' is {shown(value)}.", f"Write it as {DEFAULT_MAINS!r}."
        )
    return volts, hertz


def _check_coils(source: Source, parts: Mapping[str, Part]) -> None:
    """A contact is driven by a relay coil of the same board."""
    coils = [name for name, part in parts.items() if part.kind == "relay coil"]
    for name, part in parts.items():
        coil = part.values.get("driven_by")
        if coil is not None and coil not in coils:
            path = ("parts", name, "driven_by") if ("parts", name) in source.index.lines else ("blocks", part.block)
            raise source.error(
                path, f"part {name!r}, key 'driven_by': {coil!r} is no relay coil.", nearest(str(coil), coils, "Coils")
            )


def _check_common(source: Source, parts: Mapping[str, Part], common: str) -> None:
    nets = dict.fromkeys(net for part in parts.values() for net in part.nets)
    if parts and common not in nets:
        raise source.error(
            ("board", "common"),
            f"no part touches the common net {common!r}.",
            f"Name the common net with [board] common. {nearest(common, nets, 'Nets')}",
        )
