"""What is known of one unit, in the order in which it became known.

Order matters only for work: what follows it speaks of the changed board. Nothing is ever taken out; an entry that was
wrong is marked withdrawn and one that is in doubt is marked doubtful.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import isfinite

from dustcap.errors import InputError
from dustcap.hunt.meter import HANDHELD, MeterClass
from dustcap.predict.checks import KINDS, Check
from dustcap.quantities import show

COMPLAINTS = (
    "dead",
    "no output",
    "weak output",
    "distorted",
    "hum",
    "hiss",
    "crackle",
    "squeal",
    "cone pushed out",
    "thump at power",
    "hot",
    "blows fuse",
    "comes and goes",
    "boomy",
    "rattle",
    "polarity reversed",
    "air leak",
)
SIGHTINGS = ("bulged", "leaking", "scorched", "corroded", "cracked", "discoloured", "residue", "clean")
WORKS = ("replaced", "cleaned", "resoldered", "removed", "bridged")
VOLUME = ("follows", "constant")
WHEN = ("cold", "warm", "always", "sometimes")
OVER_RANGE_KINDS = ("ohms", "diode test", "leakage", "lifted", "esr", "capacitance")
"""Checks whose meter can show that the value is beyond its range."""


@dataclass(frozen=True, slots=True)
class Complaint:
    """What the unit does, or, with `seen` false, was looked for and does not do. `driver` "" is the whole unit."""

    word: str
    driver: str = ""
    seen: bool = True
    with_volume: str = ""
    when: str = ""
    doubtful: bool = False
    withdrawn: bool = False

    def __post_init__(self) -> None:
        _known("complaint", self.word, COMPLAINTS)
        _known("with_volume", self.with_volume, ("", *VOLUME))
        _known("when", self.when, ("", *WHEN))

    def words(self) -> str:
        """As in ``complaint: hum, woofer`` or ``no squeal``."""
        told = f"complaint: {self.word}" if self.seen else f"no {self.word}"
        return f"{told}, {self.driver}" if self.driver else told


@dataclass(frozen=True, slots=True)
class Sighting:
    """What was seen on a part or an area."""

    target: str
    word: str
    doubtful: bool = False
    withdrawn: bool = False

    def __post_init__(self) -> None:
        _known("sighting", self.word, SIGHTINGS)

    def words(self) -> str:
        """As in ``sighting: C9 bulged``."""
        return f"sighting: {self.target} {self.word}"


@dataclass(frozen=True, slots=True)
class Reading:
    """What a check read: between `low` and `high` (equal for one value), or over or under the meter's range.

    Base units. `rounding` is half of the last digit that was written down. `unit` is the check's own, but for a lifted
    part, where it is the part's.
    """

    check: Check
    low: float = 0.0
    high: float = 0.0
    over: bool = False
    under: bool = False
    meter: MeterClass = HANDHELD
    rounding: float = 0.0
    unit: str = ""
    doubtful: bool = False
    withdrawn: bool = False

    def __post_init__(self) -> None:
        if not self.unit:
            object.__setattr__(self, "unit", self.check.unit)
        if not (isfinite(self.low) and isfinite(self.high) and self.low <= self.high):
            raise InputError(
                f"a reading from {self.low:g} to {self.high:g} is not a range.",
                where=self.check.words(),
                mend="Give low and high as numbers, low first.",
            )
        if self.over and self.under:
            raise InputError(
                "a reading is over range or under range, not both.", where=self.check.words(), mend="Leave one out."
            )
        if (self.over or self.under) and self.check.kind not in OVER_RANGE_KINDS:
            raise InputError(
                f"{self.check.kind!r} does not read over or under range.",
                where=self.check.words(),
                mend="Give the value that the meter showed.",
            )

    @property
    def is_range(self) -> bool:
        """Whether it was given as a range instead of one value."""
        return self.low < self.high

    @property
    def key(self) -> Check:
        """What it has in common with a second reading of the same thing: leads swapped count as the same, where the
        check is blind to that."""
        return same_check(self.check)

    def words(self, common: str = "0V") -> str:
        """As in ``dc volts rail+ 24.1 V``; the black lead's net is named when it is not the common."""
        at = self.check.at or self.check.part
        if self.check.at and self.check.against and self.check.against != common:
            at = f"{at} against {self.check.against}"
        kind = f"{self.check.kind} {self.check.word}".strip()
        return f"{kind} {at} {self.value_words()}"

    def value_words(self) -> str:
        """The value alone, as a technician says it."""
        if self.over or self.under:
            return "over range" if self.over else "under range"
        if self.is_range:
            return f"{show(self.low, self.unit)} to {show(self.high, self.unit)}"
        return show(self.low, self.unit, digits=4)


@dataclass(frozen=True, slots=True)
class Work:
    """What was done, to a part, between two nets or in an area; what comes after speaks of the changed board."""

    did: str
    part: str = ""
    between: tuple[str, str] | None = None
    area: str = ""
    withdrawn: bool = False

    def __post_init__(self) -> None:
        _known("work", self.did, WORKS)
        if sum((bool(self.part), self.between is not None, bool(self.area))) != 1:
            raise InputError(
                f"{self.did!r} needs to say on what.",
                where="work",
                mend="Give a part, or an area, or between two nets.",
            )

    def words(self) -> str:
        """As in ``replaced C9``."""
        if self.between is not None:
            return f"{self.did} between {self.between[0]} and {self.between[1]}"
        return f"{self.did} {self.part or self.area}"


Entry = Complaint | Sighting | Reading | Work


@dataclass(frozen=True, slots=True)
class Evidence:
    """All entries, oldest first; and what was read on the healthy twin, which is another unit."""

    entries: tuple[Entry, ...] = ()
    notes: tuple[str, ...] = field(default=())
    twin: tuple[Reading, ...] = ()

    @property
    def valid(self) -> tuple[Entry, ...]:
        """The entries that were not withdrawn."""
        return tuple(entry for entry in self.entries if not entry.withdrawn)

    @property
    def work(self) -> tuple[Work, ...]:
        """Work done so far."""
        return tuple(entry for entry in self.valid if isinstance(entry, Work))

    @property
    def since_work(self) -> tuple[Entry, ...]:
        """What was entered after the last work and not withdrawn."""
        return tuple(entry for entry in self.entered_since_work if not entry.withdrawn)

    @property
    def entered_since_work(self) -> tuple[Entry, ...]:
        """What was entered after the last work, withdrawn or not."""
        works = (i for i, entry in enumerate(self.entries) if isinstance(entry, Work) and not entry.withdrawn)
        return self.entries[max(works, default=-1) + 1 :]

    def adding(self, *entries: Entry) -> Evidence:
        """The same with more entries."""
        return replace(self, entries=(*self.entries, *entries))


def same_check(check: Check) -> Check:
    """The check with its leads in a fixed order, unless it is one for which red and black are different things."""
    if KINDS[check.kind].names == "nets" and check.kind != "diode test" and check.against < check.at:
        return replace(check, at=check.against, against=check.at)
    return check


def _known(what: str, word: str, words: tuple[str, ...]) -> None:
    if word not in words:
        raise InputError(
            f"there is no {what} {word!r}.", where="evidence", mend=f"Words are: {', '.join(filter(None, words))}."
        )
