"""A refused form: which form, which field, one clear line, and all that was typed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from dustcap.errors import InputError

Typed = Mapping[str, str]

FIELDS = {"is": "word", "between": "first_net"}
"""Fields of forms by the key of the findings file that they stand for, where the two differ."""
ASSIGNED = re.compile(r"^\w+ = (?=')")
MISSING = "Field required."
NAMES_NONE = re.compile(r"^this \w+ has no '(\w+)'\.$")
"""A key that a findings file lacks is an empty box of a form."""
TOO_LONG = re.compile(r"^String should have (at most \d+ characters).*$", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Mistake:
    """What came back: `form` is the form's name, `field` the field the line stands beside ("": the whole form)."""

    form: str
    line: str
    field: str
    typed: Typed


def mistake_of(form: str, error: InputError, typed: Typed) -> Mistake:
    """The refusal of a form, its line put beside the field it is about."""
    absent = error.what == MISSING or NAMES_NONE.match(error.what) is not None
    line = "This is missing." if absent else TOO_LONG.sub(r"\1 have room here.", ASSIGNED.sub("", error.what))
    line = line[:1].upper() + line[1:]
    if error.mend and not absent and "--help" not in error.mend:
        line += f" {error.mend}"
    return Mistake(form, line, _field(error, typed), typed)


def _field(error: InputError, typed: Typed) -> str:
    """The field that the error names, or the one whose content it quotes."""
    lacking = NAMES_NONE.match(error.what)
    named = lacking[1] if lacking else error.where.rsplit(" ", 1)[-1]
    named = FIELDS.get(named, named)
    if named in typed:
        return named
    if named == "part" and "at" in typed:  # one box for where the red lead is
        return "at"
    quoted = [name for name, text in typed.items() if text and (repr(text) in error.what or f" {text} " in error.what)]
    return quoted[0] if quoted else ""
