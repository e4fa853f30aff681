"""The hand-over sheet."""

import io
import math
import re

import pytest
from pypdf import PdfReader
from report.sample import job

from dustcap.errors import InputError
from dustcap.job.handover_data import HandoverData, ReadingLine, SuspectLine, UnitLine, VerdictLine, WorkLine
from dustcap.report.handover import handover_pages, handover_pdf
from dustcap.report.handover_words import off

LONG = 'a long word list with #hash *stars* $maths$ <b> & \x00 \n\t \\ ] [ " end ' * 30


def read(data):
    """Pages and text of the sheet, with single spaces."""
    reader = PdfReader(io.BytesIO(handover_pdf(data)))
    return len(reader.pages), " ".join(" ".join(page.extract_text() for page in reader.pages).split())


@pytest.fixture(scope="module")
def sheet():
    """The sheet of the invented job."""
    return read(job())


def test_an_ordinary_job_takes_two_pages(sheet):
    """The story on the first page, the proof on the second."""
    assert sheet[0] == 2


@pytest.mark.parametrize(
    "words",
    [
        "model 27, room 1 left",
        "cone pushed out, woofer",
        "leak rail+ to wf_fb (1.2 MΩ to 1.6 MΩ)",
        "94 % before the work",
        "U3 stuck low",
        "−23.8 V",
        "handheld",
        "cleaned",
        "as a precaution",
        "within ± 50 mV",
        "0.90 ± 0.20 dB",
        "undecided",
        "40 clean switch-ons",
        "Impedance: no sweep was made.",
        "The same glue holds the rail capacitors of the other three units.",
        "The rail capacitors keep 24 V for 90 s",
        "local codes or a licensed person",
    ],
)
def test_the_sheet_holds_what_the_job_holds(sheet, words):
    """Unit, complaint, evidence, work, proof, gaps, risks and cautions are on the sheet."""
    assert words in sheet[1]


@pytest.mark.parametrize(
    ("verdicts", "words"),
    [
        (("pass", "pass"), "Proven: all 2 checks passed"),
        (("pass", "undecided"), "Not fully proven: 1 of 2 checks undecided"),
        (("pass", "undecided", "fail"), "Not right yet: 1 of 3 checks failed"),
        ((), "Not proven"),
    ],
)
def test_the_result_is_the_worst_verdict(verdicts, words):
    """One line says what was proven; without verdicts nothing is."""
    assert words in read(job(verdicts=tuple(VerdictLine("hum", verdict) for verdict in verdicts)))[1]


def test_the_same_job_gives_the_same_bytes():
    """The sheet depends on its data alone."""
    assert handover_pdf(job()) == handover_pdf(job())


def test_the_time_of_making_is_the_one_given():
    """The sheet carries the time that it was given, in UTC and whole seconds."""
    data = job(made="2026-11-25T10:30:00.654321+01:00")

    made = PdfReader(io.BytesIO(handover_pdf(data))).metadata.creation_date

    assert made.isoformat().startswith("2026-11-25T09:30:00")
    assert "2026-11-25 09:30 UTC" in read(data)[1]


def test_what_people_typed_is_printed_and_never_obeyed():
    """Marks of the layout's language, quotes and control characters are plain text on the sheet."""
    text = read(job(complaints=('#panic() *b* $x$ \x07 "q" \\ <b>',)))[1]

    assert '#panic() *b* $x$ "q" \\ <b>' in text


def test_the_longest_job_still_fits_three_pages():
    """Lists are cut, and the sheet says how much was left out."""
    suspect = SuspectLine(LONG, 0.2, (LONG,) * 20, (LONG,) * 20)
    verdict = VerdictLine(LONG, "undecided", 1.0, 2.0, 1.5, "V", why=LONG, source=LONG)
    whole = job()

    pages, text = read(
        job(
            unit=UnitLine(*[LONG] * 7),
            complaints=(LONG,) * 40,
            sightings=(LONG,) * 40,
            readings=whole.readings * 20,
            fault=suspect,
            others=(suspect,) * 12,
            steps=whole.steps * 20,
            work=(WorkLine(LONG, LONG, LONG),) * 30,
            verdicts=(verdict,) * 60,
            not_measured=(LONG,) * 30,
            remaining=(LONG,) * 30,
            cautions=(LONG,) * 30,
            soak=LONG,
        )
    )

    assert pages <= 3
    assert re.search(r"and \d+ more in the job", text)
    assert re.search(r"\d+ more verdicts in the job", text)


def test_an_empty_job_claims_nothing():
    """Without findings, work or measurements the sheet says so on one page."""
    pages, text = read(HandoverData("1", "2026-01-01T00:00:00", UnitLine("model 27")))

    assert pages == 1
    for words in ("Not proven", "Nothing was changed.", "No fault was found", "No complaint was noted."):
        assert words in text


def test_a_withdrawn_reading_is_left_out_and_counted():
    """What was withdrawn is not shown as evidence."""
    readings = (
        ReadingLine("dc volts a against 0V", 1.234, "V"),
        ReadingLine("dc volts b against 0V", 9.876, "V", withdrawn=True),
    )

    text = read(job(readings=readings))[1]

    assert "1.23 V" in text
    assert "9.88 V" not in text
    assert "1 withdrawn and not shown." in text


@pytest.mark.parametrize(
    ("value", "word", "low", "high", "is_off"),
    [
        (1.42e6, "", math.inf, math.inf, True),
        (None, "over range", math.inf, math.inf, False),
        (None, "over range", 4.7e3, 4.9e3, True),
        (None, "over range", 4.7e6, math.inf, False),
        (4.8e3, "", 4.7e3, 4.9e3, False),
        (5.0e3, "", 4.7e3, 4.9e3, True),
        (5.0e3, "", None, None, False),
        (None, "under range", 4.7e3, 4.9e3, False),
    ],
)
def test_a_reading_is_off_when_good_boards_do_not_read_it(value, word, low, high, is_off):
    """Over range counts as infinite; nothing is said where nothing is known of good boards."""
    assert off(ReadingLine("ohms a against b", value, "ohm", word, good_low=low, good_high=high)) is is_off


def test_a_good_board_that_is_over_range_is_said_so():
    """What a good board reads is printed as a range or in words."""
    line = ReadingLine("leakage rail+ against wf_fb", 1.42e6, "ohm", good_low=math.inf, good_high=math.inf)

    assert "1.42 MΩ over range" in read(job(readings=(line,)))[1]


def test_only_the_shipped_fonts_are_used():
    """The sheet looks alike on every machine: Source Sans Pro alone, embedded."""
    reader = PdfReader(io.BytesIO(handover_pdf(job())))
    fonts = {
        font.get_object()["/BaseFont"]
        for page in reader.pages
        for font in page["/Resources"].get_object().get("/Font", {}).values()
    }

    assert fonts
    assert all("SourceSansPro" in name for name in fonts)


def test_the_pages_come_as_pictures_too():
    """One PNG a page, for the screen."""
    pages = handover_pages(job(), ppi=40)

    assert len(pages) == 2
    assert all(page.startswith(b"\x89PNG\r\n\x1a\n") for page in pages)


def test_a_time_that_is_none_is_refused():
    """A wrong time is one clear sentence."""
    with pytest.raises(InputError, match="'yesterday' is not a time") as why:
        handover_pdf(job(made="yesterday"))

    assert why.value.mend
