"""Drawn blocks: every part and net is on the drawing, and nothing lies on anything else.

Widths are those of the font itself, read from its file with Pillow; the layout only estimates them.
"""

from functools import cache
from pathlib import Path

import font_source_sans_pro
import pytest
from PIL import ImageFont

from dustcap.board.library.load import built_in
from dustcap.board.read import parse_board
from dustcap.demo.boards import model_27
from dustcap.job.drawn_blocks import COMMON, SIGNAL, drawn_blocks, drawn_template
from dustcap.predict.sheet import service_sheet
from dustcap.report.drawn_block import block_svg, draw_block
from dustcap.report.drawn_block_canvas import Canvas, Text

FONTS = Path(font_source_sans_pro.__file__).parent / "files"
TOUCH = 0.3


@cache
def font(bold):
    (file,) = FONTS.rglob(f"*{'Semibold' if bold else 'Regular'}.ttf")
    return ImageFont.truetype(str(file), 200)


def box_of(text):
    """Left, top, right, bottom of a text as the font sets it."""
    wide = font(text.bold).getlength(text.words) * text.size / 200
    left = text.at[0] - {"start": 0.0, "middle": wide / 2, "end": wide}[text.anchor]
    return left, text.at[1] - 0.7 * text.size, left + wide, text.at[1] + 0.2 * text.size


def hit(one, other):
    return (
        one[0] + TOUCH < other[2]
        and other[0] + TOUCH < one[2]
        and one[1] + TOUCH < other[3]
        and other[1] + TOUCH < one[3]
    )


def wire_box(start, end):
    return (
        min(start[0], end[0]) - 0.4,
        min(start[1], end[1]) - 0.4,
        max(start[0], end[0]) + 0.4,
        max(start[1], end[1]) + 0.4,
    )


def at_edge(point, box):
    return box[0] - 0.6 <= point[0] <= box[2] + 0.6 and box[1] - 0.6 <= point[1] <= box[3] + 0.6


def along(one, other):
    """Whether two level or upright wires lie on each other for some length."""
    for fixed, free in ((0, 1), (1, 0)):
        (a, b), (p, q) = one, other
        if a[fixed] == b[fixed] == p[fixed] == q[fixed]:
            low = max(min(a[free], b[free]), min(p[free], q[free]))
            if min(max(a[free], b[free]), max(p[free], q[free])) > low:
                return True
    return False


def clashes(canvas):
    """Everything that lies on something else, in words."""
    texts = [(text.words, box_of(text)) for text in canvas.texts]
    wires = [(net, (a, b)) for net, a, b in canvas.wires]
    for place, (words, box) in enumerate(texts):
        yield from (f"{words} on {other}" for other, its in texts[place + 1 :] if hit(box, its))
        yield from (f"{words} on a symbol" for its in canvas.bodies if hit(box, its))
        yield from (f"{words} on a wire of {net}" for net, wire in wires if hit(box, wire_box(*wire)))
    for place, body in enumerate(canvas.bodies):
        yield from ("two symbols" for its in canvas.bodies[place + 1 :] if hit(body, its))
        inner = (body[0] + 2, body[1] + 2, body[2] - 2, body[3] - 2)
        yield from (
            f"a wire of {net} through a symbol"
            for net, wire in wires
            if hit(inner, wire_box(*wire)) and not any(at_edge(end, body) for end in wire)
        )
    for place, (net, wire) in enumerate(wires):
        yield from (
            f"{net} along {other}"
            for other, its in wires[place + 1 :]
            if net and other not in ("", net) and along(wire, its)
        )


def joined(canvas, net):
    """How many pieces the wires of a net are in."""
    left = [(a, b) for name, a, b in canvas.wires if name == net]
    count = 0
    while left:
        count += 1
        front = [left.pop()]
        while front:
            a, b = front.pop()
            near = [w for w in left if touching(w, (a, b))]
            left = [w for w in left if w not in near]
            front += near
    return count


def touching(one, other):
    return any(on(p, other) for p in one) or any(on(p, one) for p in other)


def on(point, wire):
    (ax, ay), (bx, by) = wire
    return (
        min(ax, bx) - 0.05 <= point[0] <= max(ax, bx) + 0.05
        and min(ay, by) - 0.05 <= point[1] <= max(ay, by) + 0.05
        and (abs(ax - bx) < 0.05 or abs(ay - by) < 0.05)
    )


@cache
def demo(revision):
    board = model_27(revision)
    return {block.name: block for block in drawn_blocks(board, service_sheet(board, samples=2))}


DEMO = [(revision, name) for revision in "AC" for name in model_27(revision).blocks]


def check(block):
    """A drawing without a clash, each part once, each signal net named wherever it is in a piece of its own."""
    drawing = draw_block(block)
    canvas = drawing.canvas

    assert list(clashes(canvas)) == []
    said = [text.words for text in canvas.texts]
    assert {part.name: said.count(part.name) for part in block.parts if said.count(part.name) != 1} == {}
    for name, net in block.nets.items():
        if net.role == SIGNAL:
            named = sum(words == net.label or words.startswith(f"{net.label} ") for words in said)
            assert joined(canvas, name) <= named, name
    west, north, east, south = canvas.extent()
    assert min(west, north) >= 0
    assert east <= drawing.width
    assert south <= drawing.height


@pytest.mark.parametrize("name", built_in())
def test_a_block_of_the_library_is_drawn_without_a_clash(name):
    """With its own settings and the names of its ports."""
    check(drawn_template(built_in()[name]))


@pytest.mark.parametrize(("revision", "name"), DEMO)
def test_a_block_of_the_demo_is_drawn_without_a_clash(revision, name):
    """With the names of the board, its values, and what its nets read."""
    check(demo(revision)[name])


def test_a_clash_is_seen():
    """Two names on one place, a name on a wire, a wire along another and one through a symbol are all reported."""
    canvas = Canvas()
    canvas.texts += [Text((10, 10), "R1", 8.0), Text((12, 10), "R2", 8.0)]
    canvas.wires += [("a", (0, 8), (40, 8)), ("b", (20, 8), (60, 8)), ("c", (50, 0), (50, 40))]
    canvas.bodies.append((45, 15, 55, 25))

    found = list(clashes(canvas))

    assert "R1 on R2" in found
    assert "R1 on a wire of a" in found
    assert "a along b" in found
    assert "a wire of c through a symbol" in found


LONG = """
layout = 1
[board]
name = "names"
[parts]
V1 = { kind = "supply", value = "12 V", pins = ["supply_above_common", "0V"] }
V2 = { kind = "supply", value = "12 V", pins = ["0V", "supply_below_common"] }
IN1 = { kind = "input", pins = ["line_in_from_front_socket", "0V"] }
R101A = { kind = "resistor", value = "12.345k", pins = ["line_in_from_front_socket", "summing_node_of_the_mixer"] }
R102A = { kind = "resistor", value = "10k", pins = ["second_line", "summing_node_of_the_mixer"] }
R103A = { kind = "resistor", value = "1M", pins = ["second_line", "0V"] }
R104A = { kind = "resistor", value = "47k", pins = ["output_of_the_mixer", "summing_node_of_the_mixer"] }
C104A = { kind = "capacitor", value = "47p", pins = ["output_of_the_mixer", "summing_node_of_the_mixer"] }
Q101 = { kind = "n-jfet", pins = ["summing_node_of_the_mixer", "gate_of_the_limiter", "0V"] }
R105A = { kind = "resistor", value = "1M", pins = ["gate_of_the_limiter", "supply_below_common"] }
R106A = { kind = "resistor", value = "2k2", pins = ["output_of_the_mixer", "loop_end"] }
R107A = { kind = "resistor", value = "2k2", pins = ["loop_end", "summing_node_of_the_mixer"] }
R108A = { kind = "resistor", value = "2k2", pins = ["loop_end", "supply_above_common"] }
C105 = { kind = "capacitor", value = "1n", pins = ["output_of_the_mixer", "loop_end"] }
RV9 = { kind = "potentiometer", value = "10k", pins = ["output_of_the_mixer", "slider", "second_line"] }
R109A = { kind = "resistor", value = "100k", pins = ["slider", "gate_of_the_limiter"] }
[parts.U101-A]
kind = "op amp"
[parts.U101-A.pins]
plus = "0V"
minus = "summing_node_of_the_mixer"
out = "output_of_the_mixer"
high = "supply_above_common"
low = "supply_below_common"
"""


def test_long_names_and_a_tangle_are_drawn_without_a_clash():
    """Names far longer than values, two inputs, a bridged feedback, a field-effect transistor across a node, a track
    whose both ends are signals."""
    (block,) = drawn_blocks(parse_board(LONG, "t"))

    check(block)


def test_the_same_block_gives_the_same_drawing():
    """Text for text, and a name that looks like markup stays a name."""
    block = drawn_template(built_in()["limiter"])

    assert block_svg(block) == block_svg(block)
    (odd,) = drawn_blocks(parse_board(LONG.replace("slider", "a<b&c"), "t"))
    assert "a&lt;b&amp;c" in block_svg(odd)


def test_common_is_never_named_as_a_signal():
    """The common net keeps its role in every block."""
    for block in demo("A").values():
        assert all(net.role == COMMON for name, net in block.nets.items() if name == "0V")


ODD = """
layout = 1
[board]
name = "odd"
[parts]
T1 = { kind = "transformer", volts = "12 V", resistance = "1 ohm", pins = { secondary = ["a", "b"] } }
T2 = { kind = "transformer", volts = "12 V", resistance = "1 ohm", pins = { secondary = ["c", "0V", "d"] } }
BR1 = { kind = "bridge", pins = ["a", "b", "rail", "0V"] }
BR2 = { kind = "bridge", pins = ["c", "d", "up", "down"] }
C1 = { kind = "electrolytic", value = "1000 uF", voltage = "25 V", pins = ["rail", "0V"] }
U1 = { kind = "regulator", value = "5 V", pins = { in = "rail", out = "five", common = "0V" } }
U2 = { kind = "regulator", value = "8 V", pins = { in = "rail", out = "eight", common = "0V" } }
RV1 = { kind = "potentiometer", value = "10k", pins = ["five", "x", "x"] }
R1 = { kind = "resistor", value = "1k", pins = ["x", "up"] }
D1 = { kind = "diode", pins = ["down", "a"] }
"""


def test_a_supply_that_no_rule_foresees_is_still_drawn():
    """Two windings, a bridge to common alone, two regulators of one rail, a track with its wiper at its end: every part
    is there once and nothing overlaps."""
    (block,) = drawn_blocks(parse_board(ODD, "t"))
    canvas = draw_block(block).canvas

    said = [text.words for text in canvas.texts]
    assert [part.name for part in block.parts if said.count(part.name) != 1] == []
    assert list(clashes(canvas)) == []


TAPPED = """
layout = 1
[board]
name = "tapped"
[parts]
T1 = { kind = "transformer", volts = "24 V", resistance = "1 ohm", pins = { secondary = ["0V", "half", "full"] } }
D1 = { kind = "diode", pins = ["half", "low"] }
C1 = { kind = "electrolytic", value = "1000 uF", voltage = "25 V", pins = ["low", "0V"] }
D2 = { kind = "diode", pins = ["full", "rail"] }
C2 = { kind = "electrolytic", value = "1000 uF", voltage = "50 V", pins = ["rail", "0V"] }
R1 = { kind = "resistor", value = "1k", pins = ["full", "0V"] }
"""
HALF_WAVE = """
layout = 1
[board]
name = "half wave"
[parts]
T1 = { kind = "transformer", volts = "12 V", resistance = "1 ohm", pins = { secondary = ["a", "0V"] } }
D1 = { kind = "diode", pins = ["a", "raw"] }
C1 = { kind = "electrolytic", value = "1000 uF", voltage = "35 V", pins = ["raw", "0V"] }
U1 = { kind = "regulator", value = "5 V", pins = { in = "raw", out = "five", common = "0V" } }
C2 = { kind = "capacitor", value = "100 nF", pins = ["five", "0V"] }
R1 = { kind = "resistor", value = "1k", pins = ["five", "raw"] }
R2 = { kind = "resistor", value = "10k", pins = ["0V", "a"] }
"""
SENSED = """
layout = 1
[board]
name = "sensed"
[parts]
V1 = { kind = "supply", value = "30 V", pins = ["up", "0V"] }
V2 = { kind = "supply", value = "30 V", pins = ["0V", "down"] }
U1 = { kind = "power amplifier", pins = { plus = "in", minus = "fb", out = "out", high = "up", low = "down" } }
LS = { kind = "driver", role = "woofer", resistance = "6 ohm", pins = ["out", "sense"] }
R1 = { kind = "resistor", value = "0.22", pins = ["sense", "0V"] }
R2 = { kind = "resistor", value = "1k", pins = ["sense", "fb"] }
R3 = { kind = "resistor", value = "22k", pins = ["out", "fb"] }
R4 = { kind = "resistor", value = "10k", pins = ["in", "0V"] }
R5 = { kind = "resistor", value = "10k", pins = ["0V", "out2"] }
R6 = { kind = "link", pins = ["out2", "up"] }
"""


def ends_of(canvas, name):
    """The nets of the wires that end at the symbol beside (or below) the name of a part."""
    left, top, right, _ = box_of(next(text for text in canvas.texts if text.words == name))
    beside = [b for b in canvas.bodies if b[1] - 6 < top < b[3] + 6 and 0 < left - b[2] < 12]
    below = [b for b in canvas.bodies if b[0] < right and left < b[2] and 0 < b[1] - top < 30]
    body = (beside or below)[0]
    return {net for net, *wire in canvas.wires if any(at_edge(point, body) for point in wire)}


@pytest.mark.parametrize("text", [TAPPED, HALF_WAVE, SENSED])
def test_a_winding_that_ends_in_common_and_a_driver_in_the_feedback(text):
    """Nothing overlaps, and every part of two leads is drawn between its own nets."""
    (block,) = drawn_blocks(parse_board(text, "t"))
    canvas = draw_block(block).canvas

    check(block)
    for part in block.parts:
        if len(part.pins) == 2 and part.kind not in ("driver", "transformer"):
            assert ends_of(canvas, part.name) == set(part.pins.values()), part.name


def test_a_regulator_is_drawn_from_its_input_on():
    """The current runs from left to right."""
    (block,) = drawn_blocks(parse_board(HALF_WAVE, "t"))
    at = {text.words: text.at[0] for text in reversed(draw_block(block).canvas.texts)}  # of a name the first

    assert at["raw"] < at["U1"] < at["five"]
