"""The suspects of a board: every part in every mode, every leak, and what each weighs before any evidence.

What a prior weighs (all of it choices of ours, common practice, no published source, but for the handbook's rates):

* The part faults of a whole board add up to `EXPECTED_FAULTS`, shared out by rate and mode share. As an expected number
  it also says how much rarer two independent faults are than one.
* A marked area as a whole weighs `AREA_WEIGHT`, shared out evenly over the pairs of nets that run through it: residue
  weighs two thirds of all part faults together, so that a unit with one marked area of residue is suspected of a leak
  at about two in five before anything is measured. A part at which residue was seen weighs `SEEN_WEIGHT`.
* Where nothing is marked, all neighbouring pairs together weigh `NEIGHBOUR_WEIGHT`.
* A joint fault weighs the product of its faults, times a common-cause factor: faults of one area, parts of one lot.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from dustcap.board.model import Board, Part
from dustcap.board.places import neighbours, nets_in_area
from dustcap.errors import InputError
from dustcap.faults.modes import shares
from dustcap.faults.rates import areas_at, rate

EXPECTED_FAULTS = 0.3
AREA_WEIGHT = {"residue": 0.20, "corrosion": 0.10, "scorching": 0.05}
SEEN_WEIGHT = 0.10
NEIGHBOUR_WEIGHT = 0.01
HEALTHY_SHARE = 0.1
"""Share of the healthy board: one in ten beside all faults together, units in which nothing is found."""
ONE_AREA_FACTOR = 5.0
ONE_LOT_FACTOR = 5.0
MOST_OF_A_SINGLE = 0.5
"""A joint fault never weighs more than this share of the rarest of its faults."""


@dataclass(frozen=True, slots=True, order=True)
class PartFault:
    """A part that fails in one mode."""

    part: str
    mode: str

    @property
    def key(self) -> str:
        """A name that is unique on the board."""
        return f"{self.part} {self.mode}"

    def words(self) -> str:
        """As a technician says it."""
        return f"{self.part} {self.mode}"


@dataclass(frozen=True, slots=True, order=True)
class Leak:
    """A path between two nets that should not be there; `area` is where, empty for mere neighbours."""

    a: str
    b: str
    area: str = ""

    @property
    def key(self) -> str:
        """A name that is unique on the board."""
        return f"leak {' | '.join(sorted((self.a, self.b)))}"

    def words(self) -> str:
        """As a technician says it."""
        place = f" in {self.area}" if self.area else ""
        return f"leak between {self.a} and {self.b}{place}"


Fault = PartFault | Leak


@dataclass(frozen=True, slots=True)
class Suspect:
    """One explanation: no fault, one, or several at once."""

    faults: tuple[Fault, ...] = ()

    @property
    def key(self) -> str:
        """A name that is unique on the board."""
        return " + ".join(fault.key for fault in self.faults) or "healthy"

    def words(self) -> str:
        """As a technician says it."""
        return " and ".join(fault.words() for fault in self.faults) or "no fault"


HEALTHY = Suspect()


def suspects(board: Board, residue_on: Iterable[str] = ()) -> tuple[Suspect, ...]:
    """Every single fault of a board: part modes in the board's order, then leaks.

    Parameters
    ----------
    board : Board
    residue_on : part names
        Parts at which residue was seen: their own nets may leak into each other.

    Notes
    -----
    Leaks run between any two nets of one marked area; where no area is marked, between neighbours. A pair that several
    areas hold is one suspect, in the first of them.
    """
    faults: list[Fault] = [PartFault(part.name, mode) for part in board.parts.values() for mode in shares(part)]
    return tuple(Suspect((fault,)) for fault in (*faults, *_leaks(board, residue_on)))


def _leaks(board: Board, residue_on: Iterable[str]) -> Iterator[Leak]:
    found: dict[tuple[str, ...], Leak] = {}
    places: list[tuple[str, Sequence[tuple[str, str]]]] = [
        (name, tuple(combinations(nets_in_area(board, area), 2))) for name, area in board.areas.items()
    ]
    places += [(name, tuple(combinations(board.part(name).nets, 2))) for name in residue_on]
    if not board.areas:
        places.append(("", tuple(neighbours(board))))
    for area, pairs in places:
        for a, b in pairs:
            found.setdefault(tuple(sorted((a, b))), Leak(a, b, area))
    yield from found.values()


def prior(
    board: Board,
    suspected: Sequence[Suspect],
    *,
    working_v: Mapping[str, float] | None = None,
    factors: Mapping[str, float] | None = None,
    table: str = "aged",
) -> NDArray[np.float64]:
    """Expected number of each suspect's faults on a unit that comes in, in proportion.

    Parameters
    ----------
    board : Board
    suspected : sequence of Suspect
        Single or joint faults; the healthy board too.
    working_v : mapping of part to volts, optional
        Volts across capacitors in use, for their stress.
    factors : mapping of part to a number, optional
        What the shop's own history multiplies a part's rate by.
    table : {"aged", "handbook"}
        Which shares and rates: see `modes`.

    Returns
    -------
    ndarray, shape (n,)
        Not normalised: the caller adds what is not in the model.

    References
    ----------
    .. [1] MIL-HDBK-217F notice 2 and MIL-HDBK-338B for the rates' form: see `handbook`.

    Examples
    --------
    See tests/faults/test_prior.py.
    """
    return Weights.of(board, working_v or {}, factors or {}, table).prior(suspected)


@dataclass(frozen=True)
class Weights:
    """Expected numbers of every single fault of one board, from which `prior` weighs any suspects."""

    board: Board
    parts: Mapping[str, Mapping[str, float]]  # part -> mode -> expected number
    area_pairs: Mapping[str, int]  # area, part with residue or "" -> how many pairs share its weight

    @staticmethod
    def of(board: Board, working_v: Mapping[str, float], factors: Mapping[str, float], table: str) -> Weights:
        """Those of a board; arguments as of `prior`."""
        raw = {}
        for part in board.parts.values():
            factor = factors.get(part.name, 1.0)
            if not 0 <= factor < np.inf:
                raise InputError(
                    f"factor {factor!r} of {part.name}.", where="prior", mend="Give a number, zero or more."
                )
            found = shares(part, table)
            whole = rate(board, part, working_v=working_v, table=table) * factor if found else 0.0
            raw[part.name] = {mode: whole * share for mode, share in found.items()}
        total = sum(sum(modes.values()) for modes in raw.values()) or 1.0
        scaled = {
            name: {mode: EXPECTED_FAULTS * value / total for mode, value in modes.items()}
            for name, modes in raw.items()
        }
        pairs = [leak.area for leak in _leaks(board, ())]
        return Weights(board, scaled, {area: pairs.count(area) for area in set(pairs)})

    def prior(self, suspected: Sequence[Suspect]) -> NDArray[np.float64]:
        """Expected number of each suspect's faults, shape (n,): see the function of this name."""
        healthy = HEALTHY_SHARE / (1 - HEALTHY_SHARE) * self.total()
        return np.array([self.joint(suspect) if suspect.faults else healthy for suspect in suspected], dtype=float)

    def total(self) -> float:
        """All single faults together."""
        leaks = sum(self._place_weight(area) for area in self.area_pairs)
        return sum(sum(modes.values()) for modes in self.parts.values()) + leaks

    def _place_weight(self, area: str) -> float:
        if area in self.board.areas:
            return AREA_WEIGHT[self.board.areas[area].kind]
        return SEEN_WEIGHT if area else NEIGHBOUR_WEIGHT

    def single(self, fault: Fault) -> float:
        """Expected number of one fault; of a mode that a part does not have in this table, none."""
        if isinstance(fault, PartFault):
            return self.parts.get(fault.part, {}).get(fault.mode, 0.0)
        if fault.area in self.area_pairs:
            return self._place_weight(fault.area) / self.area_pairs[fault.area]
        nets = len(self.board.parts[fault.area].nets) if fault.area in self.board.parts else 0
        return self._place_weight(fault.area) / max(1, nets * (nets - 1) // 2)

    def joint(self, suspect: Suspect) -> float:
        """Product of the faults, times the factor of each pair's common cause, bounded by the rarest fault."""
        singles = [self.single(fault) for fault in suspect.faults]
        together = float(np.prod(singles))
        for one, other in combinations(suspect.faults, 2):
            together *= _common_cause(self.board, one, other)
        return together if len(singles) < 2 else min(together, MOST_OF_A_SINGLE * min(singles))


def _common_cause(board: Board, one: Fault, other: Fault) -> float:
    """How many times oftener two faults come together than by chance."""
    if isinstance(one, PartFault) and isinstance(other, PartFault) and one.part == other.part:
        return 0.0  # one part in two modes is no pair
    if _areas_of(board, one) & _areas_of(board, other):
        return ONE_AREA_FACTOR
    if isinstance(one, PartFault) and isinstance(other, PartFault) and one.mode == other.mode:
        return ONE_LOT_FACTOR if _same_lot(board.part(one.part), board.part(other.part)) else 1.0
    return 1.0


def _areas_of(board: Board, fault: Fault) -> set[str]:
    if isinstance(fault, Leak):
        return {fault.area} - {""}
    return set(areas_at(board, board.part(fault.part)))


def _same_lot(one: Part, other: Part) -> bool:
    """Two parts of the same kind, value and rating: bought together, aged together."""
    keys = ("value", "voltage", "dielectric", "type")
    same = all(one.values.get(key) == other.values.get(key) for key in keys)
    return one.kind == other.kind and same and one.kind in ("electrolytic", "capacitor", "op amp", "power amplifier")
