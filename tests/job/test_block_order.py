"""The order of the blocks: as the signal goes, whatever the order of the description."""

from importlib.resources import files

import pytest

from dustcap.board.read import parse_board
from dustcap.job.block_order import OTHERS, WHOLE, blocks_in_order, rails

TEXT = """
layout = 1
[board]
name = "chain"
[parts]
V1 = { kind = "supply", value = "15 V", pins = ["p", "0V"] }
V2 = { kind = "supply", value = "15 V", pins = ["0V", "m"] }
J1 = { kind = "input", pins = ["in", "0V"] }
U1 = { kind = "op amp", pins = { plus = "in", minus = "a", out = "a", high = "p", low = "m" } }
U2 = { kind = "op amp", pins = { plus = "a", minus = "b", out = "b", high = "p", low = "m" } }
U3 = { kind = "op amp", pins = { plus = "a", minus = "c", out = "c", high = "p", low = "m" } }
LS1 = { kind = "driver", role = "woofer", resistance = "6 ohm", pins = ["b", "0V"] }
R9 = { kind = "resistor", value = "1k", pins = ["c", "0V"] }
[blocks.second]
parts = ["U2", "LS1"]
[blocks.third]
parts = ["U3"]
[blocks.rails]
parts = ["V1", "V2"]
[blocks.first]
parts = ["J1", "U1"]
"""


def test_blocks_stand_as_the_signal_goes():
    """What feeds first, then by the steps from the input; loose parts are a block of their own."""
    blocks = blocks_in_order(parse_board(TEXT, "t"))

    assert [(block.name, block.step) for block in blocks] == [
        ("rails", -1), ("first", 0), ("second", 1), ("third", 1), (OTHERS, 2),
    ]  # fmt: skip


def test_a_rail_leads_nowhere_and_a_signal_does():
    """The net between two blocks is an outlet with its goals; a driver is one too; rails are none."""
    blocks = {block.name: block for block in blocks_in_order(parse_board(TEXT, "t"))}

    assert [(one.net, one.to) for one in blocks["first"].outlets] == [("a", ("second", "third"))]
    assert [(one.net, one.to) for one in blocks["second"].outlets] == [("b", ("woofer",))]
    assert blocks["rails"].outlets == ()
    assert rails(parse_board(TEXT, "t")) == ("p", "m")


def test_a_board_without_blocks_is_one():
    """All parts in one block."""
    bare = TEXT[: TEXT.index("[blocks.second]")]

    (block,) = blocks_in_order(parse_board(bare, "t"))
    assert block.name == WHOLE
    assert len(block.parts) == 8


@pytest.mark.parametrize("revision", ["a", "c"])
def test_the_demonstration_board_runs_from_input_to_drivers(revision):
    """Every part is in one block; both crossovers come after the input and before the amplifiers they drive."""
    text = files("dustcap.demo.boards").joinpath(f"model_27_{revision}.board.toml").read_text()
    board = parse_board(text, "demo")

    blocks = blocks_in_order(board)
    step = {block.name: block.step for block in blocks}
    assert sorted(name for block in blocks for name, _ in block.parts) == sorted(board.parts)
    assert step["input"] < step["crossover_low"] < step["woofer_amplifier"]
    assert step["input"] < step["crossover_high"] < step["tweeter_amplifier"]
    assert step["supply"] == -1
