"""Blocks of a board: named groups of its own parts, or parts from a block of the library.

A block from the library brings its parts, named ``block-part``, and its inner nets, named ``block-net``. A part of that
name under ``[parts]`` takes the place of the library's: so a block is refined part by part where it matters.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from dustcap.board.library.load import Library
from dustcap.board.library.place import place_block
from dustcap.board.model import Block, Part
from dustcap.board.source import Source, check_keys, name_at, shown, table_at
from dustcap.errors import nearest

MOST_BLOCK_NAME = 32  # its parts and inner nets carry it in front of their own
BLOCK_KEYS = ("parts", "from", "with")


def read_blocks(
    source: Source, raw: Mapping[str, object], written: Mapping[str, Part], common: str, library: Library
) -> tuple[dict[str, Part], dict[str, Block]]:
    """Every part of the board, with its block, and every block.

    Parameters
    ----------
    written : mapping
        The parts of ``[parts]``.
    common : str
        The board's common net.

    Raises
    ------
    BoardError
        An unknown part, key, library block or setting; a part in two blocks.
    """
    parts = dict(written)
    blocks: dict[str, Block] = {}
    for name, value in raw.items():
        path = ("blocks", name)
        name_at(source, path, name)
        table = table_at(source, path, value)
        check_keys(source, path, table, BLOCK_KEYS)
        if "from" in table:
            blocks[name] = _from_library(source, name, table, parts, common, library, raw)
        else:
            blocks[name] = _own(source, name, table, written)
    return _in_their_blocks(source, parts, blocks), blocks


def _own(source: Source, name: str, table: Mapping[str, object], parts: Mapping[str, Part]) -> Block:
    path = ("blocks", name)
    if "with" in table:
        raise source.error(
            (*path, "with"), f"block {name!r} has 'with' but no 'from'.", "Name the library block: from."
        )
    members = table.get("parts")
    if not isinstance(members, list) or not members:
        raise source.error(
            path, f"block {name!r} has the parts {shown(members)}.", 'Write: parts = ["R1", ...], or: from = "..."'
        )
    for place, member in enumerate(members):
        at = (*path, "parts", str(place))
        if not isinstance(member, str) or member not in parts:
            advice = nearest(str(member), parts, "Parts")
            raise source.error(at, f"block {name!r} names {shown(member)}, which is no part.", advice)
        if members.index(member) != place:
            raise source.error(at, f"block {name!r} names {member!r} twice.", "Name it once.")
    return Block(name, tuple(members), line=source.line(path))


def _from_library(
    source: Source,
    name: str,
    table: Mapping[str, object],
    parts: dict[str, Part],
    common: str,
    library: Library,
    raw: Mapping[str, object],
) -> Block:
    path = ("blocks", name)
    if len(name) > MOST_BLOCK_NAME:
        raise source.error(path, f"the name {name!r} is too long for a library block.", "Keep to 32 letters.")
    if "parts" in table:
        raise source.error((*path, "parts"), f"block {name!r} has both 'parts' and 'from'.", "Keep one of the two.")
    word = table["from"]
    if not isinstance(word, str) or word not in library:
        what = f"block {name!r} comes from {shown(word)}, which is no block of the library."
        if isinstance(word, str) and word in raw:
            what = f"block {name!r} comes from {word!r}, a block of this board; blocks come from the library only."
        raise source.error((*path, "from"), what, nearest(str(word), library, "The library has"))
    placed = place_block(source, name, library, word, table_at(source, (*path, "with"), table.get("with", {})), common)
    for part in placed.parts:
        own = parts.get(part.name)
        if own is None:
            parts[part.name] = part
        elif own.kind != part.kind:
            raise source.error(
                ("parts", part.name),
                f"part {part.name!r} is a {own.kind}, and a {part.kind} in block {name!r}.",
                "Give it the same kind, or another name.",
            )
    return Block(name, tuple(part.name for part in placed.parts), word, placed.ports, source.line(path))


def _in_their_blocks(source: Source, parts: Mapping[str, Part], blocks: Mapping[str, Block]) -> dict[str, Part]:
    home: dict[str, str] = {}
    for block in blocks.values():
        for member in block.parts:
            if member in home:
                raise source.error(
                    ("blocks", block.name),
                    f"part {member!r} is in the blocks {home[member]!r} and {block.name!r}.",
                    "A part belongs to one block.",
                )
            home[member] = block.name
    return {name: replace(part, block=home.get(name, "")) for name, part in parts.items()}
