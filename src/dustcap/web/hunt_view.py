"""A hunt's result document as the page shows it: suspects, the check to make, where the leads go, what is expected."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dustcap.job.hunt import suspect_words
from dustcap.report.expected_plot import ExpectedBar, expected_plot
from dustcap.report.wording import per_cent, quantity

Row = Mapping[str, Any]

SUSPECTS = 8
EXPECTED = 4
LEAST = 0.02  # chances below this are not worth a word
WITH_SIGNAL = ("ac volts", "listen")
OTHERS, UNEXPLAINED, HEALTHY = "all others together", "something that is not in the description", "nothing is wrong"


@dataclass(frozen=True, slots=True)
class SuspectLine:
    """One suspect: its words, probability, the range of a leak, and its reasons."""

    words: str
    share: float
    ohms: str
    explains: tuple[str, ...]
    against: tuple[str, ...]
    ranked: bool = True


@dataclass(frozen=True, slots=True)
class CheckCard:
    """One proposed check: what to do with which leads, in which state, and what every suspect predicts.

    `answer` says how it is answered: "value", "look" or "listen".
    """

    number: int
    kind: str
    answer: str
    red: str
    black: str
    part: str
    area: str
    driver: str
    word: str
    unit: str
    signal: str
    test_voltage: str
    state: str
    minutes: float
    bits: float
    with_esr: bool
    expected: tuple[ExpectedBar, ...]
    picture: str | None

    @property
    def title(self) -> str:
        """``dc volts wf_out``, ``look at C9``."""
        place = self.red or self.part or self.area or self.driver
        verb = {"look": "look at", "listen": "listen for"}.get(self.kind, self.kind)
        return f"{verb} {self.word if self.kind == 'listen' else place}".strip()


@dataclass(frozen=True, slots=True)
class AdviceLine:
    """What to do now, in a few words, and the fields of the work that it advises."""

    do: str
    what: str
    why: str
    parts: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    area: str = ""
    between: tuple[str, ...] = ()


def suspect_lines(document: Row) -> tuple[SuspectLine, ...]:
    """The leading suspects, and the shares that have no name of their own."""
    rows = document["suspects"]
    lines = [
        SuspectLine(
            suspect_words(row),
            row["probability"],
            "; ".join(_leak(part["ohms"]) for part in row["parts"] if part.get("ohms")),
            tuple(row.get("explains", ())),
            tuple(row.get("against", ())),
        )
        for row in rows[:SUSPECTS]
    ]
    rest = document.get("rest", 0.0) + sum(row["probability"] for row in rows[SUSPECTS:])
    loose = ((OTHERS, rest), (UNEXPLAINED, document["unexplained"]), (HEALTHY, document["healthy"]))
    return (*lines, *(SuspectLine(words, share, "", (), (), ranked=False) for words, share in loose))


def check_cards(document: Row, farads: frozenset[str] = frozenset()) -> tuple[CheckCard, ...]:
    """The proposed checks, the best first; `farads` names the parts whose lifted value has an esr beside it."""
    return tuple(_card(number, row, document["suspects"], farads) for number, row in enumerate(document["next"], 1))


def advice_line(document: Row) -> AdviceLine:
    """The advice."""
    advice = document["advice"]
    between = tuple(advice.get("between") or ())
    what = [*advice.get("parts", ()), *([advice["area"]] if advice.get("area") else [])]
    if between and not advice.get("area"):
        what.append(f"between {' and '.join(between)}")
    return AdviceLine(
        do=advice["do"],
        what=", ".join(what),
        why=_sentence(advice.get("why", "")),
        parts=tuple(advice.get("parts", ())),
        also=tuple(advice.get("also", ())),
        area=advice.get("area", ""),
        between=between,
    )


def _sentence(why: str) -> str:
    """The reason without the advice in front of it, which is its heading already."""
    head, colon, rest = why.partition(": ")
    said = rest if colon and head.split(" ")[0] in ("clean", "replace") else why
    return said[:1].upper() + said[1:]


def _card(number: int, row: Row, suspects: Sequence[Row], farads: frozenset[str]) -> CheckCard:
    kind = row["check"]
    unit = next((one["unit"] for one in row["expect"] if one.get("unit")), "")
    bars = [_bar("good board", row["healthy"], unit, None)]
    for one in row["expect"][:EXPECTED]:
        suspect = suspects[one["suspect"]]
        bars.append(_bar(suspect_words(suspect), one, unit, suspect["probability"]))
    signal = ""
    if kind in WITH_SIGNAL and row.get("signal_hz"):
        signal = f"{row['signal_hz']:g} Hz {1000 * row['signal_v']:g} mV"
    return CheckCard(
        number=number,
        kind=kind,
        answer=kind if kind in ("look", "listen") else "value",
        red=row.get("at", ""),
        black=row.get("against", ""),
        part=row.get("part", ""),
        area=row.get("area", ""),
        driver=row.get("driver", ""),
        word="" if row.get("word") == "esr" else row.get("word", ""),
        unit="" if row.get("word") == "esr" else unit,
        signal=signal,
        test_voltage=f"{row['test_voltage']:g} V" if row.get("test_voltage") else "",
        state=row["state"],
        minutes=row["minutes"],
        bits=row["bits"],
        with_esr=kind == "lifted" and row.get("part", "") in farads,
        expected=tuple(bars),
        picture=expected_plot(bars, unit),
    )


def _bar(label: str, row: Row, unit: str, share: float | None) -> ExpectedBar:
    return ExpectedBar(label, row.get("low"), row.get("median"), row.get("high"), expected_words(row, unit), share)


def expected_words(row: Row, unit: str) -> str:
    """Where 90 % of the readings lie; or how likely a word is, over range is, or that nothing can be read."""
    words = []
    if row.get("probability") is not None:
        words.append(f"yes: {per_cent(row['probability'])}")
    if row.get("median") is not None:
        low, high = (quantity(row[end], unit) if row.get(end) is not None else "over range" for end in ("low", "high"))
        words.append(low if low == high else f"{low} to {high}")
    elif "median" in row:
        words.append("over range")
    if row.get("over", 0) > LEAST and row.get("median") is not None:
        words.append(f"over range: {per_cent(row['over'])}")
    if row.get("none", 0) > LEAST:
        words.append(f"no reading possible: {per_cent(row['none'])}")
    return ", ".join(words) or "not told"


def _leak(ohms: Row) -> str:
    low, high = (quantity(ohms[end], "ohm") if ohms.get(end) is not None else "open" for end in ("low", "high"))
    return f"{low} to {high}"
