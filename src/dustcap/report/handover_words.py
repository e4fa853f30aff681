"""The words and figures of the hand-over sheet, ready for the layout: strings, lists and nothing to compute."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from math import inf, isinf
from typing import Any

from dustcap.job import cautions
from dustcap.job.handover_data import HandoverData, ReadingLine, SuspectLine, VerdictLine
from dustcap.report.wording import measured, per_cent, quantity


@dataclass(frozen=True, slots=True)
class Fit:
    """How much of each list stands on the sheet: letters of a text, lines of a list, rows of the two tables."""

    letters: int = 220
    lines: int = 6
    readings: int = 14
    verdicts: int = 14
    new_page: bool = True
    """Whether the proof begins on a page of its own."""


FITS = (Fit(), Fit(140, 5, 14, 12), Fit(90, 4, 12, 10), Fit(60, 3, 8, 8, new_page=False))
"""From roomy to tight: the sheet takes the first that fits its pages."""
MOST_OTHERS = 3
OVER = "over range"
USUAL_CAUTIONS = (*cautions.BY_STATE.values(), cautions.MAINS, "Test sweeps can be loud: protect the ears.")
CODES = f"This sheet reports what was found, done and measured. {cautions.LICENCE}"
NOTHING_MISSING = "No gap was noted."
PLOTS = ("suspects", "response", "harmonics", "noise", "crackle")


def sheet(data: HandoverData, made: datetime, drawn: frozenset[str], fit: Fit = FITS[0]) -> dict[str, Any]:
    """Everything the layout prints.

    `drawn` names the drawings that exist; a drawing without an entry there is left out of the page. `fit` says
    where lists and texts are cut.
    """
    unit = data.unit
    name = ", ".join(part for part in (unit.model, unit.mark) if part)
    facts = (
        ("Job", data.job),
        ("Date", f"{made:%Y-%m-%d}"),
        ("Revision", unit.revision),
        ("Serial", unit.serial),
        ("Pair with", unit.pair_with),
        ("Mains", unit.mains),
        ("By", ", ".join(part for part in (data.technician, data.shop) if part)),
    )
    return {
        "title": cut(f"Hand-over {name}", 70),
        "author": cut(data.technician or data.shop or "dustcap", 60),
        "new_page": fit.new_page,
        "footer": f"{cut(name, 60)} · job {cut(data.job, 20)} · {made:%Y-%m-%d %H:%M} UTC · made with dustcap",
        "unit": {
            "name": cut(name, 60),
            "facts": [[label, cut(words, 40)] for label, words in facts if words],
            "history": cut(unit.history, fit.letters),
        },
        "result": result(data.verdicts),
        "complaints": some(data.complaints, fit) or ["No complaint was noted."],
        "sightings": some(data.sightings, fit),
        "work": [
            {
                "did": cut(f"{line.target}: {line.did}", 90),
                "detail": cut(line.detail, fit.letters),
                "precaution": line.precaution,
            }
            for line in data.work[: fit.lines]
        ]
        + _more_work(len(data.work) - fit.lines),
        "fault": _suspect(data.fault, fit) if data.fault else None,
        "others": [_suspect(line, fit) for line in data.others[:MOST_OTHERS]],
        "unexplained": _unexplained(data),
        "readings": [_reading(line) for line in chosen(data.readings, fit.readings)],
        "readings_note": _readings_note(data.readings, fit.readings),
        "verdicts": [_verdict(line, i, drawn) for i, line in enumerate(data.verdicts[: fit.verdicts])],
        "verdicts_note": _verdicts_note(data.verdicts, fit),
        "soak": cut(data.soak, fit.letters),
        "impedance": cut(data.impedance, fit.letters),
        "plots": {plot: f"{plot}.svg" if plot in drawn else "" for plot in PLOTS},
        "not_measured": some(data.not_measured, fit)
        or [NOTHING_MISSING if data.verdicts else "Nothing was measured after the work."],
        "remaining": some(data.remaining, fit) or ["No remaining risk was noted."],
        "cautions": list(dict.fromkeys([*some(data.cautions, fit), *USUAL_CAUTIONS])),
        "codes": CODES,
    }


def result(verdicts: Sequence[VerdictLine]) -> dict[str, str]:
    """The whole proof in one sentence, with the worst verdict's sign; without verdicts nothing is proven."""
    count = {word: sum(line.verdict == word for line in verdicts) for word in ("pass", "undecided", "fail")}
    if not verdicts:
        words = {"words": "Not proven", "detail": "Nothing was measured after the work."}
        return {"verdict": "unproven", "mark": ""} | words
    worst = "fail" if count["fail"] else "undecided" if count["undecided"] else "pass"
    said = {
        "pass": f"Proven: {_all(count['pass'])} passed",
        "undecided": f"Not fully proven: {count['undecided']} of {len(verdicts)} checks undecided",
        "fail": f"Not right yet: {count['fail']} of {len(verdicts)} checks failed",
    }[worst]
    detail = (
        f"{count['pass']} passed, {count['undecided']} undecided, {count['fail']} failed." if worst != "pass" else ""
    )
    return {"verdict": worst, "mark": f"mark_{worst}.svg", "words": said, "detail": detail}


def chosen(readings: Sequence[ReadingLine], most: int) -> list[ReadingLine]:
    """The readings that stand on the sheet, in order: withdrawn ones never, those off first."""
    kept = [line for line in readings if not line.withdrawn]
    first = sorted(range(len(kept)), key=lambda i: (not off(kept[i]), not kept[i].after_work, i))[:most]
    return [kept[i] for i in sorted(first)]


def off(line: ReadingLine) -> bool:
    """Whether the reading lies outside what 90 % of good boards read."""
    value = inf if line.value is None and line.word == OVER else line.value
    if value is None:
        return False
    low = value if line.good_low is None else line.good_low
    high = value if line.good_high is None else line.good_high
    return not low <= value <= high


def some(rows: Sequence[str], fit: Fit) -> list[str]:
    """The first rows, each cut to a line or three, and how many more there are."""
    more = len(rows) - fit.lines
    return [cut(row, fit.letters) for row in rows[: fit.lines]] + ([f"and {more} more in the job"] if more > 0 else [])


def cut(words: str, letters: int) -> str:
    """Text on one line, with an ellipsis when it is longer than so many letters."""
    words = " ".join("".join(letter if letter.isprintable() else " " for letter in words).split())
    return words if len(words) <= letters else words[: letters - 1].rstrip() + "…"


def _all(count: int) -> str:
    return "the one check" if count == 1 else f"all {count} checks"


def _more_work(more: int) -> list[dict[str, Any]]:
    return [{"did": f"and {more} more in the job", "detail": "", "precaution": False}] if more > 0 else []


def _suspect(line: SuspectLine, fit: Fit) -> dict[str, Any]:
    against = some(line.against, fit)
    return {
        "words": cut(line.words, 90),
        "probability": f"{per_cent(line.probability)} before the work",
        "explains": some(line.explains, fit) or ["nothing that was found"],
        "against": against,
        "against_words": cut("; ".join(against), fit.letters) or "nothing clear: it was only less likely",
    }


def _unexplained(data: HandoverData) -> str:
    if data.unexplained is None:
        return ""
    when = "before the work" if data.work else "in the last hunt"
    return f"Something not in the model: {per_cent(data.unexplained)} {when}."


def _reading(line: ReadingLine) -> dict[str, Any]:
    ends = [
        OVER if isinf(end) else quantity(end, line.unit) for end in (line.good_low, line.good_high) if end is not None
    ]
    good = " to ".join(dict.fromkeys(ends))
    check = f"{line.check} (after the work)" if line.after_work else line.check
    value = line.word if line.value is None else quantity(line.value, line.unit)
    words = {"check": cut(check, 70), "value": cut(value or "not measured", 30), "good": good}
    return words | {"meter": cut(line.meter, 20), "state": line.state, "off": off(line)}


def _readings_note(readings: Sequence[ReadingLine], most: int) -> str:
    withdrawn = sum(line.withdrawn for line in readings)
    more = len(readings) - withdrawn - len(chosen(readings, most))
    said = ["Bold: outside what 90 % of good boards read."]
    said += [f"{more} more in the job."] if more > 0 else []
    said += [f"{withdrawn} withdrawn and not shown."] if withdrawn else []
    return " ".join(said)


def _verdict(line: VerdictLine, index: int, drawn: frozenset[str]) -> dict[str, str]:
    gauge = f"gauge_{index}"
    side = {"below": "at most", "above": "at least"}.get(line.better, "within ±")
    return {
        "verdict": line.verdict,
        "mark": f"mark_{line.verdict}.svg",
        "what": cut(line.what, 45),
        "why": cut(line.why, 90),
        "gauge": f"{gauge}.svg" if gauge in drawn else "",
        "value": "" if line.value is None else measured(line.value, line.uncertainty, line.unit),
        "limit": "" if line.limit is None else f"{side} {quantity(line.limit, line.unit)}",
        "before": "" if line.before is None else quantity(line.before, line.unit),
    }


def _verdicts_note(verdicts: Sequence[VerdictLine], fit: Fit) -> str:
    said = ["Bar: value with its uncertainty (95 %); shaded: beyond the limit; ring or arrow: before the work."]
    sources = list(dict.fromkeys(line.source for line in verdicts[: fit.verdicts] if line.source))
    said += [f"Limits from: {cut('; '.join(sources), 3 * fit.letters)}."] if sources else []
    more = len(verdicts) - fit.verdicts
    said += [f"{more} more verdicts in the job."] if more > 0 else []
    return " ".join(said)
