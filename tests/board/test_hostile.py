"""Text that means harm, or none at all, is answered by one line and soon."""

import time

import pytest
from board.sample import EXAMPLE, HEAD
from hypothesis import given, settings
from hypothesis import strategies as st

from dustcap.board.read import parse_board, read_board
from dustcap.errors import BoardError

SOON_S = 8.0
BIG = 900_000


def _refusal(text):
    try:
        parse_board(text, "x")
    except BoardError as error:
        return str(error)
    return ""


def _refused_soon(text):
    begun = time.process_time()
    with pytest.raises(BoardError) as caught:
        parse_board(text, "x")
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 600
    assert time.process_time() - begun < SOON_S
    return str(caught.value)


@pytest.mark.parametrize(
    "text",
    [
        "layout = 1\nx = " + "[" * BIG,
        "layout = 1\nx = " + "{a=" * (BIG // 3),
        "layout = 1\n" + "a." * (BIG // 2) + "b = 1",
        "layout = 1\n[" + "a." * (BIG // 2) + "b]",
        "layout = 1\n[" * (BIG // 12),
        'layout = 1\nx = """' + '\\"""' * (BIG // 4),
        "layout = 1\nx = '''" + "''\n" * (BIG // 3),
        'layout = 1\nx = "' + '\\"' * (BIG // 2),
        "layout = 1\n" + "\x00" * BIG,
        "layout = 1\nx = " + "9" * BIG,
        HEAD + 'R1 = { kind = "resistor", value = "' + "1" * BIG + '", pins = ["a", "0V"] }',
        HEAD + 'R1 = { kind = "' + "r" * BIG + '", value = "1k", pins = ["a", "0V"] }',
        HEAD + 'R1 = { kind = "resistor", value = "1k", pins = ["' + "n" * BIG + '", "0V"] }',
        HEAD + 'R1 = { kind = "resistor", value = "1k", pins = [' + '"a", ' * (BIG // 5) + '"0V"] }',
        HEAD + "[areas.a]\nkind = 'residue'\noutline = [" + "[1, 2], " * (BIG // 9) + "[1, 1]]",
    ],
    ids=lambda text: text[-24:].strip(),
)
def test_large_and_deep_texts_are_refused_soon(text):
    """Deep brackets, endless names, unclosed quotes and huge values end in one line, not in a wait or a traceback."""
    _refused_soon(text)


def test_a_text_beyond_a_megabyte_is_refused(tmp_path):
    """More than 1 MB is not read at all."""
    text = EXAMPLE + "#" * 1_000_001
    path = tmp_path / "big.board.toml"
    path.write_text(text, encoding="utf-8")

    assert "larger than 1000 kB" in _refused_soon(text)
    with pytest.raises(BoardError, match="larger than 1000 kB"):
        read_board(path)


def test_a_large_honest_board_reads_soon():
    """Five thousand parts with places are read within the time."""
    parts = "".join(f'R{n} = {{ kind = "resistor", value = "1k", pins = ["n{n}", "0V"] }}\n' for n in range(5000))
    places = "".join(f"R{n} = [{n % 100}, {n // 100}]\n" for n in range(5000))
    begun = time.process_time()

    board = parse_board(HEAD + parts + "[places]\n" + places)

    assert len(board.parts) == 5000
    assert time.process_time() - begun < SOON_S


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_a_damaged_description_reads_or_is_refused_in_one_line(data):
    """A good description with a piece cut or replaced ends in a board or a BoardError, nothing else."""
    start = data.draw(st.integers(0, len(EXAMPLE)))
    end = data.draw(st.integers(start, min(len(EXAMPLE), start + 40)))
    piece = data.draw(
        st.one_of(st.text(max_size=6), st.sampled_from(['"', "[", "]", "{", "}", "=", "nan", "-1", "1e999", "0V"]))
    )
    text = EXAMPLE[:start] + piece + EXAMPLE[end:]

    said = _refusal(text)

    assert "\n" not in said
    assert not said or said.startswith("x:")


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=200))
def test_any_text_at_all_is_refused_in_one_line(text):
    """Arbitrary text is never a board, and never a crash."""
    with pytest.raises(BoardError):
        parse_board(text, "x")
