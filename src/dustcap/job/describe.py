"""Describing a board without a schematic: library blocks, joined by nets, adjusted by what is printed on parts."""

from __future__ import annotations

from collections.abc import Mapping

from dustcap.board.kinds import KINDS, TRUTH, Key
from dustcap.board.library.load import Template
from dustcap.board.lines import LineIndex
from dustcap.board.model import Board
from dustcap.board.source import Source, name_at, value_at
from dustcap.board.write import Written, add_block, add_part, remove_block, remove_part, set_block, set_value
from dustcap.errors import BoardError, InputError
from dustcap.job.block_forms import (
    PORT,
    SET,
    block_form,
    library_block,
    printed_key,
    shown_for,
    template_of,
    written_default,
)
from dustcap.job.desk import Desk
from dustcap.job.drawer import change
from dustcap.job.typed_values import typed_value


def put_block(desk: Desk, stem: str, origin: str, name: str, fields: Mapping[str, str]) -> Board:
    """Put a block of the library onto the board; what is left empty stays the library's.

    Raises
    ------
    InputError
        If a net or value cannot be; `where` is the field.
    """
    template = template_of(origin)
    settings = {key: value for key, value in _read_fields(template, fields).items() if value is not None}
    name = _name(name, "name")

    def put(board: Board) -> Board:
        if name in board.blocks:
            raise InputError(f"there is a block {name!r} already.", where="name", mend="Give it another name.")
        return add_block(board, name, origin, settings)

    return change(desk, stem, put)


def adjust_block(desk: Desk, stem: str, name: str, fields: Mapping[str, str]) -> Board:
    """Set nets and values of a block on the board; what is left empty becomes the library's again.

    Raises
    ------
    InputError
        If a net or value cannot be; `where` is the field.
    """

    def adjust(board: Board) -> Board:
        return set_block(board, name, _read_fields(template_of(library_block(board, name).origin), fields))

    return change(desk, stem, adjust)


def confirm_block(desk: Desk, stem: str, name: str) -> Board:
    """Write down every value of a block as it is now: it was looked at and is so."""

    def confirm(board: Board) -> Board:
        form = block_form(board, name)
        values = {
            line.name: written_default(template_of(form.origin).settings[line.name])
            for line in form.settings
            if line.assumed
        }
        board = set_block(board, name, values) if values else board
        for line in block_form(board, name).parts:
            if line.assumed:
                part = board.parts[line.name]
                board = set_value(board, part.name, line.key, shown_for(part, line.key))
        return board

    return change(desk, stem, confirm)


def set_part(desk: Desk, stem: str, part: str, text: str) -> Board:
    """Set the printed value of a part, with its tolerance where that is read as well; empty: confirm it as it is.

    Raises
    ------
    InputError
        If there is no such part, its kind has no value, or the text has no meaning or two; `where` is the part.
    """

    def change_it(board: Board) -> Board:
        known = board.part(part)
        key = printed_key(known)
        if not key:
            raise InputError(f"a {known.kind} has no value to read.", where=part)
        spec = KINDS[known.kind].keys[key]
        typed = typed_value(text or shown_for(known, key), spec.unit, part, polar=known.kind == "electrolytic")
        _checked(key, spec, typed.value, part)
        board = set_value(board, part, key, typed.value)
        if typed.tolerance and "tolerance" in KINDS[known.kind].keys:
            board = set_value(board, part, "tolerance", typed.tolerance)
        return board

    return change(desk, stem, change_it)


def put_part(desk: Desk, stem: str, name: str, kind: str, nets: Mapping[str, str], values: Mapping[str, str]) -> Board:
    """Put a single part onto the board; empty values take their defaults.

    Raises
    ------
    InputError
        If the kind, a net or a value cannot be; `where` is the field.
    """
    if kind not in KINDS:
        raise InputError(f"there is no kind {kind[:40]!r}.", where="kind", mend="Choose one from the list.")
    spec = KINDS[kind]
    pins = {pin: _name(nets.get(pin, ""), PORT + pin) for pin in spec.pins if nets.get(pin, "").strip()}
    for pin in spec.pins:
        if pin not in pins and pin not in spec.optional:
            raise InputError(f"pin {pin!r} has no net.", where=PORT + pin, mend="Name the net it goes to.")
    written: dict[str, Written] = {}
    for key, text in values.items():
        if key in spec.keys and text.strip():
            typed = typed_value(text, spec.keys[key].unit, SET + key, polar=kind == "electrolytic")
            written[key] = _checked(key, spec.keys[key], typed.value, SET + key)
    listed: object = list(pins.values()) if spec.listed and len(pins) == len(spec.pins) else pins
    if kind == "transformer":
        listed = {"secondary": list(pins.values())}
    return change(
        desk,
        stem,
        lambda board: add_part(board, _name(name, "name"), kind, listed, written),  # type: ignore[arg-type]
    )


def take_block(desk: Desk, stem: str, name: str) -> Board:
    """Take a library block off the board."""
    return change(desk, stem, lambda board: remove_block(board, name))


def take_part(desk: Desk, stem: str, part: str) -> Board:
    """Take a single part off the board."""
    return change(desk, stem, lambda board: remove_part(board, part))


def _read_fields(template: Template, fields: Mapping[str, str]) -> dict[str, Written | None]:
    """Ports and values of a form by their names; None where the field was left empty."""
    found: dict[str, Written | None] = {}
    for port, spec in template.ports.items():
        text = fields.get(PORT + port, "").strip()
        if not text and not spec.optional:
            raise InputError(f"port {port!r} has no net.", where=PORT + port, mend=f"It is {spec.says}: name its net.")
        found[port] = _name(text, PORT + port) if text else None
    for key, setting in template.settings.items():
        text = fields.get(SET + key, "").strip()
        if not text:
            found[key] = None
        elif setting.key.sort == TRUTH:
            found[key] = _checked(key, setting.key, text == "true" if text in ("true", "false") else text, SET + key)
        else:
            typed = typed_value(text, setting.key.unit, SET + key)
            found[key] = _checked(key, setting.key, typed.value, SET + key)
    return found


def _checked(name: str, key: Key, value: Written, field: str) -> Written:
    """A value, if the key can have it."""
    try:
        value_at(Source("", LineIndex()), ("key", name), value, key)
    except BoardError as error:
        raise InputError(error.what.removeprefix("key "), where=field, mend=error.mend) from error
    return value


def _name(text: str, field: str) -> str:
    try:
        return name_at(Source("", LineIndex()), ("key", field), text.strip(), "a name")
    except BoardError as error:
        raise InputError(f"{text[:40]!r} is no name.", where=field, mend="Write a few letters or digits.") from error
