"""Read covers: what has to be opened, once, before the parts and areas behind it are reached."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from dustcap.board.model import Cover
from dustcap.board.source import Source, check_keys, name_at, shown, table_at
from dustcap.errors import nearest

COVER_KEYS = ("minutes", "parts", "areas")
MOST_MINUTES = 600.0


def read_covers(
    source: Source, raw: Mapping[str, object], parts: Iterable[str], areas: Iterable[str]
) -> dict[str, Cover]:
    """Name -> cover; BoardError for one without minutes, or with something behind it that is not there or twice."""
    known = {"parts": tuple(parts), "areas": tuple(areas)}
    behind: dict[str, str] = {}
    covers = {}
    for name, table in raw.items():
        path = ("covers", name)
        name_at(source, path, name)
        found = table_at(source, path, table)
        check_keys(source, path, found, COVER_KEYS)
        minutes = found.get("minutes")
        if isinstance(minutes, bool) or not isinstance(minutes, int | float) or not 0 < minutes <= MOST_MINUTES:
            raise source.error(
                (*path, "minutes") if "minutes" in found else path,
                f"cover {name!r} has the minutes {shown(minutes)}.",
                f"Write what opening and closing it takes, up to {MOST_MINUTES:g}: minutes = 6",
            )
        named = {key: _named(source, name, key, found.get(key, []), known[key]) for key in known}
        for target in (*named["parts"], *named["areas"]):
            if behind.setdefault(target, name) != name:
                raise source.error(
                    path, f"{target!r} is behind {behind[target]!r} and behind {name!r}.", "Name it behind one cover."
                )
        covers[name] = Cover(name, float(minutes), named["parts"], named["areas"])
    return covers


def _named(source: Source, cover: str, key: str, raw: object, known: tuple[str, ...]) -> tuple[str, ...]:
    path = ("covers", cover, key)
    if not isinstance(raw, list) or not all(isinstance(one, str) for one in raw):
        raise source.error(path, f"cover {cover!r}, key {key!r} is {shown(raw)}.", f'Write names: {key} = ["..."]')
    for one in raw:
        if one not in known:
            raise source.error(
                path, f"cover {cover!r} names {one!r}, which is none of its {key}.", nearest(one, known, key.title())
            )
    return tuple(dict.fromkeys(raw))
