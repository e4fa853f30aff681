"""How often each kind of part fails: base rates, and what raises or lowers them for one part on one board.

A rate is the handbook's parts-count rate of a commercial part (`handbook.COUNTS`) times a factor for aged audio units.
The factors are common practice, no published source: electrolytics dry out, transistors and power amplifiers of a
loudspeaker run hot, joints and contacts of a damp room fail; military field effect parts and transformers fail less.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from dustcap.board.geometry import inside
from dustcap.board.model import Board, Part
from dustcap.errors import InputError
from dustcap.faults.handbook import COUNTS
from dustcap.faults.modes import family


@dataclass(frozen=True, slots=True)
class Rate:
    """Base rate of a kind: a row of the handbook, how many of it are in one part, and the factor of aged units."""

    row: str
    aged: float
    number: float = 1.0

    def per_million_hours(self, table: str) -> float:
        """Failures in 1e6 h by one of the two tables."""
        rate = COUNTS[self.row].commercial * self.number
        return rate * self.aged if table == "aged" else rate


RATES: Mapping[str, Rate] = {
    "resistor": Rate("film resistor", 1.0),
    "film capacitor": Rate("film capacitor", 2.0),
    "ceramic capacitor": Rate("ceramic capacitor", 0.7),
    "mains capacitor": Rate("film capacitor", 3.0),
    "electrolytic": Rate("aluminium electrolytic", 8.0),
    "inductor": Rate("inductor", 20.0),
    "potentiometer": Rate("variable resistor", 3.0),
    "link": Rate("connection", 40.0, number=2),  # two joints
    "fuse": Rate("fuse", 10.0),
    "switch": Rate("switch", 1.0),
    "relay contact": Rate("relay", 1.5),
    "relay coil": Rate("relay", 0.15),
    "diode": Rate("general diode", 0.5),
    "rectifier": Rate("rectifier", 1.0),
    "zener": Rate("zener", 1.0),
    "bridge": Rate("rectifier", 0.7, number=4),
    "bipolar": Rate("small bipolar", 30.0),
    "field effect": Rate("field effect", 0.4),
    "op amp": Rate("small linear chip", 1.5),
    "power amplifier": Rate("linear chip", 2.5),
    "regulator": Rate("small linear chip", 1.5),
    "transformer": Rate("power transformer", 0.2),
    # no rows of the handbook: counted as the nearest row
    "driver": Rate("power transformer", 0.5),
    "supply": Rate("linear chip", 0.5),
    "module": Rate("linear chip", 2.0),
    "input": Rate("connection", 0.0),
}

REFERENCE_FARAD = 100e-6
FARAD_POWER = 0.23
VOLTS_POWER = {"electrolytic": 5.0, "film capacitor": 5.0, "ceramic capacitor": 3.0, "mains capacitor": 5.0}
REFERENCE_SHARE = 0.6
SOFTENED = 0.5
"""Power to which the stress of one part counts on aged units; a choice of ours. The handbook's powers suit parts run to
their limits; taken whole, size, volts and place set two electrolytics of one board apart by forty to one, and a silent
rail capacitor outweighed the small one whose loss was heard."""
AREA_FACTOR = {"residue": 2.0, "corrosion": 4.0, "scorching": 4.0}
"""A part inside a marked area fails more often; common practice, no published source."""


def base_rate(part: Part, table: str = "aged") -> float:
    """Failures in 1e6 h of a part of that kind, before stress."""
    if table not in ("aged", "handbook"):
        raise InputError(f"there is no table {table!r}.", where="rates", mend="Tables are aged and handbook.")
    return RATES[family(part)].per_million_hours(table)


def voltage_stress(kind: str, share: float) -> float:
    """How many times oftener a capacitor fails at a share of its rated volts than at 0.6 of them.

    Parameters
    ----------
    kind : str
        A capacitor's row, as `modes.family` names it.
    share : float
        (volts d.c. + sqrt(2) x volts a.c.) / rated volts.

    References
    ----------
    .. [1] MIL-HDBK-217F notice 2, section 10.1: (S / 0.6)^n + 1, n = 5 for electrolytic and film, 3 for ceramic
       (factors from memory). Divided by two, so that 0.6 counts as one.

    Examples
    --------
    >>> voltage_stress("electrolytic", 0.6)
    1.0
    """
    if not share >= 0:
        raise InputError(f"a share of {share:g}.", where="rates", mend="Give volts over rated volts, zero or more.")
    return float(((share / REFERENCE_SHARE) ** VOLTS_POWER[kind] + 1.0) / 2.0)


def size_stress(part: Part) -> float:
    """How a capacitor's size changes its rate: (C / 100 uF)^0.23 for electrolytics, one for everything else.

    References
    ----------
    .. [1] MIL-HDBK-217F notice 2, section 10.1, capacitance factor C^0.23 (from memory).
    """
    if part.kind != "electrolytic":
        return 1.0
    return float((part.number("value") / REFERENCE_FARAD) ** FARAD_POWER)


def areas_at(board: Board, part: Part) -> tuple[str, ...]:
    """Marked areas that a part stands in; none when its place is not known."""
    place = board.places.get(part.name)
    return tuple(name for name, area in board.areas.items() if place is not None and inside(area.outline, place))


def area_stress(board: Board, part: Part) -> float:
    """The greatest factor of the marked areas that a part stands in; one outside."""
    return max((AREA_FACTOR[board.areas[name].kind] for name in areas_at(board, part)), default=1.0)


def rate(board: Board, part: Part, *, working_v: Mapping[str, float] | None = None, table: str = "aged") -> float:
    """Failures in 1e6 h of one part on its board.

    Parameters
    ----------
    board, part
        The part and where it stands.
    working_v : mapping of part to volts, optional
        Volts across capacitors in use; those without an entry, or without a rating, count as at 0.6 of it.
    table : {"aged", "handbook"}
    """
    stress = size_stress(part) * area_stress(board, part)
    rated = part.values.get("voltage")
    volts = (working_v or {}).get(part.name)
    if volts is not None and rated is not None and family(part) in VOLTS_POWER:
        stress *= voltage_stress(family(part), abs(volts) / float(rated))
    return float(base_rate(part, table) * (stress**SOFTENED if table == "aged" else stress))
