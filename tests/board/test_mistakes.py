"""Every mistake in a description is one line: file and line, what was read, what would be right."""

import pytest
from board.sample import EXAMPLE, HEAD

from dustcap.board.read import parse_board, read_board
from dustcap.errors import BoardError

R = 'R1 = { kind = "resistor", value = "1k", pins = ["a", "0V"] }\n'

# (what stands from line 5 on, the line that is blamed, words of the sentence)
IN_PARTS = [
    (
        'R1 = { kind = "resistr", value = "1k", pins = ["a", "0V"] }',
        5,
        "unknown kind 'resistr'. Did you mean 'resistor'?",
    ),
    ('R1 = { value = "1k", pins = ["a", "0V"] }', 5, "no key 'kind'"),
    ('R1 = { kind = 3, pins = ["a", "0V"] }', 5, "unknown kind 3"),
    ("R1 = 3", 5, "part 'R1' is 3, not a table"),
    ('R1 = { kind = "resistor", valeu = "1k", pins = ["a", "0V"] }', 5, "unknown key 'valeu'. Did you mean 'value'?"),
    ('R1 = { kind = "resistor", pins = ["a", "0V"] }', 5, "part 'R1' has no key 'value'. Write: value = '2k2'"),
    ('R1 = { kind = "resistor", value = "35 V", pins = ["a", "0V"] }', 5, "part 'R1', key 'value': '35 V'"),
    ('R1 = { kind = "resistor", value = 0, pins = ["a", "0V"] }', 5, "is 0, but must be more than 0"),
    ('R1 = { kind = "resistor", value = "-1k", pins = ["a", "0V"] }', 5, "is '-1k', but must be more than 0"),
    ('R1 = { kind = "resistor", value = nan, pins = ["a", "0V"] }', 5, "key 'value': nan is not a finite number"),
    ('R1 = { kind = "resistor", value = inf, pins = ["a", "0V"] }', 5, "key 'value': inf is not a finite number"),
    ('R1 = { kind = "resistor", value = true, pins = ["a", "0V"] }', 5, "key 'value': True is not a quantity"),
    (
        'R1 = { kind = "resistor", value = "1k", tolerance = "120 %", pins = ["a", "0V"] }',
        5,
        "key 'tolerance' is '120 %'",
    ),
    ('R1 = { kind = "resistor", value = "1k", pins = ["a"] }', 5, "has 1 pins. The pins of a resistor are [a, b]"),
    ('R1 = { kind = "resistor", value = "1k", pins = ["a", "b", "0V"] }', 5, "has 3 pins"),
    ('R1 = { kind = "resistor", value = "1k" }', 5, "part 'R1' has no pins"),
    ('R1 = { kind = "resistor", value = "1k", pins = ["a", ""] }', 5, "is '', not a net"),
    ('R1 = { kind = "resistor", value = "1k", pins = ["a", 4] }', 5, "is 4, not a net"),
    ('R1 = { kind = "resistor", value = "1k", pins = { a = "x", c = "0V" } }', 5, "unknown key 'c'"),
    ('Q1 = { kind = "npn", pins = { collector = "x", base = "y" } }', 5, "part 'Q1' has no pin 'emitter'"),
    ('U1 = { kind = "op amp", pins = ["a", "b", "c", "d", "0V"] }', 5, "The pins of a op amp are { plus = ..., minus"),
    (
        'U1 = { kind = "op amp", pins = { plus = "a", minus = "b", out = "b", high = "p", low = "0V", mute = "m" } }',
        5,
        "'mute'",
    ),
    (
        'T1 = { kind = "transformer", volts = "18 V", pins = ["a", "0V", "b"] }',
        5,
        "The pins of a transformer are { secondary",
    ),
    ('T1 = { kind = "transformer", volts = "18 V", pins = { secondary = ["a"] } }', 5, "has pins {'secondary': ['a']}"),
    (
        'D1 = { kind = "diode", type = "shotky", pins = ["a", "0V"] }',
        5,
        "key 'type' is 'shotky'. Did you mean 'schottky'?",
    ),
    ('S1 = { kind = "switch", closed = "yes", pins = ["a", "0V"] }', 5, "Write true or false"),
    ('S1 = { kind = "switch", driven_by = "K1", pins = ["a", "0V"] }', 5, "'K1' is no relay coil"),
    ('K1 = { kind = "relay coil", resistance = "1k", pins = ["a", "0V"] }', 5, "has no key 'volts'"),
    ('U1 = { kind = "regulator", value = 0, pins = { in = "a", out = "b", common = "0V" } }', 5, "must not be zero"),
    ('RV1 = { kind = "potentiometer", value = "10k", position = 1.5, pins = ["a", "w", "0V"] }', 5, "at most 1"),
    ('R1 = { kind = "resistor", value = "1k", modes = { opne = 1 }, pins = ["a", "0V"] }', 5, "Did you mean 'open'?"),
    ('R1 = { kind = "resistor", value = "1k", modes = { open = -1 }, pins = ["a", "0V"] }', 5, "must be zero or more"),
    (
        'R1 = { kind = "resistor", value = "1k", modes = { open = 0 }, pins = ["a", "0V"] }',
        5,
        "every share in 'modes' is zero",
    ),
    ('R1 = { kind = "resistor", value = "1k", sealed = 1, pins = ["a", "0V"] }', 5, "key 'sealed' is 1"),
    ('M1 = { kind = "module", pins = {} }', 5, "has 0 pins"),
    ('M1 = { kind = "module", pins = { a = "x", b = "0V" }, drives = { y = "5 V" } }', 5, "no pin on the net 'y'"),
    ('M1 = { kind = "module", pins = { a = "x", b = "0V" }, drives = "5 V" }', 5, "Write: drives = { net = '5 V' }"),
    ('M1 = { kind = "module", pins = { a = "x", b = "0V" }, gain = [{ from = "b", to = "a" }] }', 5, "no key 'value'"),
    (
        'M1 = { kind = "module", pins = { a = "x", b = "0V" }, '
        'gain = [{ from = "b", to = "a", value = 2 }, { from = "b", to = "x", value = 3 }] }',
        5,
        "drives 'x' twice",
    ),
    (
        'M1 = { kind = "module", pins = { a = "x", b = "0V" }, drives = { a = "5 V" }, '
        'gain = [{ from = "b", to = "a", value = 2 }] }',
        5,
        "drives 'x' twice",
    ),
    ('R1 = { kind = "resistor", value = "1k", pins = ["a", "b"] }', 2, "no part touches the common net '0V'"),
    ('"" = { kind = "resistor", value = "1k", pins = ["a", "0V"] }', 5, "not a name"),
    (R + R, 6, "part 'R1' is written twice, on line 5 and on line 6"),
    (R + '[parts.R2]\nkind = "resistor"\nvalue = "5 V"\npins = ["a", "0V"]', 8, "part 'R2', key 'value'"),
    (R + "[blocks.one]\nparts = ['R9']", 7, "block 'one' names 'R9', which is no part. Parts: 'R1'."),
    (R + "[blocks.one]\nparts = ['R1', 'R1']", 7, "names 'R1' twice"),
    (R + "[blocks.one]\nparts = ['R1']\n[blocks.two]\nparts = ['R1']", 8, "is in the blocks 'one' and 'two'"),
    (R + "[blocks.one]\nparts = []", 6, "has the parts []"),
    (R + "[blocks.one]\npart = ['R1']", 7, "Did you mean 'parts'?"),
    (R + "[blocks.one]\nparts = ['R1']\nwith = { in = 'a' }", 8, "has 'with' but no 'from'"),
    (R + "[blocks.one]\nfrom = 'split suply'", 7, "Did you mean 'split supply'?"),
    (R + "[blocks.one]\nfrom = 'two'\n[blocks.two]\nfrom = 'one'", 7, "a block of this board"),
    (R + "[blocks.one]\nfrom = 'split supply'\nparts = ['R1']", 8, "both 'parts' and 'from'"),
    (R + "[blocks.one]\nfrom = 'split supply'\nwith = { high = 'p' }", 8, "no net at its port 'low'"),
    (R + "[blocks.one]\nfrom = 'split supply'\nwith = { high = 'p', low = 'n', volt = 3 }", 8, "Did you mean 'volts'?"),
    (R + "[blocks.one]\nfrom = 'split supply'\nwith = { high = 'p', low = 'n', volts = '3 ohm' }", 8, "key 'volts'"),
    (R + "[blocks.one]\nfrom = 'split supply'\nwith = { high = 'p', low = 'n', volts = '30 V' }", 8, "46.7 V at mains"),
    (R + f"[blocks.{'b' * 33}]\nfrom = 'split supply'", 6, "too long for a library block. Keep to 32 letters"),
    (R + "[places]\nR9 = [1, 2]", 7, "[places] names 'R9', which is no part. Parts: 'R1'."),
    (R + "[places]\nR1 = [1, 2, 3]", 7, "place of 'R1': [1, 2, 3] is no point"),
    (R + "[places]\nR1 = [1, nan]", 7, "is no point"),
    (R + "[places]\nR1 = [1, true]", 7, "is no point"),
    (R + "[areas.a]\nkind = 'residue'\noutline = [[0, 0], [1, 0]]", 8, "area 'a' has 2 corners"),
    (R + "[areas.a]\nkind = 'residue'\noutline = [[0, 0], [2, 2], [2, 0], [0, 2]]", 8, "crosses itself"),
    (R + "[areas.a]\nkind = 'residue'\noutline = [[0, 0], [2, 0], [1, 0]]", 8, "crosses itself"),
    (R + "[areas.a]\nkind = 'residue'\noutline = 4", 8, "has the outline 4"),
    (R + "[areas.a]\nkind = 'residu'\noutline = [[0, 0], [2, 0], [2, 2]]", 7, "Did you mean 'residue'?"),
    (R + "[areas.a]\nkind = 'residue'", 6, "area 'a' has no key 'outline'"),
    (R + "[areas.a]\nkind = 'residue'\noutlines = [[0, 0], [2, 0], [2, 2]]", 8, "Did you mean 'outline'?"),
    (R + "[area.a]\nkind = 'residue'", 6, "Did you mean 'areas'?"),
    ('R1 = { kind = "resistor", value = "1k pins = ["a", "0V"] }', 5, "not valid TOML"),
    ("R1 = 1" + "0" * 5000, 5, "not valid TOML"),
]


@pytest.mark.parametrize(("parts", "line", "words"), IN_PARTS)
def test_a_mistake_is_told_with_its_line(parts, line, words):
    """The sentence names the line, what was read and what would be right, in one line."""
    with pytest.raises(BoardError) as caught:
        parse_board(HEAD + parts, "small.board.toml")

    assert words in str(caught.value)
    assert caught.value.where == f"small.board.toml:{line}"
    assert caught.value.mend
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("", 1, "the text is empty"),
        ("  \n\n", 1, "the text is empty"),
        ('[board]\nname = "x"', 1, "'layout' is missing"),
        ('layout = 2\n[board]\nname = "x"', 1, "layout 2 is not known here"),
        ("layout = true", 1, "layout true is not known here"),
        ('layout = 1\n[board]\nnane = "x"', 3, "Did you mean 'name'?"),
        ('layout = 1\n[board]\nmains = "230"', 3, "Write it as '230 V 50 Hz'"),
        ('layout = 1\n[board]\nmains = "50 V 230 Hz"', 3, "[board], key 'mains' is '50 V 230 Hz'"),
        ('layout = 1\n[board]\nmains = "230 V 400 Hz"', 3, "[board], key 'mains' is '230 V 400 Hz'"),
        ("layout = 1\nboard = 3", 2, "[board] is 3, not a table"),
        ("layout = 1\nparts = 3", 2, "[parts] is 3, not a table"),
        ('layout = 1\n[board]\nname = "x"\n[board]\nname = "y"', 4, "[board] is written twice"),
    ],
)
def test_a_mistake_in_the_head_is_told_with_its_line(text, line, words):
    """Layout, head and tables are checked before the parts."""
    with pytest.raises(BoardError) as caught:
        parse_board(text, "x.board.toml")

    assert words in str(caught.value)
    assert caught.value.where == f"x.board.toml:{line}"


def test_a_mistake_inside_a_multi_line_list_is_told_with_its_own_line():
    """A wrong point of an outline is blamed on the line where it stands."""
    text = EXAMPLE.replace("[[30, 12], [52, 12],", "[[30, 12],\n  [52, 'x'],")

    with pytest.raises(BoardError) as caught:
        parse_board(text, "x")

    assert caught.value.where == "x:30"


def test_a_file_that_is_not_utf8_is_told_with_its_line(tmp_path):
    """Bytes of another encoding are refused, with the line of the first."""
    path = tmp_path / "latin.board.toml"
    path.write_bytes(EXAMPLE.replace("model 27", "mod\u00e9l 27").encode("latin-1"))

    with pytest.raises(BoardError, match="byte 0xe9 is not UTF-8") as caught:
        read_board(path)

    assert caught.value.where == f"{path}:4"


def test_a_file_that_is_not_there_is_told(tmp_path):
    """A missing file and a folder are refused in one line each."""
    with pytest.raises(BoardError, match="cannot be read"):
        read_board(tmp_path / "none.board.toml")
    with pytest.raises(BoardError, match="cannot be read"):
        read_board(tmp_path)


def test_a_part_that_replaces_a_library_part_must_be_of_its_kind():
    """A part of the same name under [parts] takes the library's place, but not as another kind."""
    block = "[blocks.s]\nfrom = 'split supply'\nwith = { high = 'p', low = 'n' }\n"
    own = HEAD + 's-C1 = { kind = "electrolytic", value = "2200 uF", voltage = "50 V", pins = ["p", "0V"] }\n' + block

    assert parse_board(own).part("s-C1").number("value") == pytest.approx(2.2e-3)
    with pytest.raises(BoardError, match="is a resistor, and a electrolytic in block 's'"):
        parse_board(HEAD + 's-C1 = { kind = "resistor", value = "1k", pins = ["p", "0V"] }\n' + block)
