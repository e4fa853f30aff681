"""The proof of a repair: every limited quantity of a listening document with its verdict, and what was not measured."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from dustcap.errors import InputError, SignalError
from dustcap.proof.limits import Limit, Limits
from dustcap.proof.measures import Document, Measure, judged, measure
from dustcap.proof.verdicts import FAIL, PASS, UNDECIDED
from dustcap.sound.against import band_levels, mean_level

POLARITY = "polarity"


@dataclass(frozen=True, slots=True)
class Verdict:
    """One verdict: `uncertainty` is expanded (95 %); `better` says where good lies: below, above or within the limit.

    `before` is the same quantity before the work. `why` adds where the value lies, or why nothing was decided.
    """

    what: str
    verdict: str
    value: float | None = None
    limit: float | None = None
    uncertainty: float | None = None
    unit: str = ""
    better: str = ""
    before: float | None = None
    why: str = ""
    source: str = ""

    def as_document(self) -> dict[str, Any]:
        """The row as JSON has it."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class Judgement:
    """All verdicts, in the order of the limits, and sentences about what was not measured."""

    verdicts: tuple[Verdict, ...]
    not_measured: tuple[str, ...]

    @property
    def overall(self) -> str:
        """Fail when one fails, pass when all pass and there is one, else undecided."""
        words = {one.verdict for one in self.verdicts}
        if FAIL in words:
            return FAIL
        return PASS if words == {PASS} else UNDECIDED


@dataclass(frozen=True, slots=True)
class Region:
    """A limit as it is shaded in a plot (``response`` or ``harmonics``): good lies between the two levels in dB.

    Levels are those of the plot's curve, harmonics below zero against the fundamental; None: no limit on that side.
    """

    plot: str
    low_hz: float
    high_hz: float
    good_low: float | None
    good_high: float | None
    words: str


def judge(
    document: Document,
    limits: Limits,
    *,
    twin: Document | None = None,
    before: Document | None = None,
    gain_changed: bool = False,
    readings: Mapping[str, tuple[float, float]] | None = None,
) -> Judgement:
    """Hold a listening document against limits.

    Parameters
    ----------
    document : mapping
        Document of `dustcap listen`, layout 1.
    limits : mapping
        From `read_limits` or `default_limits`.
    twin : mapping, optional
        Document of the other unit of the pair, or of the model's reference, from the same place and stimulus.
    before : mapping, optional
        Document of this unit before the work.
    gain_changed : bool
        The recorder's gain differs between the document and its twin.
    readings : mapping, optional
        Meter readings by name of the limit: value and expanded uncertainty in the limit's unit.

    Raises
    ------
    InputError
        If a document has another layout, or a reading has no limit.
    """
    for one, name in ((document, "recording"), (twin, "twin"), (before, "before")):
        if one is not None and one.get("layout") != 1:
            raise InputError(
                "this is no listening result of layout 1.", where=f"proof: {name}", mend="Run dustcap listen again."
            )
    read = readings or {}
    for name in read.keys() - limits.keys():
        raise InputError(
            f"there is no limit for {name!r}.", where="proof: readings", mend=f"Limits: {', '.join(limits)}."
        )
    verdicts, missing = [], []
    for limit in limits.values():
        try:
            found = _found(document, limit, twin, gain_changed, read)
        except SignalError as reason:
            missing.append(f"{limit.what}: {reason.what}")
            continue
        earlier = _earlier(before, limit, twin, gain_changed)
        verdicts.append(_row(limit, found, earlier))
    polarity = _polarity(document, twin, before)
    if polarity is None:
        missing.append(f"{POLARITY}: the recording does not tell it")
    else:
        verdicts.append(polarity)
    return Judgement(tuple(verdicts), tuple(missing))


def regions(document: Document, limits: Limits) -> tuple[Region, ...]:
    """Limits over frequency as areas of the plots; that of the response lies about its own mean level."""
    found = []
    response = document.get("response")
    level = mean_level(band_levels(response)) if response else None
    for limit in limits.values():
        band = (limit.low_hz, limit.high_hz)
        if limit.what == "response" and level is not None:
            words = f"±{limit.value:g} dB about the mean, {limit.source}"
            found.append(Region("response", *band, level - limit.value, level + limit.value, words))
        if limit.what.startswith("distortion"):
            found.append(Region("harmonics", *band, None, -limit.value, f"{limit.value:g} dB below, {limit.source}"))
    return tuple(found)


def _found(
    document: Document,
    limit: Limit,
    twin: Document | None,
    gain_changed: bool,
    readings: Mapping[str, tuple[float, float]],
) -> Measure:
    if limit.what in readings:
        return judged(*readings[limit.what], limit)
    return measure(document, limit, twin, gain_changed)


def _earlier(before: Document | None, limit: Limit, twin: Document | None, gain_changed: bool) -> float | None:
    if before is None:
        return None
    try:
        return measure(before, limit, twin, gain_changed).value
    except SignalError:
        return None


def _row(limit: Limit, found: Measure, earlier: float | None) -> Verdict:
    return Verdict(
        limit.what,
        found.verdict,
        value=_rounded(found.value),
        limit=limit.value,
        uncertainty=_rounded(found.uncertainty),
        unit=limit.unit,
        better=limit.better,
        before=_rounded(earlier),
        why=found.why,
        source=limit.source,
    )


def _rounded(value: float | None) -> float | None:
    return None if value is None else float(f"{value:.6g}")


def _polarity(document: Document, twin: Document | None, before: Document | None) -> Verdict | None:
    """The woofer's sign against the twin's, else against that before the work; a recorder alone may invert."""
    sign = document.get("polarity")
    if sign is None:
        return None
    for other, name in ((twin, "the twin"), (before, "before the work")):
        if other is not None and other.get("polarity") is not None:
            same = other["polarity"] == sign
            return Verdict(POLARITY, PASS if same else FAIL, why=f"{'as' if same else 'opposite to'} {name}")
    return Verdict(
        POLARITY, UNDECIDED, why=f"{sign} in this recording, but a recorder may invert: compare with the twin"
    )
