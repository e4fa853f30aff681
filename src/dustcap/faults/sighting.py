"""What can be seen of a fault: probability of each word, for a part in each mode and for a good one.

The words exclude each other: a look at a part gives one of them, and what is left to one is ``clean``. All numbers are
common practice, no published source, but for two facts of makers' texts: a vent that opened or a domed top belongs to
electrolytics, and parts that merely dried out often look perfect (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping

from dustcap.board.model import Area, Board, Part
from dustcap.errors import InputError
from dustcap.faults.rates import areas_at
from dustcap.faults.suspects import Leak, PartFault, Suspect

WORDS = ("bulged", "leaking", "scorched", "corroded", "cracked", "discoloured", "residue", "clean")
FLOOR = 0.002
"""No word is impossible on any part: eyes err."""
CLEAN_FLOOR = 0.1

Seen = Mapping[str, float]

HEALTHY: Seen = {"discoloured": 0.04, "residue": 0.04, "corroded": 0.01, "scorched": 0.005, "cracked": 0.005}
HEALTHY_CAN: Seen = {**HEALTHY, "bulged": 0.01, "leaking": 0.01}
_CAN: Mapping[str, Seen] = {
    "capacity lost": {"bulged": 0.15, "leaking": 0.08, "discoloured": 0.05, "residue": 0.06, "corroded": 0.03},
    "esr up": {"bulged": 0.25, "leaking": 0.10, "discoloured": 0.06, "residue": 0.06, "corroded": 0.03},
    "leaky": {"bulged": 0.25, "leaking": 0.15, "discoloured": 0.05, "residue": 0.06, "corroded": 0.03},
    "short": {"bulged": 0.35, "leaking": 0.15, "discoloured": 0.05, "scorched": 0.05, "residue": 0.06},
    "open": {"bulged": 0.15, "leaking": 0.15, "discoloured": 0.05, "residue": 0.06, "corroded": 0.08},
}
_RESISTOR: Mapping[str, Seen] = {
    "open": {"scorched": 0.30, "cracked": 0.10, "discoloured": 0.15, "corroded": 0.06, "residue": 0.04},
    "drifted high": {"scorched": 0.15, "discoloured": 0.30, "corroded": 0.04, "cracked": 0.02, "residue": 0.04},
    "short": {"scorched": 0.15, "discoloured": 0.15, "residue": 0.05},
}
_CAPACITOR: Mapping[str, Seen] = {
    "open": {"cracked": 0.15, "discoloured": 0.05, "residue": 0.04},
    "short": {"cracked": 0.20, "scorched": 0.12, "discoloured": 0.08, "residue": 0.04},
    "value lost": {"cracked": 0.10, "discoloured": 0.08, "bulged": 0.03, "residue": 0.04},
    "leaky": {"cracked": 0.15, "corroded": 0.08, "discoloured": 0.08, "residue": 0.08},
}
_JOINT: Mapping[str, Seen] = {
    "open": {"cracked": 0.35, "scorched": 0.08, "discoloured": 0.12, "corroded": 0.12},
    "resistance": {"cracked": 0.30, "discoloured": 0.18, "corroded": 0.18, "residue": 0.05},
}
_FUSE: Mapping[str, Seen] = {"open": {"scorched": 0.35, "discoloured": 0.25}, "resistance": {"corroded": 0.15}}
_CONTACT: Seen = {"corroded": 0.12, "discoloured": 0.08, "scorched": 0.05, "residue": 0.06}
_BURNT: Seen = {"scorched": 0.20, "cracked": 0.15, "discoloured": 0.12, "residue": 0.04}
_QUIET: Seen = {**HEALTHY, "scorched": 0.02, "cracked": 0.03, "corroded": 0.03}
_COIL: Seen = {"scorched": 0.15, "discoloured": 0.25, "residue": 0.04}
_TABLES: Mapping[str, Mapping[str, Seen]] = {
    "electrolytic": _CAN,
    "resistor": _RESISTOR,
    "capacitor": _CAPACITOR,
}
BURNING = ("short", "supply", "winding")
"""Modes whose names hold one of these let smoke out of semiconductors, chips and windings."""

LEAK_AREA: Seen = {"residue": 0.75, "corroded": 0.10, "discoloured": 0.06}
"""Of a marked area in which something leaks."""
AREA: Seen = {"residue": 0.45, "corroded": 0.10, "discoloured": 0.10}
"""Of a marked area in which nothing leaks."""
LEAK_PART: Seen = {"residue": 0.55, "corroded": 0.08, "discoloured": 0.06}
"""Of a part that touches both leaking nets, or one of them inside the area of the leak."""
INSIDE: Mapping[str, Seen] = {
    "residue": {"residue": 0.40, "corroded": 0.05},
    "corrosion": {"corroded": 0.35, "residue": 0.10},
    "scorching": {"scorched": 0.15, "discoloured": 0.25},
}
"""At least, of any part that stands in a marked area: the mark was made because this was seen there."""


def seen(board: Board, suspect: Suspect, target: str, word: str) -> float:
    """Probability that a look at a part or area gives a word, if a suspect is what ails the board.

    Parameters
    ----------
    board : Board
    suspect : Suspect
        The healthy board too.
    target : str
        A part or an area.
    word : str
        One of `WORDS`.

    Raises
    ------
    InputError
        If the board has no such part or area, or there is no such word.
    """
    if word not in WORDS:
        raise InputError(f"there is no sighting {word!r}.", where="sighting", mend=f"Sightings: {', '.join(WORDS)}.")
    if target in board.areas:
        return _probability(_of_area(board.areas[target], suspect), word)
    if target not in board.parts:
        raise InputError(f"there is no part or area {target!r}.", where="sighting", mend="Name one of the board's.")
    return _probability(_of_part(board, board.parts[target], suspect), word)


def _probability(table: Seen, word: str) -> float:
    """A word's share; ``clean`` is what is left to one, and the others give way to its floor."""
    named = {name: max(table.get(name, 0.0), FLOOR) for name in WORDS if name != "clean"}
    whole = sum(named.values())
    scale = min(1.0, (1.0 - CLEAN_FLOOR) / whole)
    return 1.0 - scale * whole if word == "clean" else scale * named[word]


def _of_area(area: Area, suspect: Suspect) -> Seen:
    if any(isinstance(fault, Leak) and fault.area == area.name for fault in suspect.faults):
        return LEAK_AREA
    return AREA


def _of_part(board: Board, part: Part, suspect: Suspect) -> Seen:
    """The part's own fault, else a leak at it, else a good part; with what its area shows anyway."""
    table = HEALTHY_CAN if part.kind == "electrolytic" else HEALTHY
    around = areas_at(board, part)
    for fault in suspect.faults:
        if isinstance(fault, Leak) and _touches(part, fault, around):
            table = LEAK_PART
    for fault in suspect.faults:
        if isinstance(fault, PartFault) and fault.part == part.name:
            table = _by_mode(part, fault.mode)
    mixed = dict(table)
    for name in around:
        for word, least in INSIDE[board.areas[name].kind].items():
            mixed[word] = max(mixed.get(word, 0.0), least)
    return mixed


def _touches(part: Part, leak: Leak, around: tuple[str, ...]) -> bool:
    ends = (leak.a in part.nets) + (leak.b in part.nets)
    return ends == 2 if leak.area not in around else ends >= 1


def _by_mode(part: Part, mode: str) -> Seen:
    if part.kind in _TABLES:
        return _TABLES[part.kind].get(mode, HEALTHY)
    if part.kind == "link":
        return (_FUSE if "rating" in part.values else _JOINT).get(mode, HEALTHY)
    if part.kind in ("switch", "potentiometer"):
        return _CONTACT
    if part.kind in ("driver", "relay coil", "inductor", "transformer"):
        return _COIL
    return _BURNT if any(word in mode for word in BURNING) else _QUIET
