"""Read one part of a description: its kind, pins, keys, modes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from dustcap.board.defaults import filled
from dustcap.board.kinds import KINDS, Key, Kind
from dustcap.board.lines import KeyPath
from dustcap.board.model import Gain, Part
from dustcap.board.source import (
    Source,
    check_keys,
    name_at,
    number_at,
    shown,
    table_at,
    value_at,
    words_of,
)
from dustcap.errors import nearest

PART_KEYS = ("kind", "pins", "modes", "sealed")
MODULE_KEYS = ("drives", "draws", "gain")
GAIN_KEYS = ("from", "to", "value")
MOST_PINS = 64
_VOLTS = Key("V", example="5 V", signed=True, most=1e4)
_AMPERES = Key("A", example="20 mA", zero=True, most=1e3)
_TIMES = Key("", example="-10", signed=True, most=1e9)
_SHARE = Key("", example="0.2", zero=True, most=1e6)


@dataclass(frozen=True, slots=True)
class _At:
    """Where a part is written, and as what."""

    source: Source
    path: KeyPath
    name: str


def read_part(source: Source, path: KeyPath, name: str, raw: object) -> Part:
    """One part; BoardError at its first mistake.

    Parameters
    ----------
    source, path
        Where it stands, for messages.
    name : str
        The part's name on the board.
    raw : table
        As TOML gave it.
    """
    table = table_at(source, path, raw)
    kind = _kind(source, path, table)
    at = _At(source, path, name)
    others = MODULE_KEYS if kind.name == "module" else ()
    check_keys(source, path, table, (*PART_KEYS, *kind.keys, *others))
    pins = _pins(at, kind, table.get("pins"))
    values, given = _values(at, kind, table)
    drives, draws, gains = _module(at, table, pins) if kind.name == "module" else ({}, {}, ())
    return Part(
        name=name,
        kind=kind.name,
        pins=pins,
        values=values,
        given=given,
        modes=_modes(at, kind, table.get("modes", {})),
        sealed=_sealed(at, table.get("sealed", False)),
        line=source.line(path),
        drives=drives,
        draws=draws,
        gains=gains,
    )


def _kind(source: Source, path: KeyPath, table: Mapping[str, object]) -> Kind:
    if "kind" not in table:
        raise source.error(path, f"{words_of(path)} has no key 'kind'.", f"Kinds: {', '.join(KINDS)}.")
    word = table["kind"]
    if not isinstance(word, str) or word not in KINDS:
        advice = nearest(word if isinstance(word, str) else "", KINDS, "Kinds")
        raise source.error((*path, "kind"), f"{words_of(path)} has an unknown kind {shown(word)}.", advice)
    return KINDS[word]


def _pins(at: _At, kind: Kind, raw: object) -> dict[str, str]:
    """Pin -> net, in the order of the kind; a module keeps the order that it was written in."""
    if kind.name == "transformer":
        return _secondary(at, kind, raw)
    if isinstance(raw, list) and kind.listed:
        if len(raw) != len(kind.pins):
            raise _wrong_pins(at, kind, f"has {len(raw)} pins")
        return {pin: _net(at, str(place), net) for place, (pin, net) in enumerate(zip(kind.pins, raw, strict=True))}
    if not isinstance(raw, dict):
        raise _wrong_pins(at, kind, "has no pins" if raw is None else f"has pins {shown(raw)}")
    if kind.name == "module":
        return _module_pins(at, raw)
    check_keys(at.source, (*at.path, "pins"), raw, kind.pins)
    for pin in kind.pins:
        if pin not in raw and pin not in kind.optional:
            raise _wrong_pins(at, kind, f"has no pin {pin!r}")
    return {pin: _net(at, pin, raw[pin]) for pin in kind.pins if pin in raw}


def _secondary(at: _At, kind: Kind, raw: object) -> dict[str, str]:
    """A transformer's winding: both ends, or end, tap and end."""
    ends = raw.get("secondary") if isinstance(raw, dict) else None
    if isinstance(raw, dict):
        check_keys(at.source, (*at.path, "pins"), raw, ("secondary",))
    if not isinstance(ends, list) or len(ends) not in (2, 3):
        raise _wrong_pins(at, kind, f"has pins {shown(raw)}")
    names = ("a", "b") if len(ends) == 2 else ("a", "tap", "b")
    return {pin: _net(at, "secondary", net) for pin, net in zip(names, ends, strict=True)}


def _module_pins(at: _At, raw: Mapping[str, object]) -> dict[str, str]:
    if not 1 <= len(raw) <= MOST_PINS:
        raise at.source.error((*at.path, "pins"), f"part {at.name!r} has {len(raw)} pins.", "Give it 1 to 64 pins.")
    return {name_at(at.source, (*at.path, "pins", pin), pin): _net(at, pin, net) for pin, net in raw.items()}


def _net(at: _At, pin: str, raw: object) -> str:
    return name_at(at.source, (*at.path, "pins", pin), raw, "a net")


def _wrong_pins(at: _At, kind: Kind, what: str) -> Exception:
    if kind.name == "transformer":
        right = '{ secondary = ["a", "b"] } or { secondary = ["a", "tap", "b"] }'
    elif kind.name == "module":
        right = '{ any_name = "net", ... }'
    elif kind.listed:
        right = "[" + ", ".join(kind.pins) + "]"
    else:
        right = "{ " + ", ".join(f"{pin}{'?' if pin in kind.optional else ''} = ..." for pin in kind.pins) + " }"
    return at.source.error((*at.path, "pins"), f"part {at.name!r} {what}.", f"The pins of a {kind.name} are {right}.")


def _values(at: _At, kind: Kind, table: Mapping[str, object]) -> tuple[dict[str, float | str], frozenset[str]]:
    values: dict[str, float | str] = {}
    for key, spec in kind.keys.items():
        if key in table:
            values[key] = value_at(at.source, (*at.path, key), table[key], spec)
        elif spec.needed:
            raise at.source.error(at.path, f"part {at.name!r} has no key {key!r}.", f"Write: {key} = {spec.example!r}")
        elif spec.default is not None:
            values[key] = spec.default
    given = frozenset(key for key in kind.keys if key in table)
    if kind.name == "relay coil" and not given & {"pull_in", "volts"}:
        raise at.source.error(at.path, f"part {at.name!r} has no key 'volts'.", "Write: volts = '24 V'")
    return filled(kind.name, values), given


def _modes(at: _At, kind: Kind, raw: object) -> dict[str, float]:
    path = (*at.path, "modes")
    table = table_at(at.source, path, raw)
    if kind.name != "module":
        check_keys(at.source, path, table, kind.modes)
    shares = {mode: number_at(at.source, (*path, mode), share, _SHARE) for mode, share in table.items()}
    if shares and not sum(shares.values()) > 0:
        raise at.source.error(path, f"part {at.name!r}: every share in 'modes' is zero.", "Write: sealed = true")
    return shares


def _sealed(at: _At, raw: object) -> bool:
    if not isinstance(raw, bool):
        raise at.source.error((*at.path, "sealed"), f"part {at.name!r}, key 'sealed' is {shown(raw)}.", "Write true.")
    return raw


Module = tuple[dict[str, float], dict[str, float], tuple[Gain, ...]]


def _module(at: _At, table: Mapping[str, object], pins: Mapping[str, str]) -> Module:
    """What a module drives, draws and passes on. Its places are nets of its pins, or the pins' own names."""
    drives = _by_net(at, "drives", table.get("drives", {}), pins, _VOLTS)
    draws = _by_net(at, "draws", table.get("draws", {}), pins, _AMPERES)
    raw = table.get("gain", [])
    if not isinstance(raw, list) or not all(isinstance(entry, dict) for entry in raw):
        raise at.source.error(
            (*at.path, "gain"),
            f"part {at.name!r}, key 'gain' is {shown(raw)}.",
            "Write: [{ from = ..., to = ..., value = 2 }]",
        )
    gains = tuple(_gain(at, str(number), entry, pins) for number, entry in enumerate(raw))
    targets = [gain.to for gain in gains]
    for net in targets:
        if net in drives or targets.count(net) > 1:
            raise at.source.error((*at.path, "gain"), f"part {at.name!r} drives {net!r} twice.", "Drive each net once.")
    return drives, draws, gains


def _by_net(at: _At, key: str, raw: object, pins: Mapping[str, str], spec: Key) -> dict[str, float]:
    path = (*at.path, key)
    if not isinstance(raw, dict):
        raise at.source.error(
            path, f"part {at.name!r}, key {key!r} is {shown(raw)}.", f"Write: {key} = {{ net = {spec.example!r} }}"
        )
    return {
        _own_net(at, (*path, net), net, pins): number_at(at.source, (*path, net), value, spec)
        for net, value in raw.items()
    }


def _own_net(at: _At, path: KeyPath, word: object, pins: Mapping[str, str]) -> str:
    """A net that the module touches, by its name or by the pin's."""
    nets = dict.fromkeys(pins.values())
    if isinstance(word, str) and word in nets:
        return word
    if isinstance(word, str) and word in pins:
        return pins[word]
    advice = nearest(word if isinstance(word, str) else "", nets, "Its nets")
    raise at.source.error(path, f"part {at.name!r} has no pin on the net {shown(word)}.", advice)


def _gain(at: _At, number: str, raw: Mapping[str, object], pins: Mapping[str, str]) -> Gain:
    path = (*at.path, "gain", number)
    check_keys(at.source, path, raw, GAIN_KEYS)
    for key in GAIN_KEYS:
        if key not in raw:
            raise at.source.error(
                path, f"part {at.name!r}: a gain has no key {key!r}.", f"Keys: {', '.join(GAIN_KEYS)}."
            )
    return Gain(
        source=_own_net(at, (*path, "from"), raw["from"], pins),
        to=_own_net(at, (*path, "to"), raw["to"], pins),
        value=number_at(at.source, (*path, "value"), raw["value"], _TIMES),
    )
