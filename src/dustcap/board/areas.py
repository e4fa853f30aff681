"""Read places and marked areas: points in millimetres, outlines that enclose something and do not cross themselves."""

from __future__ import annotations

from collections.abc import Mapping

from dustcap.board.geometry import crosses_itself, enclosed_area
from dustcap.board.kinds import AREA_KINDS
from dustcap.board.lines import KeyPath
from dustcap.board.model import Area, Part, Place
from dustcap.board.source import Source, check_keys, name_at, shown, table_at, words_of
from dustcap.errors import nearest

MOST_MM = 10_000.0
MOST_CORNERS = 200
AREA_KEYS = ("kind", "outline")


def read_places(source: Source, raw: Mapping[str, object], parts: Mapping[str, Part]) -> dict[str, Place]:
    """Part -> millimetres; BoardError for a part that is not there or a place that is no point."""
    places = {}
    for name, point in raw.items():
        path = ("places", name)
        if name not in parts:
            raise source.error(path, f"[places] names {name!r}, which is no part.", nearest(name, parts, "Parts"))
        places[name] = _point(source, path, point)
    return places


def read_areas(source: Source, raw: Mapping[str, object]) -> dict[str, Area]:
    """Name -> area; BoardError for an outline that encloses nothing."""
    return {name: _area(source, name, table_at(source, ("areas", name), table)) for name, table in raw.items()}


def _area(source: Source, name: str, table: Mapping[str, object]) -> Area:
    path = ("areas", name)
    name_at(source, path, name)
    check_keys(source, path, table, AREA_KEYS)
    for key in AREA_KEYS:
        if key not in table:
            raise source.error(path, f"area {name!r} has no key {key!r}.", f"Keys: {', '.join(AREA_KEYS)}.")
    kind = table["kind"]
    if not isinstance(kind, str) or kind not in AREA_KINDS:
        advice = nearest(kind if isinstance(kind, str) else "", AREA_KINDS, "Write one of")
        raise source.error((*path, "kind"), f"area {name!r}, key 'kind' is {shown(kind)}.", advice)
    outline = _outline(source, (*path, "outline"), name, table["outline"])
    return Area(name, kind, outline, source.line(path))


def _outline(source: Source, path: KeyPath, name: str, raw: object) -> tuple[Place, ...]:
    right = "Write 3 to 200 corners in order: [[30, 12], [52, 12], [52, 26]]"
    if not isinstance(raw, list) or not 3 <= len(raw) <= MOST_CORNERS:
        corners = f"has {len(raw)} corners" if isinstance(raw, list) else f"has the outline {shown(raw)}"
        raise source.error(path, f"area {name!r} {corners}.", right)
    outline = tuple(_point(source, (*path, str(place)), point) for place, point in enumerate(raw))
    if outline[0] == outline[-1]:
        outline = outline[:-1]
    if len(outline) < 3 or crosses_itself(outline):
        raise source.error(
            path, f"the outline of area {name!r} crosses itself.", "Name its corners in order around it."
        )
    if not enclosed_area(outline) > 0:
        raise source.error(path, f"the outline of area {name!r} encloses nothing.", right)
    return outline


def _point(source: Source, path: KeyPath, raw: object) -> Place:
    good = isinstance(raw, list) and len(raw) == 2 and all(_is_mm(number) for number in raw)
    if not (isinstance(raw, list) and good):
        raise source.error(
            path, f"{words_of(path)}: {shown(raw)} is no point.", "Write two numbers in mm: [41.2, 18.7]"
        )
    return float(raw[0]), float(raw[1])


def _is_mm(number: object) -> bool:
    if isinstance(number, bool) or not isinstance(number, int | float):
        return False
    return abs(number) <= MOST_MM  # false for what is not a number
