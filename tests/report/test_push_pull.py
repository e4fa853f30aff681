"""The power amplifier of single transistors: drawn by its plan while it is the library's, by the rules once altered."""

from dataclasses import replace

from report.test_drawn_block import check

from dustcap.board.read import parse_board
from dustcap.job.drawn_blocks import DrawnPart, drawn_blocks
from dustcap.predict.sheet import service_sheet
from dustcap.report.drawn_block import draw_block
from dustcap.report.drawn_block_push_pull import push_pull

BOARD = """
layout = 1
[board]
name = "amplifier"
[blocks.amplifier]
from = "discrete class-AB amplifier"
with = { in = "line", out = "speaker", high = "rail_above", low = "rail_below" }
[parts]
V1 = { kind = "supply", value = "30 V", pins = ["rail_above", "0V"] }
V2 = { kind = "supply", value = "30 V", pins = ["0V", "rail_below"] }
IN1 = { kind = "input", pins = ["line", "0V"] }
R90 = { kind = "resistor", value = "10k", pins = ["line", "0V"] }
LS1 = { kind = "driver", role = "woofer", resistance = "5.6 ohm", pins = ["speaker", "0V"] }
"""


def block_of(text):
    board = parse_board(text, "amplifier")
    sheet = service_sheet(board, samples=2)
    return next(block for block in drawn_blocks(board, sheet) if block.name == "amplifier")


def test_the_plan_has_room_for_what_the_nets_read():
    """Names and volts of a powered board, from the rails to the bias; the output pair on one line."""
    block = block_of(BOARD)

    check(block)

    planned = push_pull(block)
    assert planned is not None
    assert draw_block(block).canvas.wires == planned.moved(*(4.0 - edge for edge in planned.extent()[:2])).wires
    lines = {x for net, (x, _), _ in planned.wires if net.endswith(("source_high", "source_low"))}
    assert len(lines) == 1


def test_an_altered_block_is_drawn_by_the_rules():
    """A part more: everything is on the drawing all the same."""
    whole = block_of(BOARD)
    bleeder = DrawnPart("R91", "resistor", "", {"a": "amplifier-boot", "b": "0V"}, "1 kohm")
    block = replace(whole, parts=(*whole.parts, bleeder))

    assert push_pull(block) is None
    check(block)


def test_long_names_are_left_to_the_rules():
    """What does not fit over a lane of the plan."""
    block = block_of(BOARD.replace("line", "line_in_from_the_front_socket_of_the_mixer"))

    assert push_pull(block) is None
    check(block)
