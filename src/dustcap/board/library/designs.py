"""Design equations of the library's blocks: settings in, part values out."""

from __future__ import annotations

from collections.abc import Callable, Mapping

Settings = Mapping[str, float | str]
DESIGNS: Mapping[str, Callable[[Settings], dict[str, float | str]]] = {}
