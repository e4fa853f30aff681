"""A refused form: which form, which field, one clear line, and all that was typed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from dustcap.errors import InputError

Typed = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Mistake:
    """What came back: `form` is the form's name, `field` the field the line stands beside ("": the whole form)."""

    form: str
    line: str
    field: str
    typed: Typed


def mistake_of(form: str, error: InputError, typed: Typed) -> Mistake:
    """The refusal of a form, its line put beside the field it is about."""
    line = error.what[:1].upper() + error.what[1:]
    if error.mend and "--help" not in error.mend:
        line += f" {error.mend}"
    return Mistake(form, line, _field(error, typed), typed)


def _field(error: InputError, typed: Typed) -> str:
    """The field that the error names, or the one whose content it quotes."""
    named = error.where.rsplit(" ", 1)[-1]
    if named in typed:
        return named
    quoted = [name for name, text in typed.items() if text and (repr(text) in error.what or f" {text} " in error.what)]
    return quoted[0] if quoted else ""
