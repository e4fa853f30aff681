"""The checks a technician can make: what kind, where the leads go, in which state, how long it takes.

The default minutes are common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from dustcap.errors import InputError

UNPLUGGED = "unplugged"
DISCONNECTED = "drivers disconnected"
CONNECTED = "drivers connected"
STATES = (UNPLUGGED, DISCONNECTED, CONNECTED)
"""From the safest to the most dangerous."""


@dataclass(frozen=True, slots=True)
class CheckKind:
    """One kind of check: its unit, the states it can be made in (safest first) and the minutes it takes."""

    name: str
    unit: str
    states: tuple[str, ...]
    minutes: float
    names: str = "nets"  # what it is made at: nets, part, driver or look


KINDS: Mapping[str, CheckKind] = {
    kind.name: kind
    for kind in (
        CheckKind("dc volts", "V", (DISCONNECTED, CONNECTED), 0.8),
        CheckKind("ac volts", "V", (DISCONNECTED, CONNECTED), 1.2),
        CheckKind("ripple", "V", (DISCONNECTED, CONNECTED), 1.0),
        CheckKind("ohms", "ohm", (UNPLUGGED,), 0.7),
        CheckKind("diode test", "V", (UNPLUGGED,), 0.7),
        CheckKind("leakage", "ohm", (UNPLUGGED,), 1.5),
        CheckKind("lifted", "", (UNPLUGGED,), 4.0, names="part"),
        CheckKind("esr", "ohm", (UNPLUGGED,), 0.8),
        CheckKind("capacitance", "F", (UNPLUGGED,), 1.0),
        CheckKind("warmth", "K", (DISCONNECTED, CONNECTED), 1.0, names="part"),
        CheckKind("look", "", (UNPLUGGED,), 0.4, names="look"),
        CheckKind("listen", "", (CONNECTED,), 1.0, names="driver"),
    )
}

POWER_UP_MINUTES = 2.0
REPLACE_MINUTES = 8.0
CLEAN_MINUTES = 10.0
PROVE_MINUTES = 3.0

OHMS_TEST_V = 0.3
"""The meter's low test voltage on ohms: silicon junctions do not conduct."""
OHMS_OVER_RANGE = 50e6
DIODE_TEST_A = 1e-3
DIODE_OPEN_V = 2.0
METER_INPUT_OHM = 10e6
DEFAULT_SIGNAL_HZ = 1000.0
DEFAULT_SIGNAL_V = 0.1


@dataclass(frozen=True, slots=True, order=True)
class Check:
    """One check: red lead on `at`, black lead on `against`; or a part or a driver for the kinds that name one.

    `look` and `listen` also carry the word that is looked or listened for (`word`).
    """

    kind: str
    at: str = ""
    against: str = ""
    part: str = ""
    state: str = ""
    word: str = ""
    signal_hz: float = DEFAULT_SIGNAL_HZ
    signal_v: float = DEFAULT_SIGNAL_V
    test_v: float = OHMS_TEST_V

    def __post_init__(self) -> None:
        kind = KINDS.get(self.kind)
        if kind is None:
            raise InputError(
                f"there is no check {self.kind!r}.", where="check", mend=f"Checks are: {', '.join(KINDS)}."
            )
        if not self.state:
            object.__setattr__(self, "state", kind.states[0])
        elif self.state not in kind.states:
            raise InputError(
                f"{self.kind!r} cannot be made in the state {self.state!r}.",
                where="check",
                mend=f"It is made: {' or '.join(kind.states)}.",
            )

    @property
    def unit(self) -> str:
        """Unit of the reading in base units; empty for words and for `lifted`, whose unit is the part's own."""
        return KINDS[self.kind].unit

    @property
    def minutes(self) -> float:
        """Minutes it takes once the unit is in the state for it."""
        return KINDS[self.kind].minutes

    def words(self) -> str:
        """The check as a technician says it: ``dc volts wf_out against 0V``."""
        place = f"{self.at} against {self.against}" if self.at else self.part
        said = f"{self.kind} {place}".strip()
        return f"{said}: {self.word}" if self.word else said
