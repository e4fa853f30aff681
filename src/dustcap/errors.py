"""Every error this package raises on purpose.

DustcapError
├── InputError       (also ValueError)       a value given to us is outside its domain
│   ├── UnitError                            text that does not read as a quantity
│   └── BoardError                           a board description that contradicts itself
├── SignalError      (also ValueError)       a recording that carries no answer
├── SolveError       (also ArithmeticError)  a circuit without one finite answer
├── EvidenceError    (also ValueError)       observations that no modelled state allows
├── RecordError      (also LookupError)      a record that is missing or in conflict
├── DeviceError      (also RuntimeError)     an audio device or instrument that is missing or stopped
└── SafetyStop                               we refuse to go on; a person must act first

An error carries three plain sentences: what is wrong, where, and how to mend it.
Exit codes, HTTP statuses and colours belong to the outer rooms, never here.
"""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches

FEW_WORDS = 24


class DustcapError(Exception):
    """Base of the family; catch this one at the edge of the program."""

    def __init__(self, what: str, *, where: str = "", mend: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.where = where
        self.mend = mend

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        advice = f" {self.mend}" if self.mend else ""
        return f"{place}{self.what}{advice}"

    def __reduce__(self) -> tuple[object, tuple[type[DustcapError], str, str, str]]:
        return _rebuild, (type(self), self.what, self.where, self.mend)


def _rebuild(kind: type[DustcapError], what: str, where: str, mend: str) -> DustcapError:
    return kind(what, where=where, mend=mend)


class InputError(DustcapError, ValueError):
    """A value given to us is outside the domain of the calculation."""


class UnitError(InputError):
    """Text does not read as a quantity with a unit."""


class BoardError(InputError):
    """A board description contradicts itself; `where` is file and line."""


class SignalError(DustcapError, ValueError):
    """A recording carries no answer (silent, too short)."""


class SolveError(DustcapError, ArithmeticError):
    """A circuit has no finite answer, or more than one."""


class EvidenceError(DustcapError, ValueError):
    """The observations are impossible under every modelled state."""


class RecordError(DustcapError, LookupError):
    """A record is missing or in conflict with one already kept."""


class DeviceError(DustcapError, RuntimeError):
    """An audio device or instrument is missing, or stopped in the middle."""


class SafetyStop(DustcapError):
    """A person must act before the program may go on."""


def nearest(word: str, known: Iterable[str], what: str = "Known") -> str:
    """Advice for a word that is not known: the nearest known one, whatever its case, or all of them when they are few.

    Examples
    --------
    >>> nearest("RAIL+", ["rail-", "rail+"])
    "Did you mean 'rail+'?"
    """
    names = [name for name in known if name]
    folded = {name.casefold(): name for name in reversed(names)}
    close = get_close_matches(word.casefold(), folded, n=1, cutoff=0.6)
    if close:
        return f"Did you mean {folded[close[0]]!r}?"
    if not names:
        return f"{what}: none."
    listed = ", ".join(repr(name) for name in names[:FEW_WORDS])
    return f"{what}: {listed}{', ...' if len(names) > FEW_WORDS else ''}."
