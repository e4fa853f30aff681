"""What an entry of each kind holds: the words as the technician wrote them, checked for shape.

Findings keep the keys and the words of the findings file (``is``, ``at``, ``against``, ``value`` ...); which words,
nets and parts are right for a board is checked where the findings are read. Extra keys are refused.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from dustcap.errors import InputError

LINE = 200
TEXT = 4000

P = TypeVar("P", bound="Payload")


class Payload(BaseModel):
    """What one entry holds; `KIND` is the entry's kind."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, str_strip_whitespace=True, populate_by_name=True, allow_inf_nan=False
    )
    KIND: ClassVar[str] = ""

    def plain(self) -> dict[str, Any]:
        """As JSON can hold it, keys as in the findings file, what was not given left out."""
        return self.model_dump(mode="json", by_alias=True, exclude_defaults=True)


class Intake(Payload):
    """What came in: which unit, what its owner says, what is known of its life so far."""

    KIND = "intake"
    model: str = Field(min_length=1, max_length=LINE)
    unit: str = Field(min_length=1, max_length=LINE)  # what the shop calls it: a serial number, a room
    revision: str = Field(default="", max_length=50)
    serial: str = Field(default="", max_length=LINE)
    pair_with: str = Field(default="", max_length=LINE)
    mains: str = Field(default="", max_length=50)
    says: str = Field(default="", max_length=TEXT)
    history: str = Field(default="", max_length=TEXT)


class Complaint(Payload):
    """One thing that the unit does, or was looked for and does not do."""

    KIND = "complaint"
    word: str = Field(alias="is", min_length=1, max_length=50)
    driver: str = Field(default="", max_length=LINE)
    seen: bool = True
    with_volume: Literal["", "follows", "constant"] = ""
    when: Literal["", "cold", "warm", "always", "sometimes"] = ""
    measured: str = Field(default="", max_length=LINE)  # what a recording shows of it
    recording: int = Field(default=0, ge=0)  # the entry of that recording


class Sighting(Payload):
    """What a part or an area looks like."""

    KIND = "sighting"
    word: str = Field(alias="is", min_length=1, max_length=50)
    part: str = Field(default="", max_length=LINE)
    area: str = Field(default="", max_length=LINE)

    @model_validator(mode="after")
    def _one_place(self) -> Sighting:
        return _exactly_one(self, "part", "area")


class Reading(Payload):
    """What a meter showed."""

    KIND = "reading"
    check: str = Field(min_length=1, max_length=50)
    at: str = Field(default="", max_length=LINE)
    against: str = Field(default="", max_length=LINE)
    part: str = Field(default="", max_length=LINE)
    value: str = Field(default="", max_length=50)
    low: str = Field(default="", max_length=50)
    high: str = Field(default="", max_length=50)
    over: bool = False
    under: bool = False
    esr: str = Field(default="", max_length=50)
    meter: str = Field(default="", max_length=50)
    state: str = Field(default="", max_length=50)
    signal: str = Field(default="", max_length=50)
    test_voltage: str = Field(default="", max_length=50)
    accuracy: str = Field(default="", max_length=50)  # of an own meter
    doubtful: bool = False

    @model_validator(mode="after")
    def _one_answer(self) -> Reading:
        given = [bool(self.value), bool(self.low or self.high), self.over, self.under]
        if sum(given) != 1:
            raise ValueError("give one of: a value, low and high, over, under")
        return self


class Work(Payload):
    """What was done to the unit."""

    KIND = "work"
    did: str = Field(min_length=1, max_length=50)
    part: str = Field(default="", max_length=LINE)
    between: tuple[str, ...] = Field(default=(), max_length=2)
    area: str = Field(default="", max_length=LINE)
    detail: str = Field(default="", max_length=LINE)  # what was put in: "1000 uF 50 V 105 degC"
    precaution: bool = False

    @model_validator(mode="after")
    def _one_place(self) -> Work:
        if self.between and len(self.between) != 2:
            raise ValueError("between names two nets")
        return _exactly_one(self, "part", "between", "area")


class Recording(Payload):
    """A recording that was kept, and the analysis that was made of it (both among the files, by hash)."""

    KIND = "recording"
    name: str = Field(min_length=1, max_length=255)
    file: str = Field(min_length=64, max_length=64)
    result: str = Field(min_length=64, max_length=64)
    when: Literal["before", "after"]
    near_field: bool = False
    power_on: bool = False
    channel: int | None = Field(default=None, ge=1)


class Photo(Payload):
    """A photograph of the job's own unit (its pixels among the files, by hash), before or after the work."""

    KIND = "photo"
    file: str = Field(min_length=64, max_length=64)
    width: int = Field(ge=1)
    height: int = Field(ge=1)
    when: Literal["before", "after"]
    shows: str = Field(default="", max_length=LINE)


class Soak(Payload):
    """Switch-ons, or hours under power, and how often the fault came in them."""

    KIND = "soak"
    when: Literal["before", "after"]
    cycles: int | None = Field(default=None, ge=1, le=1_000_000)
    hours: float | None = Field(default=None, gt=0, le=100_000)
    came: int = Field(default=0, ge=0, le=1_000_000)

    @model_validator(mode="after")
    def _one_measure(self) -> Soak:
        if (self.cycles is None) == (self.hours is None):
            raise ValueError("give cycles or hours")
        if self.cycles is not None and self.came > self.cycles:
            raise ValueError("it cannot come more often than it was switched on")
        return self


class ImpedanceKept(Payload):
    """An impedance that was measured, and what it says (both among the files, by hash)."""

    KIND = "impedance"
    name: str = Field(min_length=1, max_length=255)
    file: str = Field(min_length=64, max_length=64)
    result: str = Field(min_length=64, max_length=64)
    when: Literal["before", "after"]
    driver: str = Field(default="", max_length=LINE)
    box: Literal["", "closed", "vented"] = ""
    says: tuple[str, ...] = ()


class HuntKept(Payload):
    """What a hunt said at that point of the job."""

    KIND = "hunt"
    upto: int = Field(ge=1)  # the last entry that it knew
    suspects: tuple[Mapping[str, Any], ...] = ()  # words, probability, explains, against
    unexplained: float
    healthy: float
    advice: Mapping[str, Any]
    next: tuple[Mapping[str, Any], ...] = ()


class Proof(Payload):
    """The verdicts on the recordings before and after."""

    KIND = "proof"
    before: int | None = None  # positions of the recordings
    after: int
    verdicts: tuple[Mapping[str, Any], ...]
    not_measured: tuple[str, ...] = ()
    beside: str = Field(default="", max_length=LINE)  # what it was compared with: the twin's job, or a reference
    beside_result: str = Field(default="", max_length=64)  # the document of that recording, by its hash


class Handover(Payload):
    """The sheet that left with the unit."""

    KIND = "handover"
    file: str = Field(min_length=64, max_length=64)
    remaining: tuple[str, ...] = ()


class Twin(Payload):
    """The good twin: another unit whose readings, taken when it was well, correct the description."""

    KIND = "twin"
    of: int = Field(ge=1)  # the other unit's job
    good: bool = False  # it is known to be well, whatever its entries say


class Note(Payload):
    """Anything else worth keeping."""

    KIND = "note"
    text: str = Field(min_length=1, max_length=TEXT)


class Correction(Payload):
    """An earlier entry is withdrawn, or replaced by `instead`, which has the same kind."""

    KIND = "correction"
    why: str = Field(default="", max_length=TEXT)
    instead: Mapping[str, Any] | None = None


KINDS: Mapping[str, type[Payload]] = {
    kind.KIND: kind
    for kind in (
        Intake, Complaint, Sighting, Reading, Work, Recording, ImpedanceKept, Photo, Soak, HuntKept, Proof, Handover,
        Twin, Note, Correction,
    )
}  # fmt: skip


def payload_of(kind: str, plain: Mapping[str, Any]) -> Payload:
    """The payload of an entry of that kind.

    Raises
    ------
    InputError
        If there is no such kind, or the payload does not fit it; the sentence names the key and what was given.
    """
    model = KINDS.get(kind)
    if model is None:
        raise InputError(f"there is no entry of kind {kind!r}.", where="entry", mend=f"Kinds: {', '.join(KINDS)}.")
    try:
        return model.model_validate(dict(plain))
    except ValidationError as error:
        raise refusal(kind, error) from error


def entered(model: type[P], fields: Mapping[str, Any]) -> P:
    """A payload from what was typed in; empty words count as not given.

    Raises
    ------
    InputError
        If it does not fit the kind; the sentence names the key and what was given.
    """
    try:
        return model.model_validate({key: value for key, value in fields.items() if value != ""})
    except ValidationError as error:
        raise refusal(model.KIND, error) from error


def refusal(kind: str, error: ValidationError) -> InputError:
    """The first problem that validation found, as one sentence of ours."""
    first = error.errors()[0]
    key = ".".join(str(step) for step in first["loc"])
    said = first["msg"].removeprefix("Value error, ")
    given = "" if isinstance(first["input"], dict | Payload) else f", got {str(first['input'])[:60]!r}"
    return InputError(f"{said}{given}.", where=f"{kind} {key}".strip(), mend=f"See `dustcap {kind} --help`.")


def _exactly_one(payload: P, *keys: str) -> P:
    if sum(bool(getattr(payload, key)) for key in keys) != 1:
        raise ValueError(f"give one of: {', '.join(keys)}")
    return payload
