"""Change a board description and write it back, comments and order untouched.

Every change is a change of the board's own text, read again at once: what comes back is a whole, valid board, and a
change that would make it invalid is refused with the line of the new text. A part that comes from a block of the
library is changed by writing it out under ``[parts]``, where it takes the place of the library's.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping, MutableMapping, Sequence
from pathlib import Path
from typing import Any

import tomlkit

from dustcap.board.defaults import filled
from dustcap.board.kinds import KINDS
from dustcap.board.model import Block, Board, Part, Place
from dustcap.board.read import DEFAULT_MAINS, LAYOUT, parse_board
from dustcap.board.source import as_written
from dustcap.errors import BoardError, nearest

Table = MutableMapping[str, Any]
Written = str | int | float | bool
"""A value as it stands in the file: ``"2k2"``, 2200, true."""


def new_board(name: str, revision: str = "", mains: str = DEFAULT_MAINS, where: str = "board") -> Board:
    """A board with a head and nothing on it yet."""
    document = tomlkit.document()
    document["layout"] = LAYOUT
    head = tomlkit.table()
    for key, value in (("name", name), ("revision", revision), ("mains", mains)):
        if value:
            head[key] = value
    document["board"] = head
    return parse_board(tomlkit.dumps(document), where)


def set_value(board: Board, part: str, key: str, value: Written) -> Board:
    """The board with one key of a part set; BoardError for an unknown part or key, or a value that cannot be."""
    old = board.part(part)
    known = (*KINDS[old.kind].keys, "sealed")
    if key not in known:
        raise BoardError(f"a {old.kind} has no key {key!r}.", where=f"part {part!r}", mend=nearest(key, known, "Keys"))
    document = tomlkit.parse(board.text)
    parts = _table(document, "parts")
    if part not in parts:
        parts[part] = _inline(_written_out(old))
    _member(parts, part)[key] = value
    return _again(board, document)


def add_part(
    board: Board, name: str, kind: str, pins: Sequence[str] | Mapping[str, object], values: Mapping[str, Written]
) -> Board:
    """The board with one part more; BoardError if there is one of that name."""
    if name in board.parts:
        raise BoardError(f"there is a part {name!r} already.", where=board.where, mend="Give it another name.")
    document = tomlkit.parse(board.text)
    _table(document, "parts")[name] = _inline({"kind": kind, **values, "pins": pins})
    return _again(board, document)


def remove_part(board: Board, name: str) -> Board:
    """The board without a part, without its place and without its mention in a block."""
    part = board.part(name)
    document = tomlkit.parse(board.text)
    parts = _table(document, "parts")
    if name not in parts:
        raise BoardError(
            f"part {name!r} comes with block {part.block!r} of the library.",
            where=board.where,
            mend="Write the block's parts out, or take the block away.",
        )
    del parts[name]
    if name in _table(document, "places") and not _from_library(board, part):
        del _table(document, "places")[name]
    if part.block and not _from_library(board, part):
        members = _member(_table(document, "blocks"), part.block)["parts"]
        members.remove(name)
        if not members:
            del _table(document, "blocks")[part.block]
    if not _from_library(board, part):
        _uncover(document, "parts", [name])
    return _again(board, document)


def set_place(board: Board, part: str, place: Place | None) -> Board:
    """The board with a part at a place, in mm; None: its place is not known."""
    board.part(part)
    document = tomlkit.parse(board.text)
    places = _table(document, "places")
    if place is None:
        places.pop(part, None)
    else:
        places[part] = list(place)
    return _again(board, document)


def set_area(board: Board, name: str, kind: str, outline: Sequence[Place] | None) -> Board:
    """The board with a marked area; outline None: the area is taken away."""
    document = tomlkit.parse(board.text)
    areas = _table(document, "areas")
    if outline is None:
        areas.pop(name, None)
        _uncover(document, "areas", [name])
    else:
        area = _member(areas, name) if name in areas else tomlkit.table()
        area["kind"] = kind
        area["outline"] = [list(point) for point in outline]
        if name not in areas:
            areas[name] = area
    return _again(board, document)


def add_block(board: Board, name: str, origin: str, settings: Mapping[str, Written]) -> Board:
    """The board with one block more from the library; `settings` are its ports and values."""
    if name in board.blocks:
        raise BoardError(f"there is a block {name!r} already.", where=board.where, mend="Give it another name.")
    document = tomlkit.parse(board.text)
    block = tomlkit.table()
    block["from"] = origin
    block["with"] = _inline(settings)
    _table(document, "blocks")[name] = block
    return _again(board, document)


def set_block(board: Board, name: str, settings: Mapping[str, Written | None]) -> Board:
    """The board with ports and values of a library block set; None: that value is the library's again.

    Raises
    ------
    BoardError
        If there is no such block, it is not of the library, or a value cannot be.
    """
    _library_block(board, name)
    document = tomlkit.parse(board.text)
    block = _member(_table(document, "blocks"), name)
    if "with" not in block:
        block["with"] = tomlkit.inline_table()
    filling = _member(block, "with")
    for key, value in settings.items():
        if value is None:
            filling.pop(key, None)
        else:
            filling[key] = value
    return _again(board, document)


def remove_block(board: Board, name: str) -> Board:
    """The board without a library block, without the places of its parts and what was written of them."""
    block = _library_block(board, name)
    document = tomlkit.parse(board.text)
    del _table(document, "blocks")[name]
    for table in ("parts", "places"):
        for part in block.parts:
            if table in document:
                _member(document, table).pop(part, None)
    _uncover(document, "parts", block.parts)
    return _again(board, document)


def _uncover(document: Table, key: str, names: Sequence[str]) -> None:
    """Take parts or areas out of the covers that they are behind."""
    for cover in document.get("covers", {}).values():
        for name in names:
            if name in cover.get(key, ()):
                cover[key].remove(name)


def write_board(board: Board, path: Path | str) -> None:
    """Write the description to a file, all of it or nothing: a temporary file beside it, flushed, then renamed.

    Raises
    ------
    BoardError
        If the folder cannot be written to.
    """
    target = Path(path)
    temporary = ""
    try:
        with tempfile.NamedTemporaryFile("wb", dir=target.parent, prefix=f".{target.name}.", delete=False) as stream:
            temporary = stream.name
            stream.write(board.text.encode("utf-8"))
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(temporary, target)
    except OSError as error:
        if temporary:
            Path(temporary).unlink(missing_ok=True)
        raise BoardError(
            f"cannot be written: {error.strerror}.", where=str(target), mend="Check the folder and its rights."
        ) from error


def _again(board: Board, document: tomlkit.TOMLDocument) -> Board:
    return parse_board(tomlkit.dumps(document), board.where)


def _table(holder: tomlkit.TOMLDocument, name: str) -> Table:
    if name not in holder:
        holder[name] = tomlkit.table(is_super_table=name in ("areas", "blocks"))
    return _member(holder, name)


def _library_block(board: Board, name: str) -> Block:
    if name not in board.blocks or not board.blocks[name].origin:
        raise BoardError(
            f"there is no block {name!r} of the library.", where=board.where, mend=nearest(name, board.blocks, "Blocks")
        )
    return board.blocks[name]


def _member(table: Table, name: str) -> Table:
    found: Table = table[name]
    return found


def _inline(values: Mapping[str, object]) -> object:
    table = tomlkit.inline_table()
    for key, value in values.items():
        table[key] = (
            _inline(value) if isinstance(value, Mapping) else list(value) if isinstance(value, tuple) else value
        )
    return table


def _from_library(board: Board, part: Part) -> bool:
    return bool(part.block) and bool(board.blocks[part.block].origin)


def _written_out(part: Part) -> dict[str, object]:
    """A part as it would stand in the file, with every value that would not come back by itself."""
    pins: object = dict(part.pins)
    if part.kind == "transformer":
        pins = {"secondary": list(part.pins.values())}
    elif KINDS[part.kind].listed:
        pins = list(part.pins.values())
    spec = KINDS[part.kind].keys
    table: dict[str, object] = {"kind": part.kind}
    for key, value in part.values.items():
        if spec[key].needed or value not in (spec[key].default, _following(part, key)):
            table[key] = as_written(value, spec[key].unit)
    if part.gains:
        table["gain"] = [{"from": gain.source, "to": gain.to, "value": gain.value} for gain in part.gains]
    for name, mapping in (("drives", part.drives), ("draws", part.draws), ("modes", part.modes)):
        if mapping:
            table[name] = dict(mapping)
    return {**table, "pins": pins}


def _following(part: Part, key: str) -> float | str | None:
    """The value that a key would take by the part's other values, if it is one that follows from them."""
    return filled(part.kind, {other: value for other, value in part.values.items() if other != key}).get(key)
