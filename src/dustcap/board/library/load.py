"""Read the templates of the library."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files

from dustcap.board.kinds import NUMBER, TRUTH, WORD, Key
from dustcap.board.library.designs import DESIGNS
from dustcap.board.source import Source, check_keys, read_toml, shown, table_at, value_at
from dustcap.errors import nearest

TEMPLATE_KEYS = ("layout", "name", "says", "source", "design", "ports", "settings", "parts", "blocks")
PORT_KEYS = ("says", "optional")
SETTING_KEYS = ("unit", "default", "says", "choices", "zero", "signed", "most")


@dataclass(frozen=True, slots=True)
class Port:
    """A net that the board gives to a block; without one, an optional port becomes an inner net."""

    says: str
    optional: bool = False


@dataclass(frozen=True, slots=True)
class Setting:
    """A value that can be adjusted; its default is in base units."""

    says: str
    key: Key
    default: float | str


@dataclass(frozen=True, slots=True)
class Template:
    """One block of the library. `source` says where its design equation is published."""

    name: str
    says: str
    source: str
    design: str
    ports: Mapping[str, Port]
    settings: Mapping[str, Setting]
    parts: Mapping[str, Mapping[str, object]] = field(default_factory=dict)
    blocks: Mapping[str, Mapping[str, object]] = field(default_factory=dict)


Library = Mapping[str, Template]


@cache
def built_in() -> Library:
    """The blocks that come with the program, by name, in the order of their files' names."""
    folder = files("dustcap.board.library")
    names = sorted(entry.name for entry in folder.iterdir() if entry.name.endswith(".toml"))
    templates = [read_template((folder / name).read_text(encoding="utf-8"), name) for name in names]
    return {template.name: template for template in templates}


def read_template(text: str, where: str) -> Template:
    """One template; BoardError with its line at the first mistake of its frame.

    The parts are read when the block is placed on a board, with the values that it has there.
    """
    tree, source = read_toml(text, where)
    check_keys(source, (), tree, TEMPLATE_KEYS)
    words = {key: _text(source, key, tree.get(key, "")) for key in ("name", "says", "source", "design")}
    if tree.get("layout") != 1 or not words["name"]:
        raise source.error((), "a template begins with layout = 1 and its name.", "Write: name = '...'")
    if words["design"] and words["design"] not in DESIGNS:
        what = f"there is no design {words['design']!r}."
        raise source.error(("design",), what, nearest(words["design"], DESIGNS, "Designs"))
    return Template(
        **words,
        ports=_ports(source, tree),
        settings={
            name: _setting(source, name, value)
            for name, value in table_at(source, ("settings",), tree.get("settings", {})).items()
        },
        parts=_tables(source, "parts", tree),
        blocks=_tables(source, "blocks", tree),
    )


def _text(source: Source, key: str, value: object) -> str:
    if not isinstance(value, str):
        raise source.error((key,), f"{key!r} is {shown(value)}.", "Write a text.")
    return value


def _tables(source: Source, key: str, tree: Mapping[str, object]) -> dict[str, Mapping[str, object]]:
    table = table_at(source, (key,), tree.get(key, {}))
    return {name: table_at(source, (key, name), value) for name, value in table.items()}


def _ports(source: Source, tree: Mapping[str, object]) -> dict[str, Port]:
    ports = {}
    for name, value in table_at(source, ("ports",), tree.get("ports", {})).items():
        table = {"says": value} if isinstance(value, str) else table_at(source, ("ports", name), value)
        check_keys(source, ("ports", name), table, PORT_KEYS)
        ports[name] = Port(str(table.get("says", "")), table.get("optional", False) is True)
    return ports


def _setting(source: Source, name: str, value: object) -> Setting:
    path = ("settings", name)
    table = table_at(source, path, value)
    check_keys(source, path, table, SETTING_KEYS)
    if "default" not in table:
        raise source.error(path, f"setting {name!r} has no default.", "Write: default = ...")
    default, choices = table["default"], table.get("choices", [])
    if isinstance(choices, list) and choices:
        key = Key(sort=WORD, choices=tuple(str(choice) for choice in choices))
    elif isinstance(default, bool):
        key = Key(sort=TRUTH)
    else:
        key = Key(
            unit=str(table.get("unit", "")),
            example=str(default),
            sort=NUMBER,
            zero=table.get("zero", False) is True,
            signed=table.get("signed", False) is True,
            most=float(str(table.get("most", "inf"))),
        )
    return Setting(str(table.get("says", "")), key, value_at(source, (*path, "default"), default, key))
