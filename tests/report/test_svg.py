"""The hand that draws."""

from xml.etree import ElementTree

from hypothesis import given
from hypothesis import strategies as st

from dustcap.report import svg
from dustcap.report.suspect_plot import TONES
from dustcap.report.svg import DEEP, FADED, INK, PAPER, SHADE, Drawing, number, runs, shortened, text_width, thinned
from dustcap.report.verdict_plot import TONES as VERDICT_TONES

TEXT = "{http://www.w3.org/2000/svg}text"


@given(st.text(max_size=60))
def test_any_text_makes_a_drawing_that_reads_as_xml(words):
    """Whatever a person typed, the drawing is well formed and says no more than that text."""
    drawing = Drawing(100, 20, words, words)
    drawing.text((0, 10), words, halo=True)

    found = ElementTree.fromstring(drawing.svg()).findall(TEXT)

    plain = "".join(letter if letter.isprintable() else " " for letter in words)
    assert [one.text or "" for one in found] == [plain, plain]


def test_coordinates_are_short_and_never_minus_zero():
    """Two decimals, no trailing zeros."""
    assert [number(value) for value in (-0.0001, 1.0, 2.505001, -3.1)] == ["0", "1", "2.51", "-3.1"]


def test_a_curve_is_cut_where_a_value_is_missing_or_outside():
    """Missing, not finite and outside values part a curve and are not bridged."""
    xs = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0]
    ys = [0.0, 1.0, None, 2.0, float("nan"), 3.0, 4.0]

    assert runs(xs, ys, 2.0, 6.5) == [[(2.0, 1.0)], [(4.0, 2.0)], [(6.0, 3.0)]]


@given(st.lists(st.floats(-100, 100), min_size=1, max_size=400))
def test_thinning_keeps_the_ends_and_the_extremes(levels):
    """No peak and no dip is lost, whatever the number of points."""
    points = [(i * 0.01, level) for i, level in enumerate(levels)]

    kept = thinned(points)

    assert (kept[0], kept[-1]) == (points[0], points[-1])
    assert (min(y for _, y in kept), max(y for _, y in kept)) == (min(levels), max(levels))
    assert kept == sorted(kept, key=lambda point: point[0])


@given(st.text(min_size=1, max_size=80), st.floats(20, 200))
def test_a_shortened_text_fits(words, width):
    """The text that comes back is no wider than asked, or is the bare ellipsis."""
    short = shortened(words, width)

    assert short == "…" or text_width(short) <= width


def luminance(colour):
    """Relative luminance of an sRGB colour (W3C, WCAG 2.1, definition of relative luminance)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    """Contrast ratio of two colours (W3C, WCAG 2.1, definition of contrast ratio)."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_black_on_white_has_the_contrast_of_the_standard():
    """The ratio used below is 21 for black on white, as the standard says (W3C, WCAG 2.1)."""
    assert round(contrast("#000000", "#ffffff"), 6) == 21.0


def test_every_text_stands_out_from_its_ground():
    """Text reaches 4.5 to 1, level AA of W3C WCAG 2.1, success criterion 1.4.3."""
    pairs = [(INK, PAPER), (INK, SHADE), (FADED, PAPER), (DEEP, PAPER), *TONES[:1]]
    pairs += [(ink, fill) for fill, ink in TONES[1:]] + [(tone, PAPER) for tone in VERDICT_TONES.values()]

    assert {pair: contrast(*pair) for pair in pairs if contrast(*pair) < 4.5} == {}


def test_now_and_before_differ_in_grey():
    """Printed without colour, the curve of now is clearly darker than that of before (1.5 to 1, a choice of ours)."""
    assert contrast(DEEP, svg.FADED) >= 1.5
