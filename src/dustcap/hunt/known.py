"""The names that entries may use on one board, and what is known of its parts without any circuit.

A mapping of plain names, so that findings can be read, and a hunt made, on a table.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from dustcap.predict.checks import Check


@dataclass(frozen=True)
class Known:
    """Nets; parts with their unit when lifted ("" when they cannot be); areas; drivers.

    `drivers`: the name of the part for each name that a driver goes by, its role or its part's.
    `plain`: the net or the part for each plain name that the board has a place for; `unplaced`: plain names that it has
    none for.
    `loose`: entries that name anything else are kept and not counted, instead of refused.
    `partners`: parts that are changed together with a part, as a precaution.
    `halves`: the other parts in the package of a part, which are changed with it.
    `covers`: the cover that a part or an area is behind, and the minutes of opening and closing it.
    `proof`: checks to be made once after work, before the unit goes back.
    """

    nets: frozenset[str]
    parts: Mapping[str, str]
    areas: frozenset[str] = frozenset()
    drivers: Mapping[str, str] = field(default_factory=dict)
    common: str = "0V"
    partners: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    plain: Mapping[str, str] = field(default_factory=dict)
    unplaced: frozenset[str] = frozenset()
    loose: bool = False
    proof: tuple[Check, ...] = ()
    halves: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    covers: Mapping[str, tuple[str, float]] = field(default_factory=dict)
