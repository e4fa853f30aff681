"""The service sheet as PDF."""

import io
import re

import pytest
from predict.small import TEXT, small_board
from pypdf import PdfReader

from dustcap.board.read import parse_board
from dustcap.job.sheet import sheet_of
from dustcap.report.sheet import sheet_pdf
from dustcap.report.sheet_words import sheet_words


def read(pdf):
    return " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages).split())


@pytest.fixture(scope="module")
def data():
    return sheet_of(small_board(), 1000.0, 0.1, samples=8)


@pytest.mark.parametrize(
    "words",
    [
        "hand board",
        "revision A",
        "plus12",
        "22 kΩ",
        "1 kHz, 100 mV at the first input",
        "The checks worth making first",
        "Unplugged",
        "Drivers disconnected",
        "Every net against 0V",
        "Every part",
        "local codes",
    ],
)
def test_the_sheet_says_what_is_to_be_read(data, words):
    """Board, rails, part values, signal, checks, the cautions."""
    assert words in read(sheet_pdf(data))


def test_the_level_at_the_driver_is_printed(data):
    """Derived: 100 mV x 22.95 = 2.295 V, to three digits of a median that the tolerances move a little."""
    assert re.search(r"2\.(28|29|3|31) V", read(sheet_pdf(data)))


def test_the_same_board_gives_the_same_bytes(data):
    """Nothing on the sheet depends on when it is printed."""
    assert sheet_pdf(data) == sheet_pdf(data)


def test_nothing_typed_can_change_the_layout():
    """Names with signs of the layout's language, and very long ones, are printed as they are."""
    text = TEXT.replace('name = "hand board"', f'name = "#set *x* $y$ {"long " * 9}"')

    assert "#set *x* $y$ long" in read(sheet_pdf(sheet_of(parse_board(text, "t"), 1000.0, 0.1, samples=2)))


def test_a_part_near_its_rating_is_marked(data):
    """Derived: 36 uW in 1 Mohm are 72 % of a rating of 50 uW, with the spread below 80 %; of 40 uW they are 90 %."""

    def strained(power):
        text = TEXT.replace(
            'value = "1M", tolerance = "1 %", pins = ["plus12"', f'value = "1M", power = "{power}", pins = ["plus12"'
        )
        words = sheet_words(sheet_of(parse_board(text, "t"), 1000.0, 0.1, samples=8))
        return next(part["strained"] for part in words["parts"] if part["cells"][0][0] == "R1")

    assert not strained("50 uW")
    assert strained("40 uW")


def test_a_board_without_rails_blocks_or_input_is_printed():
    """Two parts are a board too."""
    text = (
        'layout = 1\n[board]\nname = "b"\n[parts]\nV1 = { kind = "supply", value = "9 V", pins = ["p", "0V"] }\n'
        'R1 = { kind = "resistor", value = "1k", pins = ["p", "0V"] }\n'
    )

    assert "9 V" in read(sheet_pdf(sheet_of(parse_board(text, "t"), 1000.0, 0.1, samples=2)))
