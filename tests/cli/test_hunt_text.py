"""The answer of a hunt reads as plain sentences with the figures of its document."""

import io

import pytest
from rich.console import Console

from dustcap.cli.hunt_text import BAR, bar, check_words, expected_words, print_hunt

ANSWER = {
    "board": "model 27 main board",
    "revision": "C",
    "suspects": [
        {
            "parts": [{"leak": ["rail+", "wf_fb"], "ohms": {"low": 2.1e6, "median": 3.3e6, "high": 6.0e6}}],
            "probability": 0.61,
            "explains": ["complaint: cone pushed out, woofer"],
            "against": [],
        },
        {
            "parts": [{"part": "C9", "mode": "short"}],
            "probability": 0.22,
            "explains": [],
            "against": ["dc volts rail+ 24.1 V"],
        },
    ],
    "rest": 0.138,
    "unexplained": 0.03,
    "healthy": 0.002,
    "next": [
        {
            "check": "dc volts",
            "at": "wf_fb",
            "against": "0V",
            "state": "drivers disconnected",
            "bits": 1.31,
            "minutes": 0.8,
            "expect": [{"suspect": 0, "low": -1.2, "median": -1.13, "high": -1.05, "unit": "V"}],
            "healthy": {"low": -0.01, "median": 0.0, "high": 0.01},
        }
    ],
    "advice": {"do": "check", "parts": [], "also": [], "between": [], "area": "", "why": "It splits the two leaders."},
}


@pytest.fixture
def printed():
    """The answer as text."""
    out = io.StringIO()
    print_hunt(Console(file=out, width=140, highlight=False, markup=False), ANSWER, ("Pull the plug.",))
    return out.getvalue()


@pytest.mark.parametrize(
    "words",
    [
        "model 27 main board, revision C",
        "61 %",
        "leak rail+ to wf_fb, 2.1 MΩ to 6 MΩ",
        "fits: complaint: cone pushed out, woofer",
        "against: dc volts rail+ 24.1 V",
        "all others together",
        "something that is not in the description",
        "< 1 %",
        "dc volts: red on wf_fb, black on 0V",
        "drivers disconnected; 0.8 min, tells 1.31 bit",
        "-1.2 V to -1.05 V",
        "-10 mV to 10 mV",
        "Advice: check",
        "It splits the two leaders.",
        "! Pull the plug.",
    ],
)
def test_every_figure_of_the_answer_is_told(printed, words):
    """Suspects with reasons, the check with its leads, state and expected readings, advice, cautions."""
    assert words in printed


@pytest.mark.parametrize("share", [0.0, 0.005, 0.25, 0.5, 1.0, 1.0000001])
def test_a_bar_is_as_long_as_its_share(share):
    """Its full blocks are the share of the width, to one character, and its width is always the same."""
    drawn = bar(share)

    assert len(drawn) == BAR
    assert abs(drawn.count("█") - share * BAR) <= 1


@pytest.mark.parametrize(
    ("row", "unit", "words"),
    [
        ({"low": 1.0, "median": 1.0, "high": 1.0}, "V", "1 V"),
        ({"low": 1e5, "median": 2e6, "high": None, "over": 0.2}, "ohm", "100 kΩ to over range, over range with 20 %"),
        ({"low": None, "median": None, "high": None, "over": 1.0}, "ohm", "over range"),
        ({"probability": 0.93}, "", "yes with 93 %"),
        ({"none": 1.0}, "V", "no reading possible with 100 %"),
        ({}, "V", "not told"),
    ],
)
def test_what_is_expected_is_put_in_words(row, unit, words):
    """Ranges, over range, words and impossible readings."""
    assert expected_words(row, unit) == words


@pytest.mark.parametrize(
    ("check", "words"),
    [
        ({"check": "lifted", "part": "R12"}, "lifted R12"),
        ({"check": "look", "part": "glue_1", "word": "residue"}, "look glue_1: residue?"),
        (
            {"check": "listen", "driver": "LS1", "word": "hum", "signal_hz": 1000.0, "signal_v": 0.1},
            "listen LS1: hum?, with 1 kHz 100 mV at the input",
        ),
        ({"check": "ohms", "at": "a", "against": "b", "signal_hz": 1e3}, "ohms: red on a, black on b"),
    ],
)
def test_a_check_says_where_the_leads_go(check, words):
    """Nets, part or driver, and the signal where it matters."""
    assert check_words(check) == words


def test_the_case_of_a_part_is_told_mode_by_mode():
    """The verdict, the sentence, and for each mode the share now, at first and what speaks against it."""
    mode = {
        "mode": "short",
        "probability": 0.0004,
        "started": 0.012,
        "against": ["dc volts rail+ 24.1 V"],
        "leaves": ["no hum"],
    }
    case = {"part": "C9", "verdict": "cleared", "why": "C9 is cleared by: dc volts rail+ 24.1 V.", "modes": [mode]}
    out = io.StringIO()

    print_hunt(Console(file=out, width=140, highlight=False, markup=False), ANSWER | {"why": case}, ())

    assert "The case of C9: cleared\n  C9 is cleared by: dc volts rail+ 24.1 V.\n" in out.getvalue()
    assert "short: < 0.1 %, at first 1.2 %, against: dc volts rail+ 24.1 V, would not explain: no hum" in out.getvalue()
