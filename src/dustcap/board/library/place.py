"""Put a block of the library onto a board: nets to its ports, values to its settings, names of its own to the rest."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from dustcap.board.kinds import KINDS
from dustcap.board.library.designs import DESIGNS
from dustcap.board.library.load import Library, Template
from dustcap.board.lines import KeyPath, LineIndex
from dustcap.board.model import Part
from dustcap.board.parts import read_part
from dustcap.board.source import Source, as_written, check_keys, name_at, value_at
from dustcap.errors import nearest

COMMON = "0V"


@dataclass(frozen=True, slots=True)
class Placed:
    """The parts that a block brings, and the net at each of its ports."""

    parts: tuple[Part, ...]
    ports: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class _Filling:
    """What stands in for a template's names: nets, values, and which of the values were given on the board."""

    name: str
    nets: Mapping[str, str]
    values: Mapping[str, float | str]
    given: frozenset[str]
    common: str

    def net(self, name: str) -> str:
        if name == COMMON:
            return self.common
        return self.nets.get(name, f"{self.name}-{name}")


def place_block(
    source: Source,
    name: str,
    library: Library,
    word: str,
    settings: Mapping[str, object],
    common: str,
    *,
    trail: tuple[str, ...] = (),
    assumed: frozenset[str] = frozenset(),
) -> Placed:
    """The parts of a library block under the name `name`.

    Parameters
    ----------
    word : str
        The library block's name; it is in `library`.
    settings : table
        The block's ``with``: ports and settings together.
    common : str
        The board's common net.
    trail : tuple of str
        The library blocks that this one is inside of.
    assumed : frozenset of str
        Settings that the block around it filled in, without their being given on the board.

    Raises
    ------
    BoardError
        An unknown or missing port, a setting out of its range, a block of the library that contains itself.
    """
    path = ("blocks", name)
    own = Source(
        source.where, LineIndex({path: source.line(path), ("blocks", name, "with"): source.line((*path, "with"))})
    )
    if word in trail:
        chain = " in ".join(repr(step) for step in (word, *reversed(trail[trail.index(word) :])))
        raise own.error(path, f"block {name!r}: the library goes in a circle: {chain}.", "Take one of them out.")
    template = library[word]
    given = _checked(source, path, template, settings)
    filling = _filling(source, path, name, template, given, common, frozenset(given) - assumed)
    parts = [_part(own, path, filling, part, raw) for part, raw in template.parts.items()]
    for inner, table in template.blocks.items():
        parts += _inner(own, filling, library, inner, table, (*trail, word)).parts
    return Placed(tuple(parts), {port: filling.net(port) for port in template.ports})


def _checked(source: Source, path: KeyPath, template: Template, given: Mapping[str, object]) -> Mapping[str, object]:
    known = (*template.ports, *template.settings)
    check_keys(source, (*path, "with"), given, known)
    for port, spec in template.ports.items():
        if port not in given and not spec.optional:
            raise source.error(
                (*path, "with"),
                f"block {path[1]!r}, a {template.name}, has no net at its port {port!r} ({spec.says}).",
                f"Write: with = {{ {port} = 'net', ... }}",
            )
    return given


def _filling(
    source: Source,
    path: KeyPath,
    name: str,
    template: Template,
    given: Mapping[str, object],
    common: str,
    told: frozenset[str],
) -> _Filling:
    at = (*path, "with")
    nets = {port: name_at(source, (*at, port), given[port], "a net") for port in template.ports if port in given}
    values = {key: setting.default for key, setting in template.settings.items()}
    for key, setting in template.settings.items():
        if key in given:
            values[key] = value_at(source, (*at, key), given[key], setting.key)
    if template.design:
        try:
            values.update(DESIGNS[template.design](values))
        except ValueError as error:
            raise source.error(at, f"block {name!r}: {error}", "Change its settings.") from error
    return _Filling(name, nets, values, told, common)


def _part(own: Source, path: KeyPath, filling: _Filling, name: str, raw: Mapping[str, object]) -> Part:
    """One part of the template, read like any other once its names are filled in."""
    taken = {key: value["from"] for key, value in raw.items() if isinstance(value, dict) and set(value) == {"from"}}
    for word in taken.values():
        if word not in filling.values:
            advice = nearest(str(word), filling.values, "Settings")
            raise own.error(path, f"part {name!r} of the library takes {word!r}, which is no setting.", advice)
    keys = KINDS[str(raw.get("kind"))].keys if raw.get("kind") in KINDS else {}
    table = dict(raw)
    for key, word in taken.items():
        table[key] = as_written(filling.values[str(word)], keys[key].unit if key in keys else "")
    table["pins"] = _nets(raw.get("pins"), filling)
    for key in ("drives", "draws"):
        entries = table.get(key)
        if isinstance(entries, dict):
            table[key] = {filling.net(net): _value(value, filling) for net, value in entries.items()}
    gains = table.get("gain")
    if isinstance(gains, list):
        table["gain"] = [_gain(gain, filling) for gain in gains]
    if "driven_by" in table:
        table["driven_by"] = f"{filling.name}-{table['driven_by']}"
    part = read_part(own, (*path, name), f"{filling.name}-{name}", table)
    given = frozenset(key for key, word in taken.items() if word in filling.given)
    return replace(part, given=given, line=own.line(path))


def _nets(raw: object, filling: _Filling) -> object:
    if isinstance(raw, str):
        return filling.net(raw)
    if isinstance(raw, list):
        return [_nets(entry, filling) for entry in raw]
    if isinstance(raw, dict):
        return {pin: _nets(net, filling) for pin, net in raw.items()}
    return raw


def _value(raw: object, filling: _Filling) -> object:
    if isinstance(raw, dict) and set(raw) == {"from"}:
        return filling.values.get(str(raw["from"]), raw)
    return raw


def _gain(raw: Mapping[str, object], filling: _Filling) -> dict[str, object]:
    return {
        "from": filling.net(str(raw.get("from"))),
        "to": filling.net(str(raw.get("to"))),
        "value": _value(raw.get("value"), filling),
    }


def _inner(
    own: Source, filling: _Filling, library: Library, inner: str, table: Mapping[str, object], trail: tuple[str, ...]
) -> Placed:
    """A block inside the block; its ports are nets of the outer one."""
    word, settings = table.get("from"), table.get("with", {})
    path = ("blocks", filling.name)
    if not isinstance(word, str) or word not in library or not isinstance(settings, dict):
        advice = nearest(str(word), library, "The library has")
        raise own.error(path, f"the library has no block {word!r} for {inner!r}.", advice)
    ports = library[word].ports
    filled = {
        key: filling.net(value) if key in ports and isinstance(value, str) else _value(value, filling)
        for key, value in settings.items()
    }
    told = {
        key
        for key, value in settings.items()
        if isinstance(value, dict) and set(value) == {"from"} and value["from"] in filling.given
    }
    name = f"{filling.name}-{inner}"
    inside = Source(own.where, LineIndex({("blocks", name): own.line(path)}))
    return place_block(
        inside, name, library, word, filled, filling.common, trail=trail, assumed=frozenset(filled) - told
    )
