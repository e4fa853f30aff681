"""The answer of a hunt as text for people: suspects, next checks with their leads, advice, cautions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from dustcap.quantities import show

if TYPE_CHECKING:
    from rich.console import Console

Row = Mapping[str, Any]

BAR = 24  # characters for a probability of one
EIGHTHS = " ▏▎▍▌▋▊▉"
FULL = "█"
SUSPECTS = 8
EXPECTED = 4
LEAST = 0.02  # chances below this are not worth a word
WITH_SIGNAL = ("ac volts", "listen")


def print_hunt(out: Console, answer: Row, cautions: Sequence[str]) -> None:
    """Print the whole answer; `answer` is the JSON document of the hunt."""
    revision = f", revision {answer['revision']}" if answer.get("revision") else ""
    out.print(f"{answer['board']}{revision}", style="bold")
    for remark in answer.get("notes", ()):
        out.print(f"  note: {remark}")
    _print_suspects(out, answer)
    if "why" in answer:
        _print_case(out, answer["why"])
    _print_next(out, answer)
    _print_advice(out, answer["advice"])
    out.print()
    for caution in cautions:
        out.print(f"! {caution}", style="yellow")


def print_short(out: Console, answer: Row, suspects: int) -> None:
    """Print the leading suspects, the first check and the advice."""
    for number, suspect in enumerate(answer["suspects"][:suspects], 1):
        _print_share(out, f"{number:>3}", suspect["probability"], suspect_words(suspect))
    if answer["advice"]["do"] == "check":
        _print_next(out, dict(answer) | {"next": answer["next"][:1]})
    _print_advice(out, answer["advice"])


def suspect_words(suspect: Row) -> str:
    """``C9 short``; ``leak rail+ to wf_fb, 2.1 MΩ to 6 MΩ``; joint faults with ``and``."""
    return " and ".join(_fault_words(part) for part in suspect["parts"])


def _fault_words(part: Row) -> str:
    if "leak" not in part:
        return str(part.get("block") or f"{part['part']} {part['mode']}")
    words = f"leak {part['leak'][0]} to {part['leak'][1]}"
    ohms = part.get("ohms")
    return f"{words}, {show(ohms['low'], 'ohm')} to {show(ohms['high'], 'ohm')}" if ohms else words


def bar(share: float) -> str:
    """A bar as long as the share, to an eighth of a character."""
    eighths = round(min(max(share, 0.0), 1.0) * BAR * 8)
    whole, rest = divmod(eighths, 8)
    return (FULL * whole + (EIGHTHS[rest] if rest else "")).ljust(BAR)


def _print_suspects(out: Console, answer: Row) -> None:
    out.print("\nWhat it may be", style="bold")
    for number, suspect in enumerate(answer["suspects"][:SUSPECTS], 1):
        _print_share(out, f"{number:>3}", suspect["probability"], suspect_words(suspect))
        for label, key in (("fits", "explains"), ("against", "against")):
            if suspect.get(key):
                out.print(f"{'':>{BAR + 13}}{label}: {'; '.join(suspect[key])}", style="dim")
    rest = answer.get("rest", 0.0) + sum(row["probability"] for row in answer["suspects"][SUSPECTS:])
    _print_share(out, "", rest, "all others together")
    _print_share(out, "", answer["unexplained"], "something that is not in the description")
    _print_share(out, "", answer["healthy"], "nothing is wrong")


def _print_case(out: Console, case: Row) -> None:
    """Why one part is cleared, or not."""
    out.print(f"\nThe case of {case['part']}: {case['verdict']}", style="bold")
    out.print(f"  {case['why']}")
    for mode in case["modes"]:
        told = "".join(
            f", {label}: {'; '.join(mode[key])}"
            for label, key in (("against", "against"), ("would not explain", "leaves"))
            if mode[key]
        )
        shares = [f"{100 * mode[key]:.1f} %" if mode[key] >= 0.001 else "< 0.1 %" for key in ("probability", "started")]
        out.print(f"  {mode['mode']}: {shares[0]}, at first {shares[1]}{told}", style="dim")


def _print_share(out: Console, number: str, share: float, words: str) -> None:
    out.print(f"{number:>3} {_percent(share)}  {bar(share)} {words}")


def _percent(share: float) -> str:
    if 0 < share < 0.005:
        return " < 1 %"
    return f"{100 * share:4.0f} %"


def _print_next(out: Console, answer: Row) -> None:
    if not answer["next"]:
        return
    out.print("\nNext check" + ("s, the best first" if len(answer["next"]) > 1 else ""), style="bold")
    for number, check in enumerate(answer["next"], 1):
        cost = f"{check['minutes']:.1f} min, tells {check['bits']:.2f} bit"
        out.print(f"{number:>3}  {check_words(check)}   [{check['state']}; {cost}]")
        if number == 1:
            if check.get("where"):
                out.print(f"{'':>5}{check['at']}: {check['where']}", style="dim")
            _print_expected(out, answer, check)


def check_words(check: Row) -> str:
    """What to do with the leads: ``dc volts: red on wf_out, black on 0V``."""
    if check.get("at"):
        words = f"{check['check']}: red on {check['at']}, black on {check.get('against', '')}"
    else:
        words = f"{check['check']} {check.get('part') or check.get('driver') or ''}".rstrip()
    if check.get("word"):
        words += f": {check['word']}?"
    if check["check"] in WITH_SIGNAL and check.get("signal_hz"):
        words += f", with {show(check['signal_hz'], 'Hz')} {show(check['signal_v'], 'V')} at the input"
    return words


def _print_expected(out: Console, answer: Row, check: Row) -> None:
    unit = next((row["unit"] for row in check["expect"] if row.get("unit")), "")
    rows = [("a good board", check["healthy"])]
    rows += [(suspect_words(answer["suspects"][row["suspect"]]), row) for row in check["expect"][:EXPECTED]]
    for words, row in rows:
        out.print(f"       {words:<44.44} {expected_words(row, unit)}")


def expected_words(row: Row, unit: str) -> str:
    """Where 90 % of the readings lie; or how likely a word is, over range is, or that nothing can be read."""
    words = []
    if row.get("probability") is not None:
        words.append(f"yes with {100 * row['probability']:.0f} %")
    if row.get("median") is not None:
        low, high = (show(row[end], unit) if row.get(end) is not None else "over range" for end in ("low", "high"))
        words.append(low if low == high else f"{low} to {high}")
    elif "median" in row:
        words.append("over range")
    if row.get("over", 0) > LEAST and row.get("median") is not None:
        words.append(f"over range with {100 * row['over']:.0f} %")
    if row.get("none", 0) > LEAST:
        words.append(f"no reading possible with {100 * row['none']:.0f} %")
    return ", ".join(words) or "not told"


def _print_advice(out: Console, advice: Row) -> None:
    what = [*advice.get("parts", ())]
    if advice.get("between"):
        what.append(f"between {' and '.join(advice['between'])}")
    if advice.get("area"):
        what.append(str(advice["area"]))
    also = f" (and as a precaution {', '.join(advice['also'])})" if advice.get("also") else ""
    out.print(f"\nAdvice: {advice['do']} {', '.join(what)}".rstrip() + also, style="bold")
    if advice.get("why"):
        out.print(f"  {advice['why']}")
