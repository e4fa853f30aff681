"""The words and figures of the hand-over sheet, ready for the layout: strings, lists and nothing to compute."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from dustcap.job.handover_data import HandoverData, ReadingLine, SuspectLine, VerdictLine
from dustcap.report.wording import measured, per_cent, quantity

MOST_READINGS, MOST_VERDICTS, MOST_LINES, MOST_OTHERS = 14, 14, 6, 3
MOST_LETTERS = 220
USUAL_CAUTIONS = (
    "Pull the plug, wait, and verify with a meter that the capacitors are discharged before touching the board.",
    "Mains parts are live while the unit is plugged in, switched off or not: isolating transformer or residual-current "
    "device, one hand, eye protection.",
    "Test sweeps can be loud: protect your ears and start quietly.",
)
CODES = (
    "This sheet reports what was found, done and measured. It does not replace local electrical codes or the test of a "
    "licensed person where one is required."
)
PLOTS = ("suspects", "response", "harmonics", "noise", "crackle")


def sheet(data: HandoverData, made: datetime, drawn: frozenset[str]) -> dict[str, Any]:
    """Everything the layout prints.

    `drawn` names the drawings that exist; a drawing without an entry there is left out of the page.
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
        "title": f"Hand-over {name}",
        "author": data.technician or data.shop or "dustcap",
        "footer": f"{name} · job {data.job} · {made:%Y-%m-%d %H:%M} UTC · made with dustcap",
        "unit": {
            "name": cut(name, 60),
            "facts": [[label, cut(words, 40)] for label, words in facts if words],
            "history": cut(unit.history),
        },
        "result": result(data.verdicts),
        "complaints": some(data.complaints),
        "sightings": some(data.sightings),
        "work": [
            {"did": cut(f"{line.target}: {line.did}", 90), "detail": cut(line.detail), "precaution": line.precaution}
            for line in data.work[:MOST_LINES]
        ]
        + _more_work(len(data.work) - MOST_LINES),
        "fault": _suspect(data.fault) if data.fault else None,
        "others": [_suspect(line) for line in data.others[:MOST_OTHERS]],
        "unexplained": _unexplained(data.unexplained),
        "readings": [_reading(line) for line in chosen(data.readings)],
        "readings_note": _readings_note(data.readings),
        "verdicts": [_verdict(line, i, drawn) for i, line in enumerate(data.verdicts[:MOST_VERDICTS])],
        "verdicts_note": _verdicts_note(data.verdicts),
        "soak": cut(data.soak),
        "plots": {plot: f"{plot}.svg" if plot in drawn else "" for plot in PLOTS},
        "not_measured": some(data.not_measured) or ["Nothing is known to be missing."],
        "remaining": some(data.remaining) or ["No remaining risk was noted."],
        "cautions": some(data.cautions) + list(USUAL_CAUTIONS),
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


def chosen(readings: Sequence[ReadingLine]) -> list[ReadingLine]:
    """The readings that stand on the sheet, in order: withdrawn ones never, those off first."""
    kept = [line for line in readings if not line.withdrawn]
    first = sorted(range(len(kept)), key=lambda i: (not off(kept[i]), not kept[i].after_work, i))[:MOST_READINGS]
    return [kept[i] for i in sorted(first)]


def off(line: ReadingLine) -> bool:
    """Whether the reading lies outside what 90 % of good boards read."""
    if line.value is None:
        return bool(line.word) and line.good_low is not None
    low = line.value if line.good_low is None else line.good_low
    high = line.value if line.good_high is None else line.good_high
    return not low <= line.value <= high


def some(rows: Sequence[str]) -> list[str]:
    """The first rows, each cut to a line or three, and how many more there are."""
    more = len(rows) - MOST_LINES
    return [cut(row) for row in rows[:MOST_LINES]] + ([f"and {more} more in the job"] if more > 0 else [])


def cut(words: str, letters: int = MOST_LETTERS) -> str:
    """Text on one line, with an ellipsis when it is longer than so many letters."""
    words = " ".join(words.split())
    return words if len(words) <= letters else words[: letters - 1].rstrip() + "…"


def _all(count: int) -> str:
    return "the one check" if count == 1 else f"all {count} checks"


def _more_work(more: int) -> list[dict[str, Any]]:
    return [{"did": f"and {more} more in the job", "detail": "", "precaution": False}] if more > 0 else []


def _suspect(line: SuspectLine) -> dict[str, Any]:
    against = some(line.against[:MOST_OTHERS])
    return {
        "words": cut(line.words, 90),
        "probability": f"{per_cent(line.probability)} before the work",
        "explains": some(line.explains) or ["nothing that was found"],
        "against": against,
        "against_words": "; ".join(against) or "nothing clear: it was only less likely",
    }


def _unexplained(share: float | None) -> str:
    return "" if share is None else f"Something not in the model: {per_cent(share)} before the work."


def _reading(line: ReadingLine) -> dict[str, Any]:
    good = ""
    if line.good_low is not None and line.good_high is not None:
        good = f"{quantity(line.good_low, line.unit)} to {quantity(line.good_high, line.unit)}"
    check = f"{line.check} (after the work)" if line.after_work else line.check
    value = line.word if line.value is None else quantity(line.value, line.unit)
    words = {"check": cut(check, 70), "value": cut(value or "not measured", 30), "good": good}
    return words | {"meter": cut(line.meter, 20), "state": line.state, "off": off(line)}


def _readings_note(readings: Sequence[ReadingLine]) -> str:
    withdrawn = sum(line.withdrawn for line in readings)
    more = len(readings) - withdrawn - len(chosen(readings))
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
        "what": cut(line.what, 60),
        "why": cut(line.why, 90),
        "gauge": f"{gauge}.svg" if gauge in drawn else "",
        "value": measured(line.value, line.uncertainty, line.unit),
        "limit": "" if line.limit is None else f"{side} {quantity(line.limit, line.unit)}",
        "before": "" if line.before is None else quantity(line.before, line.unit),
    }


def _verdicts_note(verdicts: Sequence[VerdictLine]) -> str:
    said = ["Bar: value with its uncertainty (95 %); shaded: beyond the limit; ring or arrow: before the work."]
    sources = list(dict.fromkeys(line.source for line in verdicts[:MOST_VERDICTS] if line.source))
    said += [f"Limits from: {cut(', '.join(sources))}."] if sources else []
    more = len(verdicts) - MOST_VERDICTS
    said += [f"{more} more verdicts in the job."] if more > 0 else []
    return " ".join(said)
