"""Reading a findings file (layout 1): plain TOML text in, evidence in the order of the text out.

Every mistake is answered by one `InputError` that names file and line, what was read and what would be right.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import isfinite
from typing import TypedDict, TypeVar

from dustcap.errors import InputError, nearest
from dustcap.hunt.evidence import (
    COMPLAINTS,
    OVER_RANGE_KINDS,
    SIGHTINGS,
    VOLUME,
    WHEN,
    WORKS,
    Complaint,
    Entry,
    Evidence,
    Reading,
    Sighting,
    Work,
)
from dustcap.hunt.findings_text import Table, read_tables, rounding_of
from dustcap.hunt.known import Known
from dustcap.hunt.meter import METERS, MeterClass
from dustcap.predict.checks import DEFAULT_SIGNAL_HZ, DEFAULT_SIGNAL_V, KINDS, OHMS_TEST_V, STATES, Check
from dustcap.quantities import read

Made = TypeVar("Made")
MARKS = ("doubtful", "withdrawn")
TWIN = "twin"
READING_KEYS = (
    *("check", "at", "against", "part", "area", "driver", "state", "signal", "test_voltage", "meter", "accuracy"),
    *("value", "low", "high", "over", "under", "esr", "is", "seen", *MARKS),
)
KEYS: Mapping[str, tuple[str, ...]] = {
    "complaint": ("is", "driver", "seen", "with_volume", "when", *MARKS),
    "sighting": ("part", "area", "is", *MARKS),
    "reading": READING_KEYS,
    TWIN: READING_KEYS,
    "work": ("did", "part", "between", "area", "withdrawn"),
}


def parse_findings(text: str, where: str, known: Known) -> Evidence:
    """The evidence of a findings file.

    Parameters
    ----------
    text : str
        The file's text.
    where : str
        Its name, for messages.
    known : Known
        The names of the board that it is about.

    Raises
    ------
    InputError
        With file and line, for anything that does not read as layout 1.
    """
    entries: list[Entry] = []
    twin: list[Reading] = []
    notes: list[str] = []
    for table in read_tables(text, where, KEYS):
        row = _Row(table, known)
        if row.unplaced:
            notes.append(f"kept but not counted: the description has no place for {row.unplaced!r}")
            continue
        try:
            if table.name == TWIN:
                twin.extend(_of_twin(row))
            else:
                entries.extend(_READERS[table.name](row))
        except InputError as error:
            if not known.loose:
                raise
            notes.append(f"kept but not counted: {error.what}")
    return Evidence(tuple(entries), tuple(dict.fromkeys(notes)), tuple(twin))


class _Marks(TypedDict):
    doubtful: bool
    withdrawn: bool


@dataclass(frozen=True)
class _Row:
    """One table with the names of the board."""

    table: Table
    known: Known

    def fail(self, key: str, what: str, mend: str) -> InputError:
        return InputError(what, where=self.table.at(key), mend=mend)

    def text(self, key: str, default: str | None = None) -> str:
        value = self.table.values.get(key, default)
        if value is None:
            raise self.fail("", f"this {self.table.name} has no {key!r}.", f'Add a line such as {key} = "...".')
        if not isinstance(value, str):
            raise self.fail(key, f"{key} = {value!r} is not text.", f'Write it in quotes: {key} = "{value}".')
        return value

    def word(self, key: str, words: Sequence[str], default: str | None = None) -> str:
        return self._named(key, self.text(key, default), words)

    def truth(self, key: str, default: bool) -> bool:
        value = self.table.values.get(key, default)
        if not isinstance(value, bool):
            raise self.fail(
                key, f"{key} = {value!r} is neither true nor false.", f"Write {key} = true or {key} = false."
            )
        return value

    def net(self, key: str, default: str | None = None) -> str:
        name = self.text(key, default)
        return self._named(key, self.known.plain.get(name, name), sorted(self.known.nets))

    def part(self) -> str:
        name = self.text("part")
        return self._named("part", self.known.plain.get(name, name), tuple(self.known.parts))

    @property
    def unplaced(self) -> str:
        """The first plain name in this table that the board has no place for; empty when there is none."""
        named = (self.table.values.get(key) for key in ("at", "against", "part"))
        return next((name for name in named if isinstance(name, str) and name in self.known.unplaced), "")

    def driver(self, key: str, default: str | None = None) -> str:
        name = self.text(key, default)
        return name if name == default == "" else self._named(key, name, tuple(self.known.drivers))

    def area(self) -> str:
        return self._named("area", self.text("area"), sorted(self.known.areas))

    def target(self) -> str:
        """The part or the area that a look is about."""
        if ("part" in self.table.values) == ("area" in self.table.values):
            raise self.fail("", f"this {self.table.name} names no part or area, or both.", 'Add part = "C9", say.')
        return self.part() if "part" in self.table.values else self.area()

    def marks(self) -> _Marks:
        return {"doubtful": self.truth("doubtful", False), "withdrawn": self.truth("withdrawn", False)}

    def quantity(self, key: str, unit: str) -> tuple[float, float]:
        """The number in base units and half of its last digit written."""
        value = self.table.values[key]
        if isinstance(value, bool) or not isinstance(value, int | float | str):
            raise self.fail(key, f"{key} = {value!r} is not a quantity.", f'Write it as {key} = "22 {unit or "k"}".')
        number = read(value, unit, self.table.at(key))
        return number, rounding_of(value, unit)

    def _named(self, key: str, name: str, words: Sequence[str]) -> str:
        if name in words:
            return name
        raise self.fail(key, f"{key} = {name!r} is not known.", nearest(name, words, "Known here"))

    def built(self, make: Callable[[], Made]) -> Made:
        """What `make` makes; its refusal told with the line of this table."""
        try:
            return make()
        except InputError as error:
            if error.where.startswith(self.table.where):
                raise
            raise InputError(error.what, where=self.table.at(""), mend=error.mend) from error


def _complaint(row: _Row) -> list[Entry]:
    driver = row.driver("driver", "")
    return [
        row.built(
            lambda: Complaint(
                row.word("is", COMPLAINTS),
                driver,
                row.truth("seen", True),
                row.word("with_volume", ("", *VOLUME), ""),
                row.word("when", ("", *WHEN), ""),
                **row.marks(),
            )
        )
    ]


def _sighting(row: _Row) -> list[Entry]:
    target = row.target()
    return [row.built(lambda: Sighting(target, row.word("is", SIGHTINGS), **row.marks()))]


def _work(row: _Row) -> list[Entry]:
    values = row.table.values
    between = _pair(row) if "between" in values else None
    part = row.part() if "part" in values else ""
    area = row.area() if "area" in values else ""
    withdrawn = row.truth("withdrawn", False)
    return [row.built(lambda: Work(row.word("did", WORKS), part, between, area, withdrawn))]


def _pair(row: _Row) -> tuple[str, str]:
    value = row.table.values["between"]
    if not (isinstance(value, list) and len(value) == 2 and all(isinstance(net, str) for net in value)):
        raise row.fail("between", f"between = {value!r} is not two nets.", 'Write between = ["rail+", "wf_fb"].')
    a, b = (row._named("between", net, sorted(row.known.nets)) for net in value)
    if a == b:
        raise row.fail("between", f"between names {a!r} twice.", "Name two nets.")
    return a, b


def _reading(row: _Row) -> list[Entry]:
    kind = row.word("check", tuple(KINDS))
    if kind == "look":
        target = row.target()
        said = "is" if "is" in row.table.values else "value"
        return [row.built(lambda: Sighting(target, row.word(said, SIGHTINGS), **row.marks()))]
    if kind == "listen":
        driver = row.driver("driver" if "driver" in row.table.values else "at", "")
        said = "is" if "is" in row.table.values else "value"
        return [
            row.built(lambda: Complaint(row.word(said, COMPLAINTS), driver, row.truth("seen", True), **row.marks()))
        ]
    check = _check(row, kind)
    unit = check.unit
    if kind == "lifted":
        unit = row.known.parts[check.part]
        if not unit:
            raise row.fail("part", f"{check.part} has no value of its own to read when lifted.", "Lift another part.")
    entries: list[Entry] = [_measured(row, check, unit)]
    if "esr" in row.table.values:
        entries.append(_series_resistance(row, check))
    return entries


def _of_twin(row: _Row) -> list[Reading]:
    """What a meter showed on the healthy twin."""
    found = [one for one in _reading(row) if isinstance(one, Reading)]
    if not found:
        raise row.fail("check", "a twin is read with a meter.", "Give a check that has a number.")
    return found


def _check(row: _Row, kind: str) -> Check:
    signal_hz, signal_v = _signal(row)
    test_v = row.quantity("test_voltage", "V")[0] if "test_voltage" in row.table.values else OHMS_TEST_V
    at, against, part = "", "", ""
    if KINDS[kind].names == "part":
        part = row.part()
    else:
        at, against = row.net("at"), row.net("against", row.known.common)
        if at == against:
            raise row.fail("against", f"both leads are on {at!r}.", "Name two nets.")
    state = row.word("state", STATES) if "state" in row.table.values else ""
    return row.built(
        lambda: Check(kind, at, against, part, state, signal_hz=signal_hz, signal_v=signal_v, test_v=test_v)
    )


def _signal(row: _Row) -> tuple[float, float]:
    """Frequency and level of ``"1 kHz 100 mV"``."""
    if "signal" not in row.table.values:
        return DEFAULT_SIGNAL_HZ, DEFAULT_SIGNAL_V
    text, at = row.text("signal"), row.table.at("signal")
    words = text.split()
    for cut in range(1, len(words)):
        hz, volts = " ".join(words[:cut]), " ".join(words[cut:])
        if hz.lower().endswith("hz"):
            return read(hz, "Hz", at), read(volts, "V", at)
    raise row.fail("signal", f"signal = {text!r} is not a frequency and a level.", 'Write signal = "1 kHz 100 mV".')


def _measured(row: _Row, check: Check, unit: str) -> Reading:
    values = row.table.values
    over, under = row.truth("over", False), row.truth("under", False)
    given = [name for name, there in (("value", "value" in values), ("over", over), ("under", under)) if there]
    if "low" in values or "high" in values:
        given.append("low and high")
    if len(given) != 1:
        told = " and ".join(given) or "nothing"
        raise row.fail(
            given[0] if given else "", f"a reading needs one result, got {told}.", 'Give value = "..." alone.'
        )
    low = high = rounding = 0.0
    if "value" in values:
        low, rounding = row.quantity("value", unit)
        high = low
    elif "low" in values or "high" in values:
        for key in ("low", "high"):
            if key not in values:
                raise row.fail("", f"a range has no {key!r}.", f'Add {key} = "...".')
        low, high = row.quantity("low", unit)[0], row.quantity("high", unit)[0]
    if low < 0 and check.kind not in ("dc volts", "warmth"):
        key = "value" if "value" in values else "low"
        raise row.fail(key, f"{check.kind} {values[key]!r} is below zero.", "Give it without a sign.")
    if (over or under) and check.kind not in OVER_RANGE_KINDS:
        raise row.fail("over", f"{check.kind!r} does not read over or under range.", "Give the value shown.")
    meter = _meter(row)
    return row.built(lambda: Reading(check, low, high, over, under, meter, rounding, unit, **row.marks()))


def _series_resistance(row: _Row, check: Check) -> Reading:
    """The series resistance beside the farads of a lifted capacitor."""
    ohms, rounding = row.quantity("esr", "ohm")
    if row.known.parts[check.part] != "F" or check.kind != "lifted":
        raise row.fail(
            "esr", "esr stands beside the value of a lifted capacitor only.", 'Use check = "esr" in circuit.'
        )
    if not (ohms >= 0 and isfinite(ohms)):
        raise row.fail("esr", f"esr = {row.table.values['esr']!r} is below zero.", 'Write it as esr = "0.2 ohm".')
    beside = Check("lifted", part=check.part, state=check.state, word="esr")
    return Reading(beside, ohms, ohms, meter=_meter(row), rounding=rounding, unit="ohm", **row.marks())


def _meter(row: _Row) -> MeterClass:
    meter = METERS[row.word("meter", tuple(METERS), "handheld")]
    if "accuracy" not in row.table.values:
        return meter
    share = row.quantity("accuracy", "%")[0]
    if meter.name != "own" or not 0 <= share < 0.5:
        raise row.fail("accuracy", 'accuracy is for meter = "own", below 50 %.', 'Write accuracy = "1.5 %".')
    return MeterClass(meter.name, share, meter.counts, meter.of)


_READERS: Mapping[str, Callable[[_Row], list[Entry]]] = {
    "complaint": _complaint,
    "sighting": _sighting,
    "reading": _reading,
    "work": _work,
}
